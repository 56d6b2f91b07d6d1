"""What the lots of a recipe can make at all: a trial card far from all of it was mis-weighed or mis-read."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import BlendModel, Mixing, transform, untransform
from doffer.fibre.colour.difference import Formula, apart
from doffer.fibre.colour.predict import Lab, as_lab, mixing_ends
from doffer.fibre.colour.spectrum import Light, lab_of_reflectance
from doffer.fibre.colour.words import difference_words
from doffer.planning.shade.ways import ShadeWays

LATTICE = {1: 1, 2: 60, 3: 20, 4: 12, 5: 8}  # steps of the shares by the number of lots
ZOOMS = (1.0, 0.5, 0.25, 0.12, 0.06, 0.03, 0.015)
L_STAR = 0


@dataclass(frozen=True, slots=True)
class Reach:
    """The blend of some lots that comes nearest to a measured card, whatever their shares.

    `de` is how far the card lies from it, by the formula that was asked for; `words` how the card differs
    from it; `beyond` is "darker" or "lighter" when the card is so beside every single lot, else "".
    """

    de: float
    lab: Lab
    words: tuple[str, ...]
    beyond: str


def reach_of(
    lots: Floats,
    measured_lab: Floats,
    seen_in: Light,
    *,
    ways: ShadeWays,
    formula: Formula = Formula.DE2000,
) -> Reach:
    """How near the lots can come to a card in any shares and with any constant that the mill's may be.

    Shares are tried on a lattice that closes in on the best, under the model as it is, with both ends of its
    constant (about 95 %), and under plain averaging. A blend is never darker than its darkest lot nor lighter
    than its lightest under any of these models, for each wavelength lies between those of the lots.

    Parameters
    ----------
    lots : ndarray, shape (k, n)
        Spectra of the lots, one to five.
    measured_lab : ndarray, shape (3,)
        The card as it was read.
    formula : Formula
        Of the tolerance that the distance is held against.

    Raises
    ------
    InputError
        More lots than a recipe holds.
    """
    n_lots = len(lots)
    if n_lots not in LATTICE:
        raise InputError("lots of the card", n_lots, f"one to {max(LATTICE)}")
    best_de, best_lab = np.inf, measured_lab
    for mixing in _mixings(ways):
        turned = transform(lots, mixing)
        shares = np.full(n_lots, 1 / n_lots)
        for zoom in ZOOMS:
            tried = (1 - zoom) * shares + zoom * _lattice(n_lots)
            labs = lab_of_reflectance(untransform(tried @ turned, mixing), seen_in)
            off = apart(np.broadcast_to(measured_lab, labs.shape), labs, formula)
            place = int(np.argmin(off))
            if off[place] <= best_de:
                best_de, best_lab = float(off[place]), labs[place]
            shares = tried[place]
    alone = lab_of_reflectance(lots, seen_in)[:, L_STAR]
    lightness = float(measured_lab[L_STAR])
    beyond = "darker" if lightness < alone.min() else "lighter" if lightness > alone.max() else ""
    return Reach(best_de, as_lab(best_lab), difference_words(best_lab, measured_lab), beyond)


def _mixings(ways: ShadeWays) -> tuple[Mixing, ...]:
    plain = Mixing(BlendModel.PLAIN_AVERAGE, 0.0)
    if ways.mixing.model is not BlendModel.STEARNS_NOECHEL:
        return ways.mixing, plain
    return ways.mixing, *mixing_ends(ways.mixing, ln_m_sd=ways.ln_m_sd), plain


def _lattice(n_lots: int) -> Floats:
    """Every way to give whole steps of shares to some lots, shape (N, k), rows summing to 1."""
    if n_lots == 1:
        return np.ones((1, 1))
    n_steps = LATTICE[n_lots]
    bars = np.array(list(combinations(range(n_steps + n_lots - 1), n_lots - 1)), dtype=np.float64)
    ends = np.full((len(bars), 1), float(n_steps + n_lots - 1))
    edges = np.concatenate([np.full((len(bars), 1), -1.0), bars, ends], axis=1)
    return np.asarray((np.diff(edges, axis=1) - 1) / n_steps)
