"""The variation that a material carries from the picker to the yarn."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.material import Constituent, Form, Material, join, take
from doffer.fibre.variation import share_signals, with_colour
from doffer.process.evenness.mixing import Mixing
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Pick, Toss
from doffer.process.evenness.spectrum import apply_all, between_variance, laid
from doffer.process.stage import StageSettings
from doffer.process.stages import STAGES
from doffer.tables.loader import load_tables

TABLES = load_tables()
NO_LOSS: dict = {}
LOTS = (("dark", "alpaca", 0.2), ("light", "wool", 0.8))
PARTS = tuple(Part(lot, frac, 25, 0.25, 70, 0.4, 1.31) for lot, _, frac in LOTS)
FEED = Feed(6000, PARTS, 24)


def heap(*, mass_g: float = 6000, lots=LOTS) -> Material:
    return Material(
        constituents=tuple(Constituent(lot, fibre, 25, 0.25, 70, 0.4) for lot, fibre, _ in lots),
        dry_mass_g=np.array([[mass_g * frac] for *_, frac in lots]),
        foreign_mass_g=np.zeros((len(lots), 1)),
        finish_mass_g=np.zeros((len(lots), 1)),
        actual_regain_frac=0.15,
        form=Form.SCOURED,
    )


def stage(name: str, material: Material, mixing: Mixing | None = None, losses=NO_LOSS, **more) -> Material:
    settings = StageSettings(mixing=mixing, **more)
    return STAGES[name](material, settings, losses, TABLES).material


def picked() -> Material:
    return stage("pick", heap(), Mixing((Pick(20, 0, 0.3), Toss(10)), FEED))


def test_variation_rides_from_the_picker_to_the_plied_yarn():
    carded = stage("card", stage("rest", picked()), Mixing((Card(60),)))
    drawn = stage("draw", carded, Mixing((Draw(4, 4), Draw(6, 6))))
    spun = stage("spin", drawn, count_tex=76)
    plied = stage("ply", spun, Mixing((Draw(3, 1),)), count_tex=228)
    steps = (Pick(20, 0, 0.3), Toss(10), Card(60), Draw(4, 4), Draw(6, 6))
    straight = apply_all(steps, laid(FEED, share_signals(PARTS)))
    assert spun.variation is not None
    assert plied.variation is not None
    assert spun.variation.variance == pytest.approx(straight.variance)
    assert plied.variation.variance == pytest.approx(straight.variance / 3)
    assert spun.variation.names == ("dark", "light")


def test_what_was_never_laid_has_no_variation():
    assert stage("card", heap(), Mixing((Card(60),))).variation is None
    assert stage("pick", heap()).variation is None


def test_a_colour_can_be_followed_from_the_belt_on():
    signals = with_colour(share_signals(PARTS), np.array([[-80.0, 0], [0, 0], [0, 0]]))
    out = stage("pick", heap(), Mixing((Pick(20),), FEED, signals)).variation
    assert out is not None
    assert out.variance[out.of("lightness")] == pytest.approx(6400 * out.variance[out.of("dark")])


def test_mean_shares_follow_what_each_fibre_loses():
    losses = {"alpaca": np.array([0.5]), "wool": np.array([0.0])}
    before = picked()
    out = stage("card", before, Mixing((Card(60),)), losses)
    assert out.variation is not None
    assert out.variation.shares == pytest.approx(out.shares[:, 0])
    assert out.variation.shares[0] == pytest.approx(600 / 5400)
    assert out.variation.means == pytest.approx([600 / 5400, 4800 / 5400], abs=1e-12)


def test_part_of_a_material_varies_as_the_whole():
    whole = picked()
    assert take(whole, share=0.3).variation is whole.variation


def test_joined_halves_vary_as_the_whole_did():
    whole = picked()
    halves = join([take(whole, share=0.5), take(whole, share=0.5)])
    assert halves.variation is not None
    assert whole.variation is not None
    pieces_g = np.array([1.0, 30, 400])
    assert between_variance(halves.variation, masses_g=pieces_g) == pytest.approx(
        between_variance(whole.variation, masses_g=pieces_g)
    )


def test_joined_materials_of_other_shares_also_differ_from_each_other():
    lots = (("dark", "alpaca", 0.4), ("light", "wool", 0.6))
    other_feed = dataclasses.replace(
        FEED,
        parts=tuple(dataclasses.replace(p, share_frac=s) for p, s in zip(PARTS, (0.4, 0.6), strict=True)),
    )
    other = stage("pick", heap(mass_g=3000, lots=lots), Mixing((Pick(20),), other_feed))
    first = stage("pick", heap(), Mixing((Pick(20),), FEED))
    both = join([first, other])
    assert first.variation is not None
    assert other.variation is not None
    assert both.variation is not None
    assert both.variation.shares == pytest.approx([2400 / 9000, 6600 / 9000])
    inside = 2 / 3 * first.variation.variance + 1 / 3 * other.variation.variance
    assert both.variation.variance == pytest.approx(inside + 2 / 9 * 0.2**2)


def test_joined_at_other_waves_nothing_is_lost():
    first = stage("draw", picked(), Mixing((Draw(4, 4),)))
    both = join([take(picked(), share=0.5), take(first, share=0.5)])
    assert both.variation is not None
    assert first.variation is not None
    mean = (picked().variation.variance + first.variation.variance) / 2
    assert both.variation.variance == pytest.approx(mean, rel=1e-9)


def test_with_fibre_whose_variation_is_not_known_it_is_not_known():
    assert join([picked(), heap()]).variation is None
    other = tuple((f"{lot} 2", fibre, frac) for lot, fibre, frac in LOTS)
    feed = dataclasses.replace(FEED, parts=tuple(dataclasses.replace(p, name=f"{p.name} 2") for p in PARTS))
    assert join([picked(), stage("pick", heap(lots=other), Mixing((), feed))]).variation is None


def test_other_lots_on_the_belt_than_in_the_material_are_said():
    wrong = Mixing((), dataclasses.replace(FEED, parts=PARTS[::-1]))
    with pytest.raises(InputError, match="those of the material, dark, light"):
        stage("pick", heap(), wrong)
