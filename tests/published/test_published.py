"""Numbers from outside the code, one per row of cases.csv, each with its source.

Rows marked "computed" were worked out by hand or by another program, not read in a publication; "memory"
rows name a publication that was not read again. Tolerances are half the last printed digit, or the accuracy
the model claims.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doffer.fibre import content, count, fineness, moisture, yields
from doffer.tables.loader import load_tables

HERE = Path(__file__).parent
TABLES = load_tables()


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = _rows("cases.csv")


def _arrays(values: dict) -> dict:
    return {k: np.array(v, dtype=float) if isinstance(v, list) else v for k, v in values.items()}


def _by_length(v: dict) -> np.ndarray:
    keys = ("mass_shares", "diameter_um", "diameter_sd_um", "density_g_cm3")
    return fineness.length_shares(**{k: v[k] for k in keys})


def _mixed(v: dict, shares: np.ndarray) -> fineness.Fineness:
    return fineness.mixture(shares=shares, diameter_um=v["diameter_um"], diameter_sd_um=v["diameter_sd_um"])


def _by_number(v: dict) -> np.ndarray:
    return fineness.number_shares(length_shares=_by_length(v), fibre_length_mm=v["fibre_length_mm"])


def _resultant_cotton(v: dict) -> float:
    strands = [count.to_tex(TABLES, system="ne_cotton", count=float(c)) for c in v["counts"]]
    return count.from_tex(TABLES, system="ne_cotton", count_tex=count.resultant_tex(strands))


def _clean_mass_kg(v: dict) -> float:
    mass = v.pop("greasy_mass_kg") * 1000
    return yields.iwto_clean_mass_working(TABLES, greasy_mass_g=mass, **v).result.value / 1000


def _label_share(v: dict) -> float:
    shares = content.content_shares(
        TABLES, dry_mass_by_fibre_g=v["dry"], basis=content.Basis(v["basis"]), form="carded"
    )
    return shares[v["fibre"]]


def _coarse_pct(v: dict) -> float:
    v = v | {"curve": fineness.Curve(v["curve"])}
    lots = {k: np.array([v.pop(k)]) for k in ("diameter_um", "diameter_sd_um")}
    return 100 * float(fineness.coarse_frac(**lots, **v)[0])


def _blend_coarse(v: dict) -> float:
    return fineness.blend_coarse_frac(
        length_shares=_by_length(v),
        diameter_um=v["diameter_um"],
        diameter_sd_um=v["diameter_sd_um"],
        limit_um=v["limit_um"],
    )


def _equilibrium(v: dict) -> float:
    branch = moisture.Branch(v.get("branch", "desorption"))
    return moisture.equilibrium_regain_frac(TABLES, v["fibre"], rh_frac=v["rh_frac"], branch=branch)


FUNCTIONS = {
    "moisture.regain_from_content_frac": lambda v: moisture.regain_from_content_frac(**v),
    "moisture.content_from_regain_frac": lambda v: moisture.content_from_regain_frac(**v),
    "moisture.agreed_regain_frac": lambda v: moisture.agreed_regain_frac(TABLES, v.pop("fibre"), **v),
    "moisture.equilibrium_regain_frac": _equilibrium,
    "yields.iwto_scoured_yield_frac": lambda v: yields.iwto_scoured_yield_frac(TABLES, **v),
    "yields.combined_yield_frac": lambda v: yields.combined_yield_frac(**v),
    "iwto_clean_mass_kg": _clean_mass_kg,
    "label_share": _label_share,
    "count.to_tex": lambda v: count.to_tex(TABLES, **v),
    "km_per_kg": lambda v: count.from_tex(TABLES, system="nm", count_tex=count.to_tex(TABLES, **v)),
    "resultant_cotton": _resultant_cotton,
    "mixture_mean": lambda v: fineness.mixture(**v).diameter_um,
    "mixture_sd": lambda v: fineness.mixture(**v).diameter_sd_um,
    "length_mean": lambda v: _mixed(v, _by_length(v)).diameter_um,
    "length_sd": lambda v: _mixed(v, _by_length(v)).diameter_sd_um,
    "length_share_first": lambda v: _by_length(v)[0],
    "number_mean": lambda v: _mixed(v, _by_number(v)).diameter_um,
    "number_sd": lambda v: _mixed(v, _by_number(v)).diameter_sd_um,
    "blend_coarse": _blend_coarse,
    "coarse_pct": _coarse_pct,
    "fineness.spinning_fineness_um": lambda v: fineness.spinning_fineness_um(TABLES, **v),
}


@pytest.mark.published
@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_the_number_is_reproduced(case):
    inputs = _arrays(json.loads(case["inputs_json"]))
    found = FUNCTIONS[case["function"]](inputs)
    assert found == pytest.approx(float(case["expected"]), abs=float(case["tolerance"]), rel=0)


@pytest.mark.parametrize("file", ["cases.csv", "twist_checks.csv"])
def test_every_case_names_a_known_source_and_an_honest_status(file):
    known = {row["key"]: row["seen"] for row in _rows("sources.csv")}
    known |= {row.key: row.seen for row in TABLES.sources.values()}
    for row in _rows(file):
        assert row["source"] in known, row
        assert row["status"] in ("source", "memory", "computed"), row
        assert row["status"] != "source" or known[row["source"]] != "no", row


def test_case_names_are_used_once():
    names = [case["id"] for case in CASES]
    assert len(names) == len(set(names))
