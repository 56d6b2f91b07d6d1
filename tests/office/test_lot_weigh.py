"""Weigh it, correct it: what cannot be is asked about, water and oil stay known as they were."""

import re
import uuid

import pytest
from tests.office.page_words import words

from doffer.mill.booking import Reading
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.commands.settings import change_settings
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.models import Weighing
from doffer.mill.queries.lots import one_lot

pytestmark = pytest.mark.django_db
PAGE = "/lots/L005/weigh/"


def sent(**fields: object) -> dict[str, object]:
    return {"key": str(uuid.uuid4()), "tare": "0", **fields}


def fields_of(page: str) -> dict[str, str]:
    """What stands in a form as it is opened, as a browser would send it back."""
    found = {}
    for tag in re.findall(r"<input[^>]*>", page):
        said = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if said.get("type") in ("radio", "checkbox") and " checked" not in tag:
            continue
        if said.get("name"):
            found[said["name"]] = said.get("value", "")
    return found


@pytest.fixture
def oiled(small_mill):
    """L005 out of the picker with 123.4 g of oil on it, its water measured."""
    out = Reading(
        gross_g=8_433.7, tare_g=433.3, finish_g=123.4, branch="measured", measured_regain_frac=0.1534567
    )
    record_run(
        small_mill.floor,
        RunFacts(stage="pick"),
        inputs=[RunIn(lot="L005", reading=Reading(gross_g=9_900), rest_g=0.0)],
        outputs=[RunOut(reading=out)],
        confirmation="as it was",
    )
    return small_mill


def test_twice_the_fibre_is_asked_about_and_kept_with_its_reason(client, small_mill):
    asked = client.post(PAGE, sent(gross="20"))
    assert asked.status_code == 422
    assert "L005 holds more than stood there" in words(asked)
    assert "If it is right, say why" in words(asked)
    assert one_lot("L005").row.mass_g == 10_000
    kept = client.post(PAGE, sent(gross="20", confirmation="a second bag was found"))
    assert kept.status_code == 302
    assert one_lot("L005").row.mass_g == 20_000
    assert "a second bag was found" in words(client.get(PAGE))


def test_a_lot_that_lost_half_its_fibre_is_asked_about(client, small_mill):
    assert "Fibre of L005 is gone" in words(client.post(PAGE, sent(gross="5")))
    assert one_lot("L005").row.mass_g == 10_000


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_correction_sent_as_it_opened_changes_nothing_of_the_fibre(client, oiled, units):
    change_settings(oiled.owner, {"units": units})
    old = Weighing.objects.get(lot__code="L005", moment="out")
    form = fields_of(client.get(f"{PAGE}?corrects={old.pk}").content.decode())
    assert form["branch"] == "as_before"
    assert client.post(PAGE, {**form, "reason": "looked again"}).status_code == 302
    new = Weighing.objects.get(corrects=old)
    for name in ("gross_mg", "tare_mg", "finish_mg", "dry_mg", "branch", "actual_regain_ppm", "rh_ppm"):
        assert getattr(new, name) == getattr(old, name), name


def test_a_correction_says_how_its_water_was_known(client, oiled):
    old = Weighing.objects.get(lot__code="L005", moment="out")
    text = words(client.get(f"{PAGE}?corrects={old.pk}"))
    assert "As it was written down measured, or by a reference hank, 15.3 % water over dry fibre" in text


def test_another_humidity_or_another_way_to_the_water_counts(client, small_mill):
    old = Weighing.objects.get(lot__code="L005")
    form = fields_of(client.get(f"{PAGE}?corrects={old.pk}").content.decode()) | {"reason": "read it again"}
    client.post(PAGE, {**form, "rh": "70"})
    damper = Weighing.objects.get(corrects=old)
    assert (damper.rh_ppm, damper.branch) == (700_000, "desorption")
    assert damper.dry_mg < old.dry_mg
    client.post(PAGE, {**form, "key": str(uuid.uuid4()), "corrects": damper.pk, "branch": "absorption"})
    assert Weighing.objects.get(corrects=damper).branch == "absorption"


def test_the_oil_of_an_oiled_lot_stands_in_the_form_and_is_no_fibre(client, oiled):
    page = client.get(PAGE)
    assert "Oil and finish on it" in words(page)
    form = fields_of(page.content.decode())
    assert form["oil"] == "123.4"
    client.post(PAGE, {**form, "gross": "8.0004", "tare": "0", "rh": "65", "branch": "desorption"})
    newest = one_lot("L005").weighings[0]
    assert newest.finish_g == pytest.approx(123.4, abs=0.001)
    regain = newest.actual_regain_frac
    assert newest.dry_mass_g == pytest.approx((8_000.4 - 123.4) / (1 + regain), abs=0.01)


def test_a_lot_without_oil_has_no_field_for_it(client, small_mill):
    assert "Oil and finish on it" not in words(client.get(PAGE))


def test_oil_may_be_said_to_be_less_than_it_was(client, oiled):
    form = fields_of(client.get(PAGE).content.decode())
    client.post(PAGE, {**form, "gross": "8.0004", "tare": "0", "rh": "65", "oil": "60"})
    assert one_lot("L005").weighings[0].finish_g == 60


def test_the_correction_of_a_wet_weighing_stays_wet(client, small_mill):
    wet = record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=20_000, branch="wet"))
    client.post(PAGE, sent(corrects=wet.id, gross="19.5", reason="bucket", branch="as_before"))
    assert Weighing.objects.get(corrects_id=wet.id).branch == "wet"
