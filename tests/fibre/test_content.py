"""Shares on a label: three bases, whole percents, and what never changes them."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.content import Basis, content_shares, label_shares, share_sd_frac, whole_percents
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
TIN = {"wool": 3000 / 1.15, "polyamide": 1000 / 1.041}  # 3.00 kg at 15.0 %, 1.00 kg at 4.1 %
fibres = st.sampled_from(["wool", "alpaca", "silk", "polyamide", "cotton", "mohair"])
heaps = st.dictionaries(fibres, st.floats(0.001, 1e4), min_size=1)
bases = st.sampled_from(list(Basis))


@pytest.mark.parametrize(
    ("basis", "wool", "words"),
    [
        (Basis.EU_AGREED, 0.749, "75 % wool, 25 % polyamide (nylon)"),
        (Basis.US_COMMERCIAL, 0.747, "75 % wool, 25 % polyamide (nylon)"),
        (Basis.OVEN_DRY, 0.731, "73 % wool, 27 % polyamide (nylon)"),
    ],
)
def test_what_it_says_on_the_tin_depends_on_the_basis(basis, wool, words):
    label = label_shares(TABLES, dry_mass_by_fibre_g=TIN, basis=basis)
    assert label.parts[0].share == pytest.approx(wool, abs=5e-4)
    assert label.words == words
    assert label.working.result.value == words


def test_the_working_is_as_trustworthy_as_its_weakest_regain():
    mixed = label_shares(TABLES, dry_mass_by_fibre_g={"wool": 50, "alpaca": 50}, basis=Basis.EU_AGREED)
    known = label_shares(TABLES, dry_mass_by_fibre_g=TIN, basis=Basis.EU_AGREED)
    plain = label_shares(TABLES, dry_mass_by_fibre_g=TIN, basis=Basis.OVEN_DRY)
    assert (mixed.working.status, known.working.status) == (Status.MEMORY, Status.SOURCE)
    assert plain.working.status is Status.COMPUTED


def test_suri_counts_as_alpaca_on_a_label():
    shares = content_shares(TABLES, dry_mass_by_fibre_g={"suri": 30, "alpaca": 70}, basis=Basis.EU_AGREED)
    assert shares == {"alpaca": pytest.approx(1.0)}


@given(heaps, bases)
def test_shares_sum_to_one_largest_first(heap, basis):
    shares = list(content_shares(TABLES, dry_mass_by_fibre_g=heap, basis=basis).values())
    assert sum(shares) == pytest.approx(1)
    assert shares == sorted(shares, reverse=True)


@given(heaps, bases, st.floats(0.01, 100))
def test_a_larger_heap_of_the_same_fibre_has_the_same_label(heap, basis, factor):
    once = content_shares(TABLES, dry_mass_by_fibre_g=heap, basis=basis)
    more = content_shares(TABLES, dry_mass_by_fibre_g={f: m * factor for f, m in heap.items()}, basis=basis)
    assert all(more[f] == pytest.approx(once[f]) for f in once)


@given(heaps, bases)
def test_a_fibre_without_mass_changes_nothing(heap, basis):
    with_hemp = content_shares(TABLES, dry_mass_by_fibre_g=heap | {"hemp": 0.0}, basis=basis)
    assert with_hemp == content_shares(TABLES, dry_mass_by_fibre_g=heap, basis=basis)


@given(st.lists(st.floats(0.001, 100), min_size=1, max_size=12), st.randoms())
def test_whole_percents_sum_to_100_and_do_not_depend_on_the_order(masses, rnd: random.Random):
    total = sum(masses)
    shares = {f"f{i:02d}": m / total for i, m in enumerate(masses)}
    percents = whole_percents(shares)
    assert sum(percents.values()) == 100
    assert all(abs(percents[n] - 100 * shares[n]) < 1 + 1e-9 for n in shares)
    shuffled = list(shares.items())
    rnd.shuffle(shuffled)
    assert whole_percents(dict(shuffled)) == percents


@pytest.mark.parametrize(
    ("shares", "expected"),
    [
        ({"a": 0.3334, "b": 0.3333, "c": 0.3333}, {"a": 34, "b": 33, "c": 33}),
        ({"b": 1 / 3, "a": 1 / 3, "c": 1 / 3}, {"a": 34, "b": 33, "c": 33}),
        ({"small": 0.305, "large": 0.695}, {"small": 30, "large": 70}),
        ({"only": 1.0}, {"only": 100}),
    ],
)
def test_ties_go_to_the_larger_share_then_to_the_name(shares, expected):
    assert whole_percents(shares) == expected


def test_shares_and_masses_that_cannot_be_are_refused():
    with pytest.raises(InputError, match="summing to 1"):
        whole_percents({"a": 0.5, "b": 0.6})
    with pytest.raises(InputError):
        content_shares(TABLES, dry_mass_by_fibre_g={"wool": -1.0, "silk": 2.0}, basis=Basis.OVEN_DRY)
    with pytest.raises(InputError):
        content_shares(TABLES, dry_mass_by_fibre_g={"wool": 0.0}, basis=Basis.OVEN_DRY)
    with pytest.raises(InputError):
        content_shares(TABLES, dry_mass_by_fibre_g={"wool": float("nan")}, basis=Basis.OVEN_DRY)
    with pytest.raises(InputError):
        share_sd_frac(share=20, cv_frac=0.1, rest_cv_frac=0.1)


def test_the_uncertainty_of_a_share_agrees_with_drawing_it():
    rng = np.random.default_rng(20260302)
    part = 0.2 * (1 + 0.08 * rng.standard_normal(200_000))
    rest = 0.8 * (1 + 0.02 * rng.standard_normal(200_000))
    found = share_sd_frac(share=0.2, cv_frac=0.08, rest_cv_frac=0.02)
    assert found == pytest.approx(0.0132, abs=5e-5)
    assert found == pytest.approx(float(np.std(part / (part + rest))), rel=0.02)
