"""Invented mill data for the gallery and for tests of pictures."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

from doffer.pictures import (
    ancestry,
    bars,
    chip,
    colour,
    drift,
    flow,
    histogram,
    kettle,
    section,
    spin_limit,
    strand,
    strip,
    swatch,
    variance_length,
    wraps,
    yarn,
)
from doffer.pictures.ancestry import FlowLink, FlowNode
from doffer.pictures.flow import RiverStep
from doffer.pictures.strand import Place
from doffer.pictures.tuft import Tuft
from doffer.working import Status, Term, Working

LOTS = """
Door L005 6500 82 .3 11|Door L012 4000 88 -.2 8|Door L013 5800 86 0 9|Door L016 13500 81 .4 11
Door L017 9100 54 .2 5|Door L020 2000 80 .4 11|Door L021 2250 55 .6 6|Door L022 1350 30 7.5 11
Door L024 5500 85 .2 9|Door L025 2700 35 6.5 10|Door L040 4400 17 1.2 1.6|Door L014 1100 92 .3 4
Dry L004 4600 80 .5 12|Dry L011 2580 85 .5 10|Dye L027 1120 46 -22 18|Dye L028 970 42 -24 14
Dye L029 820 49 -20 21|Dye L030 660 39 -23 10|Dye L031 2000 74 4 58|Dye L032 1500 22 3 -24
Dye L033 1400 38 48 24|Pick L009 5400 87 .6 9|Pick L010 4020 72 4.5 17|Rest L003 1990 19 1.5 1.8
Card L001 1980 62 6.5 19|Card L018 4850 47 3 9|Card L019 1740 79 .6 11|Card L037 3200 40 44 26
Draw L006 3980 32 8 11|Spin L002 1860 86 .8 9.5|Spin L007 350 58 1 7|Ply L039 2450 88 -.1 8
Skein L023 4100 28 7 10
"""
NAMES = ("Door", "Wash", "Dry", "Dye", "Pick", "Rest", "Card", "Draw", "Spin", "Ply", "Set", "Skein", "Box")


def places() -> list[Place]:
    """The demo day as places."""
    standing: dict[str, list[Tuft]] = {name: [] for name in NAMES}
    for row in LOTS.replace("\n", "|").split("|"):
        if row.strip():
            place, code, mass, *lab = row.split()
            fill = colour.screen_colour(*map(float, lab)).hex
            standing[place].append(
                Tuft(code, float(mass), fill, href=f"/lots/{code}/", is_held=code in ("L007", "L023"))
            )
    return [Place(name, tuple(lots)) for name, lots in standing.items()]


LADDER = (
    bars.Rung("wash", 4000, 3700, 4300, 3950),
    bars.Rung("pick", 3920, 3600, 4200, 3880),
    bars.Rung("card", 3550, 3200, 3900),
    bars.Rung("draw", 3500, 3100, 3850),
    bars.Rung("spin", 3300, 2900, 3700),
    bars.Rung("skein", 3240, 2800, 3600),
)
LAYERS = (
    kettle.Layer("L009", 209, "#e0d9c9"),
    kettle.Layer("L036", 418, "#e6e0d6"),
    kettle.Layer("L034", 140, "#f0ece6"),
    kettle.Layer("L009", 418, "#e0d9c9"),
    kettle.Layer("L006", 418, "#5d4436"),
    kettle.Layer("L009", 209, "#e0d9c9"),
)


REGAIN = {
    "actual_frac": 0.182,
    "drying_frac": 0.168,
    "wetting_frac": 0.148,
    "agreed_frac": 0.17,
    "rh_frac": 0.71,
}


def diameters() -> str:
    """Three components, bell curves."""
    edges = [float(um) for um in range(8, 52, 2)]

    def bell(mean: float, sd: float, share: float) -> tuple[float, ...]:
        heights = [math.exp(-(((low + 1 - mean) / sd) ** 2) / 2) for low in edges[:-1]]
        return tuple(share * height / sum(heights) for height in heights)

    parts = (
        histogram.Part("L009 alpaca", "#dcd3c0", bell(20.9, 4.6, 0.6), 0.6),
        histogram.Part("L006 Shetland wool", "#5d4436", bell(25.2, 6.1, 0.2), 0.2),
        histogram.Part("L034 polyamide", "#9db6a8", bell(20, 1.4, 0.2), 0.2),
    )
    return histogram.histogram(edges, parts, over_30_frac=0.062, mean_um=21.7)


def pictures() -> list[tuple[str, str]]:
    """Each picture with its name."""
    return [
        ("strand", strand.strand(places())),
        ("strand tall", strand.strand_tall(places())),
        ("river", flow.river("Raw fleece", 6500, RIVER, colour="#cdbfa2")),
        ("river tall", flow.river_tall("Raw fleece", 6500, RIVER, colour="#cdbfa2")),
        ("ancestry", ancestry.ancestry(NODES, LINKS, columns=COLUMNS)),
        ("ancestry tall", ancestry.ancestry_tall(NODES, LINKS, columns=COLUMNS)),
        ("histogram", diameters()),
        ("range bar", bars.range_bar(3750, low=3600, high=3880, promise=3500)),
        ("ladder", bars.stage_ladder(LADDER, colour="#cdbfa2")),
        ("layers", kettle.layers(LAYERS)),
        ("many layers", kettle.layers(LAYERS * 4)),
        ("strip", strip.framed("/strips.png", "Carded: not seen", place=1, n_strips=4, is_fleecy=False)),
        (
            "by length",
            variance_length.by_length(ALONG, FOUND, limit=1.0, unit="difference", limit_words="eye"),
        ),
        ("kettle", kettle.kettle(water_l=22.5, holds_l=30, depth_cm=36, dip_cm=24)),
        ("regain", kettle.regain_bar(**REGAIN)),
        ("tuft icons", "".join(swatch.tuft_icon(t.code, t.colour) for p in places() for t in p.lots)),
        (
            "swatch pair",
            swatch.swatch_pair("#567c47", "#577d4a", first_name="Fern, standard", second_name="this blend"),
        ),
        ("yarns", yarn.yarns(YARNS)),
        ("one yarn", yarn.yarns(YARNS[:1])),
        ("section", section.section(SECTION)),
        ("spin limit", spin_limit.spin_limit(fibres=139, fewest=60, comfortable=80)),
        ("wraps", wraps.wraps(WRAPS, thick_mm=0.92, colour="#54794a")),
        ("chip", chip.chip("#567c47", "Fern")),
        ("chip pair", chip.chip_pair("#567c47", "#577d4a", "Fern on the left, May on the right")),
        (
            "drift",
            drift.over_batches(BATCHES, LIMITS, along_de=(0.3, 1.0, 1.7, 2.4), first="May", last="July"),
        ),
        (
            "drift way",
            drift.which_way((46.6, -20.9, 19.2), BATCHES, LIMITS, passes=RING, asks=RING, lightness=(45, 48)),
        ),
    ]


YARNS = (
    yarn.DrawnYarn("DK", 0.65, 2, 110, "S", fibre_tpm=54, colour="#54794a", note="2-ply"),
    yarn.DrawnYarn("sock", 0.4, 3, 191, "S", fibre_tpm=130, colour="#a8845c", note="3-ply"),
    yarn.DrawnYarn("soft", 1.1, 1, 60, "Z", colour="#2f2a28"),
    yarn.DrawnYarn("flat", 0.5, 2, 0, "S"),
)
SECTION = (
    section.SectionPart("L008", 84, 24.5, 0.26, "#a8845c"),
    section.SectionPart("L009", 55, 27.5, 0.23, "#ece7da"),
)
WRAPS = (
    wraps.WrapRow("laid side by side, not pressed", 12.7),
    wraps.WrapRow("pushed tight together", 29),
)
ALONG = tuple(
    variance_length.Along(mm, level / 2.5, level, level * 2.5, 0.4 * level)
    for mm, level in ((10.0, 2.1), (100.0, 1.9), (1000.0, 1.0), (100_000.0, 0.3))
)
FOUND = (variance_length.Measured(100.0, 1.4, 1.0, 2.2),)
LIMITS = drift.Limits(1.2, 1.8)
BATCHES = (
    drift.Mark(1, "Fern May", "#567c47", 0.3, (46.8, -20.6, 19.0)),
    drift.Mark(2, "Fern June", "#577844", 1.5, (45.9, -19.4, 20.7)),
    drift.Mark(3, "Fern July", "#597541", 2.4, (45.4, -18.6, 21.6)),
)
RING = [(-20.9 + x, 19.2 + y) for x, y in ((2, 0), (0, 2), (-2, 0), (0, -2))]


RIVER = (
    RiverStep("skirt", 5.9e3, 5.7e3, 6.1e3, (("skirts", 600.0),)),
    RiverStep("wash", 4.0e3, 3.7e3, 4.3e3, (("grease and suint", 1300.0), ("dirt", 600.0))),
    RiverStep("pick", 3.92e3, 3.6e3, 4.2e3, (("dust and straw", 80.0),)),
    RiverStep("card", 3.55e3, 3.2e3, 3.9e3, (("neps and fly", 370.0),)),
    RiverStep("draw", 3.5e3, 3.1e3, 3.85e3, (("ends", 50.0),)),
    RiverStep("spin", 3.3e3, 2.9e3, 3.7e3, (("short fibre", 200.0),)),
    RiverStep("ply", 3.25e3, 2.85e3, 3.6e3, (("bobbin ends", 50.0),)),
    RiverStep("skein", 3.24e3, 2.8e3, 3.6e3),
)
COLUMNS = ("Received", "Picked", "Carded", "Spun", "Plied")
NODES = (
    FlowNode("L008", "L008", 0, 3600, "#d2cbb9", "/lots/L008/"),
    FlowNode("L007", "L007", 0, 2800, "#8b8a7f", "/lots/L007/"),
    FlowNode("L006", "L006", 0, 3400, "#5d4436", "/lots/L006/"),
    FlowNode("B101", "B101", 1, 3530, "#d2cbb9", "/lots/B101/"),
    FlowNode("B102", "B102", 1, 2740, "#8b8a7f", "/lots/B102/"),
    FlowNode("w1", "dust", 1, 130, "#b9ad9a", is_waste=True),
    FlowNode("R101", "R101", 2, 5800, "#afa996", "/lots/R101/", is_here=True),
    FlowNode("R103", "R103", 2, 3150, "#5d4436", "/lots/R103/"),
    FlowNode("w2", "neps and fly", 2, 470, "#b9ad9a", is_waste=True),
    FlowNode("S1", "S101", 3, 5500, "#afa996", "/lots/S101/"),
    FlowNode("Y203", "Y203", 4, 5400, "#afa996", "/lots/Y203/"),
)
LINKS = (
    FlowLink("L008", "B101", 3530),
    FlowLink("L008", "w1", 70),
    FlowLink("L007", "B102", 2740),
    FlowLink("L007", "w1", 60),
    FlowLink("B101", "R101", 3260),
    FlowLink("B102", "R101", 2540),
    FlowLink("B101", "w2", 270),
    FlowLink("B102", "w2", 200),
    FlowLink("L006", "R103", 3150),
    FlowLink("R101", "S1", 5500),
    FlowLink("S1", "Y203", 5400),
)


PAST = date(2026, 2, 27)
SOON = date(2026, 3, 6)
_LOSS = Working(
    "Left on the card",
    "lost = fixed grams in the card + share x what goes in",
    (
        Term("goes in, oven-dry", 3920, "g"),
        Term("stays in the card", 120, "g", "once per lot"),
        Term("share", 0.065, "frac"),
    ),
    Term("lost", 374.8, "g"),
    "Common practice of small mills; measure yours by weighing ten lots in and out",
    Status.PRACTICE,
)
WORKING = Working(
    "Yarn in skeins, at agreed regain",
    "yarn = oven-dry fibre left after the last stage x (1 + agreed regain)",
    (
        Term("oven-dry fibre left", 2769, "g"),
        Term("agreed regain", 0.17, "frac", "woollen carded yarn"),
        Term("fibre", "alpaca and wool"),
    ),
    Term("yarn", 3240, "g"),
    "Regulation (EU) 1007/2011, Annex IX",
    Status.SOURCE,
    parts=(
        _LOSS,
        replace(_LOSS, title="Left on the picker", status=Status.MEMORY),
        replace(_LOSS, title="Bobbin ends", status=Status.OWN),
    ),
)


def weigh_out() -> list[tuple[str, ...]]:
    """Rows of a weigh-out sheet."""
    return [
        ("L009", "white alpaca, picked", "60 %", "1.25 kg", "5.4 kg"),
        ("L036", "superwash Merino", "20 %", "418 g", "10 kg"),
        ("L034", "polyamide staple", "20 %", "420 g", "10 kg"),
    ]
