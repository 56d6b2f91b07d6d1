"""The run card and the weigh-out sheet say in how many loads."""

import dataclasses

import pytest
from tests.paper import sample
from tests.paper.test_render import words_of

from doffer.paper import render
from doffer.planning.loads import Capacity, Loads

LOADS = {
    "wash": Loads(2, 2350.0, Capacity(3500)),
    "dry": Loads(2, 6100.0, Capacity(5000, is_oven_dry=True)),
    "pick": Loads(3, 5000.0, Capacity(6000), rounds=2),
}


def loaded(batch):
    stages = (dataclasses.replace(stage, loads=LOADS.get(stage.stage)) for stage in batch.stages)
    return dataclasses.replace(batch, stages=tuple(stages))


@pytest.mark.parametrize(
    "said",
    [
        "in 2 loads of 2.35 kg: the wash tub 1 takes 3.50 kg at once",
        "takes 5.00 kg of dry fibre at once",
        "takes 6.00 kg at once; 2 rounds of layers in each",
    ],
)
def test_the_run_card_says_the_loads_of_a_stage(said):
    card = sample.run_card(batch=loaded(sample.own_fleece()))
    assert said in words_of(render.run_cards([card], sample.IMPRINT))
    assert "at once" not in words_of(render.run_cards([sample.run_card()], sample.IMPRINT))


def test_the_weigh_out_sheet_says_how_many_rounds_a_load_takes():
    sheet = sample.weigh_out_sheet(batch=loaded(sample.sock_blend()))
    assert "in 3 loads of 5.00 kg" in words_of(render.weigh_out_sheets([sheet], sample.IMPRINT))
