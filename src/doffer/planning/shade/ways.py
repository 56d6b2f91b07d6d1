"""How a mill makes shades: its blend model and how well it is known, its trial card, a lot's worth."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.colour.blend import BlendModel, Mixing, default_mixing, stearns_noechel
from doffer.fibre.colour.predict import default_ln_m_sd, published_error
from doffer.tables.loader import Tables

UNKNOWN_CARD = "this one does not know the mill’s own card yet"
UNSETTLED = "these samples do not settle yet how the mill’s own card mixes"


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
    n_samples, left_out_de : int, float or None
        Own sample blends behind the constant, and the mean error on one that was left out of the fit.
    """

    mixing: Mixing
    ln_m_sd: float
    is_fitted: bool
    trial_card_g: float
    lot_worth_de: float
    n_samples: int = 0
    left_out_de: float | None = None

    @property
    def has_m(self) -> bool:
        """Whether the model has a constant M with a known spread."""
        return self.mixing.model is BlendModel.STEARNS_NOECHEL

    def is_settled(self, tables: Tables) -> bool:
        """Whether the mill's own samples say how its card mixes: enough, and no farther off than print.

        shade_enough_samples (table constants) of them, and a mean left-out error up to the higher
        published mean.
        """
        if not self.is_fitted or self.left_out_de is None:
            return self.is_fitted
        printed = published_error(tables, str(self.mixing.model))
        enough = tables.constants["shade_enough_samples"].value
        return self.n_samples >= enough and self.left_out_de <= printed.mean_high_de

    def mean_error_de(self, tables: Tables) -> float:
        """How far off the model is on average: on left-out samples, else as printed; 0: unknown."""
        if self.is_fitted and self.left_out_de is not None:
            return self.left_out_de
        rows = tables.colour_models.values()
        model = str(self.mixing.model)
        return max((r.value for r in rows if (r.model, r.quantity) == (model, "error_mean")), default=0.0)

    def error_words(self, tables: Tables, *, lots_de: float = 0.0) -> str:
        """How far off predictions are: by the mill's own left-out samples, else as printed.

        Parameters
        ----------
        lots_de : float
            What the lots' own readings let a prediction be off by; where that is more, it is said first.
        """
        if lots_de <= self.mean_error_de(tables):
            return self._model_words(tables)
        words = f"This may be off by {lots_de:.1f}, because a lot is known as L, a and b only"
        return f"{words}. {self._model_words(tables)}"

    def _model_words(self, tables: Tables) -> str:
        if self.is_fitted and self.left_out_de is not None:
            least = tables.constants["shade_least_told"].value
            off = f"{least:.1f} or less" if self.left_out_de < least else f"{self.left_out_de:.1f}"
            words = (
                f"On samples of our own that the fit had not seen, predictions were off by {off} on average"
            )
            return words + ("." if self.is_settled(tables) else f", and {UNSETTLED}.")
        model = str(self.mixing.model)
        printed = [row for row in tables.colour_models.values() if row.model == model]
        if not any(row.quantity == "error_mean" for row in printed):
            return "Nobody has published how far off this model may be."
        error = published_error(tables, model)
        words = f"Such models are off by {error.mean_low_de:.1f} to {error.mean_high_de:.1f} on average"
        if error.most_de is not None:
            words += f", at worst {error.most_de:.1f}"
        return words + ("." if self.is_fitted else f", and {UNKNOWN_CARD}.")


def usual_ways(tables: Tables) -> ShadeWays:
    """What holds until the mill has fitted its own constant (tables colour_models and constants)."""
    return ShadeWays(
        mixing=default_mixing(tables),
        ln_m_sd=default_ln_m_sd(tables),
        is_fitted=False,
        trial_card_g=tables.constants["shade_trial_card"].value,
        lot_worth_de=tables.constants["shade_lot_worth"].value,
    )


def by_model(ways: ShadeWays, model: str, tables: Tables) -> ShadeWays:
    """The same ways by the model a person chose; by any but the one in use with its published constant.

    Raises
    ------
    InputError
        A model nobody knows.
    """
    if model not in set(BlendModel):
        raise InputError("blend model", model, f"one of {', '.join(BlendModel)}")
    if model == ways.mixing.model:
        return ways
    mixing = default_mixing(tables, BlendModel(model))
    return dataclasses.replace(ways, mixing=mixing, is_fitted=False, n_samples=0, left_out_de=None)


def fitted_ways(
    usual: ShadeWays, *, m: float, ln_m_sd: float, n_samples: int = 0, left_out_de: float | None = None
) -> ShadeWays:
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
        n_samples=n_samples,
        left_out_de=left_out_de,
    )
