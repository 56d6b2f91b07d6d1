"""One stage ahead: doses by the round, sprays, and losses that close on both bases."""

import dataclasses
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.planning.stage_ahead import Spray, stage_ahead
from doffer.tables.loader import load_tables

TABLES = load_tables()
WAYS = MillWays(
    room_rh_frac=0.65,
    label_basis=Basis.EU_AGREED,
    promise_quantile=0.15,
    machines={"pick": MachineUse("picker", 40), "card": MachineUse("card", 60)},
    conditioner_frac_owf=0.02,
    conditioner_water_parts=4.0,
    n_samples=300,
)


def start(code="L1", fibre="wool", grams=5000.0, regain=0.15, finish=0.0):
    part = Constituent(code, fibre, 24.0, 0.22, 95.0, 0.2)
    return LotStart(part, Form.SCOURED, grams, regain, "mixed_wool", finish)


def picked(*starts, **ways):
    batch = BatchSpec("batch", starts or (start(),), Wish("roving"))
    spec = OrderSpec((batch,), dataclasses.replace(WAYS, **ways))
    return plan_order(spec, TABLES).batches[0].stages[0]


def conditioner_of(stage):
    return next(dose for dose in stage.doses if dose.name == "conditioner")


@pytest.mark.parametrize("n_rounds", [1, 4, 6, 12])
def test_conditioner_is_told_by_the_round(n_rounds):
    dose = conditioner_of(picked(n_layers=n_rounds))
    found = re.search(r"= (\d+) g .*; (\d+)(?: to (\d+))? g on each of (\d+) rounds", dose.words)
    spray, least, most, rounds = (int(word) if word else None for word in found.groups())
    most = most or least
    assert rounds == n_rounds
    assert spray == pytest.approx(5000 / 1.15 * 1.17 * 0.02 * 5, abs=1)
    assert least == spray // n_rounds
    assert most - least == (1 if spray % n_rounds else 0)
    assert "a round being one layer of every lot" in dose.words


@settings(deadline=None, max_examples=40)
@given(grams=st.floats(500, 30_000), n_rounds=st.integers(1, 24))
def test_the_rounds_together_are_the_spray_whatever_the_batch_weighs(grams, n_rounds):
    dose = conditioner_of(picked(start(grams=grams), n_layers=n_rounds, n_samples=2))
    spray, least, most = (figure.value for figure in dose.figures[2:5])
    assert n_rounds * least <= round(spray) <= n_rounds * most
    assert most - least <= 1


def test_the_dose_on_the_card_is_what_its_weights_hold_by_us_label_rules_too():
    stage = picked(label_basis=Basis.US_COMMERCIAL)
    product = conditioner_of(stage).figures[0].value
    ahead = stage_ahead("pick", [start()], dataclasses.replace(WAYS, label_basis=Basis.US_COMMERCIAL), TABLES)
    assert ahead.spray.product_mass_g == pytest.approx(product, abs=1e-6)
    assert ahead.spray.water_mass_g == pytest.approx(4 * product, abs=1e-6)


def test_grams_sprayed_are_the_same_as_the_dose_they_make():
    told = stage_ahead("pick", [start()], WAYS, TABLES)
    typed = stage_ahead("pick", [start()], WAYS, TABLES, spray=told.spray)
    assert typed.weighed.mean == pytest.approx(told.weighed.mean, abs=1e-6)
    assert typed.dry.mean == told.dry.mean


@settings(deadline=None, max_examples=40)
@given(product=st.floats(0, 400), water=st.floats(0, 2000))
def test_a_spray_changes_what_is_weighed_and_never_the_fibre_or_the_loss(product, water):
    ways = dataclasses.replace(WAYS, n_samples=20)
    plain = stage_ahead("pick", [start()], ways, TABLES, spray=Spray())
    wet = stage_ahead("pick", [start()], ways, TABLES, spray=Spray(product, water))
    assert wet.dry.mean == plain.dry.mean
    assert wet.lost_frac.mean == pytest.approx(plain.lost_frac.mean, abs=1e-12)
    stays = plain.dry.mean / (5000 / 1.15)
    assert wet.weighed.mean - plain.weighed.mean == pytest.approx((product + water) * stays, abs=1e-6)


def test_losses_at_agreed_regain_close_with_what_goes_in_and_out():
    blend = (start("L1"), start("L2", "polyamide", 2000.0, 0.04))
    ahead = stage_ahead("pick", blend, WAYS, TABLES, spray=Spray())
    stage = picked(*blend)
    lost = sum(mass for loss, mass in stage.losses_agreed_g if loss.kind in ("fibre", "held"))
    agreed_in = 5000 / 1.15 * 1.17 + 2000 / 1.04 * 1.0625
    assert stage.agreed.mean + lost == pytest.approx(agreed_in, abs=0.001)
    assert ahead.counted_in_g == pytest.approx(agreed_in, abs=0.001)
    assert ahead.lost_mass_g == pytest.approx(lost, abs=0.001)
    assert stage.loss_basis == "fibre at agreed regain"


def test_an_old_plan_without_agreed_losses_takes_them_by_what_comes_out():
    stage = picked()
    old = dataclasses.replace(
        stage, losses=tuple(dataclasses.replace(loss, agreed_mass_g=None) for loss in stage.losses)
    )
    ratios = [mass / loss.mass_g for loss, mass in old.losses_agreed_g if loss.kind == "fibre"]
    assert np.allclose(ratios, 1.17)


@pytest.mark.parametrize(("product", "water"), [(-1, 0), (0, -1), (float("nan"), 0), (0, 200_000)])
def test_a_spray_that_cannot_be_is_refused(product, water):
    with pytest.raises(InputError, match="zero or more grams"):
        Spray(product, water)
