"""How long a passage takes in closed form: eight stages, 1500 frequencies, 300 lines of layers."""

from __future__ import annotations

import statistics
import time

import numpy as np

from doffer.fibre.variation import Signals, share_signals, with_colour
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import FREQUENCIES, LINES, through
from figure import Figure

MOST_MS = 0.7
N_ROUTES = 400
PARTS = tuple(Part(f"lot {n}", share, 25, 0.25, 70, 0.4, 1.31) for n, share in enumerate((0.2, 0.5, 0.3)))
SLOPE_LAB = np.array([[40.0, -10, -20], [3, 1, -5], [2, 8, -11]])


def route(*, layers: int = 24, figures: float = 1.0) -> Passage:
    """Two pickings, each tossed, the card, three drawings; `figures` scales what the machines hold."""
    picked = (Pick(20 * figures, 0, 0.3), Toss(10 * figures), Pick(20 * figures, 0, 0.05), Toss(10 * figures))
    drawn = (Draw(4, 4), Draw(6, 6), Draw(2, 2))
    return Passage(Feed(6000, PARTS, layers), (*picked, Card(60 * figures), *drawn), 3000)


def median_ms(routes: list[Passage], signals: Signals) -> float:
    """Median milliseconds of one route, each done once."""
    taken = []
    for one in routes:
        begun = time.perf_counter()
        through(one, signals)
        taken.append(time.perf_counter() - begun)
    return 1000 * statistics.median(taken)


def closed_form_routes() -> list[Figure]:
    """A search (other layers, same machines) and a slider (new machines each time), three lots and colour."""
    signals = with_colour(share_signals(PARTS), SLOPE_LAB)
    through(route(), signals)
    search = [route(layers=6 + n % 60) for n in range(N_ROUTES)]
    slider = [route(figures=1 + 1e-4 * n) for n in range(1, N_ROUTES + 1)]
    size = f"{FREQUENCIES} frequencies, {LINES} lines, {len(signals.names)} signals"
    return [
        _figure(f"closed form, 8 stages, in a search ({size})", median_ms(search, signals)),
        _figure("closed form, 8 stages, other machines every time", median_ms(slider, signals)),
    ]


def _figure(name: str, taken_ms: float) -> Figure:
    ratio = taken_ms / MOST_MS
    return Figure(name, taken_ms, "ms", f"limit {MOST_MS:g} ms", ratio, "<= 1", ratio <= 1)


def measure() -> list[Figure]:
    """All figures of the closed forms."""
    return closed_form_routes()
