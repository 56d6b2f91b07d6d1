"""Numbers of yarn from outside the code, one per row of yarn_cases.csv and two tables of whole yarns.

Most were worked out by another program or by hand; such rows say so. Tolerances are half the last printed
digit, or a little more where the other program rounded on its way.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest

from doffer.fibre.count import from_tex, strand_mass_g, to_tex
from doffer.fibre.fineness import spinning_fineness_um
from doffer.process.evenness.fibres import Limit, limit_cv_frac
from doffer.process.evenness.passage import Part
from doffer.process.yarn import basis, dimensions, draft, hauteur, limits, plying, put_up, twist
from doffer.process.yarn.basis import Basis, OilWater, State, StrandCount
from doffer.process.yarn.plan import SpinMachine, YarnPlan, YarnUse, YarnWish, plan_yarn
from doffer.tables.loader import Override, load_tables

HERE = Path(__file__).parent
TABLES = load_tables()


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = _rows("yarn_cases.csv")
PRODUCTS = _rows("yarn_products.csv")
PRACTICE = _rows("practice_yarns.csv")
TWISTS = _rows("twist_checks.csv")
HALF_PACKED = twist.Section(packing_frac=0.5, density_g_cm3=1.31)
YIELDS = (0.98, 0.90, 0.985, 0.955, 0.985, 0.985, 0.99)  # pick to skein, of the made-up lot
LOT_KG = 8.60 * math.prod(YIELDS) * 1.17
LOT = limits.YarnFibre(
    (Part("alpaca", 0.605, 24.5, 0.26, 90, 0, 1.31), Part("wool", 0.395, 27.5, 0.23, 90, 0, 1.31))
)
PINIONS = draft.Gears(low_draft=6, high_draft=25, constant=480, teeth=tuple(range(24, 61)))


def _wish(v: dict) -> YarnWish:
    return YarnWish(
        finished_tex=100_000 / v["m_per_100g"],
        plies=v["plies"],
        twist_factor=v["factor"],
        ply_ratio=v["ratio"],
        relaxation_frac=v["s"],
        oil_frac=v["o"],
    )


def _what_is_planned(plan: YarnPlan) -> dict[str, float]:
    return {
        "single_tex": plan.single.tex,
        "single_nm": 1000 / plan.single.tex,
        "tpm": plan.single_twist.tpm,
        "ply_tpm": plan.ply_twist.tpm,
        "take_up": plan.take_up,
        "retraction_pct": 100 * plan.retraction_frac,
        "roller_tex": plan.roller.tex,
        "draft": plan.draft.draft,
        "obtained_tex": plan.obtained.tex,
    }


def _plan(v: dict) -> float:
    frame = SpinMachine("frame", rovings_tex=(v["roving"],))
    return _what_is_planned(plan_yarn(_wish(v), LOT, frame, TABLES))[v["what"]]


def _rebase(v: dict) -> float:
    yarn = StrandCount(v["tex"], Basis(State.FINISHED, v["from"]))
    return basis.rebase(yarn, regain_frac=v["to"]).tex


def _greige(v: dict, oil_water: OilWater = OilWater.LIKE_FIBRE) -> float:
    return basis.greige_tex(
        finished_tex=100_000 / v["m_per_100g"],
        label_regain_frac=v["label"],
        room_regain_frac=v["now"],
        relaxation_frac=v["s"],
        oil_frac=v["o"],
        oil_water=oil_water,
    )


def _pinion(v: dict) -> float:
    choices = draft.choose_draft(roller_tex=v["roller"], roving_texs=[v["roving"]], gears=PINIONS)
    found = next(choice for choice in choices if choice.setting == f"{v['teeth']} teeth")
    return found.draft if v["what"] == "draft" else 100 * found.error_frac


def _half_tooth_pct(v: dict) -> float:
    two = draft.Gears(low_draft=1, high_draft=50, constant=480, teeth=(v["teeth"], v["teeth"] + 1))
    return 100 * two.tooth_step_frac()


def _twisted(v: dict) -> float:
    return twist.turns_tpm(
        TABLES, factor=v["factor"], count_tex=v["tex"], kind=twist.FactorKind(v.get("kind", "alpha_metric"))
    )


def _tpi(v: dict) -> float:
    tex = to_tex(TABLES, system=v["system"], count=float(v["count"]))
    return twist.turns_per_inch(_twisted({**v, "tex": tex}))


def _take_up(v: dict, way: twist.Direction = twist.Direction.S) -> float:
    turns = _twisted({"factor": 80, "tex": 125})
    return plying.ply_take_up(
        single_tex=125,
        single_twist_tpm=turns,
        ply_twist_tpm=v["ratio"] * turns,
        plies=2,
        section=HALF_PACKED,
        ply_direction=way,
    ).take_up


def _balance(v: dict) -> float:
    turns = _twisted({"factor": v["factor"], "tex": 125})
    found = plying.torque_free_ply_tpm(
        single_twist_tpm=turns, single_tex=125, section=HALF_PACKED, stiffness_ratio=v["bc"]
    )
    return found / turns


def _across(v: dict) -> float:
    fibre = limits.one_fibre(
        diameter_um=v["um"], diameter_cv_frac=v["cv_pct"] / 100, density_g_cm3=v["rho"], staple_mm=80
    )
    return limits.fibres_across(fibre, fibre_only_tex=v["tex"])


def _lot_finest(v: dict) -> float:
    fewest = limits.fewest_fibres(TABLES, system=limits.System(v["system"]))
    return limits.finest_tex(LOT, fibres=getattr(fewest, v["which"]))


def _share_pct(v: dict) -> float:
    fine = limits.one_fibre(diameter_um=19.5, diameter_cv_frac=0.21, density_g_cm3=1.31, staple_mm=80)
    lace = _wish({"m_per_100g": 800, "plies": 2, "factor": 85, "ratio": 0.67, "s": 0.04, "o": 0.01})
    bare_tex = plan_yarn(lace, LOT, SpinMachine("frame"), TABLES).fibre_only_tex
    found = limits.share_to_reach(wanted_fibres=v["n"], fibre_only_tex=bare_tex, coarse=LOT, fine=fine)
    return 100 * found.share_frac


def _wraps_k(v: dict) -> float:
    wraps, length = (
        TABLES.yarn_classes[f"hand_spinners/{v['yarn_class']}/{quantity}"]
        for quantity in ("wpi_relaxed", "yd_per_lb")
    )
    tex = to_tex(TABLES, system="yd_per_lb", count=(length.low + length.high) / 2)
    return dimensions.wraps_constant(wraps_per_inch=(wraps.low + wraps.high) / 2, count_tex=tex)


def _wraps_k_of_packing(v: dict) -> float:
    thick_mm = dimensions.diameter_mm(count_tex=1, packing_frac=v["phi"], density_g_cm3=1.31)
    return 25.4 / thick_mm


def _strength_kept(v: dict) -> float:
    known = TABLES.override([Override("yarn_figures", "slip/any", "value", str(v["k"]))])
    return dimensions.strength_kept_frac(known, angle_rad=math.radians(v["deg"]))


def _put_up(v: dict) -> float:
    wish = put_up.SkeinWish(length_m=230, mass_g=100, promise=put_up.Promise(v["promise"]))
    found = put_up.skeins(
        wish,
        lot_mass_g=v["lot"],
        count_tex=v["tex"],
        ends_mass_g=v["ends"],
        skein_cv_frac=v["cv"],
        short_chance_frac=v["chance"],
    )
    return getattr(found, v["what"])


def _scenario_3(v: dict) -> float:
    wish = put_up.SkeinWish(length_m=v["m_per_100g"], mass_g=100)
    found = put_up.skeins(
        wish, lot_mass_g=v["lot"], count_tex=100_000 / v["m_per_100g"], test_mass_g=v["test"]
    )
    return getattr(found, v["what"])


def _kg_per_h(*, tpm: float, tex: float) -> float:
    speed = twist.spin_speed_m_per_min(spindle_rpm=3000, twist_tpm=tpm)
    return strand_mass_g(length_m=8 * speed * 60 * 0.8, count_tex=tex) / 1000


def _scenario_12(v: dict) -> float:
    fibre = limits.one_fibre(diameter_um=22, diameter_cv_frac=0.25, density_g_cm3=1.31, staple_mm=80)
    wish = YarnWish(
        100_000 / 425,
        3,
        use=YarnUse.SOCK,
        twist_factor=2700 / math.sqrt(1000),
        take_up=0.97,
        relaxation_frac=0,
        oil_frac=0,
    )
    plan = plan_yarn(wish, fibre, SpinMachine("frame", rovings_tex=(3000,)), TABLES)
    kg_per_h = _kg_per_h(tpm=plan.single_twist.tpm, tex=plan.single.tex)
    found = _what_is_planned(plan_yarn(wish, fibre, SpinMachine("frame", rovings_tex=(1500,)), TABLES))
    found |= {
        "tpi": twist.turns_per_inch(plan.single_twist.tpm),
        "fibres_bobbin": limits.fibres_across(fibre, fibre_only_tex=plan.single.tex),
        "fibres_roller": plan.fibres,
        "draft_3_g": 3000 / plan.roller.tex,
        "draft_1_5_g": found["draft"],
        "kg_per_h": kg_per_h,
        "hours_6_kg": 6 / kg_per_h,
        "limit_bobbin_pct": 100
        * limits.limit_cv_frac(fibre, fibre_only_tex=plan.single.tex, form=Limit.USUAL),
        "limit_roller_pct": 100
        * limits.limit_cv_frac(fibre, fibre_only_tex=plan.roller.tex, form=Limit.USUAL),
    }
    assert "Draw the roving to 1.5 g/m first (draft 20.4)" in plan.warnings[0]
    assert plan.verdict is limits.Verdict.OK
    return found[v["what"]]


FUNCTIONS = {
    "rebase": _rebase,
    "rebased_m_per_100g": lambda v: 100_000 / _rebase(v),
    "greige": _greige,
    "oil_water": lambda v: _greige(v) / _greige(v, OilWater.NONE) - 1,
    "plan": _plan,
    "drawn": lambda v: draft.drawn_tex(in_tex=v["tex"], doublings=v["doublings"], draft=v["draft"]),
    "cv_out": lambda v: (
        100 * draft.cv_after_drawing_frac(cv_frac=v["cv"], doublings=v["n"], added_cv_frac=v["add"])
    ),
    "pinion": _pinion,
    "half_tooth_pct": _half_tooth_pct,
    "needed": lambda v: draft.needed_roving_tex(roller_tex=v["roller"], draft=v["draft"]),
    "convert": lambda v: twist.convert_factor(
        TABLES,
        factor=v["factor"],
        given=twist.FactorKind(v["given"]),
        wanted=twist.FactorKind(v["wanted"]),
    ),
    "tpi": _tpi,
    "tpm": _twisted,
    "retraction": lambda v: 100 * twist.retraction_frac(math.radians(v["deg"]), twist.Contraction(v["form"])),
    "angle": lambda v: math.degrees(HALF_PACKED.angle_rad(count_tex=v["tex"], twist_tpm=_twisted(v))),
    "take_up": _take_up,
    "take_up_tex": lambda v: plying.plied_tex(singles_tex=(125, 125), take_up=_take_up(v)),
    "take_up_same": lambda v: _take_up(v, twist.Direction.Z),
    "neutral": lambda v: plying.length_neutral_ratio(v["plies"]),
    "neutral_factors": lambda v: plying.length_neutral_ratio(v["plies"]) * math.sqrt(v["plies"]),
    "equal_factor": lambda v: plying.equal_factor_ratio(v["plies"]),
    "balance": _balance,
    "helix_radius": lambda v: plying.helix_radius_factor(v["plies"]),
    "across": _across,
    "lot_fibre_dtex": lambda _: 10 * LOT.fibre_tex,
    "lot_finest": _lot_finest,
    "cvlim": lambda v: (
        100 * limit_cv_frac(fibres=1, diameter_cv_frac=v["cv_pct"] / 100, form=Limit(v["form"]))
    ),
    "fineness": lambda v: spinning_fineness_um(
        TABLES, diameter_um=v["um"], diameter_cv_frac=v["cv_pct"] / 100
    ),
    "team": lambda v: hauteur.top_hauteur_mm(
        TABLES,
        staple_mm=v["sl"],
        strength_n_per_ktex=v["ss"],
        diameter_um=v["d"],
        mid_break_frac=v["m"],
        vegetable_frac=v["vm"],
    ),
    "share": _share_pct,
    "diameter": lambda v: dimensions.diameter_mm(
        count_tex=v["tex"], packing_frac=v["phi"], density_g_cm3=v["rho"]
    ),
    "packing_of": lambda v: dimensions.packing_frac(count_tex=1, diameter_mm=v["d"], density_g_cm3=v["rho"]),
    "wraps": lambda v: dimensions.wraps_per_inch(
        TABLES, count_tex=v["tex"], method=dimensions.Wrapping(v["method"])
    ),
    "wraps_k": _wraps_k,
    "wraps_k_of_packing": _wraps_k_of_packing,
    "wraps_packing": lambda v: dimensions.packing_frac(
        count_tex=1, diameter_mm=25.4 / v["k"], density_g_cm3=1.31
    ),
    "strength_kept": _strength_kept,
    "put_up": _put_up,
    "lot_kg": lambda _: LOT_KG,
    "scenario_3": _scenario_3,
    "count_of": lambda v: from_tex(TABLES, system=v["system"], count_tex=100_000 / v["m_per_100g"]),
    "scenario_12": _scenario_12,
    "speed": lambda v: twist.spin_speed_m_per_min(spindle_rpm=v["rpm"], twist_tpm=v["tpm"]),
}


@pytest.mark.published
@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_the_number_of_yarn_is_reproduced(case):
    found = FUNCTIONS[case["function"]](json.loads(case["inputs_json"]))
    assert found == pytest.approx(float(case["expected"]), abs=float(case["tolerance"]), rel=0)


@pytest.mark.published
@pytest.mark.parametrize("row", PRODUCTS, ids=[row["product"] for row in PRODUCTS])
def test_every_yarn_of_the_made_up_lot_is_recomputed(row):
    wish = _wish(
        {
            "m_per_100g": float(row["m_per_100g"]),
            "plies": int(row["plies"]),
            "factor": float(row["twist_factor"]),
            "ratio": float(row["ply_ratio"]),
            "s": 0.04,
            "o": 0.01,
        }
    )
    semi, woollen = (
        plan_yarn(wish, LOT, SpinMachine("frame", system), TABLES)
        for system in (limits.System.SEMI_WORSTED, limits.System.WOOLLEN)
    )
    usual_frac = limits.limit_cv_frac(LOT, fibre_only_tex=semi.fibre_only_tex, form=Limit.USUAL)
    indices = [TABLES.yarn_limits[f"index_irregularity/{way}"].value for way in ("semi_worsted", "woollen")]
    assert semi.single.tex == pytest.approx(float(row["single_tex"]), abs=0.06)
    assert 1000 / semi.single.tex == pytest.approx(float(row["nm"]), abs=0.05)
    assert semi.fibres == pytest.approx(float(row["fibres"]), abs=0.6)
    assert 100 * usual_frac == pytest.approx(float(row["limit_cv_pct"]), abs=0.06)
    assert 100 * usual_frac * indices[0] == pytest.approx(float(row["semi_cv_pct"]), abs=0.06)
    assert 100 * usual_frac * indices[1] == pytest.approx(float(row["woollen_cv_pct"]), abs=0.06)
    assert (semi.verdict, woollen.verdict) == (row["semi_worsted"], row["woollen"])
    assert semi.single_twist.tpm == pytest.approx(float(row["tpm"]), abs=0.6)
    assert semi.ply_twist.tpm == pytest.approx(float(row["ply_tpm"]), abs=0.6)


@pytest.mark.published
@pytest.mark.parametrize("row", PRODUCTS, ids=[row["product"] for row in PRODUCTS])
def test_hours_and_skeins_of_the_made_up_lot_are_recomputed(row):
    length_m = float(row["m_per_100g"])
    wish = _wish(
        {
            "m_per_100g": length_m,
            "plies": int(row["plies"]),
            "factor": float(row["twist_factor"]),
            "ratio": float(row["ply_ratio"]),
            "s": 0.04,
            "o": 0.01,
        }
    )
    plan = plan_yarn(wish, LOT, SpinMachine("frame", spindle_rpm=3000, roll_speed_cap_m_per_min=60), TABLES)
    singles_m = LOT_KG * 10 * length_m * plan.singles_m_per_finished_m
    assert singles_m / (plan.speed_m_per_min * 60 * 8 * 0.75) == pytest.approx(
        float(row["frame_h"]), abs=0.06
    )
    found = put_up.skeins(
        put_up.SkeinWish(length_m=length_m, mass_g=100),
        lot_mass_g=LOT_KG * 1000,
        count_tex=wish.finished_tex,
        ends_mass_g=60,
        tie_length_m=2,
    )
    assert found.n_skeins == int(row["skeins"])
    assert found.over_mass_g == pytest.approx(float(row["over_g"]), abs=0.6)


@pytest.mark.published
@pytest.mark.parametrize("row", PRACTICE, ids=[row["yarn"] for row in PRACTICE])
def test_the_yarn_table_of_practice_is_recomputed(row):
    plies = int(row["plies"])
    resultant_tex = 100_000 / float(row["m_per_100g"])
    single_tex = plying.single_for_ply_tex(
        plied_tex=resultant_tex, plies=plies, take_up=float(row["take_up"])
    )
    turns = _twisted({"factor": float(row["alpha_tex"]), "tex": single_tex, "kind": "alpha_tex"})
    assert resultant_tex == pytest.approx(float(row["resultant_tex"]), abs=0.6)
    assert single_tex == pytest.approx(float(row["single_tex"]), abs=0.6)
    assert turns == pytest.approx(float(row["tpm"]), abs=0.6)
    assert twist.turns_per_inch(turns) == pytest.approx(float(row["tpi"]), abs=0.06)
    assert _kg_per_h(tpm=turns, tex=single_tex) == pytest.approx(float(row["kg_per_h"]), abs=0.006)
    across = _across({"um": 24, "cv_pct": 0, "rho": 1.31, "tex": single_tex})
    assert across == pytest.approx(float(row["fibres"]), abs=1.1)


CONVERSIONS = [row for row in TABLES.twist.values() if row.kind == "conversion"]


@pytest.mark.parametrize("row", CONVERSIONS, ids=lambda row: f"{row.item} {row.quantity}")
def test_twist_factors_convert_as_the_table_says(row):
    wanted = twist.FactorKind.ALPHA_METRIC
    per_m = 1.0
    if row.quantity == "turns_per_cm_sqrt_tex":
        wanted, per_m = twist.FactorKind.ALPHA_TEX, 100.0
    found = twist.convert_factor(TABLES, factor=1, given=twist.FactorKind(row.item), wanted=wanted)
    assert found / per_m == pytest.approx(row.value, abs=0.00006)


def test_the_firm_worsted_twist_of_the_handout_is_3_1_to_3_3_of_worsted_count():
    row = TABLES.twist["guide/worsted_74_to_220_tex/alpha_metric"]
    low, high = (
        twist.convert_factor(
            TABLES, factor=tm, given=twist.FactorKind.WORSTED, wanted=twist.FactorKind.ALPHA_METRIC
        )
        for tm in (3.1, 3.3)
    )
    assert low < row.low < row.high < high


SECTIONS = [row for row in TABLES.cross_section.values() if row.yarn_count_tex is not None]


@pytest.mark.parametrize("row", SECTIONS, ids=lambda row: row.case)
def test_every_worked_section_is_recomputed(row):
    fibre = limits.one_fibre(
        diameter_um=row.diameter_um,
        diameter_cv_frac=row.diameter_cv_pct / 100,
        density_g_cm3=row.density_g_cm3,
        staple_mm=80,
    )
    tex = row.yarn_count_tex
    assert 10 * fibre.fibre_tex == pytest.approx(row.fibre_dtex, abs=0.00006)
    assert limits.fibres_across(fibre, fibre_only_tex=tex) == pytest.approx(row.n_fibres, abs=0.006)
    forms = (Limit.USUAL, Limit.EXACT, Limit.LOGNORMAL)
    said = (row.limit_cv_pct, row.limit_cv_normal_pct, row.limit_cv_lognormal_pct)
    for form, value in zip(forms, said, strict=True):
        found_frac = limits.limit_cv_frac(fibre, fibre_only_tex=tex, form=form)
        assert 100 * found_frac == pytest.approx(value, abs=0.0006)


FINENESSES = [row for row in TABLES.cross_section.values() if row.spinning_fineness_um is not None]


@pytest.mark.parametrize("row", FINENESSES, ids=lambda row: row.case)
def test_every_spinning_fineness_is_recomputed(row):
    found = spinning_fineness_um(
        TABLES, diameter_um=row.diameter_um, diameter_cv_frac=row.diameter_cv_pct / 100
    )
    assert found == pytest.approx(row.spinning_fineness_um, abs=0.0006)


CHARTED = [
    key for key in TABLES.yarn_classes if key.startswith("hand_spinners") and key.endswith("m_per_100g")
]


@pytest.mark.parametrize("key", CHARTED)
def test_metres_of_the_charted_classes_follow_from_their_yards(key):
    metres, yards = (
        TABLES.yarn_classes[key.replace("m_per_100g", unit)] for unit in ("m_per_100g", "yd_per_lb")
    )
    for said, given in ((metres.low, yards.low), (metres.high, yards.high)):
        if given:
            tex = to_tex(TABLES, system="yd_per_lb", count=given)
            assert from_tex(TABLES, system="m_per_100g", count_tex=tex) == pytest.approx(said, abs=0.5)


def _twist_check(row: dict[str, str]) -> float:
    tex = float(row["item"].split()[0]) if row["item"][0].isdigit() and "tex" in row["item"][:8] else 125.0
    if row["kind"] == "twist":
        return _twisted({"factor": float(row["quantity"].split()[1]), "tex": tex})
    if row["kind"] == "angle":
        turns = _twisted({"factor": float(row["parameter"].split()[1]), "tex": tex})
        return math.degrees(HALF_PACKED.angle_rad(count_tex=tex, twist_tpm=turns))
    if row["kind"] == "contraction":
        form = twist.Contraction.HEARLE if row["parameter"].startswith("tan") else twist.Contraction.LAYERS
        return 100 * twist.retraction_frac(math.radians(float(row["quantity"].split()[-2])), form)
    if row["kind"] == "balance":
        return _balance({"bc": float(row["quantity"].split()[-1]), "factor": 80})
    if row["item"] == "opposite twist":
        return plying.length_neutral_ratio(int(row["quantity"][0]))
    return plying.plied_tex(
        singles_tex=(125, 125), take_up=_take_up({"ratio": float(row["quantity"].split()[1])})
    )


@pytest.mark.published
@pytest.mark.parametrize("row", TWISTS, ids=lambda row: f"{row['item']} {row['quantity']} {row['parameter']}")
def test_every_check_of_twist_is_recomputed(row):
    assert _twist_check(row) == pytest.approx(float(row["value"]), rel=5e-5, abs=5.1e-5)


@pytest.mark.parametrize("file", ["yarn_cases.csv", "yarn_products.csv", "practice_yarns.csv"])
def test_every_case_of_yarn_names_a_known_source_and_an_honest_status(file):
    known = {row["key"]: row["seen"] for row in _rows("sources.csv")}
    known |= {row.key: row.seen for row in TABLES.sources.values()}
    for row in _rows(file):
        assert row["source"] in known, row
        assert row["status"] in ("source", "memory", "computed"), row
        assert row["status"] != "source" or known[row["source"]] != "no", row
    assert len({case["id"] for case in CASES}) == len(CASES)
