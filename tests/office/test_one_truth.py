"""Scenario 10 on the machines of the invented mill: page, terminal and planner say the same to the gram."""

import json
from urllib.parse import urlencode

import pytest
from django.http import QueryDict

from doffer.cli import main as cli
from doffer.fibre.kinds import find_kind
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.plan_inputs import GATHERED, plan_inputs
from doffer.office.new_order import look
from doffer.office.order_spec import plan_of_order
from doffer.planning.batch import plan_order
from doffer.planning.expected import expected_fibre, start_of_expected
from doffer.planning.spec import BatchSpec, OrderSpec, Wish

THIN = "\u202f"
FARMER = {
    "owner": "Moonbucket",
    "fibre": "huacaya",
    "mass": "2,70",
    "form": "skirted",
    "product": "yarn",
    "plies": "2",
    "thick": "200 m/100 g",
    "piece": "100 g",
}
WORDS = ("plan", "--fibre", "huacaya", "--kg", "2.7", "--form", "skirted", "--yarn", "2-ply 200 m/100g")


@pytest.fixture
def at_terminal(demo_mill, monkeypatch, capsys):
    """`doffer ... --json` on the records that are open."""
    monkeypatch.setattr("doffer.cli.mills.open_records", lambda _args: None)

    def call(*words: str):
        assert cli.main([*words, "--mill", "demo", "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return call


def test_scenario_10_is_the_same_on_page_at_the_terminal_and_in_the_planner(client, at_terminal):
    inputs = plan_inputs()
    told = expected_fibre(find_kind(inputs.tables, "huacaya"), lot="alpaca", form="skirted", mass_g=2700)
    batch = BatchSpec("farmer", (start_of_expected(told, inputs.tables),), Wish("yarn", 2, 200.0))
    planned = plan_order(OrderSpec((batch,), inputs.order_spec.ways), inputs.tables).batches[0]
    terminal = at_terminal(*WORDS)["batches"][0]
    text = client.post("/orders/new/answer/", FARMER).content.decode().replace(THIN, " ")
    shown = look(QueryDict(urlencode(FARMER)), "metric").view.plan
    assert round(shown.finished.mean) == round(planned.finished.mean)
    assert round(terminal["finished"]["mean"]) == round(planned.finished.mean)
    assert planned.finished.mean == pytest.approx(1570, abs=10)
    assert f"{planned.finished.mean / 1000:.2f} kg" in text
    assert planned.pieces.safe == terminal["pieces"]["safe"]
    assert f"{planned.pieces.safe} skeins safe" in text


def test_every_batch_of_an_order_is_the_same_by_every_way(at_terminal):
    for code in ("O201", "O202", "O203", "O206"):
        inputs = plan_inputs(order=code)
        straight = plan_order(inputs.order_spec, inputs.tables)
        order = one_order(code)
        shown = plan_of_order(order, plan_inputs(lots=[row.lot.code for row in order.lots])).plan
        terminal = at_terminal("plan", "--order", code)["batches"]
        masses = [batch.finished.mean for batch in straight.batches]
        assert [batch.finished.mean for batch in shown.batches] == masses
        assert [batch["finished"]["mean"] for batch in terminal] == pytest.approx(masses, abs=1e-6)


def test_what_lies_on_a_rack_or_in_a_bin_is_gathered_and_not_lost(demo_mill):
    inputs = plan_inputs()
    machines = {machine.stage: machine.holdup_g for machine in inputs.machines}
    kept = {stage: use.held_mass_g for stage, use in inputs.ways.machines.items()}
    assert any(machines[stage] > 0 for stage in GATHERED if stage in machines)
    assert all(kept[stage] == 0 for stage in GATHERED if stage in kept)
    assert kept["card"] == 60
    assert inputs.ways.conditioner_frac_owf == inputs.tables.additives["conditioner/dose"].value / 100
