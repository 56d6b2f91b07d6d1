"""Numbers of evenness from outside the code, one per row of evenness_cases.csv.

Most were computed by another program that was written first, in closed form or by simulating the flow; such
rows say so. Tolerances are half the last printed digit, one in a hundred for closed forms (two where that
program has clumps in layers that are pure), and what a simulated lot strays by.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from doffer.fibre.variation import Signals, Variation, share_signals
from doffer.process.evenness import card_network, fibres, spectrum, visible
from doffer.process.evenness.passage import (
    Cans,
    Card,
    Draw,
    Feed,
    Laying,
    Part,
    Passage,
    Pick,
    Toss,
)
from doffer.tables.loader import load_tables

HERE = Path(__file__).parent
TABLES = load_tables()
STRAND_TEX = 3000


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = _rows("evenness_cases.csv")


def _part(name: str, share_frac: float, *, um: float = 25, cv_frac: float = 0.0, mm: float = 70) -> Part:
    return Part(name, share_frac, um, cv_frac, mm, 0.0, 1.31)


TWO = (_part("dark", 0.2), _part("light", 0.8))


def _sd_points(variation: Variation, piece_g: float) -> float:
    return 100 * float(spectrum.between_variance(variation, masses_g=np.array([piece_g]))[0, 0]) ** 0.5


def _points(v: dict) -> float:
    steps: list = []
    for number in range(v["passes"]):
        clump_g = (
            v.get("clump_g", 0) if number == v["passes"] - 1 else 0
        )  # the program has clumps at the card only
        steps.append(Pick(v.get("picker_g", 20), v.get("sandwich_g", 0), clump_g))
        if v.get("toss", True):
            steps.append(Toss(v.get("grab_g", 10)))
    steps.append(Card(v.get("card_g", 60)))
    steps += [Draw(ends, ends, cans=Cans(v.get("cans", "apart"))) for ends in v.get("draws", [])]
    layers = round(v["lot_g"] / v["set_g"])
    feed = Feed(v["lot_g"], TWO, layers, weighing_sd_g=v.get("weighing_sd_g", 0))
    passage = Passage(feed, tuple(steps), STRAND_TEX)
    return _sd_points(spectrum.through(passage, share_signals(TWO)), v.get("piece_g", 1))


def _handfuls(handful_g: float, steps: tuple) -> Variation:
    """Five lots, so that the minor one and the rest come in handfuls of one weight."""
    five = tuple(_part(f"lot {number}", 0.2) for number in range(5))
    feed = Feed(1e6, five, round(1e6 / (5 * handful_g)), laying=Laying.HANDFULS)
    variation = spectrum.laid(feed, share_signals(five))
    for step in steps:
        variation = spectrum.apply(step, variation)
    return variation


def _tanks_variance(v: dict) -> float:
    """White cells of 1 g, variance 1, seen at a point after the tanks; in a grid that holds them all."""
    cycles = np.concatenate([[0], np.geomspace(1e-6, 100, 20_000)])
    white = Variation(
        ("a",),
        np.eye(1, 2),
        np.array([0.5, 0.5]),
        cycles,
        2 * np.sinc(cycles)[None] ** 2,
        np.zeros(0),
        np.zeros((1, 0)),
    )
    mixed = spectrum.filtered(white, lambda nu: spectrum.lag_gain(nu, hold_up_g=60, tanks=v["tanks"]))
    return float(mixed.variance[0])


def _doubled_sd(v: dict) -> float:
    feed = Feed(1e6, TWO, 1_000, laying=Laying.HANDFULS)
    signals = Signals(("dE",), np.array([[v["sd_de"] / 0.4, 0.0]]))
    steps = tuple(Draw(ends, ends, v["correlation"]) for ends in v["draws"])
    flow = spectrum.apply_all(steps, spectrum.laid(feed, signals))
    return float(flow.variance[0]) ** 0.5


def _area_parts(area_cv: float) -> tuple[Part, ...]:
    """22 and 27 um whose sections vary so: diameters are spread, their mean square kept."""
    spread = np.linspace(0, 0.5, 5001)
    cv = float(np.interp(area_cv**2, [fibres.section_spread(c) - 1 for c in spread], spread))
    shrunk = math.sqrt(1 + cv**2)
    return (_part("a", 0.3, um=22 / shrunk, cv_frac=cv), _part("b", 0.7, um=27 / shrunk, cv_frac=cv))


def _network() -> card_network.CardNetwork:
    workers = tuple(card_network.Worker(taken, 3.0) for taken in (0.25, 0.30, 0.35, 0.40))
    return card_network.CardNetwork(workers, swift_rpm=100, transfer_frac=0.12)


def _network_amplitude(v: dict) -> float:
    gain = card_network.network_gain(_network(), rate_kg_per_h=2.5)
    return float(gain(np.array([1 / v["wave_g"]]))[0]) ** 0.5


def _network_lag(v: dict) -> float:
    hold_up_g = card_network.hold_up_g(_network(), rate_kg_per_h=2.5)
    return float(spectrum.lag_gain(np.array([1 / v["wave_g"]]), hold_up_g=hold_up_g)[0]) ** 0.5


def _eye(v: dict) -> float:
    row = ("lightness", "red_green", "blue_yellow").index(v["axis"])
    cycles = visible.waves_in_a_degree(np.array([v["wave_mm"]]), distance_mm=400)
    return float(visible.contrast_weights(TABLES, cycles)[row, 0])


def _label_floor_points(v: dict) -> float:
    """A specimen of long fibres: independent fibres, so a strand cut as long as it weighs."""
    parts = tuple(
        Part(part.name, share, part.diameter_um, part.diameter_cv_frac, 70, 0, 1.31)
        for part, share in zip(_area_parts(0.5), (0.2, 0.8), strict=True)
    )
    parts = tuple(
        Part(p.name, p.share_frac, 25 / math.sqrt(1 + p.diameter_cv_frac**2), p.diameter_cv_frac, 70, 0, 1.31)
        for p in parts
    )
    length_mm = 1e6
    strand_tex = v["specimen_g"] / (length_mm * visible.G_PER_MM_PER_TEX)
    variance = fibres.signal_sampling_variance(
        parts, share_signals(parts), strand_tex=strand_tex, length_mm=length_mm
    )
    return 100 * float(variance[0]) ** 0.5


def _colour_floor(v: dict) -> float:
    parts = (_part("a", v["share"], cv_frac=0.25), _part("b", 1 - v["share"], cv_frac=0.25))
    signals = Signals(("dE",), np.array([[v["slope_de"], 0.0]]))
    variance = fibres.signal_sampling_variance(parts, signals, strand_tex=v["strand_tex"], length_mm=10)
    return float(variance[0]) ** 0.5


FUNCTIONS = {
    "sd_points": _points,
    "handfuls_ratio": lambda v: float(_handfuls(v["handful_g"], (Card(v["hold_up_g"]),)).variance[0] / 0.16),
    "handful_sd_points": lambda _: 100 * float(_handfuls(20, (Pick(20), Card(60))).variance[0]) ** 0.5,
    "tanks_variance": _tanks_variance,
    "doubled_frac": lambda v: spectrum.doubled_variance_frac(**v),
    "doubled_sd": _doubled_sd,
    "lag_amplitude": lambda v: (
        float(spectrum.lag_gain(np.array([1 / v["set_over_hold_up"]]), hold_up_g=1)[0]) ** 0.5
    ),
    "fibres.fibre_tex": lambda v: fibres.fibre_tex(**v),
    "limit_pct": lambda v: 100 * fibres.limit_cv_frac(**v | {"form": fibres.Limit(v["form"])}),
    "blend_mass_cv": lambda v: fibres.blend_limit_cv_frac(_area_parts(v["area_cv"]), strand_tex=100),
    "blend_share_sd": lambda v: (
        float(fibres.share_sampling_variance(_area_parts(v["area_cv"]), strand_tex=100)[0]) ** 0.5
    ),
    "blend_fibres": lambda _: fibres.fibres_in_section(_area_parts(0), strand_tex=100),
    "length_factor": lambda v: fibres.length_factor(v["length_mm"], fibre_mm=v["fibre_mm"]),
    "expected_index": lambda v: fibres.expected_blend_irregularity(
        fibres=155, macro_variance=(v["sd_points"] / 100) ** 2, share_frac=0.3
    ),
    "lacey": lambda v: fibres.lacey_index(
        variance=(v["sd_points"] / 100) ** 2, unmixed_variance=0.16, random_variance=0
    ),
    "doffer": lambda _: card_network.doffer_transfer_frac(rate_g_per_min=180, presented_g=3.3, swift_rpm=404),
    "network_mean_s": lambda _: card_network.mean_delay_s(_network()),
    "network_sd_s": lambda _: card_network.delay_sd_s(_network()),
    "network_cv": lambda _: card_network.delay_sd_s(_network()) / card_network.mean_delay_s(_network()),
    "network_hold_up_g": lambda _: card_network.hold_up_g(_network(), rate_kg_per_h=2.5),
    "network_amplitude": _network_amplitude,
    "network_lag": _network_lag,
    "degree_mm": lambda v: float(visible.waves_in_a_degree(np.array([1.0]), distance_mm=v["distance_mm"])[0]),
    "eye": _eye,
    "label_floor_points": _label_floor_points,
    "colour_floor": _colour_floor,
}


@pytest.mark.published
@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_the_number_of_evenness_is_reproduced(case):
    found = FUNCTIONS[case["function"]](json.loads(case["inputs_json"]))
    assert found == pytest.approx(float(case["expected"]), abs=float(case["tolerance"]), rel=0)


def test_every_case_of_evenness_names_a_known_source_and_an_honest_status():
    known = {row["key"]: row["seen"] for row in _rows("sources.csv")}
    known |= {row.key: row.seen for row in TABLES.sources.values()}
    for row in CASES:
        assert row["source"] in known, row
        assert row["status"] in ("source", "memory", "computed"), row
        assert row["status"] != "source" or known[row["source"]] != "no", row
    assert len({row["id"] for row in CASES}) == len(CASES)
