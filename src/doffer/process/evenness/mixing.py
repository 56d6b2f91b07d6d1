"""The variation of a material on its way through a stage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Material
from doffer.fibre.variation import Signals, Variation, share_signals, with_shares
from doffer.process.evenness.passage import Feed, Step
from doffer.process.evenness.spectrum import apply_all, laid


@dataclass(frozen=True, eq=False, slots=True)
class Mixing:
    """How a stage mixes.

    Parameters
    ----------
    steps : tuple of Step
        Everything the fibre goes through in the stage, in order: each passage of the picker and each tossing,
        the card, each drawing. Plying m singles is a drawing of m ends, draft 1.
    feed : Feed or None
        How the lots are laid before the first step; None: what comes in goes on as it is.
    signals : Signals or None
        What is followed of a new feed; None: the share of each lot.
    """

    steps: tuple[Step, ...] = ()
    feed: Feed | None = None
    signals: Signals | None = None


def mixed(material: Material, left_mass_g: Floats, mixing: Mixing | None) -> Variation | None:
    """How the composition varies after a stage; None where it was not known before.

    Parameters
    ----------
    material : Material
        What goes in.
    left_mass_g : ndarray, shape (k, n)
        Oven-dry fibre of each constituent that comes out [g]; the mean shares follow it.
    mixing : Mixing or None
        What the stage does; None: nothing.

    Raises
    ------
    InputError
        The feed lays other lots than the material has.
    """
    variation = material.variation
    if mixing is not None and mixing.feed is not None:
        laid_lots = [part.name for part in mixing.feed.parts]
        lots = [part.lot for part in material.constituents]
        if laid_lots != lots:
            raise InputError("lots on the belt", laid_lots, f"those of the material, {', '.join(lots)}")
        variation = laid(mixing.feed, mixing.signals or share_signals(mixing.feed.parts))
    if variation is None:
        return None
    if mixing is not None:
        variation = apply_all(mixing.steps, variation)
    return with_shares(variation, _mean_shares(left_mass_g)) if left_mass_g.sum() > 0 else variation


def _mean_shares(dry_mass_g: Floats) -> Floats:
    means = dry_mass_g.mean(axis=1)
    return np.asarray(means / means.sum())
