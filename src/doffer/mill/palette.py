"""What a blend is made from: lots as spectra, the target, and the mixing constant that counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import RefusedError
from doffer.mill import colours
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.colours import FIRST_LIGHT, Known, Lab, Pad
from doffer.mill.models import Lot, MixingFit
from doffer.mill.sittings import Sitting, newest_by_lot
from doffer.planning.shade.target import Target, target_from_lab, target_from_spectrum, usual_lights
from doffer.planning.shade.ways import ShadeWays, fitted_ways, usual_ways
from doffer.tables.loader import Tables


@dataclass(frozen=True, eq=False, slots=True)
class Coloured:
    """A lot whose colour is known: its newest dry sitting and the spectrum behind it."""

    lot: Lot
    sitting: Sitting
    known: Known


def coloured(lots: Sequence[Lot], tables: Tables, *, pad: Pad, act: str) -> tuple[Coloured, ...]:
    """The lots with their spectra, in order.

    Raises
    ------
    RefusedError
        A lot that was never read dry by an instrument, or that was read unlike `pad`.
    """
    newest = newest_by_lot((lot.pk for lot in lots), pad)
    missing = [lot.code for lot in lots if lot.pk not in newest]
    if missing:
        reason = (
            f"{', '.join(missing)} {'was' if len(missing) == 1 else 'were'} not read dry by an instrument"
        )
        raise RefusedError(act, (reason,), "Read a few dry tufts first")
    for lot in lots:
        colours.check_alike(pad, newest[lot.pk].pad, f"{act}, because of {lot.code}")
    return tuple(Coloured(lot, newest[lot.pk], newest[lot.pk].known(tables)) for lot in lots)


def target_of(
    labs: Mapping[str, Lab], reflectance_ppm: Sequence[int] | None, *, observer_deg: int, tables: Tables
) -> Target:
    """A target for the search: all lights when a spectrum is known, else daylight alone.

    Raises
    ------
    RefusedError
        Neither a spectrum nor a Lab under daylight.
    """
    if reflectance_ppm is not None:
        lights, weights = usual_lights(tables, observer_deg=observer_deg)
        return target_from_spectrum(colours.spectrum_of_ppm(reflectance_ppm), lights, weights)
    if FIRST_LIGHT not in labs:
        reason = f"the target is known under {', '.join(labs)} only"
        raise RefusedError("This shade is not searched for", (reason,), "Read it under D65 as well")
    seen_in = colours.first_light(tables, observer_deg=observer_deg)
    return target_from_lab(np.array(labs[FIRST_LIGHT]), seen_in)


@dataclass(frozen=True, slots=True)
class MixingNow:
    """The mill's ways with blends of a fibre and form, and the fit behind them (None: as shipped)."""

    fibre: str
    form: str
    ways: ShadeWays
    fit: MixingFit | None


def main_fibre(parts: Iterable[tuple[str, float]]) -> str:
    """The fibre that makes most of a mix, whatever the order of its lots; of two alike the first by name.

    Parameters
    ----------
    parts : iterable of (str, float)
        The fibre of each lot and how much of it there is, in any unit.
    """
    much: Counter[str] = Counter()
    for fibre, amount in parts:
        much[fibre] += amount
    total = sum(much.values()) or 1.0
    return min(much, key=lambda fibre: (-round(much[fibre] / total, ALIKE_DIGITS), fibre))


ALIKE_DIGITS = 6  # shares that differ by less were typed alike


def mixing_now(fibre: str, form: str, tables: Tables) -> MixingNow:
    """The newest fit of this fibre and form, else what the tables say of wool; one query."""
    ways = usual_ways(tables)
    fit = MixingFit.objects.filter(fibre=fibre, form=form).order_by("-id").first()
    if fit is None:
        return MixingNow(fibre, form, ways, None)
    fitted = fitted_ways(
        ways,
        m=fit.m_ppm / PPM,
        ln_m_sd=fit.ln_m_sd_ppm / PPM,
        n_samples=fit.n_blends,
        left_out_de=fit.left_out_de_centi / CENTI,
    )
    return MixingNow(fibre, form, fitted, fit)
