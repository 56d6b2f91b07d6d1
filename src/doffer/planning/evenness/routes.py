"""Very many routes at once: what every set, sandwich, number of passes and drawing leaves.

The steps up to the card are reckoned once for each way of feeding and picking. All drawings after it are sums
over the card's spectrum with weights that depend on the doublings alone, so they are one product of matrices.
The answers are those of `spectrum.through` (tests hold them together).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.variation import COLOUR_AXES, Signals, Variation
from doffer.process.evenness.passage import Card, Feed, Pick, Toss
from doffer.process.evenness.spectrum import LOT_WAVES, apply, box_gain, laid
from doffer.process.evenness.visible import G_PER_MM_PER_TEX, contrast_weights
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Feeding:
    """One way of feeding: sets of layers, and what enters the nip together as a sandwich [g]."""

    layers: int
    sandwich_g: float


@dataclass(frozen=True, slots=True)
class Machines:
    """Figures for one end of the band: picks in order, grab, card, correlation of the ends."""

    picks: tuple[Pick, ...]
    toss: Toss
    card: Card
    correlation: float


@dataclass(frozen=True, eq=False, slots=True)
class Eye:
    """What is looked at: pieces of a strand, its count, the distance, and weighed specimens."""

    piece_mm: float
    strand_tex: float
    distance_mm: float
    specimens_g: Floats


@dataclass(frozen=True, eq=False, slots=True)
class Left:
    """Variance left, for feedings c, passes 0 .. p and doublings e.

    Parameters
    ----------
    seen : ndarray, shape (c, p + 1, e)
        Of the colour as the eye takes it in [CIELAB^2]; zero where no colours are known.
    shares : ndarray, shape (c, p + 1, e, s, k)
        Of every share followed between specimens of s masses [frac^2].
    """

    seen: Floats
    shares: Floats


def variance_left(
    feed: Feed,
    feedings: Sequence[Feeding],
    doublings: Sequence[int],
    *,
    machines: Machines,
    signals: Signals,
    eye: Eye,
    tables: Tables,
) -> Left:
    """Variance after every feeding, number of passes and doubling; `signals`: shares, then colour axes."""
    k = len(signals.names)
    if signals.names[-len(COLOUR_AXES) :] == COLOUR_AXES:
        k -= len(COLOUR_AXES)
    seen, shares, weights, last_layers = [], [], _Weights({}, {}), None
    kept = np.array([machines.correlation + (1 - machines.correlation) / ends for ends in doublings])
    ends = np.array(doublings, dtype=np.float64)
    for feeding in feedings:
        if feeding.layers != last_layers:
            weights, last_layers = _Weights(weights.continuum, {}), feeding.layers
        start = laid(dataclasses.replace(feed, layers=feeding.layers), signals)
        for carded in _carded(start, feeding, machines):
            weights = _weights(weights, carded, ends, feed.lot_dry_mass_g, eye, tables)
            seen.append(kept * _summed(carded, weights, "seen", rows=slice(k, None)))
            shares.append(kept[:, None, None] * _summed(carded, weights, "shares", rows=slice(0, k)))
    counts = (len(feedings), len(machines.picks) + 1, len(doublings))
    return Left(
        np.reshape(np.array(seen), counts),
        np.reshape(np.array(shares), (*counts, len(eye.specimens_g), k)),
    )


def _carded(start: Variation, feeding: Feeding, machines: Machines) -> list[Variation]:
    """After the card with no pass, one pass, two passes, and so on."""
    heap, found = start, [apply(machines.card, start)]
    for number, pick in enumerate(machines.picks):
        sandwich_g = 0.0 if number else feeding.sandwich_g  # what was tossed has no layers left
        heap = apply(dataclasses.replace(pick, sandwich_g=sandwich_g), heap)
        heap = apply(machines.toss, heap)
        found.append(apply(machines.card, heap))
    return found


@dataclass(frozen=True, eq=False, slots=True)
class _Weights:
    """Weights of the continuum (e, f, ...) and of the lines (e, h, ...) by what is looked at."""

    continuum: dict[str, Floats]
    lines: dict[str, Floats]


def _weights(
    before: _Weights, carded: Variation, ends: Floats, lot_g: float, eye: Eye, tables: Tables
) -> _Weights:
    """The weights of before where they fit, else new ones: the continuum's once, the lines' once a set."""
    continuum = before.continuum or _continuum(carded.cycles_per_g, ends, lot_g, eye, tables)
    lines = before.lines or _kernels(carded.line_cycles_per_g / ends[:, None], eye, tables)
    return _Weights(continuum, lines)


def _kernels(cycles_per_g: Floats, eye: Eye, tables: Tables) -> dict[str, Floats]:
    """What of a wave is looked at: `seen` (3, ...) by colour axis, `shares` (s, ...) by specimen."""
    waves = cycles_per_g * eye.strand_tex * G_PER_MM_PER_TEX * eye.distance_mm * np.tan(np.pi / 180)
    piece_g = eye.piece_mm * eye.strand_tex * G_PER_MM_PER_TEX
    seen = contrast_weights(tables, waves) ** 2 * np.sinc(cycles_per_g * piece_g) ** 2
    shares = np.stack([np.sinc(cycles_per_g * mass_g) ** 2 for mass_g in eye.specimens_g])
    return {"seen": seen, "shares": shares}


def _continuum(
    cycles_per_g: Floats, ends: Floats, lot_g: float, eye: Eye, tables: Tables
) -> dict[str, Floats]:
    """Weights of the card's density: waves of the whole lot one by one, an integral above them."""
    numbers = np.arange(1, LOT_WAVES + 1)
    at_waves = _kernels(numbers / lot_g, eye, tables)
    found: dict[str, list[Floats]] = {"seen": [], "shares": []}
    for n in ends:
        smooth = _smooth_kernels(cycles_per_g, n, eye, tables)
        above = _trapezoids_above(cycles_per_g, first=(LOT_WAVES + 0.5) * n / lot_g)
        for name, rows in found.items():
            weight = smooth[name] * above
            lot = at_waves[name] * n / lot_g
            rows.append(weight + _spread_back(cycles_per_g, numbers * n / lot_g, lot))
    return {name: np.stack(rows, axis=1) for name, rows in found.items()}


def _smooth_kernels(cycles_per_g: Floats, ends: float, eye: Eye, tables: Tables) -> dict[str, Floats]:
    """Kernels at the drawn waves with the lobes evened out where the grid is coarser than they are."""
    drawn = cycles_per_g / ends
    piece_g = eye.piece_mm * eye.strand_tex * G_PER_MM_PER_TEX
    waves = drawn * eye.strand_tex * G_PER_MM_PER_TEX * eye.distance_mm * np.tan(np.pi / 180)
    seen = contrast_weights(tables, waves) ** 2 * box_gain(drawn, length_g=piece_g)
    return {
        "seen": seen,
        "shares": np.stack([box_gain(drawn, length_g=mass_g) for mass_g in eye.specimens_g]),
    }


def _trapezoids_above(cycles_per_g: Floats, *, first: float) -> Floats:
    """Weights of an integral by trapezoids from `first` up, in place on the grid."""
    above = int(np.searchsorted(cycles_per_g, first, side="right"))
    weights = np.zeros_like(cycles_per_g)
    if above >= len(cycles_per_g):
        return weights
    steps = np.diff(cycles_per_g[above:]) / 2
    weights[above:-1] += steps
    weights[above + 1 :] += steps
    # the piece between `first` and the next frequency of the grid, by the value at either end
    piece, gap = cycles_per_g[above] - first, cycles_per_g[above] - cycles_per_g[above - 1]
    low = piece / gap
    weights[above] += piece / 2 * (2 - low)
    weights[above - 1] += piece / 2 * low
    return weights


def _spread_back(cycles_per_g: Floats, at: Floats, weight: Floats) -> Floats:
    """Weights on the grid that give the sum of straight-line values at other frequencies, shape (s, f)."""
    right = np.clip(np.searchsorted(cycles_per_g, at), 1, len(cycles_per_g) - 1)
    left_part = np.clip(
        (cycles_per_g[right] - at) / (cycles_per_g[right] - cycles_per_g[right - 1]), 0.0, 1.0
    )
    out = np.zeros((len(weight), len(cycles_per_g)))
    for at_row, values in enumerate(weight):
        out[at_row] += np.bincount(right, values * (1 - left_part), minlength=out.shape[1])
        out[at_row] += np.bincount(right - 1, values * left_part, minlength=out.shape[1])
    return out


def _summed(carded: Variation, weights: _Weights, name: str, *, rows: slice) -> Floats:
    """Variance by doubling: of the colour axes together (e,), or of specimens and parts (e, s, k)."""
    density, lines = carded.density_g[rows], carded.line_variance[rows]
    if name == "seen":
        if not len(density):
            return np.zeros(weights.continuum[name].shape[1])
        continuum = np.einsum("aef,af->e", weights.continuum[name], density)
        return np.asarray(continuum + np.einsum("aeh,ah->e", weights.lines[name], lines))
    summed = weights.continuum[name] @ density.T + weights.lines[name] @ lines.T
    return np.asarray(np.moveaxis(summed, 0, 1))
