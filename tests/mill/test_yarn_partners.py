"""Lots that may be added to a yarn, frames it can run on, and what its lots give."""

import pytest

from doffer.errors import RefusedError
from doffer.mill.commands.holds import open_hold
from doffer.mill.models import Lot
from doffer.mill.queries.yarn_inputs import yarn_inputs
from doffer.mill.queries.yarn_partners import clean_dry_g, frames_of, owner_of, spin_lot_of, yarn_partners
from doffer.planning.yarn.become import becomings, possible

pytestmark = pytest.mark.django_db


def scoured(code):
    """The lot as if it had been washed: clean, weighed dry."""
    lot = Lot.objects.get(code=code)
    lot.now_form, lot.now_dry_mg = "scoured", lot.now_mass_mg // 2
    lot.save()


def names(*lots):
    return [one.name for one in yarn_partners(yarn_inputs(lots=lots))]


def test_only_clean_fibre_of_the_mill_and_of_the_same_owner_may_be_added(small_mill):
    assert names("L001") == ["L005"]
    scoured("L002")
    scoured("L003")
    assert names("L001") == ["L002", "L005"]
    assert names("L005") == []
    (own,) = [one for one in yarn_partners(yarn_inputs(lots=["L001"])) if one.name == "L005"]
    assert own.owner == "C01"
    assert own.dry_mass_g == pytest.approx(Lot.objects.get(code="L005").now_dry_mg / 1000, rel=1e-6)
    assert own.fibre.diameter_um == small_mill.tables.breeds["corriedale"].diameter_um


def test_a_tender_lot_is_offered_with_what_it_does(small_mill):
    Lot.objects.filter(code="L005").update(soundness="tender")
    inputs = yarn_inputs(lots=["L001"])
    (own,) = yarn_partners(inputs)
    assert own.snaps
    assert not spin_lot_of(inputs).is_tender
    Lot.objects.filter(code="L001").update(soundness="fragile")
    assert spin_lot_of(yarn_inputs(lots=["L001"])).is_tender


def test_a_lot_on_hold_is_not_offered(small_mill):
    open_hold(small_mill.owner, kind="moth", lot="L005", reason="smells of moth balls")
    assert names("L001") == []


def test_fibre_of_two_owners_is_refused(small_mill):
    assert owner_of(yarn_inputs(lots=["L001", "L002", "L005"])) == "C02"
    assert owner_of(yarn_inputs(lots=["L005"])) == ""
    with pytest.raises(RefusedError, match="L003 belongs to C03"):
        owner_of(yarn_inputs(lots=["L001", "L003"]))


def test_lots_become_yarn_with_the_yields_and_the_frame_of_the_mill(small_mill):
    inputs = yarn_inputs(lots=["L001"])
    lot, frames = spin_lot_of(inputs), frames_of(inputs)
    assert clean_dry_g(inputs) < inputs.dry_g
    assert 0 < lot.plied.low < lot.plied.mean < clean_dry_g(inputs) * (1 + lot.label_regain_frac)
    assert lot.fibre.diameter_um == pytest.approx(inputs.fibre.diameter_um)
    assert [one.machine.name for one in frames] == [inputs.machine("spin").name]
    rows = possible(becomings(lot, frames, inputs.tables))
    assert rows[0].skeins.low <= rows[0].skeins.expected <= rows[0].skeins.high
    assert rows[0].frame_h > 0
