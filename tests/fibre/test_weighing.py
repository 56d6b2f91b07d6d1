"""From the scale to fibre: the clean lot of a humid room, the lot in the grease."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.kinds import find_breed
from doffer.fibre.material import Form
from doffer.fibre.moisture import Branch
from doffer.fibre.weighing import clean_material, constituent, greasy_material, weigh_clean
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
WOOL = constituent(TABLES, lot="L1", fibre="wool")


def test_washed_wool_stored_dry_and_wetted_up_in_a_humid_room():
    found = weigh_clean(
        TABLES, fibre="wool", gross_mass_g=6200, tare_mass_g=350, rh_frac=0.75, branch=Branch.ABSORPTION
    )
    assert found.net_mass_g == 5850
    assert found.dry_mass_g == pytest.approx(4975, abs=1)
    assert [a.mass_g for a in found.agreed] == [pytest.approx(5821, abs=1), pytest.approx(5652, abs=1)]
    assert [a.words for a in found.agreed] == ["EU agreed allowance 17 %", "US commercial regain 13.6 %"]
    assert (found.dry_low_g, found.dry_high_g) == (pytest.approx(4893, abs=1), pytest.approx(4975, abs=1))


def test_wash_dried_wool_sits_on_the_drying_branch_unless_told_otherwise():
    found = weigh_clean(TABLES, fibre="wool", gross_mass_g=6200, tare_mass_g=350, rh_frac=0.75)
    assert found.dry_mass_g == found.dry_low_g == pytest.approx(4893, abs=1)
    assert found.working.status is Status.MEMORY
    assert found.working.parts[0].result.value == found.actual_regain_frac
    assert "4.893 kg" in found.working.note


def test_a_tare_above_the_gross_weight_is_refused():
    with pytest.raises(InputError, match="tare"):
        weigh_clean(TABLES, fibre="wool", gross_mass_g=300, tare_mass_g=350, rh_frac=0.6)


def test_what_was_measured_wins_over_the_breed_and_the_breed_over_the_fibre():
    breed = find_breed(TABLES, "BFL")
    typical = constituent(TABLES, lot="L1", fibre="wool", breed=breed)
    tested = constituent(
        TABLES, lot="L1", fibre="wool", breed=breed, diameter_um=25.0, diameter_sd_um=5.0, staple_mm=140
    )
    assert (typical.diameter_um, typical.staple_mm) == (breed.diameter_um, breed.staple_mm)
    assert typical.diameter_cv_frac == pytest.approx(breed.diameter_sd_um / breed.diameter_um)
    assert (tested.diameter_um, tested.diameter_cv_frac, tested.staple_mm) == (25.0, 0.2, 140)
    assert TABLES.fibres["wool"].diameter_um == WOOL.diameter_um
    with pytest.raises(InputError, match="diameter"):
        constituent(TABLES, lot="L1", fibre="wool", diameter_um=0.0)


@given(st.floats(1, 1e6), st.lists(st.floats(0.2, 0.99), min_size=1, max_size=5), st.floats(0, 0.17))
def test_a_greasy_lot_weighs_on_the_scale_what_was_weighed(raw, found, regain):
    lot = greasy_material(
        TABLES, WOOL, raw_mass_g=raw, washed_yield_fracs=np.array(found), actual_regain_frac=regain
    )
    assert lot.weighed_mass_g == pytest.approx(raw)
    assert lot.total_dry_mass_g * 1.17 == pytest.approx(raw * np.array(found))
    assert lot.form is Form.GREASY


def test_a_greasy_lot_is_clean_fibre_and_the_rest():
    lot = greasy_material(TABLES, WOOL, raw_mass_g=10_000, washed_yield_fracs=np.array([0.585]))
    assert float(lot.total_dry_mass_g[0]) == pytest.approx(5000)
    assert float(lot.foreign_mass_g[0, 0]) == pytest.approx(4150)


@pytest.mark.parametrize("bad", [{"raw_mass_g": -1}, {"washed_yield_fracs": np.array([0.5, 57.0])}])
def test_a_greasy_lot_that_cannot_be_is_refused(bad):
    good = {"raw_mass_g": 1000, "washed_yield_fracs": np.array([0.5])}
    with pytest.raises(InputError):
        greasy_material(TABLES, WOOL, **(good | bad))
    with pytest.raises(InputError, match="regain now"):
        greasy_material(
            TABLES, WOOL, raw_mass_g=1000, washed_yield_fracs=np.array([0.95]), actual_regain_frac=0.4
        )


def test_a_clean_lot_keeps_its_oil_apart():
    lot = clean_material(WOOL, weighed_mass_g=1200.0, actual_regain_frac=0.15, finish_mass_g=50.0)
    assert float(lot.total_dry_mass_g[0]) == pytest.approx(1000)
    assert float(lot.weighed_mass_g[0]) == pytest.approx(1200)
    with pytest.raises(InputError, match="finish"):
        clean_material(WOOL, weighed_mass_g=10.0, actual_regain_frac=0.15, finish_mass_g=50.0)
