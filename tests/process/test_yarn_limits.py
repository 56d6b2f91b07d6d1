"""What a fibre can be spun to: fibres across, length, soundness, blends, end breaks, tops."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.material import Constituent, Form, Material
from doffer.process.evenness.passage import Part
from doffer.process.yarn.breaks import SpinRun, breaks_per_hour, learn_breaks, learned_fewest_fibres
from doffer.process.yarn.hauteur import barbe_mm, hauteur_cv_frac, top_hauteur_mm
from doffer.process.yarn.limits import (
    BreakPoint,
    System,
    Verdict,
    YarnFibre,
    blended,
    effective_staple_mm,
    expected_cv_frac,
    fewest_fibres,
    fibre_of,
    fibres_across,
    finest_tex,
    is_tender,
    length_gate,
    limit_cv_frac,
    mismatches,
    one_fibre,
    plied_cv_frac,
    share_to_reach,
    worse,
)
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()
DIAMETERS = st.floats(12, 45)
CVS = st.floats(0, 0.4)


def fibre(um=25.0, cv=0.24, rho=1.31, mm=80.0):
    return one_fibre(diameter_um=um, diameter_cv_frac=cv, density_g_cm3=rho, staple_mm=mm)


@given(um=DIAMETERS, finer=st.floats(0, 10), cv=CVS, tex=st.floats(10, 1000))
def test_finer_fibre_never_lowers_the_number_across_nor_coarsens_the_limit(um, finer, cv, tex):
    coarse, fine = fibre(um, cv), fibre(max(um - finer, 5), cv)
    assert fibres_across(fine, fibre_only_tex=tex) >= fibres_across(coarse, fibre_only_tex=tex)
    assert finest_tex(fine, fibres=80) <= finest_tex(coarse, fibres=80)
    assert limit_cv_frac(fine, fibre_only_tex=tex) <= limit_cv_frac(coarse, fibre_only_tex=tex)


@given(um=DIAMETERS, cv=CVS, share=st.floats(0.01, 0.99), tex=st.floats(10, 1000))
def test_a_blend_of_like_parts_is_the_part(um, cv, share, tex):
    one = fibre(um, cv)
    both = blended(one, one, second_share_frac=share)
    assert fibres_across(both, fibre_only_tex=tex) == pytest.approx(fibres_across(one, fibre_only_tex=tex))
    assert limit_cv_frac(both, fibre_only_tex=tex) == pytest.approx(limit_cv_frac(one, fibre_only_tex=tex))
    assert both.density_g_cm3 == pytest.approx(one.density_g_cm3)
    assert both.staple_mm == pytest.approx(one.staple_mm)


@given(coarse_um=st.floats(24, 40), fine_um=st.floats(14, 22), n=st.floats(20, 200), tex=st.floats(20, 200))
def test_the_share_found_brings_just_so_many_fibres(coarse_um, fine_um, n, tex):
    coarse, fine = fibre(coarse_um), fibre(fine_um)
    found = share_to_reach(wanted_fibres=n, fibre_only_tex=tex, coarse=coarse, fine=fine)
    across = fibres_across(blended(coarse, fine, second_share_frac=found.share_frac), fibre_only_tex=tex)
    if not found.is_needed:
        assert fibres_across(coarse, fibre_only_tex=tex) >= n * (1 - 1e-12)
    elif not found.is_possible:
        assert fibres_across(fine, fibre_only_tex=tex) < n
    else:
        assert across == pytest.approx(n)


def test_a_coarser_partner_cannot_help():
    found = share_to_reach(wanted_fibres=90, fibre_only_tex=50, coarse=fibre(25), fine=fibre(30))
    assert (found.is_needed, found.is_possible) == (True, False)


def test_the_mean_fibre_of_a_blend_is_harmonic_by_mass():
    both = blended(fibre(20), fibre(40), second_share_frac=0.5)
    fine, coarse = fibre(20).fibre_tex, fibre(40).fibre_tex
    assert both.fibre_tex == pytest.approx(2 / (1 / fine + 1 / coarse))
    assert both.fibre_tex < (fine + coarse) / 2


def test_a_verdict_goes_by_the_fewest_fibres_of_the_way_of_spinning():
    semi = fewest_fibres(TABLES, system=System.SEMI_WORSTED)
    assert [semi.verdict(n) for n in (59.9, 60, 79.9, 80)] == [
        Verdict.NO,
        Verdict.MARGINAL,
        Verdict.MARGINAL,
        Verdict.OK,
    ]
    woollen = fewest_fibres(TABLES, system=System.WOOLLEN)
    assert (woollen.hard, woollen.comfortable) == (100, 130)
    assert fewest_fibres(TABLES, system=System.WORSTED).hard == 40


def test_short_fibre_asks_for_more_across_and_the_mill_sets_its_own_limit():
    semi = fewest_fibres(TABLES, system=System.SEMI_WORSTED, short_fibre_frac=0.2)
    assert (semi.hard, semi.comfortable) == (72, 96)
    own = TABLES.override([Override("yarn_limits", "min_fibres/semi_worsted", "value", "66")])
    assert fewest_fibres(own, system=System.SEMI_WORSTED).hard == 66


def test_the_worst_verdict_counts():
    assert worse(Verdict.OK, Verdict.MARGINAL) is Verdict.MARGINAL
    assert worse(Verdict.NO, Verdict.OK) is Verdict.NO
    assert worse(Verdict.OK) is Verdict.OK


@pytest.mark.parametrize(
    ("system", "mm", "verdict"),
    [
        (System.SEMI_WORSTED, 39, Verdict.NO),
        (System.SEMI_WORSTED, 40, Verdict.MARGINAL),
        (System.SEMI_WORSTED, 60, Verdict.OK),
        (System.SEMI_WORSTED, 150, Verdict.OK),
        (System.SEMI_WORSTED, 151, Verdict.MARGINAL),
        (System.WORSTED, 50, Verdict.NO),
        (System.WOOLLEN, 30, Verdict.OK),
    ],
)
def test_staple_length_is_gated(system, mm, verdict):
    assert length_gate(TABLES, system=system, staple_mm=mm).verdict is verdict


def test_the_gate_says_why():
    assert "woollen only" in length_gate(TABLES, system=System.SEMI_WORSTED, staple_mm=35).reason
    assert "ratch" in length_gate(TABLES, system=System.SEMI_WORSTED, staple_mm=160).reason


def tender(strength, point=BreakPoint.MIDDLE, share=1.0):
    part = Part("lot", 1.0, 25, 0.24, 100, 0, 1.31)
    return YarnFibre((part,), strength_n_per_ktex=strength, break_point=point, break_frac=share)


def test_fibre_that_breaks_in_the_middle_arrives_half_as_long():
    assert effective_staple_mm(tender(25), TABLES) == 50
    assert effective_staple_mm(tender(25, share=0.4), TABLES) == 80
    assert effective_staple_mm(tender(25, BreakPoint.TIP), TABLES) == 100
    assert effective_staple_mm(tender(30), TABLES) == 100
    assert is_tender(tender(29.9), TABLES)
    assert not is_tender(tender(30), TABLES)
    assert not is_tender(tender(None), TABLES)


def test_unlike_lots_are_told():
    parts = (
        Part("A1", 0.5, 20, 0.2, 50, 0, 1.31),
        Part("B2", 0.5, 28.5, 0.2, 101, 0, 1.31),
    )
    said = mismatches(YarnFibre(parts), TABLES)
    assert len(said) == 2
    assert said[0].startswith("A1 and B2 differ by more than 8 µm")
    assert said[1].startswith("B2 is more than 2 times as long as A1")
    assert mismatches(fibre(), TABLES) == ()


def test_expected_unevenness_is_the_index_times_the_limit_and_plies_even_out():
    assert expected_cv_frac(TABLES, limit_cv_frac=0.10, system=System.WOOLLEN) == pytest.approx(0.16)
    assert plied_cv_frac(single_cv_frac=0.16, plies=4) == pytest.approx(0.08)


def test_the_fibre_of_a_material_keeps_shares_lengths_and_slip():
    lots = (
        Constituent("L1", "alpaca", 24, 0.26, 95, 0.2),
        Constituent("L2", "wool", 27, 0.23, 80, 0.2),
        Constituent("L3", "silk", 13, 0.2, 80, 0.2),
    )
    dry = np.array([[300.0, 500.0], [100.0, 100.0], [0.0, 0.0]])
    nothing = np.zeros((3, 2))
    material = Material(lots, dry, nothing, nothing, 0.15, Form.OPENED)
    found = fibre_of(material, TABLES, strength_n_per_ktex=28)
    assert [part.name for part in found.parts] == ["L1", "L2"]
    assert [part.share_frac for part in found.parts] == pytest.approx([0.8, 0.2])
    assert found.slippery_frac == pytest.approx(0.8)
    assert found.staple_mm == pytest.approx(92)
    assert found.diameter_um == pytest.approx(24.6)
    assert found.density_g_cm3 == pytest.approx(1 / (0.8 / 1.30 + 0.2 / 1.31))
    assert is_tender(found, TABLES)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: YarnFibre(()),
        lambda: YarnFibre((Part("a", 0.6, 25, 0.2, 80, 0, 1.31),)),
        lambda: fibre(um=0),
        lambda: finest_tex(fibre(), fibres=0),
        lambda: blended(fibre(), fibre(), second_share_frac=1.1),
        lambda: length_gate(TABLES, system=System.WORSTED, staple_mm=0),
        lambda: plied_cv_frac(single_cv_frac=0.1, plies=0),
        lambda: share_to_reach(wanted_fibres=0, fibre_only_tex=50, coarse=fibre(), fine=fibre(18)),
        lambda: SpinRun(80, 80, spindle_h=0, n_breaks=1, is_tender=False),
        lambda: barbe_mm(hauteur_mm=0, hauteur_cv_frac=0.4),
        lambda: hauteur_cv_frac(hauteur_mm=70, barbe_mm=60),
        lambda: top_hauteur_mm(
            TABLES,
            staple_mm=90,
            strength_n_per_ktex=38,
            diameter_um=21,
            mid_break_frac=50,
            vegetable_frac=0.01,
        ),
    ],
)
def test_what_cannot_be_is_refused(refused):
    with pytest.raises(InputError, match="must be"):
        refused()


@given(hauteur=st.floats(20, 120), cv=st.floats(0, 0.8))
def test_barbe_and_its_spread_are_inverse(hauteur, cv):
    barbe = barbe_mm(hauteur_mm=hauteur, hauteur_cv_frac=cv)
    assert hauteur_cv_frac(hauteur_mm=hauteur, barbe_mm=max(barbe, hauteur)) == pytest.approx(cv, abs=1e-6)


def runs_of(rng, n_runs, slope=-5.0, level=0.5, hours=60.0):
    fibres = rng.uniform(60, 180, n_runs)
    rate = 0.5 * np.exp(level + slope * np.log(fibres / 60))
    counts = rng.poisson(rate * hours)
    return [
        SpinRun(float(n), 90, is_tender=False, spindle_h=hours, n_breaks=int(k))
        for n, k in zip(fibres, counts, strict=True)
    ]


def test_without_runs_the_limit_is_the_usual_one():
    model = learn_breaks((), system=System.SEMI_WORSTED, tables=TABLES)
    at_limit = breaks_per_hour(model, fibres=60, staple_mm=90, tables=TABLES)
    assert at_limit.per_spindle_h == pytest.approx(0.5)
    assert at_limit.high_per_spindle_h == pytest.approx(0.5 * math.exp(1.6449), rel=1e-4)
    assert breaks_per_hour(model, fibres=120, staple_mm=90, tables=TABLES).per_spindle_h == pytest.approx(
        0.5 / 16
    )
    assert learned_fewest_fibres(model, staple_mm=90, tables=TABLES) == pytest.approx(60)
    assert not model.is_learned


def test_longer_or_sounder_fibre_breaks_less():
    model = learn_breaks((), system=System.SEMI_WORSTED, tables=TABLES)

    def breaks(**ways):
        return breaks_per_hour(model, fibres=80, tables=TABLES, **ways).per_spindle_h

    assert breaks(staple_mm=120) < breaks(staple_mm=80) < breaks(staple_mm=80, is_tender=True)
    assert learned_fewest_fibres(model, staple_mm=90, tables=TABLES, is_tender=True) > 60


def test_many_runs_find_the_true_limit():
    runs = runs_of(np.random.default_rng(4), 200)
    model = learn_breaks(runs, system=System.SEMI_WORSTED, tables=TABLES)
    assert model.is_learned
    assert model.coefficients[:2] == pytest.approx([0.5, -5.0], abs=0.15)
    assert learned_fewest_fibres(model, staple_mm=90, tables=TABLES) == pytest.approx(
        60 * math.exp(0.5 / 5), rel=0.02
    )
    known = breaks_per_hour(model, fibres=80, staple_mm=90, tables=TABLES)
    assert known.high_per_spindle_h / known.low_per_spindle_h < 1.2


def test_the_learned_values_are_the_most_likely_ones():
    runs = runs_of(np.random.default_rng(1), 12)
    model = learn_breaks(runs, system=System.SEMI_WORSTED, tables=TABLES)
    mean, sd = np.array([0, -4, -1, 0.7]), np.array([1, 1.5, 1, 0.7])

    def likelihood(at):
        log = at[0] + at[1] * np.log([run.fibres / 60 for run in runs])
        expected = 0.5 * np.exp(log) * [run.spindle_h for run in runs]
        counts = np.array([run.n_breaks for run in runs])
        return float((counts * np.log(expected) - expected).sum() - (((at - mean) / sd) ** 2).sum() / 2)

    best = likelihood(model.coefficients)
    for axis in range(4):
        for away in (-0.02, 0.02):
            moved = model.coefficients.copy()
            moved[axis] += away
            assert likelihood(moved) < best


def test_nine_runs_are_not_yet_enough():
    runs = runs_of(np.random.default_rng(2), 10)
    assert not learn_breaks(runs[:9], system=System.SEMI_WORSTED, tables=TABLES).is_learned
    assert learn_breaks(runs, system=System.SEMI_WORSTED, tables=TABLES).is_learned


def test_breaks_that_rise_with_more_fibres_point_to_another_cause():
    runs = [SpinRun(60 + n, 90, is_tender=False, spindle_h=100, n_breaks=10 * n) for n in range(1, 120, 6)]
    model = learn_breaks(runs, system=System.SEMI_WORSTED, tables=TABLES)
    with pytest.raises(InputError, match="look for another cause"):
        learned_fewest_fibres(model, staple_mm=90, tables=TABLES)
