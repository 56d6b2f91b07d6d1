"""What a lot that a run makes is made of, and what is therefore known of its fibre."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.mill import bridge
from doffer.mill.models import Lot, LotPart, Run

# CIE 15 definition of L*: above this ratio a cube root, below it a straight line
_EPSILON = (6 / 29) ** 3
_SLOPE = 3 * (6 / 29) ** 2
_OFFSET = 4 / 29


@dataclass(frozen=True, slots=True)
class Share:
    """A door lot with its share of the oven-dry fibre [frac]."""

    lot: Lot
    share_frac: float


def shares_of(inputs: Sequence[tuple[Lot, float]]) -> tuple[Share, ...]:
    """Door lots of a joined heap, from the lots that went in with their dry mass [g], largest first."""
    total_g = sum(mass_g for _, mass_g in inputs)
    origins = bridge.origins_of([lot for lot, _ in inputs])
    summed: dict[int, float] = {}
    lots: dict[int, Lot] = {}
    for lot, mass_g in inputs:
        for origin in origins[lot.pk]:
            lots[origin.lot.pk] = origin.lot
            part = origin.share_frac * (mass_g / total_g if total_g else 1 / len(inputs))
            summed[origin.lot.pk] = summed.get(origin.lot.pk, 0.0) + part
    ordered = sorted(summed.items(), key=lambda item: (-item[1], item[0]))
    return tuple(Share(lots[pk], share) for pk, share in ordered)


def keep_shares(lot: Lot, shares: Sequence[Share]) -> None:
    """Write the parts of a new lot."""
    LotPart.objects.bulk_create(
        LotPart(lot=lot, origin=share.lot, share_ppm=bridge.ppm(share.share_frac)) for share in shares
    )


def share_again(run: Run) -> None:
    """After a correction: reckon anew the parts of what a run made and of everything made from it since."""
    ins = list(run.inputs.select_related("lot").order_by("pk"))
    shares = shares_of([(row.lot, bridge.grams(row.dry_mg or row.mass_mg)) for row in ins])
    made = Lot.objects.filter(came_from__run=run).exclude(pk__in=[row.lot_id for row in ins])
    for lot in made:
        LotPart.objects.filter(lot=lot).delete()
        keep_shares(lot, shares)
        for later in Run.objects.filter(inputs__lot=lot).distinct().order_by("pk"):
            share_again(later)


def blended_columns(shares: Sequence[Share]) -> dict[str, object]:
    """Columns of a new lot from its parts: fibre of the largest, mass-weighted diameter, spread and staple.

    Mean M = sum s M_i; variance = sum s (SD_i^2 + (M_i - M)^2): a mixture by mass. A figure that one part
    lacks is unknown for the whole.
    """
    first = shares[0].lot
    columns: dict[str, object] = {
        "fibre": first.fibre,
        "breed": first.breed if len({share.lot.breed for share in shares}) == 1 else "",
        "soundness": first.soundness if len({share.lot.soundness for share in shares}) == 1 else "unknown",
        "colour_name": first.colour_name
        if len({share.lot.colour_name for share in shares}) == 1
        else "blend",
        "diameter_source": first.diameter_source if len(shares) == 1 else "from its parts",
    }
    diameters = [(s.share_frac, s.lot.diameter_nm, s.lot.diameter_sd_nm) for s in shares]
    if all(mean for _, mean, _ in diameters):
        mean_nm = sum(share * mean for share, mean, _ in diameters)
        columns["diameter_nm"] = round(mean_nm)
        if all(sd for _, _, sd in diameters):
            variance = sum(share * (sd**2 + (mean - mean_nm) ** 2) for share, mean, sd in diameters)
            columns["diameter_sd_nm"] = round(math.sqrt(variance))
    if all(s.lot.staple_mm for s in shares):
        columns["staple_mm"] = round(sum(s.share_frac * s.lot.staple_mm for s in shares))
    columns.update(_lab_columns(shares))
    return columns


def _lab_columns(shares: Sequence[Share]) -> dict[str, int]:
    """An approximate colour of a blend for the screen: the mean of the light, not of Lab figures."""
    labs = [(s.share_frac, s.lot.lab_l_centi, s.lot.lab_a_centi, s.lot.lab_b_centi) for s in shares]
    if any(value is None for row in labs for value in row[1:]):
        return {}
    light = [0.0, 0.0, 0.0]
    for share, *centi in labs:
        lightness, a, b = (value / bridge.CENTI for value in centi)
        fy = (lightness + 16) / 116
        for axis, f in enumerate((fy + a / 500, fy, fy - b / 200)):
            light[axis] += share * _light(f)
    fx, fy, fz = (_root(value) for value in light)
    lab = (116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz))
    return dict(
        zip(
            ("lab_l_centi", "lab_a_centi", "lab_b_centi"), (round(v * bridge.CENTI) for v in lab), strict=True
        )
    )


def _light(f: float) -> float:
    return f**3 if f**3 > _EPSILON else _SLOPE * (f - _OFFSET)


def _root(light: float) -> float:
    return light ** (1 / 3) if light > _EPSILON else light / _SLOPE + _OFFSET
