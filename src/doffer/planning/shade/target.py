"""What a recipe aims at and what it may use."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import Formula, apart
from doffer.fibre.colour.predict import Band, Lab
from doffer.fibre.colour.spectrum import Light, check_reflectance, lab_of_reflectance, light
from doffer.tables.loader import Tables

LIGHT_WEIGHTS = (("D65", "shade_weight_d65"), ("A", "shade_weight_a"), ("LED-B3", "shade_weight_led"))  # rows
MOST_LOTS = 5  # of a recipe: more cannot be weighed and fed without mistakes
MOST_STOCK = 1000  # lots a search looks through


@dataclass(frozen=True, eq=False, slots=True)
class Target:
    """A wanted colour: its Lab under each light, shape (m, 3), and whether it is known as a spectrum.

    A target known as Lab under one light says nothing about the others: they then carry no weight, and no
    metamerism is claimed.

    `formula` is the one its tolerance is written in: what a search makes least (`score_of`), and what every
    distance that is told or held against the tolerance is reckoned in (`apart`).
    """

    labs: Floats
    lights: tuple[Light, ...]
    light_weights: Floats
    has_spectrum: bool
    formula: Formula = Formula.DE2000

    def apart(self, labs: Floats) -> Floats:
        """Difference of labs, shape (..., 3), to the target under its first light, by its formula."""
        return apart(np.broadcast_to(self.labs[0], np.shape(labs)), labs, self.formula)

    def counted_in(self, formula: str) -> Target:
        """The same colour, with a tolerance that is written in this formula ("de2000" or "cmc")."""
        return dataclasses.replace(self, formula=Formula(formula))


def target_from_spectrum(reflectance: Floats, lights: tuple[Light, ...], light_weights: Floats) -> Target:
    """A target that was measured as a spectrum, shape (31,)."""
    spectrum = check_reflectance(reflectance)
    labs = np.stack([lab_of_reflectance(spectrum, one) for one in lights])
    return Target(labs, lights, np.asarray(light_weights, dtype=np.float64), has_spectrum=True)


def target_from_lab(lab: Floats, seen_in: Light) -> Target:
    """A target that is a Lab value under one light."""
    return Target(np.asarray(lab, dtype=np.float64)[None, :], (seen_in,), np.ones(1), has_spectrum=False)


def usual_lights(tables: Tables, *, observer_deg: int = 10) -> tuple[tuple[Light, ...], Floats]:
    """The lights a shade is looked at in, the standard's first, and how much each counts (constants)."""
    lights = tuple(light(tables, name, observer_deg=observer_deg) for name, _ in LIGHT_WEIGHTS)
    return lights, np.array([tables.constants[row].value for _, row in LIGHT_WEIGHTS])


@dataclass(frozen=True, eq=False, slots=True)
class Stock:
    """Lots that may go into a recipe.

    Parameters
    ----------
    names : tuple of str
        Lot numbers, N of them.
    reflectance : ndarray, shape (N, n)
        Their spectra, measured or recovered; or X/Xn, Y/Yn, Z/Zn of shape (N, 3) under `three_bands`.
    dry_mass_g : ndarray, shape (N,)
        Oven-dry fibre on hand [g].
    owner : tuple of str
        Whose fibre it is; a recipe never takes another owner's.
    cost_cents_per_kg : ndarray, shape (N,)
        Cost of a kilogram oven-dry.
    """

    names: tuple[str, ...]
    reflectance: Floats
    dry_mass_g: Floats
    owner: tuple[str, ...]
    cost_cents_per_kg: Floats

    def __post_init__(self) -> None:
        n_lots = len(self.names)
        if not len(self.owner) == len(self.dry_mass_g) == len(self.cost_cents_per_kg) == n_lots:
            raise InputError("stock", n_lots, "named, owned, weighed and priced lot by lot")
        if self.reflectance.ndim != 2 or len(self.reflectance) != n_lots:
            raise InputError("spectra of the stock", self.reflectance.shape, f"one a lot, {n_lots} lots")
        if n_lots > MOST_STOCK:
            raise InputError("lots in the stock", n_lots, f"at most {MOST_STOCK}; leave out what is far off")
        if not np.all(np.isfinite(self.dry_mass_g)) or np.any(self.dry_mass_g < 0):
            raise InputError("weights of the stock", self.dry_mass_g.tolist(), "zero or more each")


@dataclass(frozen=True, slots=True)
class Rules:
    """What a recipe must keep.

    Parameters
    ----------
    batch_dry_mass_g : float
        Oven-dry mass of the blend [g]; sets what a lot on hand allows as a share.
    owners : frozenset of str
        Whose fibre may be used.
    most_lots : int
        2 to 5.
    least_share : float
        A lot that is used gives at least this share [frac].
    required, forbidden : frozenset of str
        Lots that must, or must not, be in it.
    """

    batch_dry_mass_g: float
    owners: frozenset[str]
    most_lots: int = 4
    least_share: float = 0.03
    required: frozenset[str] = frozenset()
    forbidden: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if not 1 <= self.most_lots <= MOST_LOTS:
            raise InputError("lots in a recipe", self.most_lots, f"from 1 to {MOST_LOTS}")
        if not 0 < self.least_share <= 1 / self.most_lots:
            raise InputError("least share", self.least_share, f"above 0 and at most {1 / self.most_lots:.2f}")
        if self.batch_dry_mass_g <= 0:
            raise InputError("weight of the batch", self.batch_dry_mass_g, "above zero")
        if self.required & self.forbidden:
            both = ", ".join(sorted(self.required & self.forbidden))
            raise InputError("lots", both, "either required or forbidden, not both")
        if len(self.required) > self.most_lots:
            raise InputError("required lots", len(self.required), f"at most {self.most_lots}")


@dataclass(frozen=True, slots=True)
class Recipe:
    """A blend found: lots with shares by oven-dry mass, largest first, and how far it is from the target.

    Parameters
    ----------
    lots, shares : tuple
        Lot numbers and their shares.
    lab : tuple
        Predicted Lab under the first light.
    de : mapping
        Difference to the target by illuminant, in the formula of its tolerance.
    de_cmc : float
        CMC(2:1) to the target under the first light.
    metamerism : mapping or None
        Metamerism index by further illuminant; None for a target that is not known as a spectrum.
    score : float
        Weighted root of the squared differences, in `formula`.
    band : Band or None
        How the answer moves with M over about 95 % of its range; None for models without M.
    cost_cents_per_kg : float
        Of the blend, oven-dry.
    de_per_point : tuple of float
        How far the colour moves when a lot is one percentage point too heavy: the care its weighing needs.
    trial_card_cg : tuple of int
        Hundredths of a gram of each lot for the trial card that comes before the blend.
    formula : Formula
        What `de` is reckoned in.
    """

    lots: tuple[str, ...]
    shares: tuple[float, ...]
    lab: Lab
    de: Mapping[str, float] = field(hash=False)
    de_cmc: float
    metamerism: Mapping[str, float] | None = field(hash=False)
    score: float
    band: Band | None
    cost_cents_per_kg: float
    de_per_point: tuple[float, ...]
    trial_card_cg: tuple[int, ...]
    formula: Formula = Formula.DE2000


def score_of(labs: Floats, target: Target) -> Floats:
    """Weighted root of squared differences over the lights, shape (B,), for labs of shape (B, m, 3).

    By the formula of the target, so that the recipe that is found is the nearest by what it is held against.
    """
    squares = apart(np.broadcast_to(target.labs, labs.shape), labs, target.formula) ** 2
    return np.asarray(np.sqrt(squares @ target.light_weights))
