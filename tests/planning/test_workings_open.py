"""Figures that a person acts on open down to the row they come from."""

import numpy as np
import pytest

from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.spec import BatchSpec, LotStart, MillWays, OrderSpec, Wish
from doffer.process.losses import loss_range, range_working
from doffer.tables.loader import load_tables

TABLES = load_tables()


def pick_of(*fibres):
    """The picker's part of the plan of a yarn from so many kilograms of each of these fibres."""
    lots = tuple(
        LotStart(
            Constituent(f"L{n}", fibre, 24.0, 0.22, 95.0, 0.2), Form.SCOURED, 2000.0, 0.15, "alpaca_huacaya"
        )
        for n, fibre in enumerate(fibres)
    )
    how = MillWays(
        room_rh_frac=0.65,
        label_basis=Basis.EU_AGREED,
        promise_quantile=0.15,
        n_samples=200,
        conditioner_frac_owf=0.02,
        conditioner_water_parts=4.0,
    )
    wish = Wish("yarn", plies=2, length_m_per_100g=200, piece_mass_g=100)
    plan = plan_order(OrderSpec((BatchSpec("batch", lots, wish),), how), TABLES).batches[0]
    return {dose.name: dose for stage in plan.stages if stage.stage == "pick" for dose in stage.doses}, how


def test_cohesive_opens_into_the_fibre_and_the_dose_of_its_row():
    cohesive = pick_of("alpaca")[0]["cohesive"]
    row = TABLES.additives["cohesive/dose"]
    fibre, dose = cohesive.working.inputs
    assert dose.value == row.value / 100
    assert cohesive.working.result.value == pytest.approx(fibre.value * dose.value)
    assert cohesive.working.result.unit == "g"
    assert (cohesive.working.source, cohesive.working.status) == (
        TABLES.sources[row.source].title,
        row.status,
    )
    assert cohesive.words.startswith(f"{cohesive.working.result.value:.0f} g product")


def test_conditioner_is_told_by_the_round_and_the_rounds_give_the_whole_spray():
    doses, how = pick_of("alpaca")
    conditioner = doses["conditioner"]
    said = conditioner.words
    assert f"on each of {how.n_layers} rounds, a round being one layer of every lot" in said
    spray_g = float(said.split(" = ")[1].split(" g")[0])
    least_g, *most_g = (float(part) for part in said.split("; ")[1].split(" g on each")[0].split(" to "))
    assert how.n_layers * least_g <= spray_g + 1
    assert how.n_layers * (most_g or [least_g])[0] >= spray_g - 1


@pytest.mark.parametrize(("stage", "fibre"), [("card", "wool"), ("card", "suri"), ("pick", "mohair")])
def test_a_share_lost_names_its_source_its_trust_and_its_note(stage, fibre):
    opened, span = (
        range_working(TABLES, stage=stage, fibre=fibre),
        loss_range(TABLES, stage=stage, fibre=fibre),
    )
    row = (
        TABLES.stage_losses.get(f"{stage}/{TABLES.fibres[fibre].losses_as}")
        or TABLES.stage_losses[f"{stage}/any"]
    )
    assert opened.source == TABLES.sources[row.source].title
    assert (opened.status, opened.note) == (row.status, row.note)
    assert [term.value for term in opened.inputs] == [span.low_frac, span.mode_frac, span.high_frac]
    assert opened.result.value == pytest.approx(np.mean([term.value for term in opened.inputs]))


def test_a_stage_that_loses_none_of_a_fibre_opens_into_nothing():
    assert range_working(TABLES, stage="set", fibre="wool") is None
