"""A recipe's page says what speaks against its mix; bench and sheet let no more go than has its colour."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.mill import conftest as dyed
from tests.mill.test_mix_checks import dye, impossible
from tests.office.page_words import words
from tests.office.test_bench import asked
from tests.office.test_bench_kept import state_of
from tests.office.test_blend_recipes import ON_SHADE, propose, send, shown
from tests.office.test_kitchen import desk, kitchen  # noqa: F401

from doffer.mill import clock
from doffer.mill.commands.shades import TargetFacts, archive_shade, restate_shade
from doffer.mill.models import BlendRecipe, Run, RunInput

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house


def on_shade(desk, kitchen):  # noqa: F811
    code = propose(kitchen, dry_mass_g=3000)
    send(desk, code, "measure", tufts=ON_SHADE, geometry="45/0")
    return code


def test_the_bench_keeps_no_more_than_has_the_colour_of_the_lot(desk, kitchen, key):  # noqa: F811
    data = asked(kitchen, {"G1": 90, "yellow": 10}, mass="1 kg")
    dye(kitchen, "G1", 600.0)
    refused = desk.post("/bench/keep/", {"state": state_of(desk, data), "key": key})
    assert refused.status_code == 422
    told = (
        "L006 has 504 g in its colour (600 g more was dyed apart) and the blend takes 900 g, 396 g too little"
    )
    assert told in words(refused)
    assert not BlendRecipe.objects.exists()


def test_a_lot_dyed_since_stands_against_the_mix_before_and_after_its_release(desk, kitchen):  # noqa: F811
    code, other = on_shade(desk, kitchen), on_shade(desk, kitchen)
    send(desk, code, "release")
    dye(kitchen, "G1", decision="Wrenna: darker")
    text = shown(desk, other)
    assert "The full mix cannot be made as it stands" in text
    assert "all of L006 was dyed Fern after" in text
    assert "Release the full mix" not in text
    assert send(desk, other, "release", release_note="never mind").status_code == 422
    text = shown(desk, code)
    assert "all of L006 was dyed Fern after" in text
    assert "Take the release back" in text
    for gone in ("Weigh-out sheet", "Weigh it out now"):
        assert gone not in text
    sheet = desk.get(f"/bench/recipes/{code}/mix.pdf")
    assert sheet.status_code == 422
    assert "all of L006 was dyed Fern after" in words(sheet)


def test_a_restated_shade_is_said_before_the_release(desk, kitchen):  # noqa: F811
    code = on_shade(desk, kitchen)
    target = TargetFacts(labs={"D65": (48, -24, 23)}, geometry="45/0")
    restate_shade(kitchen.owner, kitchen.shade, reason="greener", target=target)
    assert "Fern was restated since: its standard 2 counts now, and the card is 2.5 from" in shown(desk, code)
    assert send(desk, code, "release").status_code == 422
    assert send(desk, code, "release", release_note="Wrenna: for the old kits").status_code == 302


def test_a_recipe_of_a_shade_out_of_the_book_still_leads_to_the_bench(desk, kitchen):  # noqa: F811
    code = on_shade(desk, kitchen)
    archive_shade(kitchen.owner, kitchen.shade)
    page = desk.get(f"/bench/recipes/{code}/")
    assert "Fern was taken out of the shade book" in words(page)
    address = page.content.decode().split('href="/bench/?')[1].split('"')[0].replace("&amp;", "&")
    assert desk.get(f"/bench/?{address}").status_code == 200


def test_a_card_its_lots_cannot_make_is_not_released_by_the_button_alone(desk, kitchen):  # noqa: F811
    code, _ = impossible(kitchen)
    refused = send(desk, code, "release")
    assert refused.status_code == 422
    assert "so weigh or read again" in words(refused)
    assert send(desk, code, "release", release_note="Wrenna: weighed and read again").status_code == 302
    with clock.frozen(clock.now() + timedelta(hours=1)):
        assert "version 1: released." in shown(desk, code)


def test_a_mix_that_was_weighed_out_is_not_offered_to_be_taken_back(desk, kitchen):  # noqa: F811
    code = on_shade(desk, kitchen)
    send(desk, code, "release")
    assert "It is not mixed after all" in shown(desk, code)
    at = clock.now()
    run = Run.objects.create(code="N1", stage="pick", started_at=at, recorded_at=at, person=kitchen.floor)
    for part in BlendRecipe.objects.get().parts.all():
        RunInput.objects.create(run=run, lot=part.lot, mass_mg=part.dry_mg, dry_mg=part.dry_mg)
    assert "It is not mixed after all" not in shown(desk, code)
