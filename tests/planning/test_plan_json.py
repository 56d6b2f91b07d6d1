"""Plans kept as JSON read back as they were."""

import json

import pytest

from doffer.errors import InputError
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain, to_plain
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.process.yarn.twist import Direction
from doffer.process.yarn.wish import YarnWish
from doffer.tables.loader import load_tables

WOOL = LotStart(
    Constituent("L015", "wool", 27.6, 0.23, 100.0, 0.25), Form.SCOURED, 4000.0, 0.147, "mixed_wool"
)
SILK = LotStart(
    Constituent("L035", "silk", 13.0, 0.2, 80.0, 0.3), Form.SCOURED, 2000.0, 0.098, "clean_bought"
)
SPEC = OrderSpec(
    (BatchSpec("sock", (WOOL, SILK), Wish("yarn", 3, 425.0, shares={"wool": 0.8, "silk": 0.2})),),
    MillWays(0.75, Basis.EU_AGREED, 0.15, machines={"card": MachineUse("card", 60.0)}, n_samples=50),
)


def test_a_plan_kept_as_json_is_read_back_to_the_last_figure():
    plan = plan_order(SPEC, load_tables())
    assert from_plain(OrderPlan, json.loads(json.dumps(to_plain(plan)))) == plan


def test_what_a_plan_was_asked_is_read_back_and_gives_the_same_plan():
    spec = from_plain(OrderSpec, json.loads(json.dumps(to_plain(SPEC))))
    assert spec == SPEC
    assert plan_order(spec, load_tables()) == plan_order(SPEC, load_tables())


def test_a_field_that_is_missing_takes_its_default_and_one_from_later_is_passed_over():
    assert from_plain(Wish, {"product": "roving", "made_of_gold": True}) == Wish("roving")


def test_a_word_that_may_be_missing_comes_back_as_the_word_it_was():
    wish = from_plain(YarnWish, {"finished_tex": 400.0, "ply_direction": "Z"})
    assert wish.ply_direction is Direction.Z
    assert from_plain(YarnWish, {"finished_tex": 400.0, "ply_direction": None}).ply_direction is None


def test_a_field_without_default_that_is_missing_is_named():
    with pytest.raises(InputError, match="product"):
        from_plain(Wish, {"plies": 2})


def test_a_list_where_names_are_wanted_is_refused_in_words():
    with pytest.raises(InputError, match="names with values"):
        from_plain(Wish, ["yarn"])
