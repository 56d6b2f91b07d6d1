"""Routes: a graph of stages run forward and backward; the laws hold for any route."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.material import Constituent, Form, Material
from doffer.planning.route import (
    Feed,
    Step,
    backward,
    check_route,
    expected_losses,
    forward,
    sampled_losses,
    shares_alone_g,
)
from doffer.process.stage import LossKind, StageSettings
from doffer.process.stages import STAGES
from doffer.tables.loader import load_tables

TABLES = load_tables()
FIBRES = ("wool", "alpaca", "mohair", "angora_rabbit", "silk", "polyamide")
FIBRE_KINDS = (LossKind.FIBRE, LossKind.HELD)


def lot(name, fibre, grams, *, foreign=0.0, form=Form.SCOURED, samples=1):
    full = np.full((1, samples), float(grams))
    return Material(
        (Constituent(name, fibre, 24.0, 0.22, 90.0, 0.25),),
        full,
        np.full((1, samples), float(foreign)),
        np.zeros((1, samples)),
        0.15,
        form,
    )


@st.composite
def routes(draw):
    """Any tree of stages: lots join now and then, shares are split off, every lot by one way."""
    n_lots = draw(st.integers(1, 6))
    fibres = {f"L{i}": draw(st.sampled_from(FIBRES)) for i in range(n_lots)}
    materials = {
        name: lot(name, fibre, draw(st.floats(500, 20_000)), foreign=draw(st.floats(0, 2000)))
        for name, fibre in fibres.items()
    }
    open_ends, steps = list(fibres), []
    for number in range(draw(st.integers(1, 12))):
        n_joined = draw(st.integers(1, min(3, len(open_ends))))
        joined, open_ends = open_ends[:n_joined], open_ends[n_joined:]
        feeds = tuple(Feed(source, draw(st.sampled_from([1.0, 1.0, 0.5, 0.25]))) for source in joined)
        set_up = StageSettings(
            held_dry_mass_g=draw(st.floats(0, 20)),
            passes=draw(st.integers(1, 3)),
            finish_frac_owf=draw(st.sampled_from([0.0, 0.02])),
        )
        stage = draw(st.sampled_from([s for s in STAGES if s != "dehair"]))
        steps.append(Step(f"{number} {stage}", stage, feeds, set_up))
        open_ends.append(steps[-1].name)
    return tuple(steps), materials, fibres


@settings(max_examples=60, deadline=None)
@given(routes())
def test_oven_dry_fibre_closes_to_a_milligram_at_every_step(made):
    route, materials, _ = made
    results = forward(route, materials, expected_losses(route, TABLES, materials=materials), TABLES)
    at = {**{n: m.total_dry_mass_g for n, m in materials.items()}}
    for step in route:
        result = results[step.name]
        fed = sum(at[feed.source] * feed.share for feed in step.feeds)
        lost = sum(loss.mass_g for loss in result.losses if loss.kind in FIBRE_KINDS)
        at[step.name] = result.material.total_dry_mass_g
        assert np.allclose(at[step.name] + lost, fed, atol=1e-3, rtol=0)
        assert np.all(at[step.name] <= fed + 1e-9)


@settings(max_examples=60, deadline=None)
@given(routes())
def test_backward_of_forward_returns_what_was_there(made):
    route, materials, fibres = made
    losses = expected_losses(route, TABLES, materials=materials)
    sink = route[-1].name
    out = forward(route, materials, losses, TABLES)[sink].material
    if float(out.dry_mass_g.min()) <= 1:
        return
    wanted = {part.lot: out.dry_mass_g[row] for row, part in enumerate(out.constituents)}
    needs = backward(route, sink=sink, wanted_dry_mass_g=wanted, fibres=fibres, losses=losses)
    assert set(needs.lots) == {part.lot for part in out.constituents}
    for name, mass in needs.lots.items():
        assert mass[0] == pytest.approx(materials[name].dry_mass_g[0, 0], rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(routes())
def test_a_lot_of_no_mass_changes_nothing(made):
    route, materials, _ = made
    with_nothing = {**materials, "L-none": lot("L-none", "wool", 0)}
    first, *rest = route
    longer = (Step(first.name, first.stage, (*first.feeds, Feed("L-none")), first.settings), *rest)
    plain = forward(route, materials, expected_losses(route, TABLES, materials=materials), TABLES)
    same = forward(longer, with_nothing, expected_losses(longer, TABLES, materials=with_nothing), TABLES)
    for step in route:
        assert same[step.name].material.total_dry_mass_g == pytest.approx(
            plain[step.name].material.total_dry_mass_g, rel=1e-12
        )


@settings(max_examples=40, deadline=None)
@given(routes())
def test_the_light_walk_agrees_with_machines_that_keep_nothing(made):
    route, materials, _ = made
    free = tuple(
        dataclasses.replace(step, settings=dataclasses.replace(step.settings, held_dry_mass_g=0))
        for step in route
    )
    losses = expected_losses(route, TABLES, materials=materials)
    full = forward(free, materials, losses, TABLES)[route[-1].name].material
    light = shares_alone_g(route, materials, losses)
    assert set(light) == {part.lot for part in full.constituents}
    for row, part in enumerate(full.constituents):
        assert light[part.lot][1] == pytest.approx(full.dry_mass_g[row], rel=1e-12)


def test_samples_travel_through_a_join_and_stay_in_range():
    route = (
        Step("pick", "pick", (Feed("A"), Feed("B"))),
        Step("card", "card", (Feed("pick"),), StageSettings(held_dry_mass_g=50)),
    )
    materials = {"A": lot("A", "alpaca", 2000), "B": lot("B", "wool", 1000)}
    losses = sampled_losses(route, TABLES, materials=materials, rng=np.random.default_rng(1), n_samples=500)
    out = forward(route, materials, losses, TABLES)["card"].material
    assert out.n_samples == 500
    least = 2000 * 0.94 * 0.78 + 1000 * 0.96 * 0.85 - 50
    most = 2000 * 0.99 * 0.95 + 1000 * 0.995 * 0.96 - 50
    assert least <= out.total_dry_mass_g.min() <= out.total_dry_mass_g.max() <= most


def test_conditioner_rides_along_and_is_washed_out_at_setting():
    route = (
        Step("pick", "pick", (Feed("A"),), StageSettings(finish_frac_owf=0.02, finish_water_parts=4)),
        Step("set", "set", (Feed("pick"),)),
    )
    materials = {"A": lot("A", "wool", 1000)}
    results = forward(route, materials, expected_losses(route, TABLES, materials=materials), TABLES)
    picked = results["pick"].material
    sprayed = 1000 * 1.17 * 0.02
    assert picked.finish_mass_g.sum() == pytest.approx(sprayed * picked.total_dry_mass_g[0] / 1000)
    assert picked.actual_regain_frac == pytest.approx(0.15 + 4 * sprayed / 1000)
    assert results["set"].material.finish_mass_g.sum() == 0


@pytest.mark.parametrize(
    ("steps", "sentence"),
    [
        ([Step("a", "boil", (Feed("A"),))], "stage is “boil”"),
        ([Step("a", "card", (Feed("Z"),))], "feed is “Z”"),
        ([Step("a", "card", (Feed("A", 0.7),)), Step("b", "card", (Feed("A", 0.7),))], "100 %"),
        ([Step("A", "card", (Feed("A"),))], "used once"),
        ([Step("a", "card", ())], "feeds is missing"),
    ],
)
def test_a_route_that_cannot_be_run_is_refused_with_the_reason(steps, sentence):
    with pytest.raises(InputError, match=sentence):
        check_route(tuple(steps), ["A"])


def test_a_lot_that_comes_by_two_ways_must_be_named_apart():
    route = (
        Step("a", "card", (Feed("A", 0.5),)),
        Step("b", "draw", (Feed("A", 0.5), Feed("a"))),
    )
    with pytest.raises(InputError, match="lots of their own"):
        backward(
            route,
            sink="b",
            wanted_dry_mass_g={"A": np.array([100.0])},
            fibres={"A": "wool"},
            losses={},
        )
