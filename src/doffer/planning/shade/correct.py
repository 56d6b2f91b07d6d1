"""Bring a batch, or sub-lots that must all go in, to the standard by adding stock: as little as will do."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats, Ints
from doffer.fibre.colour.blend import Mixing, transform, untransform
from doffer.fibre.colour.predict import Band, Lab, as_lab
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.search import BEAM, IDLE_SHARE, grow, without_idle
from doffer.planning.shade.solve import Field, field_of_averages, labs_of
from doffer.planning.shade.target import Stock, Target, score_of
from doffer.planning.shade.tell import band_of
from doffer.planning.shade.trial import trial_card_cg
from doffer.planning.shade.ways import ShadeWays

MOST_ADDED_LOTS = 2
MOST_ADDED_FRAC = 2.0
MOST_FACTOR, N_FACTORS = 3.0, 601  # how far the additions are scaled up and down for their band
N_GROWN = 4  # times the plans that are told: so many sets are looked at more closely
N_STEPS, N_ZOOMS, ZOOM = 13, 8, 0.25  # of the lattice of grams; it ends within a ten-thousandth of the most
BATCH = 0  # place of the batch in the field


@dataclass(frozen=True, eq=False, slots=True)
class Batch:
    """What must all go in, a measured batch or sub-lots: spectra (k, n), oven-dry mass [g] of each, (k,)."""

    reflectance: Floats
    dry_mass_g: Floats

    def __post_init__(self) -> None:
        if len(self.dry_mass_g) != len(self.reflectance):
            raise InputError("weights of the batch", len(self.dry_mass_g), "one for each of its parts")
        if not np.all(np.isfinite(self.dry_mass_g)) or np.any(self.dry_mass_g <= 0):
            raise InputError("weights of the batch", self.dry_mass_g.tolist(), "above zero each")

    @property
    def total_dry_mass_g(self) -> float:
        """All parts together [g]."""
        return float(self.dry_mass_g.sum())


@dataclass(frozen=True, slots=True)
class Correction:
    """Additions by lot, the difference before and after, and how much they may vary.

    Parameters
    ----------
    lots, added_dry_mass_g : tuple
        What is added, oven-dry [g].
    de_before, de_after : float
        Difference to the target under the first light, in the formula of its tolerance.
    lab_after : tuple
        Predicted Lab.
    low_factor, high_factor : float or None
        All additions may be scaled together between these and the difference stays within the tolerance; None
        where even the best addition does not reach it.
    band : Band or None
        How the answer moves with M.
    trial_card_cg : tuple of int
        Hundredths of a gram for the trial card: the parts of the batch in order, then the additions.
    """

    lots: tuple[str, ...]
    added_dry_mass_g: tuple[float, ...]
    de_before: float
    de_after: float
    lab_after: Lab
    low_factor: float | None
    high_factor: float | None
    band: Band | None
    trial_card_cg: tuple[int, ...]

    @property
    def total_added_dry_mass_g(self) -> float:
        """All additions together [g]."""
        return sum(self.added_dry_mass_g)


def correct_batch(
    batch: Batch,
    *,
    target: Target,
    stock: Stock,
    owners: frozenset[str],
    ways: ShadeWays,
    tolerance_de: float,
    most_added_frac: float = 0.5,
    n_results: int = 5,
) -> tuple[Correction, ...]:
    """Best additions of one or two stock lots to a batch, the one to propose first; the others are no nearer.

    Two must beat one by a lot's worth, over the lights. A plan that is nearer in the first light alone, or by
    less than the lot more that it takes, is no other way and is left out.

    Parameters
    ----------
    batch : Batch
        As it is, measured where possible: the model's error on the batch then drops out.
    most_added_frac : float
        Most that may be added, over the batch [frac]: about 10 % repairs a difference of 3, one of 6 takes
        half.
    tolerance_de : float
        Difference that counts as on shade, in the formula of the target.

    Raises
    ------
    InputError
        A limit or a tolerance that is not above zero.
    """
    if not 0 < most_added_frac <= MOST_ADDED_FRAC:
        raise InputError(
            "most that may be added", most_added_frac, f"above 0 and at most {MOST_ADDED_FRAC:g}"
        )
    if tolerance_de <= 0:
        raise InputError("tolerance", tolerance_de, "above zero")
    field = _field(batch, target, stock, ways, most_added_frac)
    ours = [
        place for place, owner in enumerate(stock.owner) if owner in owners and stock.dry_mass_g[place] > 0
    ]
    found = grow(
        field,
        [place + 1 for place in ours],
        [BATCH],
        target=target,
        most_lots=1 + MOST_ADDED_LOTS,
        beam=BEAM,
        n_results=N_GROWN * n_results,
    )
    sets = {one.lots for one in map(without_idle, found) if len(one.lots) > 1}
    ground = _Ground(batch, field, stock, target, most_added_frac * batch.total_dry_mass_g)
    tried = [_nearest(tuple(place - 1 for place in lots if place != BATCH), ground) for lots in sets]
    best = sorted(
        {one.lots: one for one in tried if one.lots}.values(),
        key=lambda one: one.score + ways.lot_worth_de * len(one.lots),
    )
    kept = [one for one in best if one.away_de >= best[0].away_de]
    return tuple(_correction(one, ground, ways, tolerance_de) for one in kept[:n_results])


def _field(batch: Batch, target: Target, stock: Stock, ways: ShadeWays, most_added_frac: float) -> Field:
    """The batch as the first lot, with at least its share beside the most that is added; then the stock."""
    share = batch.dry_mass_g / batch.total_dry_mass_g
    own = share @ transform(batch.reflectance, ways.mixing)
    f = np.concatenate([own[None], transform(stock.reflectance, ways.mixing)])
    total_g = batch.total_dry_mass_g * (1 + most_added_frac)
    # the most an addition can be of the whole is when it is the only one
    alone = stock.dry_mass_g / (stock.dry_mass_g + batch.total_dry_mass_g)
    most = np.minimum(most_added_frac / (1 + most_added_frac), alone)
    high = np.concatenate([[1.0], most])
    low = np.zeros(len(high))
    low[BATCH] = batch.total_dry_mass_g / total_g
    return field_of_averages(f, low, high, mixing=ways.mixing, target=target)


@dataclass(frozen=True, eq=False, slots=True)
class _Ground:
    """What additions are weighed on: `most_g` is the most that is added together [g]."""

    batch: Batch
    field: Field
    stock: Stock
    target: Target
    most_g: float


@dataclass(frozen=True, eq=False, slots=True)
class _Addition:
    """Lots of the stock with what is added of each [g]; `away_de` is what is left under the first light."""

    lots: tuple[int, ...]
    added_g: Floats
    score: float
    away_de: float


def _nearest(lots: tuple[int, ...], ground: _Ground) -> _Addition:
    """The nearest addition of one or two lots by the formula of the target, within stock and limit.

    The search goes by the formula's metric at the target, which says little of a batch that stays far off:
    so the grams are looked for once more on a lattice that closes in on the best.
    """
    there_g = np.minimum(ground.stock.dry_mass_g[list(lots)], ground.most_g)
    steps = np.linspace(0, 1, N_STEPS)
    lattice = np.stack(np.meshgrid(*[steps] * len(lots), indexing="ij"), axis=-1).reshape(-1, len(lots))
    low, high = np.zeros(len(lots)), there_g
    best = _Addition(lots, there_g, np.inf, np.inf)
    for _ in range(N_ZOOMS):
        tried_g = low + lattice * (high - low)
        over = tried_g.sum(axis=1, keepdims=True) / ground.most_g
        tried_g = (tried_g / np.maximum(over, 1.0))[tried_g.sum(axis=1) > 0]
        labs = labs_of(*_shares(tried_g, lots, ground), ground.field, ground.target)
        scores = score_of(labs, ground.target)
        place = int(np.argmin(scores))
        if scores[place] < best.score:
            best = _Addition(
                lots, tried_g[place], float(scores[place]), float(ground.target.apart(labs[place, 0]))
            )
        reach_g = (high - low) * ZOOM
        low, high = np.maximum(0, best.added_g - reach_g), np.minimum(there_g, best.added_g + reach_g)
    used = best.added_g > IDLE_SHARE * ground.batch.total_dry_mass_g
    kept = tuple(lot for lot, is_used in zip(lots, used, strict=True) if is_used)
    return dataclasses.replace(best, lots=kept, added_g=best.added_g[used])


def _shares(added_g: Floats, lots: tuple[int, ...], ground: _Ground) -> tuple[Floats, Ints]:
    """Shares (B, 1 + k) of the batch and what is added to it, and their places in the field."""
    ratio = np.insert(added_g / ground.batch.total_dry_mass_g, 0, 1.0, axis=1)
    return ratio / ratio.sum(axis=1, keepdims=True), np.array([BATCH, *(lot + 1 for lot in lots)])


def _correction(found: _Addition, ground: _Ground, ways: ShadeWays, tolerance_de: float) -> Correction:
    """An addition with how much it may vary."""
    batch, field, stock, target = ground.batch, ground.field, ground.stock, ground.target
    total_g, added_g = batch.total_dry_mass_g, found.added_g
    places = list(found.lots)
    factors = FACTORS[float((stock.dry_mass_g[places] / added_g).min()) + ROUNDING_DUST >= FACTORS]
    lots = [BATCH, *(place + 1 for place in places)]
    ratio = np.concatenate([np.ones((len(factors), 1)), factors[:, None] * added_g / total_g], axis=1)
    mixed = (ratio / ratio.sum(axis=1, keepdims=True)) @ field.f.T[lots]
    labs = lab_of_reflectance(untransform(mixed, field.mixing), target.lights[0])
    apart = target.apart(labs)
    good = factors[apart <= tolerance_de]
    as_is = int(np.argmin(np.abs(factors - 1)))
    spectra = np.concatenate([batch.reflectance, stock.reflectance[places]])
    masses_g = np.concatenate([batch.dry_mass_g, added_g])
    shares = masses_g / masses_g.sum()
    return Correction(
        lots=tuple(stock.names[place] for place in places),
        added_dry_mass_g=tuple(float(mass_g) for mass_g in added_g),
        de_before=float(apart[0]),
        de_after=float(apart[as_is]),
        lab_after=as_lab(labs[as_is]),
        low_factor=float(good.min()) if good.size else None,
        high_factor=float(good.max()) if good.size else None,
        band=band_of(spectra, shares, target, ways),
        trial_card_cg=trial_card_cg(tuple(float(x) for x in shares), card_g=ways.trial_card_g),
    )


FACTORS = np.linspace(0, MOST_FACTOR, N_FACTORS)  # 0 is the batch as it is, 1 the addition as found
ROUNDING_DUST = 1e-9


def corrections_by_model(
    batch: Batch,
    mixings: tuple[Mixing, ...],
    *,
    target: Target,
    stock: Stock,
    owners: frozenset[str],
    ways: ShadeWays,
    tolerance_de: float,
    most_added_frac: float = 0.5,
) -> tuple[Correction | None, ...]:
    """The best addition by each model, in the order given; None where a model finds nothing to add.

    How much these differ is how much hangs on the trial card.
    """
    answers = [
        correct_batch(
            batch,
            target=target,
            stock=stock,
            owners=owners,
            ways=dataclasses.replace(ways, mixing=mixing),
            tolerance_de=tolerance_de,
            most_added_frac=most_added_frac,
            n_results=1,
        )
        for mixing in mixings
    ]
    return tuple(found[0] if found else None for found in answers)
