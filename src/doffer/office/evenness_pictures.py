"""The pictures of a passage: its strips, drawn from the simulated stream, and a swatch of cloth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.pictures import strip
from doffer.pictures.strip import COLUMNS, LANES, ROW_PX, Dyes, Pixels
from doffer.process.evenness.fibres import fibres_in_section
from doffer.process.evenness.passage import Card, Draw, Passage, Pick, Step, Toss
from doffer.process.evenness.stream import Grain, columns, run
from doffer.process.evenness.visible import contrast_weights
from doffer.tables.loader import Tables

SEED = 11  # one for every strip, so that only the mixing differs from strip to strip
SHOWN_SETS, LEAST_SHOWN_G = 3, 150.0  # what a strip shows: three sets of layers, but no less than this
CELLS_IN_HOLD_UP, MOST_CELLS = 20, 24_000  # finer cells change nothing that a strip can show
STREAK_PX = 9
G_PER_MM_PER_TEX = 1e-6
CLOTH_ROWS, CLOTH_COLUMNS, SKEINS = 44, 220, 4
# Cloth as it is drawn, no claim about any cloth: yarn is about three times as long as the row it makes.
YARN_PER_WIDTH, ROW_HEIGHT_MM = 3.0, 3.5
DEGREE = np.tan(np.pi / 180)
# Linear screen light to light and dark, red and green, blue and yellow: only to blur each by its own measure.
OPPONENT = np.array([[0.2126, 0.7152, 0.0722], [1.0, -1.0, 0.0], [-0.5, -0.5, 1.0]])


@dataclass(frozen=True, eq=False, slots=True)
class Looks:
    """A passage and the colours of its parts, in the passage's order."""

    passage: Passage
    dyes: Dyes


def shown_g(passage: Passage) -> float:
    """How much of the flow every strip shows [g oven-dry]."""
    feed = passage.feed
    return min(feed.lot_dry_mass_g, max(SHOWN_SETS * feed.set_mass_g, LEAST_SHOWN_G))


def are_locks(passage: Passage) -> tuple[bool, ...]:
    """Of each strip whether locks lie there still, or fibres after the card."""
    return tuple(not _is_carded(steps) for steps in _steps_before(passage))


def strips_png(looks: Looks) -> bytes:
    """All strips of a passage, one below the other: as laid, and after each step."""
    passage = looks.passage
    cell_g = _cell_g(passage)
    streams = run(passage, cell_g=cell_g, seed=SEED)
    cell_g = passage.feed.lot_dry_mass_g / len(streams[0])
    drawn = [
        strip.on_screen(strip.seen(_cells(f, steps, passage, cell_g=cell_g), looks.dyes))
        for f, steps in zip(streams, _steps_before(passage), strict=True)
    ]
    return strip.png(strip.stacked(drawn))


def opening_png(looks: Looks) -> bytes:
    """What comes first off the card, from the very first fibre on: one strip as long as the others."""
    steps = looks.passage.steps
    carded = [n for n, step in enumerate(steps, start=1) if isinstance(step, Card)]
    passage = replace(looks.passage, steps=steps[: carded[-1] if carded else len(steps)])
    last = run(passage, cell_g=_cell_g(passage), seed=SEED)[-1]
    cell_g = passage.feed.lot_dry_mass_g / len(last)
    cells = _cells(last, passage.steps, passage, cell_g=cell_g, start_g=0.0)
    return strip.png(strip.stacked([strip.on_screen(strip.seen(cells, looks.dyes))]))


def cloth_png(looks: Looks, tables: Tables, *, row_mm: float, yarn_tex: float, distance_mm: float) -> bytes:
    """Rows of yarn spun from what comes last, as they look from a distance: skeins from all over the lot."""
    passage = looks.passage
    last = run(passage, cell_g=_cell_g(passage), seed=SEED)[-1]
    cell_g = passage.feed.lot_dry_mass_g / len(last)
    rows = CLOTH_ROWS // SKEINS
    length_g = rows * row_mm * yarn_tex * G_PER_MM_PER_TEX
    places_g = (np.arange(SKEINS) + 0.5) / SKEINS * passage.feed.lot_dry_mass_g
    shown = [
        columns(last, cell_g=cell_g, start_g=start_g, length_g=length_g, n=rows * CLOTH_COLUMNS)[0]
        for start_g in places_g.tolist()
    ]
    fibres = fibres_in_section(passage.feed.parts, strand_tex=yarn_tex)
    longest = max(part.staple_mm for part in passage.feed.parts)
    streak_px = max(1, round(longest / (row_mm / CLOTH_COLUMNS)))
    laid = np.concatenate(shown).reshape(CLOTH_ROWS, CLOTH_COLUMNS, -1)
    grained = strip.streaked(laid, fibres=fibres, streak_px=streak_px, seed=SEED)
    wide_mm = row_mm / YARN_PER_WIDTH / CLOTH_COLUMNS
    return strip.png(
        from_far(
            strip.cloth(grained, looks.dyes),
            tables,
            high_mm=ROW_HEIGHT_MM / ROW_PX,
            wide_mm=wide_mm,
            distance_mm=distance_mm,
        )
    )


def from_far(linear: Floats, tables: Tables, *, high_mm: float, wide_mm: float, distance_mm: float) -> Pixels:
    """A picture with what the eye does not tell apart at a distance blurred away."""
    height, width, _ = linear.shape
    up, along = np.fft.fftfreq(height, high_mm), np.fft.rfftfreq(width, wide_mm)
    cycles = np.hypot(up[:, None], along[None, :]) * distance_mm * DEGREE
    weights = contrast_weights(tables, cycles.ravel()).reshape(3, *cycles.shape)
    told = np.fft.rfft2(linear @ OPPONENT.T, axes=(0, 1)) * np.moveaxis(weights, 0, -1)
    blurred = np.fft.irfft2(told, s=(height, width), axes=(0, 1)) @ np.linalg.inv(OPPONENT).T
    return strip.on_screen(np.clip(blurred, 0, 1))


def _cell_g(passage: Passage) -> float:
    """Cells fine enough for every machine and every layer of the passage."""
    held = [step.hold_up_g for step in passage.steps if isinstance(step, Pick | Card) and step.hold_up_g > 0]
    layers = [part.share_frac * passage.feed.set_mass_g for part in passage.feed.parts]
    finest = min([*held, *layers, shown_g(passage)]) / CELLS_IN_HOLD_UP
    return max(finest, passage.feed.lot_dry_mass_g / MOST_CELLS)


def _start_g(passage: Passage, *, length_g: float) -> float:
    """The middle of the lot: its ends carry half layers and the fibre before it."""
    return max(0.0, (passage.feed.lot_dry_mass_g - length_g) / 2)


def _steps_before(passage: Passage) -> tuple[tuple[Step, ...], ...]:
    """What each strip has behind it."""
    return tuple(stage.steps for stage in passage.stages())


def _is_carded(steps: tuple[Step, ...]) -> bool:
    return any(isinstance(step, Card | Draw) for step in steps)


def _cells(
    f: Floats, steps: tuple[Step, ...], passage: Passage, *, cell_g: float, start_g: float | None = None
) -> Floats:
    """Shares of every cell of one strip, shape (lanes, n, k); `start_g` left out: the middle of the lot."""
    length_g = shown_g(passage)
    start_g = _start_g(passage, length_g=length_g) if start_g is None else start_g
    if _is_carded(steps):
        means = columns(f, cell_g=cell_g, start_g=start_g, length_g=length_g, n=COLUMNS)[0]
        fibres = fibres_in_section(passage.feed.parts, strand_tex=passage.strand_tex) / LANES
        return strip.streaked(means, fibres=fibres, streak_px=STREAK_PX, seed=SEED)
    clump_g = _clump_g(steps)
    return columns(
        f,
        cell_g=cell_g,
        start_g=start_g,
        length_g=length_g,
        n=COLUMNS,
        grain=Grain(LANES, clump_g),
        rng=np.random.default_rng(SEED) if clump_g > 0 else None,
    )


def _clump_g(steps: tuple[Step, ...]) -> float:
    """Locks that lie there now: those of the last pass through the picker; none in layers still pure."""
    picked = [step.clump_g for step in steps if isinstance(step, Pick)]
    return picked[-1] if picked else 0.0


def only_strips(passage: Passage) -> tuple[int, ...]:
    """Places of the strips worth showing: tossing moves fibre about and is seen in what follows."""
    steps = passage.steps
    return (0, *(k for k, step in enumerate(steps, start=1) if not isinstance(step, Toss)))
