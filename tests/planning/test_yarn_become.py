"""What a lot can become: the list, its figures beside the full plan, and laws it must keep."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.spec import LotStart, MachineUse, MillWays
from doffer.planning.spread import Spread
from doffer.planning.yarn.become import RankBy, becomings, one_each, possible, usual_products
from doffer.planning.yarn.become_workings import becoming_workings
from doffer.planning.yarn.risk import RiskLevel
from doffer.planning.yarn.spin_lot import Frame, SpinLot, known_mass, spin_lot
from doffer.process.evenness.passage import Part
from doffer.process.yarn.basis import State
from doffer.process.yarn.limits import BreakPoint, System, Verdict, YarnFibre, one_fibre
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.wish import SpinMachine
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
# The worked lot of our notes: 8.60 kg oven-dry, 60.5 % alpaca 24.5 um and 39.5 % wool 27.5 um, 8.019 kg yarn.
BLEND = YarnFibre(
    (
        Part("alpaca", 0.605, 24.5, 0.26, 90.0, 0.2, 1.31),
        Part("wool", 0.395, 27.5, 0.23, 90.0, 0.2, 1.31),
    )
)


def lot(fibre, mass_g=8019.0, **more):
    return SpinLot("lot", fibre, known_mass(mass_g), known_mass(mass_g), 0.17, **more)


def frame(system=System.SEMI_WORSTED, **more):
    machine = SpinMachine(str(system), system=system, spindle_rpm=3000, roll_speed_cap_m_per_min=1000)
    return Frame(machine, n_spindles=8, efficiency_frac=0.75, relaxation_frac=0.04, oil_frac=0.01, **more)


def wool(diameter_um=22.0, staple_mm=90.0):
    return one_fibre(diameter_um=diameter_um, diameter_cv_frac=0.22, density_g_cm3=1.31, staple_mm=staple_mm)


def rows_of(fibre, frames=None, **more):
    return becomings(lot(fibre), frames or [frame()], TABLES, **more)


def row(rows, name, plies, system=System.SEMI_WORSTED):
    return next(
        one
        for one in rows
        if (one.product.name, one.plies, one.frame.machine.system) == (name, plies, system)
    )


@pytest.mark.parametrize(
    ("name", "plies", "single_tex", "fibres", "cv_pct", "turns", "ply_turns", "hours", "woollen"),
    [
        ("lace", 2, 60.5, 81, 16.8, 346, 232, 42.8, Verdict.NO),
        ("heavy lace", 2, 88.0, 118, 13.9, 287, 192, 24.4, Verdict.MARGINAL),
        ("fingering", 2, 121.0, 163, 11.9, 230, 154, 14.2, Verdict.OK),
        ("sport", 2, 161.4, 217, 10.3, 199, 133, 9.3, Verdict.OK),
        ("DK", 2, 210.6, 284, 9.0, 163, 110, 5.8, Verdict.OK),
        ("worsted weight", 3, 160.9, 217, 10.3, 187, 112, 8.7, Verdict.OK),
        ("aran", 3, 183.9, 248, 9.6, 175, 105, 7.1, Verdict.OK),
        ("bulky", 2, 403.8, 549, 6.5, 102, 69, 1.9, Verdict.OK),
    ],
)
def test_the_worked_lot_becomes_what_was_worked_out_by_hand(
    name, plies, single_tex, fibres, cv_pct, turns, ply_turns, hours, woollen
):
    rows = rows_of(BLEND, [frame(), frame(System.WOOLLEN)])
    found = row(rows, name, plies)
    assert found.single.tex == pytest.approx(single_tex, abs=0.06)
    assert found.single.basis.state is State.BOBBIN
    assert found.fibres == pytest.approx(fibres, abs=1)
    assert 100 * found.single_cv_frac == pytest.approx(cv_pct, rel=0.015)  # worked out with 1 + 4 c^2 there
    assert found.single_twist_tpm == pytest.approx(turns, abs=0.7)
    assert found.ply_twist_tpm == pytest.approx(ply_turns, abs=0.7)
    assert found.frame_h == pytest.approx(hours, rel=0.012)
    assert found.verdict is Verdict.OK
    assert row(rows, name, plies, System.WOOLLEN).verdict is woollen


def test_skeins_are_whole_and_the_rest_is_told():
    found = row(rows_of(BLEND), "lace", 2)
    # 8019 g less 8 bobbin ends of 6 g, by 802 m of 125 tex: 79 of 100.25 g and 51 g over.
    assert (found.skeins.expected, found.skeins.length_m) == (79, 800)
    assert found.skeins.over_mass_g == pytest.approx(8019 - 48 - 79 * 100.25)
    assert found.length.mean == pytest.approx((8019 - 48) * 8)
    assert found.plied_cv_frac == pytest.approx(found.single_cv_frac / 2**0.5)


def test_skeins_carry_the_range_of_the_finished_weight():
    one = dataclasses.replace(lot(wool()), plied=Spread(1000.0, 800.0, 1200.0, 900.0), are_ends_taken=True)
    found = row(becomings(one, [frame()], TABLES), "DK", 2)
    assert (found.skeins.low, found.skeins.expected, found.skeins.high, found.skeins.safe) == (7, 9, 11, 8)
    assert (found.length.low, found.length.high) == pytest.approx((1840, 2760))


def test_the_list_says_the_same_as_the_full_plan():
    rows = rows_of(BLEND, [frame(), frame(System.WOOLLEN), frame(System.WORSTED)])
    for one in rows:
        plan = plan_yarn(one.wish, BLEND, one.frame.machine, TABLES)
        assert one.single.tex == pytest.approx(plan.single.tex, rel=1e-9)
        assert one.single.basis == plan.single.basis
        assert one.single_twist_tpm == pytest.approx(plan.single_twist.tpm, rel=1e-9)
        assert one.ply_twist_tpm == pytest.approx(plan.ply_twist.tpm, rel=1e-9)
        assert one.fibres == pytest.approx(plan.fibres, rel=1e-9)
        assert one.plied_cv_frac == pytest.approx(plan.plied_cv_frac, rel=1e-9)
        assert one.verdict is plan.verdict
        hours = one.frame.hours_of(
            singles_m=one.length.mean * plan.singles_m_per_finished_m, speed_m_per_min=plan.speed_m_per_min
        )
        assert one.frame_h == pytest.approx(hours, rel=1e-9)
    assert len(rows) == 10 * 4 * 3


def names(rows):
    return {(one.product.name, one.plies, one.frame.machine.system) for one in possible(rows)}


@settings(max_examples=25, deadline=None)
@given(um=st.floats(15, 40), finer=st.floats(0, 10), mm=st.floats(20, 200), longer=st.floats(0, 80))
def test_finer_or_longer_fibre_never_loses_a_yarn(um, finer, mm, longer):
    frames = [frame(system) for system in System]
    plies = (1, 2, 3)
    base = names(rows_of(wool(um, mm), frames, plies=plies))
    assert base <= names(rows_of(wool(max(12.0, um - finer), mm), frames, plies=plies))
    assert base <= names(rows_of(wool(um, mm + longer), frames, plies=plies))


@pytest.mark.parametrize("rank_by", list(RankBy))
def test_the_order_does_not_hang_on_how_frames_plies_and_products_were_given(rank_by):
    frames = [frame(system) for system in System]
    forth = rows_of(BLEND, frames, rank_by=rank_by)
    back = becomings(
        lot(BLEND),
        frames[::-1],
        TABLES,
        products=usual_products(TABLES)[::-1],
        plies=(1, 4, 3, 2),
        rank_by=rank_by,
    )
    key = [(one.product.name, one.plies, one.frame.machine.system) for one in forth]
    assert key == [(one.product.name, one.plies, one.frame.machine.system) for one in back]
    fewer = rows_of(BLEND, frames[:1], rank_by=rank_by)
    assert [one for one in key if one[2] is frames[0].machine.system] == [
        (one.product.name, one.plies, one.frame.machine.system) for one in fewer
    ]


@settings(max_examples=20, deadline=None)
@given(um=st.floats(16, 36), step=st.floats(-0.05, 0.05))
def test_a_hair_of_difference_in_diameter_moves_only_yarns_whose_risk_changes(um, step):
    def ranked(diameter_um):
        rows = rows_of(wool(diameter_um), [frame(), frame(System.WOOLLEN)])
        return {(one.product.name, one.plies, one.frame.machine.system): one.risk.level for one in rows}

    here, there = ranked(um), ranked(um + step)
    same = [key for key in here if here[key] is there[key]]
    assert [key for key in there if key in same] == same


def test_what_runs_well_comes_first_and_the_finest_of_it_leads():
    rows = rows_of(wool(23.0))
    levels = [list(RiskLevel).index(one.risk.level) for one in rows]
    assert levels == sorted(levels)
    first = one_each(rows)[0]
    assert (first.product.name, first.plies, first.risk.level) == ("lace", 2, RiskLevel.LOW)
    quick = rows_of(wool(23.0), rank_by=RankBy.QUICKEST)[0]
    assert quick.frame_h == min(one.frame_h for one in rows if one.risk.level is RiskLevel.LOW)


def test_short_tender_and_far_apart_fibre_is_told_as_risk():
    short = rows_of(wool(22.0, 35.0))
    assert possible(short) == ()
    assert "35 mm is shorter than the 40 mm" in short[0].risk.reasons[-1]
    woollen = rows_of(wool(22.0, 35.0), [frame(System.WOOLLEN)])
    assert row(woollen, "DK", 2, System.WOOLLEN).risk.level is RiskLevel.LOW
    tender = becomings(lot(wool(), is_tender=True), [frame()], TABLES)
    assert row(tender, "DK", 2).risk.level is RiskLevel.SOME
    assert row(tender, "DK", 2).risk.reasons == (
        "The staple is tender: it breaks in the card and the frame.",
    )
    broken = dataclasses.replace(
        wool(22.0, 70.0), strength_n_per_ktex=20.0, break_point=BreakPoint.MIDDLE, break_frac=1.0
    )
    assert possible(rows_of(broken)) == ()


def test_softness_names_fibre_and_twist():
    rows = becomings(lot(wool(19.5), coarse_frac=0.02), [frame()], TABLES)
    dk, single = row(rows, "DK", 2).softness, row(rows, "DK", 1).softness
    assert dk.words == "19.5 µm, 2\u202f% coarse ends, medium twist"
    assert single.twist_words == "soft"


def test_hours_are_not_told_where_the_frame_is_not_known():
    rows = becomings(lot(wool()), [Frame(SpinMachine("frame"))], TABLES)
    assert {one.frame_h for one in rows} == {None}


def test_a_lot_in_the_store_is_read_with_its_yields_and_its_bobbin_ends_once():
    held = {"spin": MachineUse("frame", 64.0)}
    ways = MillWays(0.65, Basis.EU_AGREED, 0.15, machines=held)
    part = Constituent("L1", "alpaca", 24.0, 0.24, 95.0, 0.2)
    found = spin_lot([LotStart(part, Form.SKIRTED, 2700.0, 0.15, "alpaca_huacaya")], ways, TABLES)
    assert found.plied.low < found.plied.safe < found.plied.mean < found.plied.high
    assert found.single.mean > found.plied.mean
    assert (found.are_ends_taken, found.fibre.slippery_frac) == (True, 1.0)
    assert found.label_regain_frac == pytest.approx(0.17)
    dk = row(becomings(found, [frame()], TABLES), "DK", 2)
    assert dk.length.mean == pytest.approx(found.plied.mean * 2.3)
    assert dk.skeins.low < dk.skeins.expected < dk.skeins.high


def test_each_figure_opens_into_how_it_came_about():
    one = lot(BLEND)
    found = row(becomings(one, [frame()], TABLES), "DK", 2)
    workings = {working.title: working for working in becoming_workings(found, one, TABLES)}
    assert list(workings)[:4] == ["Metres", "Skeins", "Hours on the frame", "Risk"]
    assert workings["Metres"].result.value == found.length.mean
    assert workings["Hours on the frame"].result.value == found.frame_h
    assert workings["Skeins"].status is Status.PRACTICE
    assert workings["Risk"].result.value == "low"
    terms = {term.name: term.value for term in workings["Hours on the frame"].inputs}
    hours = (
        terms["metres"]
        * terms["single in a finished metre"]
        / (60 * terms["speed"] * terms["spindles"] * terms["efficiency"])
    )
    assert hours == pytest.approx(found.frame_h)
    assert "Fibres across a single" in workings
    assert all(working.source and working.status for working in workings.values())
    slow = Frame(SpinMachine("frame"))
    titles = [
        working.title
        for working in becoming_workings(row(becomings(one, [slow], TABLES), "DK", 2), one, TABLES)
    ]
    assert "Hours on the frame" not in titles
