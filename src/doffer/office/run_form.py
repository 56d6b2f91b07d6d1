"""The two sides of a run's form, read into what the mill's commands take."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from doffer.errors import InputError
from doffer.mill.commands.run_facts import NO_SPRAY, RunIn, RunOut, RunWasteRow
from doffer.mill.queries.lots import LotRow
from doffer.office.readings import Typed
from doffer.office.run_words import FRESH, SPRAYED_AT, wastes_of, water_after
from doffer.planning.stage_ahead import Spray

MOST_OUT = 12  # containers on one form; more come out as a second run or are weighed later


def went_in(typed: Typed, rows: Sequence[LotRow], wet: Collection[str]) -> tuple[RunIn, ...]:
    """The lots that go in. Without a weight a lot goes in whole, as it was weighed last.

    How dry it is on the way in is how it lay there: what the form says of the water is of what came out.
    """
    ins = []
    for row in rows:
        prefix = f"in_{row.code}_"
        if not typed.is_said(f"{prefix}gross"):
            ins.append(RunIn(lot=row.code))
            continue
        oil_g = typed.small_mass_g(f"{prefix}oil", "conditioner on the fibre") or 0.0
        branch = typed.text(f"{prefix}branch") or ("wet" if row.code in wet else "desorption")
        reading = typed.reading(prefix, branch=branch, finish_g=oil_g)
        rest_g = typed.mass_g(f"{prefix}rest", "what stays behind")
        if reading is not None:
            ins.append(RunIn(lot=row.code, reading=reading, rest_g=rest_g))
    return tuple(ins)


def sprayed_on(typed: Typed, stage: str, *, is_told: bool) -> Spray | None:
    """Conditioner as it was typed; None where it is as told, by the plan or when the run began."""
    if stage != SPRAYED_AT:
        return NO_SPRAY
    product_g = typed.small_mass_g("spray_oil", "conditioner")
    water_g = typed.small_mass_g("spray_water", "water with the conditioner")
    if product_g is None and water_g is None:
        return None if is_told and typed.text("sprayed") != "none" else NO_SPRAY
    for name, mass_g in (("spray_oil", product_g), ("spray_water", water_g)):
        if mass_g is None:
            typed.wrong(name, "Say both, product and water; 0 where there was none of it.")
    try:
        return Spray(product_g or 0.0, water_g or 0.0)
    except InputError as wrong:
        typed.wrong("spray_oil", str(wrong))
        return NO_SPRAY


def ways_out(typed: Typed, stage: str) -> tuple[tuple[RunOut, ...], tuple[RunWasteRow, ...]]:
    """What came out, container by container, and what was swept up."""
    asked = typed.text("n_out")
    n_out = int(asked) if asked.isdecimal() and 1 <= int(asked) <= MOST_OUT else 1
    outs = []
    for number in range(1, n_out + 1):
        prefix = f"out_{number}_"
        if number > 1 and not typed.is_said(f"{prefix}gross"):
            continue
        out = _one_out(typed, stage, prefix)
        if out is not None:
            outs.append(out)
    return tuple(outs), _wastes(typed, stage)


def _one_out(typed: Typed, stage: str, prefix: str) -> RunOut | None:
    oil_g = typed.small_mass_g(f"{prefix}oil", "conditioner on the fibre")
    water = typed.text("branch") or water_after(stage)
    is_fresh = water == FRESH
    reading = typed.reading(prefix, branch="desorption" if is_fresh else water, finish_g=oil_g or 0.0)
    if reading is None:
        return None
    return RunOut(
        reading=reading,
        is_fresh=is_fresh,
        is_oil_said=oil_g is not None,
        form=typed.text("out_form"),
        is_product=typed.text("number") == "new",
        tag=typed.text(f"{prefix}tag"),
        kind=typed.text(f"{prefix}kind") or "bin",
        location=typed.text(f"{prefix}location"),
        customer=typed.text("out_owner"),
    )


def _wastes(typed: Typed, stage: str) -> tuple[RunWasteRow, ...]:
    rows = []
    for number, kind in enumerate(wastes_of(stage), start=1):
        mass_g = typed.small_mass_g(f"waste_{number}", kind)
        if mass_g is not None:
            rows.append(RunWasteRow(kind=kind, mass_g=mass_g))
    return tuple(rows)
