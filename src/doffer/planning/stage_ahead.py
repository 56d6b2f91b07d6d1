"""One stage ahead: what a run should give, by the settings and draws of a plan, so that both say the same.

A run card is drawn from thousands of outcomes; a page that worked the same stage out another way would
contradict the card in the reader's hand by a few grams, or by all the water sprayed at the picker.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Material, join
from doffer.planning.batch import fresh_rng, stage_settings
from doffer.planning.outcome import agreed_samples_g, blend_regain_frac
from doffer.planning.spec import BatchSpec, LotStart, MillWays, Wish
from doffer.planning.spread import Spread, spreads
from doffer.planning.start import RAW_FORMS, starting_material
from doffer.process.losses import sample_loss_fracs
from doffer.process.pick import conditioned, sprayed
from doffer.process.stage import LossKind, StageResult, StageSettings, room_settled_frac
from doffer.process.stages import STAGES
from doffer.tables.loader import Tables
from doffer.working import Working


@dataclass(frozen=True, slots=True)
class Spray:
    """Conditioner put on in a run [g]: the neat product, and the water with it."""

    product_mass_g: float = 0.0
    water_mass_g: float = 0.0

    def __post_init__(self) -> None:
        for what, mass_g in (("conditioner", self.product_mass_g), ("its water", self.water_mass_g)):
            if not 0 <= mass_g < MOST_SPRAY_G:
                raise InputError(what, f"{mass_g:g} g", "zero or more grams, less than a hundred kilograms")

    @property
    def mass_g(self) -> float:
        """Product and water together [g]."""
        return self.product_mass_g + self.water_mass_g


MOST_SPRAY_G = 100_000.0  # more in one run is a typing error in a small mill


@dataclass(frozen=True, slots=True)
class StageAhead:
    """What a stage should give, each as mean, 90 % range and safe figure.

    Parameters
    ----------
    weighed : Spread
        What the scale shows straight behind the machine [g]: fibre, its water, oil and dirt.
    rested : Spread
        The same once it lies at rest in the work room [g].
    dry : Spread
        Oven-dry clean fibre in it [g].
    lost_frac : Spread
        Share lost [frac], fibre at agreed regain on both sides; of raw fibre counted from its weight as it
        came; where raw fibre stays raw, as weighed on both sides.
    lost_mass_g : float
        Mean of what is lost [g] on the same basis.
    dry_sure_g, weighed_sure_g : (float, float)
        Where 99 of 100 outcomes lie [g], of oven-dry fibre and of what the scale shows, where the machine may
        keep nothing or twice what it is known to keep.
    counted_in_g : float
        What the share is a share of [g].
    settles : bool
        Whether the stage gives it time to take on the water of the room.
    agreed_regain_frac : float
        Agreed regain of what comes out [frac].
    spray : Spray
        Conditioner and water counted in.
    """

    weighed: Spread
    rested: Spread
    dry: Spread
    lost_frac: Spread
    lost_mass_g: float
    dry_sure_g: tuple[float, float]
    weighed_sure_g: tuple[float, float]
    counted_in_g: float
    is_raw: bool
    stays_raw: bool
    settles: bool
    agreed_regain_frac: float
    spray: Spray
    working: Working


def stage_ahead(
    stage: str, starts: Sequence[LotStart], ways: MillWays, tables: Tables, *, spray: Spray | None = None
) -> StageAhead:
    """What lots give at one stage as a mill works; `spray` None: the dose of `ways` at the picker.

    The draws are those a plan begins with, so a plan whose next step this is says the same figures.

    Parameters
    ----------
    stage : str
        Key of ``process.stages.STAGES``.
    starts : sequence of LotStart
        What goes in, as it lies there.
    ways : MillWays
        Machines, room, dose and number of samples; ``ways.machines[stage]`` is the machine it runs on.
    """
    rng = fresh_rng(ways.seed)
    whole = {
        start.lot: starting_material(start, tables, rng=rng, n_samples=ways.n_samples) for start in starts
    }
    fed = join(list(whole.values()))
    agreed = blend_regain_frac(list(whole.values()), tables, ways.label_basis)
    batch = BatchSpec("run", tuple(starts), Wish("roving"))
    all_settings = stage_settings(batch, whole, ways, tables, agreed_frac=agreed)
    settings, before = all_settings[stage], fed
    told = _planned_spray(fed, settings, tables) if spray is None else spray
    if spray is not None:
        settings = replace(settings, finish_frac_owf=0.0, finish_water_parts=0.0)
        before = sprayed(fed, tables, product_mass_g=spray.product_mass_g, water_mass_g=spray.water_mass_g)
    fibres = [part.fibre for part in fed.constituents]
    losses = sample_loss_fracs(tables, stage=stage, fibres=fibres, rng=rng, n_samples=ways.n_samples)
    result = STAGES[stage](before, settings, losses, tables)
    out_frac = result.material.actual_regain_frac
    rested_frac = room_settled_frac(out_frac, all_settings["rest"])
    ahead = _summed_up(fed, result, ways, tables, spray=told, rested_frac=rested_frac or out_frac)
    return replace(ahead, settles=settings.room_regain_fracs is not None)


def _planned_spray(fed: Material, settings: StageSettings, tables: Tables) -> Spray:
    """The grams a dose on the weight of fibre comes to."""
    if settings.finish_frac_owf == 0:
        return Spray()
    product = float((conditioned(fed, settings, tables).finish_mass_g - fed.finish_mass_g).sum(axis=0).mean())
    return Spray(product, product * settings.finish_water_parts)


SURE_LOW, SURE_HIGH = 0.005, 0.995  # the two ends of a 99 % range


def _sure(samples: Floats, *, held_g: float) -> tuple[float, float]:
    low, high = np.quantile(samples, [SURE_LOW, SURE_HIGH])
    return max(0.0, float(low) - held_g), float(high) + held_g


def _summed_up(
    fed: Material, result: StageResult, ways: MillWays, tables: Tables, *, spray: Spray, rested_frac: float
) -> StageAhead:
    out = result.material
    held_g = sum(float(loss.mass_g.mean()) for loss in result.losses if loss.kind is LossKind.HELD)
    is_raw = fed.form in RAW_FORMS or float(fed.foreign_mass_g.max()) > 0
    stays_raw = is_raw and out.form in RAW_FORMS
    counted_in: Floats = fed.weighed_mass_g if is_raw else agreed_samples_g(fed, tables, ways.label_basis)
    counted_out = out.weighed_mass_g if stays_raw else agreed_samples_g(out, tables, ways.label_basis)
    rested = replace(out, actual_regain_frac=rested_frac).weighed_mass_g
    lost = counted_in - counted_out
    lost_frac = np.divide(lost, counted_in, out=np.zeros_like(lost), where=counted_in > 0)
    weighed, at_rest, dry, share = spreads(
        [out.weighed_mass_g, rested, out.total_dry_mass_g, lost_frac], promise_quantile=ways.promise_quantile
    )
    return StageAhead(
        weighed=weighed,
        rested=at_rest,
        dry=dry,
        lost_frac=share,
        lost_mass_g=float(lost.mean()),
        dry_sure_g=_sure(out.total_dry_mass_g, held_g=held_g),
        weighed_sure_g=_sure(out.weighed_mass_g, held_g=held_g),
        counted_in_g=float(counted_in.mean()),
        is_raw=is_raw,
        stays_raw=stays_raw,
        settles=False,
        agreed_regain_frac=blend_regain_frac([out], tables, ways.label_basis),
        spray=spray,
        working=result.working[0],
    )
