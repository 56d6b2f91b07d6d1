"""How a mill makes shades: its blend model and how well it is known, its trial card, a lot's worth."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from doffer.fibre.colour.blend import Mixing, default_mixing, stearns_noechel
from doffer.fibre.colour.predict import default_ln_m_sd
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class ShadeWays:
    """The mill's ways with shades.

    Parameters
    ----------
    mixing : Mixing
        The blend model, fitted or published.
    ln_m_sd : float
        Standard deviation of ln M: two of them to either side are about 95 %.
    is_fitted : bool
        Whether the constant comes from the mill's own sample blends.
    trial_card_g : float
        Weight of the sample that is carded before a blend is made [g].
    lot_worth_de : float
        A further lot must bring the colour at least this much nearer (CIEDE2000).
    """

    mixing: Mixing
    ln_m_sd: float
    is_fitted: bool
    trial_card_g: float
    lot_worth_de: float


def usual_ways(tables: Tables) -> ShadeWays:
    """What holds until the mill has fitted its own constant (tables colour_models and constants)."""
    return ShadeWays(
        mixing=default_mixing(tables),
        ln_m_sd=default_ln_m_sd(tables),
        is_fitted=False,
        trial_card_g=tables.constants["shade_trial_card"].value,
        lot_worth_de=tables.constants["shade_lot_worth"].value,
    )


def fitted_ways(usual: ShadeWays, *, m: float, ln_m_sd: float) -> ShadeWays:
    """The usual ways with a fitted M and how sure ln M is.

    ``ln M`` is the mean of the usual and the fitted one, each weighted by ``1 / sd^2``: a few trial cards of
    near shades, which hardly depend on M, move it little; samples of dark with light settle it. Always begin
    from `usual_ways` and a fit on all samples, so that no sample counts twice.
    """
    share = usual.ln_m_sd**2 / (usual.ln_m_sd**2 + ln_m_sd**2)
    ln_m = share * math.log(m) + (1 - share) * math.log(usual.mixing.constant)
    return dataclasses.replace(
        usual,
        mixing=stearns_noechel(math.exp(ln_m)),
        ln_m_sd=math.sqrt(share) * ln_m_sd,
        is_fitted=True,
    )
