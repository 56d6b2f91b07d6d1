"""The two sides of a run's form, read into what the mill's commands take."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.mill.commands.run_facts import RunIn, RunOut, RunWasteRow
from doffer.mill.queries.lots import LotRow
from doffer.office.readings import Typed
from doffer.office.run_words import wastes_of, water_after

MOST_OUT = 12  # containers on one form; more come out as a second run or are weighed later


def went_in(typed: Typed, rows: Sequence[LotRow]) -> tuple[RunIn, ...]:
    """The lots that go in. Without a weight a lot goes in whole, as it was weighed last."""
    ins = []
    for row in rows:
        prefix = f"in_{row.code}_"
        if not typed.is_said(f"{prefix}gross"):
            ins.append(RunIn(lot=row.code))
            continue
        oil_g = typed.small_mass_g(f"{prefix}oil", "conditioner on the fibre") or 0.0
        reading = typed.reading(prefix, branch=typed.text(f"{prefix}branch"), finish_g=oil_g)
        rest_g = typed.mass_g(f"{prefix}rest", "what stays behind")
        if reading is not None:
            ins.append(RunIn(lot=row.code, reading=reading, rest_g=rest_g))
    return tuple(ins)


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
    oil_g = typed.small_mass_g(f"{prefix}oil", "conditioner on the fibre") or 0.0
    water = typed.text("branch") or water_after(stage)
    reading = typed.reading(prefix, branch=water, finish_g=oil_g)
    if reading is None:
        return None
    return RunOut(
        reading=reading,
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
