"""Plans survive JSON; what is no plan is refused with the place where it goes wrong."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.exchange.plan_json import plan_from_json, plan_to_json, spec_from_json, spec_to_json
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.spec import PRODUCTS, BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.tables.loader import load_tables

TABLES = load_tables()
POSITIVE = st.floats(min_value=1e-3, max_value=1e6)
SHARE = st.floats(min_value=0, max_value=1)
NAME = st.text(min_size=1, max_size=12)
PART = st.builds(Constituent, NAME, NAME, POSITIVE, SHARE, POSITIVE, SHARE)
START = st.builds(LotStart, PART, st.sampled_from(Form), POSITIVE, SHARE, NAME, finish_mass_g=POSITIVE)
WISH = st.builds(
    Wish,
    st.sampled_from(PRODUCTS),
    plies=st.integers(min_value=2, max_value=8),
    length_m_per_100g=st.none() | POSITIVE,
    piece_mass_g=POSITIVE,
    finished_mass_g=st.none() | POSITIVE,
    shares=st.dictionaries(NAME, SHARE, max_size=3),
    test_mass_g=POSITIVE,
)
BATCH = st.builds(
    BatchSpec,
    NAME,
    st.lists(START, min_size=1, max_size=3, unique_by=lambda start: start.lot).map(tuple),
    WISH,
)
WAYS = st.builds(
    MillWays,
    room_rh_frac=SHARE,
    label_basis=st.sampled_from(Basis),
    promise_quantile=SHARE,
    machines=st.dictionaries(NAME, st.builds(MachineUse, NAME, POSITIVE), max_size=3),
    skirts=st.booleans(),
    seed=st.integers(min_value=0, max_value=2**40),
)
SPECS = st.builds(OrderSpec, st.lists(BATCH, min_size=1, max_size=3).map(tuple), WAYS)


def one_spec():
    lots = tuple(
        LotStart(Constituent(lot, fibre, 24.0, 0.22, 95.0, 0.2), Form.GREASY, 2700.0, 0.15, yields_as)
        for lot, fibre, yields_as in (("L041", "alpaca", "alpaca_huacaya"), ("L042", "wool", "mixed_wool"))
    )
    wish = Wish("yarn", plies=2, length_m_per_100g=200.0, shares={"wool": 0.5, "alpaca": 0.5})
    ways = MillWays(
        room_rh_frac=0.65,
        label_basis=Basis.EU_AGREED,
        promise_quantile=0.15,
        machines={"card": MachineUse("card", 60.0)},
        n_samples=200,
    )
    return OrderSpec((BatchSpec("own fibre", lots, wish),), ways)


def through_text(data):
    return json.loads(json.dumps(data, allow_nan=False))


@settings(deadline=None)
@given(SPECS)
def test_what_an_order_asks_survives_json(spec):
    assert spec_from_json(through_text(spec_to_json(spec))) == spec


def test_a_plan_with_its_workings_survives_json():
    plan = plan_order(one_spec(), TABLES)
    assert plan_from_json(through_text(plan_to_json(plan))) == plan


def test_whole_numbers_may_stand_for_figures():
    data = through_text(spec_to_json(one_spec()))
    data["batches"][0]["lots"][0]["weighed_mass_g"] = 2700
    assert spec_from_json(data) == one_spec()


def test_what_has_a_default_may_be_left_out():
    data = through_text(spec_to_json(one_spec()))
    del data["batches"][0]["wish"]["test_mass_g"]
    assert spec_from_json(data) == one_spec()


def put(data, path, value):
    *way, last = path
    for step in way:
        data = data[step]
    if value is None:
        del data[last]
    else:
        data[last] = value


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (
            ("batches", 0, "lots", 0, "form"),
            "felted",
            r"order, batches 1, lots 1, form: .*one of greasy, skirted",
        ),
        (("batches", 0, "lots", 0, "weighed_mass_g"), "2700", r"lots 1, weighed_mass_g: .*a number"),
        (("batches", 0, "lots", 0, "weighed_mass_g"), True, r"lots 1, weighed_mass_g: .*a number"),
        (("batches", 0, "lots", 0, "weighed_mass_g"), float("nan"), r"a finite number"),
        (("batches", 0, "lots", 0, "weighed_mass_g"), 10**400, r"a size that can be"),
        (("batches", 0, "wish", "plies"), 2.5, r"wish, plies: .*a whole number"),
        (
            ("batches", 0, "wish", "plies"),
            99,
            r"order, batches 1, wish: plies is “99”; it must be from 2 to 8",
        ),
        (("batches", 0, "wish", "colour"), "red", r"wish: colour is “unknown”"),
        (("batches", 0, "wish"), None, r"order, batches 1: wish is missing"),
        (("batches",), "all", r"order, batches: .*a list"),
        (("ways", "machines"), [1], r"ways, machines: .*names with values"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_place(path, value, words):
    data = through_text(spec_to_json(one_spec()))
    put(data, path, value)
    with pytest.raises(InputError, match=words):
        spec_from_json(data)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["batches", "ways", "lots", "wish", "name", "x"]), inner, max_size=3
        )
    ),
    max_leaves=8,
)


@given(JSON)
def test_any_other_json_is_refused(data):
    with pytest.raises(InputError):
        spec_from_json(data)


def test_a_figure_without_end_is_not_written():
    spec = one_spec()
    wild = LotStart(spec.batches[0].lots[0].part, Form.GREASY, float("inf"), 0.15, "mixed_wool")
    with pytest.raises(InputError, match="a finite number"):
        spec_to_json(OrderSpec((BatchSpec("x", (wild,), spec.batches[0].wish),), spec.ways))
