"""A photo of a strip: what stripes it shows is kept with the lot, or the reason why it cannot be told."""

import dataclasses
import re
import uuid

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from tests.office.page_words import words
from tests.process.strip_photo_maker import Scene, as_jpeg, photograph

from doffer.mill.models import EvennessTrial, Photo
from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_blend import followed

pytestmark = pytest.mark.django_db
PAGE = "/lots/L006/strip/"
SCENE = Scene(sd=2.4, wave_mm=40.0, fall_off=0.0)


@pytest.fixture(scope="module")
def strip():
    picture, paper, _ = photograph(SCENE, 4)
    return as_jpeg(picture), as_jpeg(paper)


def form(strip, **more):
    picture, paper = strip
    return {
        "key": str(uuid.uuid4()),
        "photo": SimpleUploadedFile("strip.jpg", picture, "image/jpeg"),
        "white": SimpleUploadedFile("paper.jpg", paper, "image/jpeg"),
        "scale": "scanner",
        "dots": "101.6",
        "stage": "card",
        "passes": "1",
        "roving": "3",
        **more,
    }


@pytest.fixture
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def kept() -> int:
    return EvennessTrial.objects.filter(kind="photo").count()


def test_a_photo_of_a_striped_strip_says_how_long_its_stripes_are(client, demo_mill, media, strip):
    assert client.post(PAGE, form(strip, note="first try")).status_code == 302
    trial = EvennessTrial.objects.latest("pk")
    assert (trial.kind, trial.lot.code, trial.stage, trial.passes) == ("photo", "L006", "card", 1)
    assert trial.photo.lot.code == "L006"
    assert trial.facts["strand_mtex"] == 3_000_000
    text = words(client.get(PAGE))
    assert "Stripes of about 4 cm, plainly seen" in text
    assert "first try" in text
    assert "after the card" in text


def test_three_strips_together_tell_more_than_one(client, demo_mill, media, strip):
    pictures = [as_jpeg(photograph(SCENE, seed)[0]) for seed in (4, 5, 6)]
    photos = [SimpleUploadedFile(f"{k}.jpg", data, "image/jpeg") for k, data in enumerate(pictures)]
    assert client.post(PAGE, form(strip, photo=photos)).status_code == 302
    assert client.post(PAGE, form(strip)).status_code == 302
    one, three = EvennessTrial.objects.filter(kind="photo").order_by("-pk")
    assert three.facts["n_strips"] == 3
    errors = [trial.result["pieces"][1]["se_micro"] for trial in (three, one)]
    assert errors[0] < 0.8 * errors[1]
    assert re.search(r"Three strips, 8\d\d mm together, after the card", words(client.get(PAGE)))


def test_sent_twice_it_is_kept_once(client, demo_mill, media, strip):
    key = str(uuid.uuid4())
    photos = Photo.objects.count()
    assert client.post(PAGE, form(strip, key=key)).status_code == 302
    assert client.post(PAGE, form(strip, key=key)).status_code == 302
    assert kept() == 1
    assert Photo.objects.count() == photos + 1


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"scale": "points"}, "Type how far the two points of the ruler are apart"),
        ({"dots": ""}, "Type the scanner's dots per inch"),
        ({"dots": "10"}, "scale"),
        ({"passes": "some"}, "a whole number from 0 to 6"),
        ({"photo": SimpleUploadedFile("strip.jpg", b"no picture", "image/jpeg")}, "photo"),
    ],
    ids=["points", "dots", "coarse", "passes", "no picture"],
)
def test_a_photo_that_tells_nothing_is_refused_and_what_was_typed_stays(
    client, demo_mill, media, strip, more, sentence
):
    photos = Photo.objects.count()
    answer = client.post(PAGE, form(strip, note="by the window", **more))
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert 'value="by the window"' in answer.content.decode()
    assert kept() == 0
    assert Photo.objects.count() == photos


def test_without_a_photo_nothing_is_looked_at(client, demo_mill, media):
    answer = client.post(PAGE, {"key": str(uuid.uuid4()), "scale": "scanner", "dots": "300"})
    assert answer.status_code == 422
    assert "choose one first" in words(answer)


def test_a_blurred_photo_is_refused_with_its_reason(client, demo_mill, media):
    picture, paper, _ = photograph(Scene(sd=2.4, wave_mm=40.0, blur_mm=2.5), 4)
    answer = client.post(PAGE, form((as_jpeg(picture), as_jpeg(paper))))
    assert answer.status_code == 422
    assert "sharp" in words(answer)
    assert kept() == 0


def test_the_page_says_what_to_do_before_any_photo_and_asks_little(
    client, demo_mill, django_assert_max_num_queries
):
    with django_assert_max_num_queries(30):
        answer = client.get(PAGE)
    assert "No strip of this lot was photographed yet" in words(answer)
    assert "/lots/L006/strip/" in client.get("/lots/L006/").content.decode()


def test_who_only_looks_keeps_no_photo(client_of, small_mill, media, strip):
    viewer = client_of(small_mill.viewer)
    answer = viewer.post("/lots/L005/strip/", form(strip))
    assert answer.status_code in (403, 422)
    assert kept() == 0


def test_of_a_blend_stripes_are_looked_for_along_its_own_colours(client, demo_mill, media, strip):
    page = "/lots/R102/strip/"
    lots = "L008|L007|L006"
    assert re.search(rf"R102 is a blend of lots .* where ({lots}) is more of it", words(client.get(page)))
    assert client.post(page, form(strip)).status_code == 302
    trial = EvennessTrial.objects.latest("pk")
    assert trial.result["signal"] == "colour"
    assert trial.facts["component"] in lots.split("|")
    text = words(client.get(page))
    assert "Looked along the blend's own colours: the way they go where " + trial.facts["component"] in text
    assert "apart in colour" in text
    alone = words(client.get(PAGE))
    assert "Stripes are looked for from light to dark" in alone


def test_what_is_followed_leads_to_the_lot_that_moves_the_colour_most(demo_mill):
    inputs = mixing_of_lots({"L027": 500.0, "L031": 500.0})
    toward = followed(inputs)
    part = next(one for one in inputs.parts if one.lot == toward.lot)
    other = next(one for one in inputs.parts if one.lot != toward.lot)
    # with more of it the blend comes nearer to that lot
    assert np.dot(toward.slope_lab, np.subtract(part.lab, other.lab)) > 0
    alike = dataclasses.replace(inputs, parts=(part, dataclasses.replace(part, lot="L999")))
    assert followed(alike) is None


def test_the_page_of_a_blend_asks_the_database_no_more_than_it_must(
    client, demo_mill, django_assert_max_num_queries
):
    with django_assert_max_num_queries(48):
        client.get("/lots/R102/strip/")
