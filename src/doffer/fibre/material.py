"""Material: what lies on the scale, seen by an engineer.

A material is made of *constituents* (one lot's fibre each) with their oven-dry clean mass, and carries
water, foreign matter (grease, suint, dirt, vegetable matter) and finish (conditioner) with it. Every mass
is an array over *samples*, so that uncertain yields travel through all stages and ranges come out at the
end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Variation, joined_variation


class Form(StrEnum):
    """What the fibre looks like now."""

    GREASY = "greasy"
    SKIRTED = "skirted"
    SCOURED = "scoured"
    OPENED = "opened"
    ROVING = "roving"
    BATT = "batt"
    SINGLE = "single"
    PLIED = "plied"
    SKEIN = "skein"


@dataclass(frozen=True, slots=True)
class Constituent:
    """One lot's fibre inside a material.

    Parameters
    ----------
    lot : str
        Lot number the fibre came from.
    fibre : str
        Key of ``tables.fibres``.
    diameter_um, diameter_cv_frac : float
        Mean fibre diameter [um] and its coefficient of variation [frac].
    staple_mm, staple_cv_frac : float
        Mean staple length [mm] and its coefficient of variation [frac].
    """

    lot: str
    fibre: str
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float


@dataclass(frozen=True, slots=True)
class Material:
    """Fibre of one or more lots with what rides along.

    Parameters
    ----------
    constituents : tuple of Constituent
        k parts; a lot appears once.
    dry_mass_g : ndarray, shape (k, n)
        Oven-dry clean fibre [g] in n samples (n = 1: certain), >= 0.
    foreign_mass_g : ndarray, shape (k, n)
        Grease, suint, dirt and vegetable matter still on it [g], as weighed.
    finish_mass_g : ndarray, shape (k, n)
        Conditioner that stays on the fibre [g], without its water.
    actual_regain_frac : float
        Water now over oven-dry fibre [frac].
    form : Form
        What it looks like.
    count_tex : float or None
        Linear density of a strand [tex]; None for loose fibre.
    variation : Variation or None
        How its composition varies along the flow; None: not followed.
    """

    constituents: tuple[Constituent, ...]
    dry_mass_g: Floats
    foreign_mass_g: Floats
    finish_mass_g: Floats
    actual_regain_frac: float
    form: Form
    count_tex: float | None = None
    variation: Variation | None = None

    def __post_init__(self) -> None:
        shape = self.dry_mass_g.shape
        if len(shape) != 2 or shape[0] != len(self.constituents):
            raise InputError("dry_mass_g", shape, f"shaped ({len(self.constituents)}, samples)")
        if self.foreign_mass_g.shape != shape or self.finish_mass_g.shape != shape:
            raise InputError("foreign_mass_g and finish_mass_g", shape, "shaped like dry_mass_g")
        if len({part.lot for part in self.constituents}) != shape[0] or 0 in shape:
            raise InputError("lots", [part.lot for part in self.constituents], "at least one, each once")
        for masses in (self.dry_mass_g, self.foreign_mass_g, self.finish_mass_g):
            if not np.all(np.isfinite(masses)) or masses.min() < 0:
                raise InputError("mass", float(masses.min()), "a number of zero or more in every sample")
        if not 0 <= self.actual_regain_frac < MOST_WATER_FRAC:
            raise InputError("actual_regain_frac", self.actual_regain_frac, f"from 0 to {MOST_WATER_FRAC}")

    @property
    def n_samples(self) -> int:
        """Number of samples n."""
        return int(self.dry_mass_g.shape[1])

    @property
    def total_dry_mass_g(self) -> Floats:
        """Oven-dry clean fibre of all constituents [g], shape (n,)."""
        return np.asarray(self.dry_mass_g.sum(axis=0))

    @property
    def weighed_mass_g(self) -> Floats:
        """What a scale would show [g]: fibre, its water, foreign matter, finish; shape (n,)."""
        water = self.total_dry_mass_g * self.actual_regain_frac
        rest = self.foreign_mass_g.sum(axis=0) + self.finish_mass_g.sum(axis=0)
        return np.asarray(self.total_dry_mass_g + water + rest)

    @property
    def shares(self) -> Floats:
        """Oven-dry shares of the constituents [frac], shape (k, n); zero where there is no fibre."""
        total = self.total_dry_mass_g
        return np.divide(self.dry_mass_g, total, out=np.zeros_like(self.dry_mass_g), where=total > 0)


MOST_WATER_FRAC = 5.0  # dripping fleece out of a bath holds about 3 g of water per g; more is a typing error


def join(materials: Sequence[Material]) -> Material:
    """One material out of several: masses add lot by lot, water adds by mass, strands lose their count.

    All parts must have the same number of samples (or 1, which is spread over them). How composition varies
    is known afterwards where it was known of every part, as if one was fed after the other.

    Raises
    ------
    InputError
        Nothing to join, or sample counts that do not fit.
    """
    if not materials:
        raise InputError("materials", "none", "at least one")
    if len(materials) == 1:
        return materials[0]
    n_samples = max(m.n_samples for m in materials)
    if any(m.n_samples not in (1, n_samples) for m in materials):
        raise InputError("samples", [m.n_samples for m in materials], "the same number in every part, or 1")
    constituents: dict[str, Constituent] = {}
    for material in materials:
        for part in material.constituents:
            constituents.setdefault(part.lot, part)
    row_of = {lot: row for row, lot in enumerate(constituents)}
    dry, foreign, finish = (np.zeros((len(row_of), n_samples)) for _ in range(3))
    for material in materials:
        rows = [row_of[part.lot] for part in material.constituents]
        dry[rows] += material.dry_mass_g
        foreign[rows] += material.foreign_mass_g
        finish[rows] += material.finish_mass_g
    return Material(
        constituents=tuple(constituents.values()),
        dry_mass_g=dry,
        foreign_mass_g=foreign,
        finish_mass_g=finish,
        actual_regain_frac=_joint_regain_frac(materials),
        form=materials[0].form if len({m.form for m in materials}) == 1 else Form.OPENED,
        variation=joined_variation(
            [material.variation for material in materials],
            [float(material.total_dry_mass_g.mean()) for material in materials],
        ),
    )


def take(material: Material, *, share: float) -> Material:
    """A share of a material, 0 to 1, of the same composition."""
    if not 0 <= share <= 1:
        raise InputError("share", share, "from 0 to 1")
    if share == 1:
        return material
    return Material(
        constituents=material.constituents,
        dry_mass_g=material.dry_mass_g * share,
        foreign_mass_g=material.foreign_mass_g * share,
        finish_mass_g=material.finish_mass_g * share,
        actual_regain_frac=material.actual_regain_frac,
        form=material.form,
        count_tex=material.count_tex,
        variation=material.variation,
    )


def _joint_regain_frac(materials: Sequence[Material]) -> float:
    """Water over oven-dry fibre of the heap, from mean masses."""
    dry = [float(m.total_dry_mass_g.mean()) for m in materials]
    if sum(dry) <= 0:
        return materials[0].actual_regain_frac
    water = sum(d * m.actual_regain_frac for d, m in zip(dry, materials, strict=True))
    return water / sum(dry)
