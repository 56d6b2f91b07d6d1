"""What the eye sees of a strand: contrast by wavelength, spread of shade, stripes and their length.

Differences of colour do not add, so a colour is followed as three signals (L*, a*, b*) and its spread is
``sd_E = sqrt(Var L* + Var a* + Var b*)``. The noise of counting fibres is no stripe: it is told apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.variation import COLOUR_AXES, Variation
from doffer.process.evenness.spectrum import LOT_WAVES, between_variance, box_gain
from doffer.tables.loader import Tables

G_PER_MM_PER_TEX = 1e-6  # 1 tex is 1 g in 1000 m


def piece_mass_g(*, length_mm: float, strand_tex: float) -> float:
    """Oven-dry mass of a piece of strand [g], as long as its count is told oven-dry. Geometry."""
    return length_mm * strand_tex * G_PER_MM_PER_TEX


def wavelength_mm(*, wave_g: float, strand_tex: float) -> float:
    """Length of strand that holds a wave of so many grams [mm]. Geometry."""
    if not strand_tex > 0:
        raise InputError("count", strand_tex, "above zero tex")
    return wave_g / (strand_tex * G_PER_MM_PER_TEX)


def waves_in_a_degree(waves_mm: Floats, *, distance_mm: float) -> Floats:
    """Cycles per degree of view of stripes of a wavelength: ``d tan(1 deg) / wave``. Geometry.

    >>> float(waves_in_a_degree(np.array([6.98]), distance_mm=400).round(2)[0])
    1.0
    """
    if not distance_mm > 0 or np.any(waves_mm <= 0):
        raise InputError("distance and waves", (distance_mm, waves_mm.tolist()), "above zero mm")
    return np.asarray(distance_mm * np.tan(np.pi / 180) / waves_mm)


def contrast_weights(tables: Tables, cycles_per_degree: Floats) -> Floats:
    """How much of a contrast the eye takes in, 0 to 1, shape (3, n): lightness, red-green, blue-yellow.

    Lightness ``0.63 c^0.616 exp(-0.085 c)``, 1 for waves longer than its limit: slow drifts are seen when
    skeins lie side by side, so no credit is taken for them. Hues ``sum a exp(-b c^e) / sum a``. Constants in
    table evenness_figures, rows ``eye_*``; source: parameters of published program text, read in extract.
    """
    cycles = np.asarray(cycles_per_degree, dtype=float)
    if np.any(cycles < 0):
        raise InputError("cycles per degree", cycles.tolist(), "zero or more")

    def eye(name: str) -> float:
        return tables.evenness_figures[f"eye_{name}"].value

    fine = eye("lightness_gain") * cycles ** eye("lightness_power") * np.exp(-eye("lightness_fall") * cycles)
    lightness = np.where(cycles < eye("lightness_flat"), 1.0, np.minimum(fine, 1.0))
    hues = []
    for hue in ("red_green", "blue_yellow"):
        gains = [eye(f"{hue}_gain_{term}") for term in (1, 2)]
        terms = [
            gain * np.exp(-eye(f"{hue}_fall_{term}") * cycles ** eye(f"{hue}_power_{term}"))
            for term, gain in zip((1, 2), gains, strict=True)
        ]
        hues.append(sum(terms) / sum(gains))
    return np.stack([lightness, *hues])


@dataclass(frozen=True, eq=False, slots=True)
class ShadeSpread:
    """Spread of shade between pieces, shape (w,) each.

    Parameters
    ----------
    sd_de : ndarray
        Standard deviation of colour between pieces [dE].
    pair95_de : ndarray
        Within this lie 95 of 100 pairs of pieces [dE].
    floor_de : ndarray
        Standard deviation from counting fibres alone [dE], which no mixing cures.
    """

    sd_de: Floats
    pair95_de: Floats
    floor_de: Floats


def shade_spread(tables: Tables, between: Floats, *, floor: Floats) -> ShadeSpread:
    """Spread of shade from the variances of the colour axes between pieces.

    ``sd_E = sqrt(sum over axes)``; two pieces lie within ``2.77 sd_E`` in 95 of 100 cases when the deviation
    runs along one direction of colour (more often when not). Computed.

    Parameters
    ----------
    between : ndarray, shape (3, w)
        Variance of L*, a*, b* between pieces [dE^2], from `between_variance`.
    floor : ndarray, shape (3, w)
        The same from counting fibres, from `signal_sampling_variance`.
    """
    if between.shape != floor.shape or len(between) != len(COLOUR_AXES):
        raise InputError("colour variances", (between.shape, floor.shape), "three rows each, of one length")
    sd_de = np.sqrt(between.sum(axis=0))
    return ShadeSpread(sd_de, sd_de * tables.evenness_figures["pair_95"].value, np.sqrt(floor.sum(axis=0)))


def colour_rows(variation: Variation) -> list[int]:
    """Rows of L*, a*, b* among the signals; InputError where no colour is followed."""
    return [variation.of(axis) for axis in COLOUR_AXES]


def seen_sd_de(variation: Variation, tables: Tables, *, strand_tex: float, distance_mm: float) -> float:
    """Spread of shade of a strand as the eye takes it in at a distance [dE].

    ``sqrt(sum over axes of int S(nu) sinc^2 W(nu)^2 dnu)``, W the weight of `contrast_weights`, the mean
    over the piece that is looked at (figure ``seen_piece``).
    """
    piece_g = piece_mass_g(length_mm=tables.evenness_figures["seen_piece"].value, strand_tex=strand_tex)
    rows = colour_rows(variation)
    per_g_to_per_mm = strand_tex * G_PER_MM_PER_TEX
    degree_mm = distance_mm * np.tan(np.pi / 180)

    def seen(cycles_per_g: Floats) -> Floats:
        weights = contrast_weights(tables, cycles_per_g * per_g_to_per_mm * degree_mm)
        return np.asarray(weights**2 * box_gain(cycles_per_g, length_g=piece_g))

    continuum = np.trapezoid(
        variation.density_g[rows] * seen(variation.cycles_per_g), variation.cycles_per_g, axis=1
    )
    line_weights = contrast_weights(tables, variation.line_cycles_per_g * per_g_to_per_mm * degree_mm) ** 2
    lines = variation.line_variance[rows] * line_weights * np.sinc(variation.line_cycles_per_g * piece_g) ** 2
    return float(np.sqrt(continuum.sum() + lines.sum()))


def dominant_wave_g(variation: Variation, *, piece_g: float) -> Floats:
    """Wavelength of each signal [g], shape (q,): of the set of layers as long as these rule, else the middle.

    Layers rule while their lines hold more than half of the variance between pieces; the middle is the wave
    that half of it lies above. The piece [g] evens out what is finer. Infinite for a signal that does not
    vary. Computed.
    """
    waves = np.concatenate([variation.cycles_per_g, variation.line_cycles_per_g])
    order = np.argsort(waves, kind="stable")
    steps = np.gradient(variation.cycles_per_g) * box_gain(variation.cycles_per_g, length_g=piece_g)
    lines = variation.line_variance * np.sinc(variation.line_cycles_per_g * piece_g) ** 2
    parts = np.concatenate([variation.density_g * steps, lines], axis=1)[:, order]
    summed = np.cumsum(parts, axis=1)
    middle = [int(np.searchsorted(row, row[-1] / 2)) if row[-1] > 0 else 0 for row in summed]
    cycles = np.where(summed[:, -1] > 0, waves[order][middle], 0.0)
    layers = _layer_lines_of(variation)
    if layers:
        rule = lines[:, :layers].sum(axis=1) > summed[:, -1] / 2
        cycles = np.where(rule, variation.line_cycles_per_g[:layers].min(), cycles)
    return np.divide(1.0, cycles, out=np.full_like(cycles, np.inf), where=cycles > 0)


def _layer_lines_of(variation: Variation) -> int:
    """How many of the lines are layers': all but the waves of the lot, which come last."""
    of_lot = LOT_WAVES if variation.cycles_per_g[0] > 0 else 0
    return max(len(variation.line_cycles_per_g) - of_lot, 0)


@dataclass(frozen=True, slots=True)
class Stripes:
    """What is to be said of the stripes of a strand.

    Parameters
    ----------
    sd_de, pair95_de : float
        Spread between pieces of the length looked at [dE]; see `ShadeSpread`.
    seen_sd_de : float
        The same as the eye takes it in at the viewing distance [dE].
    is_visible : bool
        The loose limit is passed: ``sd_E`` above figure ``visible_sd``.
    is_told_apart : bool
        The strict limit is passed: 95 of 100 pairs above figure ``visible_pair``.
    """

    sd_de: float
    pair95_de: float
    seen_sd_de: float
    is_visible: bool
    is_told_apart: bool


def visible_stripes(
    variation: Variation, tables: Tables, *, strand_tex: float, distance_mm: float | None = None
) -> Stripes:
    """Can stripes be seen in a strand? Judged by what mixing can cure, not by the counting of fibres.

    The limits are those of table evenness_figures, practice: a spread of 1 dE between pieces of 1 cm, as
    the eye takes it in. Judge a plied yarn by its singles, which lie side by side and are both seen.

    Parameters
    ----------
    variation : Variation
        With colour, see `with_colour`.
    strand_tex : float
        Linear density of the strand [tex], > 0.
    distance_mm : float or None
        Viewing distance [mm]; None: figure ``viewing_distance``.
    """
    figures = tables.evenness_figures
    distance_mm = figures["viewing_distance"].value if distance_mm is None else distance_mm
    if not strand_tex > 0 or not distance_mm > 0:
        raise InputError("strand and distance", (strand_tex, distance_mm), "above zero tex, above zero mm")
    piece_g = piece_mass_g(length_mm=figures["seen_piece"].value, strand_tex=strand_tex)
    rows = colour_rows(variation)
    between = between_variance(variation, masses_g=np.array([piece_g]))[rows, 0]
    sd_de = float(np.sqrt(between.sum()))
    seen_de = seen_sd_de(variation, tables, strand_tex=strand_tex, distance_mm=distance_mm)
    pair_95 = figures["pair_95"].value
    return Stripes(
        sd_de=sd_de,
        pair95_de=pair_95 * sd_de,
        seen_sd_de=seen_de,
        is_visible=seen_de > figures["visible_sd"].value,
        is_told_apart=pair_95 * seen_de > figures["visible_pair"].value,
    )


def stripe_length_mm(variation: Variation, tables: Tables, *, strand_tex: float) -> float:
    """Length of the stripes of a strand [mm]: the `dominant_wave_g` of the colour axis that strays most."""
    piece_g = piece_mass_g(length_mm=tables.evenness_figures["seen_piece"].value, strand_tex=strand_tex)
    rows = colour_rows(variation)
    between = between_variance(variation, masses_g=np.array([piece_g]))[rows, 0]
    wave_g = float(dominant_wave_g(variation, piece_g=piece_g)[rows[int(between.argmax())]])
    return wavelength_mm(wave_g=wave_g, strand_tex=strand_tex)
