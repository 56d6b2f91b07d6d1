"""What an owner can do to raise it, and lots with a share of their own."""

import dataclasses

import pytest

from doffer.errors import InputError
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.raise_it import WaysToRaise, ways_to_raise
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.tables.loader import load_tables

TABLES = load_tables()
HELD = {stage: MachineUse(stage, grams) for stage, grams in (("pick", 40.0), ("card", 60.0), ("spin", 64.0))}
WAYS = MillWays(room_rh_frac=0.65, label_basis=Basis.EU_AGREED, promise_quantile=0.15, machines=HELD)
DK = Wish("yarn", plies=2, length_m_per_100g=200, piece_mass_g=100)


def lot(name, fibre, grams, form=Form.SCOURED):
    part = Constituent(name, fibre, 24.0, 0.22, 95.0, 0.2)
    return LotStart(part, form, float(grams), 0.15, "mixed_wool")


def planned(batch, ways=WAYS):
    return plan_order(OrderSpec((batch,), ways), TABLES).batches[0]


def raised(*lots, wish=DK, ways=WAYS):
    batch = BatchSpec("batch", lots, wish)
    return ways_to_raise(batch, planned(batch, ways), ways, TABLES)


def test_fibre_skirted_at_home_is_worth_what_the_plan_of_skirted_fibre_says():
    found = raised(lot("L1", "wool", 3000, Form.GREASY)).skirted
    safe = {
        form: planned(BatchSpec("b", (lot("L1", "wool", 3000, form),), DK)).pieces.safe
        for form in (Form.GREASY, Form.SKIRTED)
    }
    assert (found.safe_now, found.safe_then) == (safe[Form.GREASY], safe[Form.SKIRTED])
    assert found.more > 0


def test_two_lots_run_together_save_the_grams_that_the_machines_keep_once():
    found = raised(lot("L1", "wool", 2000)).together
    double = planned(BatchSpec("b", (lot("L1", "wool", 4000),), DK)).pieces.safe
    single = planned(BatchSpec("b", (lot("L1", "wool", 2000),), DK)).pieces.safe
    assert (found.safe_now, found.safe_then) == (2 * single, double)
    assert found.weighed_mass_g == 4000


def test_nothing_is_invented_where_nothing_would_be_gained():
    assert raised(lot("L1", "wool", 2000), ways=dataclasses.replace(WAYS, machines={})) == WaysToRaise()
    assert raised(lot("L1", "wool", 2000, Form.SKIRTED)).skirted is None
    wanted = dataclasses.replace(DK, finished_mass_g=500)
    assert raised(lot("L1", "wool", 2000), wish=wanted) == WaysToRaise()


def test_mill_wool_tops_up_an_owners_wool_by_its_own_share():
    wish = dataclasses.replace(DK, shares={"wool": 1.0}, lot_shares={"L9": 0.2})
    plan = planned(BatchSpec("b", (lot("L1", "wool", 1000), lot("L9", "wool", 9000)), wish))
    shares = {line.name: line.label_share_frac for line in plan.weigh_out.lines}
    assert shares == pytest.approx({"L1": 0.8, "L9": 0.2}, abs=1e-9)
    assert plan.limited_by == "L1"
    assert plan.labels[0].words == "100 % wool"


def test_lots_without_a_share_of_their_own_share_the_rest_by_what_there_is():
    wish = dataclasses.replace(DK, shares={"wool": 1.0}, lot_shares={"L9": 0.4})
    lots = (lot("L1", "wool", 1000), lot("L2", "wool", 3000), lot("L9", "wool", 9000))
    plan = planned(BatchSpec("b", lots, wish))
    shares = {line.name: line.label_share_frac for line in plan.weigh_out.lines}
    assert shares == pytest.approx({"L1": 0.15, "L2": 0.45, "L9": 0.4}, abs=1e-9)


def test_a_lot_with_more_than_its_fibre_may_have_is_refused():
    wish = dataclasses.replace(DK, shares={"wool": 0.3, "alpaca": 0.7}, lot_shares={"L9": 0.4})
    with pytest.raises(InputError, match="shares of wool is “40"):
        planned(BatchSpec("b", (lot("L1", "alpaca", 1000), lot("L9", "wool", 9000)), wish))


def test_a_wanted_finished_weight_takes_no_more_of_a_lot_than_it_needs():
    wish = dataclasses.replace(DK, finished_mass_g=1000)
    plan = planned(BatchSpec("b", (lot("L1", "wool", 4000),), wish))
    assert plan.finished.mean == pytest.approx(1000, rel=0.01)
    assert 0 < plan.lots[0].share_frac < 0.5
    short = planned(BatchSpec("b", (lot("L1", "wool", 900),), wish))
    assert short.limited_by == "L1"
    assert short.lots[0].share_frac == pytest.approx(1)
