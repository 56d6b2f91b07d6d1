"""A passage: what is laid on the belt and what it goes through, in the figures that matter for mixing.

The same passage runs in closed form (`spectrum`) and as a simulated stream (`stream`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats


class Laying(StrEnum):
    """How the fibre comes to the picker: layers in turn, or pure handfuls thrown in any order."""

    LAYERS = "layers"
    HANDFULS = "handfuls"


class Cans(StrEnum):
    """How the cans of a drawing are cut: out of step with the layers, or at a whole number of them."""

    APART = "apart"
    IN_STEP = "in step"


@dataclass(frozen=True, slots=True)
class Part:
    """One component of the blend.

    Parameters
    ----------
    name : str
        Its lot.
    share_frac : float
        Share of the oven-dry fibre [frac], above 0.
    diameter_um, diameter_cv_frac, staple_mm, staple_cv_frac : float
        Mean and coefficient of variation of fibre diameter and fibre length.
    density_g_cm3 : float
        Density of the fibre.
    fibre : str
        Which fibre it is, so that lots of one fibre count as one on a label; "": of its own.
    """

    name: str
    share_frac: float
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float
    density_g_cm3: float
    fibre: str = ""


@dataclass(frozen=True, slots=True)
class Feed:
    """What is laid on the belt.

    Parameters
    ----------
    lot_dry_mass_g : float
        Oven-dry fibre of the whole lot [g], above 0.
    parts : tuple of Part
        Components in the order they are laid within one set of layers; shares sum to 1.
    layers : int
        Sets of layers, >= 1; one set holds one layer of every part and weighs lot / layers.
    laying : Laying
        HANDFULS: every layer is thrown as a pure handful, in random order.
    has_half_layer_ends : bool
        The largest part begins and ends with half a layer, as the feed sheet says.
    weighing_sd_g : float
        Standard deviation of one layer's weighing [g].
    clump_g : float
        Mass of the locks as fed, ``E[m^2] / E[m]`` [g]; 0: opened to single fibres.
    """

    lot_dry_mass_g: float
    parts: tuple[Part, ...]
    layers: int
    laying: Laying = Laying.LAYERS
    has_half_layer_ends: bool = True
    weighing_sd_g: float = 0.0
    clump_g: float = 0.0

    def __post_init__(self) -> None:
        if not self.lot_dry_mass_g > 0 or self.layers < 1:
            raise InputError(
                "lot and layers", (self.lot_dry_mass_g, self.layers), "above zero grams, one or more layers"
            )
        if not self.parts or any(not part.share_frac > 0 for part in self.parts):
            raise InputError("shares", [part.share_frac for part in self.parts], "above zero for every part")
        if abs(sum(part.share_frac for part in self.parts) - 1) > SHARES_CLOSE_TO:
            raise InputError("shares", [part.share_frac for part in self.parts], "1 together")
        if self.weighing_sd_g < 0 or self.clump_g < 0:
            raise InputError("weighing and clumps", (self.weighing_sd_g, self.clump_g), "zero grams or more")

    @property
    def shares(self) -> Floats:
        """Shares of the oven-dry fibre [frac], shape (k,)."""
        return np.array([part.share_frac for part in self.parts])

    @property
    def set_mass_g(self) -> float:
        """Oven-dry fibre in one set of layers (P) [g]."""
        return self.lot_dry_mass_g / self.layers


SHARES_CLOSE_TO = 1e-9


@dataclass(frozen=True, slots=True)
class Pick:
    """One pass through the picker.

    Parameters
    ----------
    hold_up_g : float
        Oven-dry fibre that mixes inside (first-order lag) [g], >= 0.
    sandwich_g : float
        What enters the nip together as one sandwich on the belt [g], >= 0.
    clump_g : float
        Clumps that leave, ``E[m^2] / E[m]`` [g], >= 0.
    """

    hold_up_g: float
    sandwich_g: float = 0.0
    clump_g: float = 0.0


@dataclass(frozen=True, slots=True)
class Toss:
    """Fibre grabbed from the bin in random order: mass of one grab [g]."""

    increment_g: float


@dataclass(frozen=True, slots=True)
class Card:
    """The card: a first-order lag of its hold-up [g oven-dry]; clumps are opened to fibres."""

    hold_up_g: float


@dataclass(frozen=True, slots=True)
class Draw:
    """One drawing: ends fed together, draft, correlation between the ends, how the cans are cut."""

    ends: int
    draft: float
    correlation: float = 0.0
    cans: Cans = Cans.APART


Step = Pick | Toss | Card | Draw


@dataclass(frozen=True, slots=True)
class Passage:
    """A feed, its steps in order, and the linear density of the strand that comes of it [tex]."""

    feed: Feed
    steps: tuple[Step, ...]
    strand_tex: float

    def __post_init__(self) -> None:
        if not self.strand_tex > 0:
            raise InputError("count", self.strand_tex, "above zero tex")
        for step in self.steps:
            _check(step)

    def stages(self) -> tuple[Passage, ...]:
        """The passage up to the feed, and up to each step in turn: what a strip is drawn of."""
        return tuple(
            Passage(self.feed, self.steps[:count], self.strand_tex) for count in range(len(self.steps) + 1)
        )


def _check(step: Step) -> None:
    match step:
        case Pick():
            good = min(step.hold_up_g, step.sandwich_g, step.clump_g) >= 0
        case Toss():
            good = step.increment_g > 0
        case Card():
            good = step.hold_up_g >= 0
        case Draw():
            good = step.ends >= 1 and step.draft > 0 and 0 <= step.correlation <= 1
    if not good:
        raise InputError(
            "step", step, "grams of zero or more, one end or more, draft above zero, correlation from 0 to 1"
        )
