"""Speeds, rates and distances worked outside the code, one per row of work_cases.csv, and the yarn table's
rates through the functions that a plan reckons minutes with.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest

from doffer.fibre.material import Constituent
from doffer.process import rates
from doffer.process.durations import StageWork, stage_minutes
from doffer.process.settings.card import settings_card
from doffer.process.settings.facts import FibreFacts, FibrePart, MachineLimits
from doffer.process.settings.ratch import ratch_mm
from doffer.process.yarn.twist import spin_speed_m_per_min
from doffer.tables.loader import load_tables

HERE = Path(__file__).parent
TABLES = load_tables()


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = _rows("work_cases.csv")
PRACTICE = _rows("practice_yarns.csv")


def _spindle(v: dict) -> float:
    return rates.spindle_rate_kg_per_h(
        spindles=v["n"],
        spindle_rpm=3000,
        twist_tpm=v["tpm"],
        count_tex=v["tex"],
        efficiency_frac=v["eff"],
        roll_speed_cap_m_per_min=v.get("cap", math.inf),
    )


def _stage_hours(v: dict) -> float:
    frame = rates.MachineFigures(spindles=v["n"], spindle_rpm=3000, efficiency_frac=v["eff"], setup_min=0)
    work = StageWork("spin", 1000 * v["kg"], count_tex=v["tex"], twist_tpm=v["tpm"])
    return stage_minutes(work, frame, TABLES).total.p50 / 60


def _bobbin(v: dict) -> float:
    return rates.bobbin_run_min(bobbin_mass_g=v["bobbin"], speed_m_per_min=v["speed"], count_tex=v["tex"])


def _efficiency(v: dict) -> float:
    return rates.running_efficiency_frac(
        run_min=_bobbin(v), doff_min=v["doff"], breaks_per_spindle_h=v["breaks"], break_wait_min=v["wait"]
    )


def _ratch_of_table(v: dict) -> float:
    facts = FibreFacts((FibrePart(Constituent("L1", v["fibre"], 26, 0.2, v["staple"], v["cv"]), 1.0),))
    found = settings_card("draw", facts, MachineLimits(), TABLES).of("ratch")
    assert found is not None
    return found.value or 0.0


FUNCTIONS = {
    "speed": lambda v: spin_speed_m_per_min(spindle_rpm=v["rpm"], twist_tpm=v["tpm"]),
    "spindle": _spindle,
    "stage_hours": _stage_hours,
    "web": lambda v: rates.web_rate_kg_per_h(
        web_g_per_m2=v["g_m2"], width_m=v["width"], speed_m_per_min=v["speed"]
    ),
    "strand": lambda v: rates.strand_rate_kg_per_h(
        speed_m_per_min=v["speed"], count_tex=v["tex"], strands=v["n"]
    ),
    "bobbin": _bobbin,
    "efficiency": _efficiency,
    "traveller": lambda v: rates.traveller_speed_m_per_s(ring_mm=v["ring"], spindle_rpm=v["rpm"]),
    "ratch": lambda v: ratch_mm(
        staple_mm=v["staple"],
        staple_cv_frac=v["cv"],
        fibre_length_ratio=v["ratio"],
        margin_ratio=1.05,
        longest_sd=2,
    ),
    "ratch_of_table": _ratch_of_table,
}


@pytest.mark.published
@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_number_from_outside_is_reproduced(case):
    found = FUNCTIONS[case["function"]](json.loads(case["inputs_json"]))
    assert found == pytest.approx(float(case["expected"]), abs=float(case["tolerance"]))


@pytest.mark.published
@pytest.mark.parametrize("row", PRACTICE, ids=[row["yarn"] for row in PRACTICE])
def test_the_rates_of_the_yarn_table_are_those_that_minutes_are_reckoned_with(row):
    single_tex = 100_000 / float(row["m_per_100g"]) * float(row["take_up"]) / int(row["plies"])
    twist_tpm = float(row["alpha_tex"]) / math.sqrt(single_tex)
    frame = rates.MachineFigures(
        spindles=8, spindle_rpm=3000, efficiency_frac=0.8, roll_speed_cap_m_per_min=1000
    )
    found = rates.frame_rate("spin", frame, TABLES, twist_tpm=twist_tpm, count_tex=single_tex)
    assert found.kg_per_h == pytest.approx(float(row["kg_per_h"]), abs=0.006)
