"""How long forecasts and searches of evenness take, beside the limits a page sets them."""

from __future__ import annotations

import numpy as np

from doffer.fibre.colour.blend import default_mixing
from doffer.fibre.colour.spectrum import light
from doffer.planning.evenness.choose import choose
from doffer.planning.evenness.figures import usual_figures, usual_steps
from doffer.planning.evenness.forecast import forecast
from doffer.planning.evenness.slope import slope_lab, spectra_of_labs
from doffer.process.evenness.passage import Draw, Feed, Part, Passage
from doffer.tables.loader import load_tables
from evenness import median_s
from figure import Figure, beside

SEARCH_S, FORECAST_S, LEAST_WAYS = 0.25, 0.15, 240
LABS = np.array([(25.0, 1.0, 3.0), (65.0, 0.0, 3.0)])


def measure() -> list[Figure]:
    """A forecast of eight stages with its curve and label, and a search of all ways, three ends each."""
    tables = load_tables()
    figures, seen_in = usual_figures(tables), light(tables)
    parts = tuple(Part(name, share, 25.0, 0.25, 70.0, 0.3, 1.31) for name, share in (("a", 0.2), ("b", 0.8)))
    feed = Feed(6000.0, parts, 24)
    slope = slope_lab(spectra_of_labs(LABS, seen_in), feed.shares, seen_in, mixing=default_mixing(tables))
    draws = (Draw(4, 4.0), Draw(6, 6.0))
    route = Passage(feed, usual_steps(figures, passes=2, draws=draws), 3000.0)

    def search() -> int:
        fibres = ("alpaca", "wool")
        found = choose(
            feed, tables=tables, figures=figures, fibres=fibres, strand_tex=3000.0, slope_lab=slope
        )
        return found.n_tried

    n_tried = search()
    search_s = median_s(search, repeats=5)
    forecast_s = median_s(lambda: forecast(route, tables=tables, figures=figures, slope_lab=slope), repeats=5)
    return [
        Figure(
            "ways tried in a search",
            n_tried,
            "ways",
            "asked for",
            None,
            f">= {LEAST_WAYS}",
            n_tried >= LEAST_WAYS,
        ),
        beside(
            "search of all ways, low, likely, high", search_s, reference="limit", reference_s=SEARCH_S, most=1
        ),
        beside(
            "forecast of 8 stages, low, likely, high",
            forecast_s,
            reference="limit",
            reference_s=FORECAST_S,
            most=1,
        ),
    ]
