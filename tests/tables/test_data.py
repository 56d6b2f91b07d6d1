"""What the shipped figures must be like, beyond each cell's own rule."""

from __future__ import annotations

from itertools import pairwise

import pytest

from doffer.tables.loader import load_tables

TABLES = load_tables()


@pytest.mark.parametrize("fibre", TABLES.fibres)
def test_every_fibre_can_be_washed_and_labelled(fibre):
    row = TABLES.fibres[fibre]
    assert TABLES.scour_yields[row.yields_as].yield_mode_pct is not None
    assert row.label_as in TABLES.fibres
    assert any(key.endswith("/eu_agreed") and key.startswith(f"{row.agreed_as}/") for key in TABLES.regain)
    assert any(
        key.endswith("/us_commercial") and key.startswith(f"{row.agreed_as}/") for key in TABLES.regain
    )


def test_every_breed_has_a_whole_triangle_of_washing_yields():
    for row in TABLES.breeds.values():
        found = TABLES.scour_yields[row.yields_as]
        assert None not in (found.yield_low_pct, found.yield_mode_pct, found.yield_high_pct), row.breed


def test_no_two_breeds_share_an_alias():
    names = [name.casefold() for row in TABLES.breeds.values() for name in row.aliases.split(";") if name]
    assert len(names) == len(set(names))


def test_pick_and_card_have_a_loss_for_every_fibre():
    for row in TABLES.fibres.values():
        for stage in ("pick", "card"):
            assert f"{stage}/{row.losses_as}" in TABLES.stage_losses, (stage, row.fibre)


@pytest.mark.parametrize("grades", [TABLES.wool_grades])
def test_wool_grades_follow_each_other_without_overlap(grades):
    rows = list(grades.values())
    for finer, coarser in pairwise(rows):
        assert finer.diameter_high_um < coarser.diameter_low_um <= finer.diameter_high_um + 0.011


def test_our_yarn_classes_cover_every_thickness_once():
    cuts = [row for row in TABLES.yarn_classes.values() if row.chart == "default"]
    ordered = sorted(cuts, key=lambda row: row.low)
    assert ordered[0].low == 0
    assert ordered[-1].high is None
    assert all(a.high == b.low for a, b in pairwise(ordered))


def test_recollected_figures_still_say_so():
    assert TABLES.regain["alpaca/carded/eu_agreed"].status == "memory"
    assert TABLES.regain["wool/carded/eu_agreed"].status == "source"
    assert TABLES.regain["alpaca/any/us_commercial"].status == "practice"
    assert TABLES.sorption["keratin/desorption/wm"].status == "memory"
    assert "not a standard" in TABLES.alpaca_classes["peru_trade_4/baby"].note
    assert TABLES.sources["infoalpacas_page"].kind == "trade page"


def test_guesses_of_evenness_are_called_guesses_and_have_a_range():
    figures = TABLES.evenness_figures
    for name in (
        "picker_hold_up",
        "bin_grab",
        "card_hold_up",
        "clump_fed",
        "clump_after_3",
        "end_correlation",
    ):
        assert figures[name].status == "practice"
        assert None not in (figures[name].low, figures[name].high), name
    assert (figures["picker_hold_up"].value, figures["card_hold_up"].value) == (20, 60)
    clumps = [
        figures[name].value for name in ("clump_fed", "clump_after_1", "clump_after_2", "clump_after_3")
    ]
    assert clumps == [2, 0.3, 0.05, 0.02]
    assert figures["pair_95"].value == pytest.approx(1.96 * 2**0.5, abs=0.005)
