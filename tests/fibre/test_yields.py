"""Scoured yield by core test."""

from __future__ import annotations

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.yields import combined_yield_frac, iwto_clean_mass_working, iwto_scoured_yield_frac
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()


def test_the_second_trade_basis_holds_more_water():
    low, high = (
        iwto_scoured_yield_frac(TABLES, wool_base_frac=0.6, vm_base_frac=0.01, basis=basis)
        for basis in ("scoured_16", "scoured_17")
    )
    assert (low, high) == (0.724, 0.730)


def test_the_working_says_that_the_formula_is_from_memory():
    working = iwto_clean_mass_working(TABLES, greasy_mass_g=12e6, wool_base_frac=0.6, vm_base_frac=0.01)
    assert working.result.value == pytest.approx(8_688_000)
    assert working.status is Status.MEMORY


def test_bases_and_weights_that_cannot_be_are_refused():
    with pytest.raises(InputError, match="wool base"):
        iwto_scoured_yield_frac(TABLES, wool_base_frac=60, vm_base_frac=0.01)
    with pytest.raises(InputError, match="together"):
        iwto_scoured_yield_frac(TABLES, wool_base_frac=0.9, vm_base_frac=0.2)
    with pytest.raises(InputError, match="greasy"):
        combined_yield_frac(greasy_mass_g=np.zeros(2), yield_fracs=np.ones(2))
