"""The variance spectrum of composition in closed form: laid, picked, tossed, carded, drawn.

Mixing multiplies the density S(nu) of every signal by ``|H(nu)|^2`` and leaves the mean alone; clumps and
grabs put part of the variance back as noise. Frequencies nu are cycles per oven-dry gram. Where a formula is
not our own arithmetic its source is said beside it; formulas marked "computed" were derived here and checked
against the simulated stream.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Signals, Variation, unmixed_variance
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Passage, Pick, Step, Toss

LINES = 300  # of the layers; what lies above is put into the last, so the sum is exact
FREQUENCIES = 1500
LONGEST_G, SHORTEST_G = 1e6, 1e-2  # waves of the grid: a tonne, and less than the finest clump
LOT_WAVES = 64  # waves of a whole lot counted one by one; above, the sum is an integral


@dataclass(frozen=True, eq=False, slots=True)
class Grid:
    """Frequencies of the continuum [1/g], rising, shape (f,), and how many lines of layers are followed."""

    cycles_per_g: Floats
    lines: int = LINES


@lru_cache(maxsize=1)
def usual_grid() -> Grid:
    """Zero and waves from a tonne down to 10 mg, evenly spaced in the logarithm."""
    rising = np.geomspace(1 / LONGEST_G, 1 / SHORTEST_G, FREQUENCIES - 1)
    cycles_per_g = np.concatenate([np.zeros(1), rising])
    cycles_per_g.setflags(write=False)
    return Grid(cycles_per_g)


@dataclass(frozen=True, eq=False, slots=True)
class _Axis:
    """Frequencies of a continuum and what each stands for in a sum by trapezoids [1/g], shape (f,) each.

    Two axes are never equal, so gains are remembered by the axis itself.
    """

    cycles_per_g: Floats
    widths: Floats


def _axis_of(cycles_per_g: Floats) -> _Axis:
    """The axis of some frequencies; that of the usual grid is made once."""
    return (
        _usual_axis()
        if cycles_per_g is usual_grid().cycles_per_g
        else _Axis(cycles_per_g, _widths(cycles_per_g))
    )


@lru_cache(maxsize=1)
def _usual_axis() -> _Axis:
    cycles_per_g = usual_grid().cycles_per_g
    return _Axis(cycles_per_g, _widths(cycles_per_g))


def laid(feed: Feed, signals: Signals, grid: Grid | None = None) -> Variation:
    """Spectrum of what is laid on the belt.

    Layers in turn: lines at ``j / P`` of variance ``2 |sum_k w_k c_kj|^2``, where c_kj are the Fourier
    coefficients of the place of part k within one set of layers of P grams; for two parts
    ``2 (sin(pi j p) / (pi j))^2``. Half layers at the ends shift the pattern and leave the lines alone.
    Weighing errors add ``sum_k (sd (w_k - mean) / P)^2`` as noise of scale P. Pure handfuls of mass h in any
    order: noise of scale h, ``sum_k p_k (w_k - mean)^2 2 h_k sinc^2(nu h_k)`` (exact where all weigh alike).
    Locks inside pure layers add nothing. Computed; the sum is the variance of unmixed parts.
    """
    grid = grid or usual_grid()
    frequencies, axis = grid.cycles_per_g, _axis_of(grid.cycles_per_g)
    shares = feed.shares
    density = np.zeros((len(signals.names), len(frequencies)))
    if feed.laying is Laying.HANDFULS:
        away = (signals.weights - (signals.weights @ shares)[:, None]) ** 2 * shares
        for part, handful_g in enumerate(shares * feed.set_mass_g):
            density += away[:, part, None] * _noise(axis, handful_g)
        lines, line_frequencies = np.zeros((len(density), 0)), np.zeros(0)
    else:
        numbers = np.arange(1.0, grid.lines + 1)
        lines, line_frequencies = _layer_lines(shares, signals, numbers), numbers / feed.set_mass_g
        if feed.weighing_sd_g > 0:
            away = ((signals.weights - (signals.weights @ shares)[:, None]) ** 2).sum(axis=1)
            noise = _noise(axis, feed.set_mass_g)
            density += away[:, None] * (feed.weighing_sd_g / feed.set_mass_g) ** 2 * noise
    return Variation(signals.names, signals.weights, shares, frequencies, density, line_frequencies, lines)


def _layer_lines(shares: Floats, signals: Signals, numbers: Floats) -> Floats:
    """Variance of the lines of layers laid in turn, shape (q, h); the last holds all above it."""
    middles = np.cumsum(shares) - shares / 2
    sizes = np.sin(np.pi * numbers * shares[:, None]) / (np.pi * numbers)
    angles = 2 * np.pi * numbers * middles[:, None]
    real, imaginary = signals.weights @ (sizes * np.cos(angles)), signals.weights @ (sizes * np.sin(angles))
    lines = np.asarray(2 * (real**2 + imaginary**2))
    lines[:, -1] += np.maximum(unmixed_variance(signals.weights, shares) - lines.sum(axis=1), 0)
    return lines


def lag_gain(cycles_per_g: Floats, *, hold_up_g: float, tanks: int = 1) -> Floats:
    """``|H|^2 = (1 + (2 pi nu tau / N)^2)^-N`` of N equal tanks that hold tau grams together.

    One tank is the usual card and picker. Source: theory of residence times, from memory.
    """
    return np.asarray((1 + (2 * np.pi * hold_up_g / tanks * cycles_per_g) ** 2) ** -tanks)


def box_gain(cycles_per_g: Floats, *, length_g: float) -> Floats:
    """``|H|^2 = sinc^2(nu b)`` of a mean over b grams, averaged over each step of the grid.

    Where the lobes are finer than the grid this is their mean ``1 / (2 (pi nu b)^2)``. Computed.
    """
    return _box(cycles_per_g, _widths(cycles_per_g), length_g=length_g)


def _box(cycles_per_g: Floats, widths: Floats, *, length_g: float | Floats) -> Floats:
    turns = np.pi * length_g * cycles_per_g
    blur = -np.expm1(-((np.pi * length_g * widths) ** 2) / 6)
    squares = np.maximum(turns**2, TINY)
    gain = ((1 - blur) * np.sin(turns) ** 2 + blur / 2) / squares
    return np.where(squares > TINY, np.minimum(gain, 1), 1)


KEPT = 64  # gains remembered: a search tries the same machines on many feeds
TINY = 1e-12  # (pi nu b)^2 below which sinc^2 is 1 to the last digit


def _widths(cycles_per_g: Floats) -> Floats:
    """What each frequency stands for in a sum by trapezoids [1/g], shape (f,)."""
    steps = np.diff(cycles_per_g) / 2
    widths = np.zeros_like(cycles_per_g)
    widths[:-1] += steps
    widths[1:] += steps
    return widths


@lru_cache(maxsize=KEPT)
def _lag_on(axis: _Axis, hold_up_g: float) -> Floats:
    return _kept(lag_gain(axis.cycles_per_g, hold_up_g=hold_up_g))


@lru_cache(maxsize=KEPT)
def _box_on(axis: _Axis, length_g: float) -> Floats:
    return _kept(_box(axis.cycles_per_g, axis.widths, length_g=length_g))


@lru_cache(maxsize=KEPT)
def _noise(axis: _Axis, scale_g: float) -> Floats:
    """Density of independent pieces of one mass, of variance 1: ``2 h sinc^2(nu h)``.

    What lies above the grid is put into its last step, so that the integral is 1.
    """
    noise = 2 * scale_g * _box_on(axis, scale_g)
    total = float(noise @ axis.widths)
    if total > 1:
        return _kept(noise / total)
    noise[-1] += (1 - total) / axis.widths[-1]
    return _kept(noise)


def _kept(gain: Floats) -> Floats:
    gain.setflags(write=False)
    return gain


def filtered(variation: Variation, gain: Callable[[Floats], Floats]) -> Variation:
    """The variation after a linear mixer of gain ``|H(nu)|^2``, a function of cycles per gram."""
    return dataclasses.replace(
        variation,
        density_g=variation.density_g * gain(variation.cycles_per_g),
        line_variance=variation.line_variance * gain(variation.line_cycles_per_g),
    )


def apply(step: Step, variation: Variation) -> Variation:
    """The variation after one step of a passage; see `through` for several drawings in a row.

    - Pick: mean over the sandwich on the belt, lag of the hold-up, then noise of the new clumps,
      ``2 V m sinc^2(nu m)`` with V what is missing to the variance of unmixed parts: within a clump the
      fibre is pure, so no point varies less, and none more.
    - Toss: grabs of i grams in any order, ``S (1 - sinc^2(nu i)) + 2 V_i i sinc^2(nu i)``, V_i the variance
      of the means of grabs: order is lost, variance is not.
    - Card: lag of the hold-up.
    - Draw: ``S(N nu) (rho N + 1 - rho)``, lines by ``rho + (1 - rho) / N``, or not at all where cans are cut
      in step with the layers.

    Computed, and checked against the simulated stream.
    """
    return apply_all((step,), variation)


def apply_all(steps: Sequence[Step], variation: Variation) -> Variation:
    """The variation after several steps, as if the lot had no end; see `through` for drawings in a row."""
    flow = _flow_of(variation)
    for step in steps:
        flow = _step(flow, step)
    return _variation(flow, variation)


def through(passage: Passage, signals: Signals, grid: Grid | None = None) -> Variation:
    """Spectrum after all steps of a passage, of a lot of its size.

    In drawings in a row the correlation is a deviation common to all ends of the lot: a share rho of the
    variance fed to the first of them that no doubling takes away, ``rho + (1 - rho) / (n1 n2 ...)``; it is
    not put in afresh at every passage. A lot of M grams has no wave longer than itself: the continuum is
    counted at the waves ``j / M`` (for small lots with cans cut anywhere, the truth lies up to 1.5 times
    above). Without the noise of counting fibres, see `fibres.signal_sampling_variance`.
    """
    start = laid(passage.feed, signals, grid)
    flow = _flow_of(start)
    for step in passage.steps:
        flow = _step(flow, step)
    return _variation(_of_lot(flow, lot_dry_mass_g=passage.feed.lot_dry_mass_g), start)


@dataclass(frozen=True, eq=False, slots=True)
class _Flow:
    """The arrays of a variation on their way, and what all ends of a drawing have in common."""

    axis: _Axis
    density_g: Floats
    line_cycles_per_g: Floats
    line_variance: Floats
    unmixed: Floats
    common: float = 0.0  # of the variance fed to the first drawing in a row
    left: float = 1.0  # of that variance, now


def _flow_of(variation: Variation) -> _Flow:
    return _Flow(
        _axis_of(variation.cycles_per_g),
        variation.density_g,
        variation.line_cycles_per_g,
        variation.line_variance,
        unmixed_variance(variation.weights, variation.shares),
    )


def _variation(flow: _Flow, like: Variation) -> Variation:
    return Variation(
        like.names,
        like.weights,
        like.shares,
        flow.axis.cycles_per_g,
        flow.density_g,
        flow.line_cycles_per_g,
        flow.line_variance,
    )


def _step(flow: _Flow, step: Step) -> _Flow:
    match step:
        case Pick():
            return _picked(flow, step)
        case Toss():
            return _tossed(flow, step)
        case Card():
            return _lagged(flow, hold_up_g=step.hold_up_g)
        case Draw():
            return _drawn(flow, step)


def _changed(flow: _Flow, density_g: Floats, line_variance: Floats) -> _Flow:
    """The flow with other variances at the same waves; a drawing after it starts a new row."""
    return _Flow(flow.axis, density_g, flow.line_cycles_per_g, line_variance, flow.unmixed)


def _lagged(flow: _Flow, *, hold_up_g: float) -> _Flow:
    if hold_up_g == 0:
        return _changed(flow, flow.density_g, flow.line_variance)
    return _changed(
        flow,
        flow.density_g * _lag_on(flow.axis, hold_up_g),
        flow.line_variance * lag_gain(flow.line_cycles_per_g, hold_up_g=hold_up_g),
    )


def _line_box(flow: _Flow, *, length_g: float) -> Floats:
    return np.sinc(flow.line_cycles_per_g * length_g) ** 2


def _picked(flow: _Flow, step: Pick) -> _Flow:
    if step.sandwich_g > 0:
        box = _box_on(flow.axis, step.sandwich_g)
        lines = flow.line_variance * _line_box(flow, length_g=step.sandwich_g)
        flow = _changed(flow, flow.density_g * box, lines)
    flow = _lagged(flow, hold_up_g=step.hold_up_g)
    if step.clump_g == 0:
        return flow
    here = flow.density_g @ flow.axis.widths + flow.line_variance.sum(axis=1)
    missing = np.maximum(flow.unmixed - here, 0)
    noise = _noise(flow.axis, step.clump_g)
    return _changed(flow, flow.density_g + missing[:, None] * noise, flow.line_variance)


def _tossed(flow: _Flow, step: Toss) -> _Flow:
    box = _box_on(flow.axis, step.increment_g)
    line_box = _line_box(flow, length_g=step.increment_g)
    grabs = flow.density_g @ (box * flow.axis.widths) + flow.line_variance @ line_box
    noise = _noise(flow.axis, step.increment_g)
    return _changed(
        flow,
        flow.density_g * (1 - box) + grabs[:, None] * noise,
        flow.line_variance * (1 - line_box),
    )


def _drawn(flow: _Flow, step: Draw) -> _Flow:
    common = max(flow.common, min(step.correlation, flow.left))
    left = common + (flow.left - common) / step.ends
    kept = left / flow.left
    return _Flow(
        _Axis(flow.axis.cycles_per_g / step.ends, flow.axis.widths / step.ends),
        flow.density_g * (kept * step.ends),
        flow.line_cycles_per_g / step.ends,
        flow.line_variance * (1.0 if step.cans is Cans.IN_STEP else kept),
        flow.unmixed,
        common,
        left,
    )


def doubled_variance_frac(*, doublings: int, correlation: float) -> float:
    """Share of the variance left after so many doublings in all: ``rho + (1 - rho) / n`` [frac].

    rho is a deviation common to all ends in every passage. Common practice of statistics, computed.
    """
    if doublings < 1 or not 0 <= correlation <= 1:
        raise InputError("doublings", (doublings, correlation), "one or more, correlation from 0 to 1")
    return correlation + (1 - correlation) / doublings


def _of_lot(flow: _Flow, *, lot_dry_mass_g: float) -> _Flow:
    """The continuum of a finite lot: at ``j / M`` each wave has variance ``S(j / M) / M``."""
    cycles, density = flow.axis.cycles_per_g, flow.density_g
    waves = np.append(np.arange(1, LOT_WAVES + 1), LOT_WAVES + 0.5) / lot_dry_mass_g
    if not density.any() or waves[-1] >= cycles[-1]:
        return flow
    before = np.searchsorted(cycles, waves, side="right") - 1
    ahead = (waves - cycles[before]) / (cycles[before + 1] - cycles[before])
    at_waves = density[:, before] * (1 - ahead) + density[:, before + 1] * ahead
    above = before[-1] + 1
    cut = np.concatenate([waves[-1:], cycles[above:]])
    return dataclasses.replace(
        flow,
        axis=_Axis(cut, _widths(cut)),
        density_g=np.concatenate([at_waves[:, -1:], density[:, above:]], axis=1),
        line_cycles_per_g=np.concatenate([flow.line_cycles_per_g, waves[:-1]]),
        line_variance=np.concatenate([flow.line_variance, at_waves[:, :-1] / lot_dry_mass_g], axis=1),
    )


def between_variance(variation: Variation, *, masses_g: Floats) -> Floats:
    """Variance between pieces of a given mass, shape (q, w); the curve of variance by length.

    ``B(w) = int S sinc^2(nu w) dnu + sum A sinc^2(nu w)``: what is seen when pieces of w grams [g, oven-dry]
    are compared. Without the noise of counting fibres. Source: Cox and Townsend 1951, from memory.
    """
    masses = np.atleast_1d(np.asarray(masses_g, dtype=float))
    if np.any(masses < 0):
        raise InputError("mass of a piece", masses.tolist(), "zero grams or more")
    widths = _widths(variation.cycles_per_g)
    boxes = _box(variation.cycles_per_g, widths, length_g=masses[:, None])
    line_boxes = np.sinc(variation.line_cycles_per_g * masses[:, None]) ** 2
    continuum = variation.density_g @ (boxes * widths).T
    return np.asarray(continuum + variation.line_variance @ line_boxes.T)
