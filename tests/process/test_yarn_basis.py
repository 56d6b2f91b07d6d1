"""The basis of a count: water, oil, wash, and that going back and forth changes nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.yarn.basis import (
    Basis,
    OilWater,
    State,
    StrandCount,
    count_error_frac,
    finished_tex,
    greige_tex,
    oil_water_of,
    rebase,
)
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()
REGAINS = st.floats(0, 0.35)
TEXS = st.floats(5, 5000)


@given(
    tex=TEXS,
    label=REGAINS,
    room=REGAINS,
    relaxation=st.floats(-0.1, 0.3),
    oil=st.floats(0, 0.1),
    lost=st.floats(0, 0.2),
    water=st.sampled_from(OilWater),
)
def test_from_finished_to_greige_and_back_is_the_same_count(tex, label, room, relaxation, oil, lost, water):
    ways = {
        "label_regain_frac": label,
        "room_regain_frac": room,
        "relaxation_frac": relaxation,
        "oil_frac": oil,
        "set_loss_frac": lost,
        "oil_water": water,
    }
    greige = greige_tex(finished_tex=tex, **ways)
    assert finished_tex(greige_tex=greige, **ways) == pytest.approx(tex, rel=1e-12)


@given(tex=TEXS, here=REGAINS, there=REGAINS, oil=st.floats(0, 0.1), water=st.sampled_from(OilWater))
def test_another_room_and_back_is_the_same_count(tex, here, there, oil, water):
    count = StrandCount(tex, Basis(State.BOBBIN, here, oil, water))
    away = rebase(count, regain_frac=there, oil_frac=0.0)
    back = rebase(away, regain_frac=here, oil_frac=oil)
    assert back.tex == pytest.approx(tex, rel=1e-12)
    assert back.basis == count.basis
    assert away.fibre_dry_tex == pytest.approx(count.fibre_dry_tex, rel=1e-12)


def test_shrinking_in_the_wash_asks_for_a_lighter_yarn_before_it():
    def before(relaxation_frac, set_loss_frac=0.0):
        return greige_tex(
            finished_tex=400,
            label_regain_frac=0.17,
            room_regain_frac=0.17,
            relaxation_frac=relaxation_frac,
            set_loss_frac=set_loss_frac,
        )

    assert before(0.05) == pytest.approx(380)
    assert before(-0.02) == pytest.approx(408)
    assert before(0, set_loss_frac=0.02) == pytest.approx(400 / 0.98)


def test_dry_oil_adds_only_its_own_weight():
    damp = StrandCount(117, Basis(State.BOBBIN, 0.17, 0.05, OilWater.NONE))
    assert damp.fibre_dry_tex == pytest.approx(117 / (1.17 + 0.05 / 0.95))


def test_much_oil_is_reckoned_dry_and_the_mill_may_move_where():
    assert oil_water_of(TABLES, oil_frac=0.03) is OilWater.LIKE_FIBRE
    assert oil_water_of(TABLES, oil_frac=0.031) is OilWater.NONE
    own = TABLES.override([Override("yarn_figures", "oil_apart/any", "value", "0.05")])
    assert oil_water_of(own, oil_frac=0.031) is OilWater.LIKE_FIBRE


def test_a_measured_count_is_compared_on_one_regain():
    wanted = StrandCount(434.78, Basis(State.FINISHED, 0.17))
    weighed_dry = StrandCount(416.2, Basis(State.FINISHED, 0.12))
    assert count_error_frac(weighed_dry, wanted) == pytest.approx(0, abs=1e-4)
    assert count_error_frac(StrandCount(434.78, Basis(State.FINISHED, 0.12)), wanted) == pytest.approx(
        1.17 / 1.12 - 1
    )


def test_a_single_on_the_bobbin_is_not_compared_with_a_finished_skein():
    wanted = StrandCount(434.78, Basis(State.FINISHED, 0.17))
    with pytest.raises(InputError, match="it must be finished yarn like the wanted count"):
        count_error_frac(StrandCount(210, Basis(State.BOBBIN, 0.17)), wanted)


@pytest.mark.parametrize(
    ("basis", "words"),
    [
        ({"regain_frac": 17}, "17 % is 0.17"),
        ({"regain_frac": -0.01}, "a fraction from 0"),
        ({"regain_frac": 0.17, "oil_frac": 1}, "1 % is 0.01"),
    ],
)
def test_percent_for_a_fraction_is_refused(basis, words):
    with pytest.raises(InputError, match=words):
        Basis(State.FINISHED, **basis)


def test_a_count_of_nothing_and_a_felted_length_are_refused():
    with pytest.raises(InputError, match="above zero tex"):
        StrandCount(0, Basis(State.ROLLER, 0.17))
    with pytest.raises(InputError, match=r"4 % is 0\.04"):
        greige_tex(finished_tex=400, label_regain_frac=0.17, room_regain_frac=0.17, relaxation_frac=4)
