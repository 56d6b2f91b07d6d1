"""What rides on the fibre of a run besides its own water: oil from before, and what is sprayed on in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from doffer.mill import bridge
from doffer.mill.booking import Reading
from doffer.mill.clean_fibre import last_before
from doffer.mill.models import Lot, Run, RunInput, Weighing
from doffer.mill.models.weighings import Branch
from doffer.planning.stage_ahead import Spray

PRODUCT: Final = "conditioner_product_g"
WATER: Final = "conditioner_water_g"
KEEPS_OIL: Final = frozenset({"pick", "rest", "dehair", "card", "draw", "spin", "ply"})


def spray_settings(spray: Spray) -> dict[str, float | str]:
    """Conditioner of a run as its settings keep it; nothing where none was put on."""
    if not spray.mass_g:
        return {}
    return {PRODUCT: round(spray.product_mass_g, 3), WATER: round(spray.water_mass_g, 3)}


def spray_of(run: Run) -> Spray:
    """Conditioner that a run's settings tell of."""
    return Spray(float(run.settings.get(PRODUCT, 0.0)), float(run.settings.get(WATER, 0.0)))


def finish_in_g(run: Run) -> dict[str, float]:
    """Oil on each lot as it went into a run [g], from its weighing there, else from its last one before.

    One query where a lot went in without a weighing.
    """
    rows = list(run.inputs.all())
    unweighed = [row for row in rows if row.weighing is None]
    before = last_before(run, unweighed) if unweighed else {}
    return {row.lot.code: bridge.grams(_finish_mg(row, before)) for row in rows}


def finish_share_now(lots: Iterable[Lot]) -> dict[str, float]:
    """Oil on each lot as its latest weighing says, over what it weighed there [frac]; one query.

    A correction stands in the place of what it corrects. Never what is left over dry fibre and its water: on
    wet fibre that is water too.
    """
    found = Weighing.objects.filter(lot__in=[lot.pk for lot in lots]).order_by("pk")
    rows = found.values_list("pk", "corrects_id", "lot__code", "finish_mg", "gross_mg", "tare_mg")
    first: dict[int, int] = {}
    latest: dict[str, tuple[int, float]] = {}
    for pk, corrects, code, oil, gross, tare in rows:
        first[pk] = first[corrects] if corrects else pk
        if first[pk] >= latest.get(code, (0, 0.0))[0]:
            latest[code] = (first[pk], oil / (gross - tare) if gross > tare else 0.0)
    return {code: share for code, (_, share) in latest.items()}


def _finish_mg(row: RunInput, before: Mapping[int, Weighing]) -> int:
    if row.weighing is not None:
        return int(row.weighing.finish_mg)
    last = before.get(row.lot_id)
    if last is None or last.net_mg <= 0:
        return 0
    return round(last.finish_mg * min(1.0, row.mass_mg / last.net_mg))


@dataclass(frozen=True, slots=True)
class Riding:
    """Water and oil on the fibre behind the machine, each over its oven-dry mass [frac]."""

    regain_frac: float
    finish_frac: float
    is_sprayed: bool


def riding_on(run: Run, ins: Sequence[RunInput]) -> Riding | None:
    """What rides on the fibre of a run; None where the dry weight of what went in is not known.

    ``regain = (weighed - dry - oil + water sprayed) / dry``; waste takes its part of both along.
    """
    dry_mg = [row.dry_mg for row in ins]
    if None in dry_mg or not sum(dry_mg):
        return None
    dry_g = bridge.grams(sum(dry_mg))
    spray, oil_g = spray_of(run), sum(finish_in_g(run).values())
    water_g = bridge.grams(sum(row.mass_mg for row in ins)) - dry_g - oil_g
    return Riding(
        regain_frac=max(0.0, water_g + spray.water_mass_g) / dry_g,
        finish_frac=(oil_g + spray.product_mass_g) / dry_g,
        is_sprayed=spray.mass_g > 0,
    )


def as_it_lies(
    reading: Reading,
    riding: Riding | None,
    *,
    stage: str,
    fibre: str,
    form: str,
    is_fresh: bool,
    is_oil_said: bool,
) -> Reading:
    """A reading of what came out, with the oil that rides on it and the water that was sprayed.

    `is_fresh`: weighed as it left the machine, so that the water it went in with and the water sprayed are
    still in it. Otherwise its water is what the room gives. Oil on it, where nobody said it:
    ``net x F / (1 + R + F)``, R and F water and oil over dry fibre. Sprayed fibre of unknown dry weight
    is weighed as wet.
    """
    if riding is None:
        return reading
    if is_fresh:
        reading = replace(reading, branch=Branch.MEASURED, measured_regain_frac=riding.regain_frac)
    if stage not in KEEPS_OIL or is_oil_said or reading.finish_g > 0 or riding.finish_frac == 0:
        return reading
    regain = bridge.regain_of(
        fibre,
        form=form,
        branch=reading.branch,
        rh_frac=reading.rh_frac,
        measured_frac=reading.measured_regain_frac,
        tables=bridge.current_tables(),
    )
    if regain is None:
        return reading
    finish_g = reading.net_g * riding.finish_frac / (1 + regain + riding.finish_frac)
    return replace(reading, finish_g=finish_g)
