"""Photos of a lot: kept without camera data, refused in a sentence."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from doffer.mill.models import Photo


@pytest.fixture
def door(client_of, small_mill, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return client_of(small_mill.floor)


def picture(size: tuple[int, int] = (60, 40)) -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", size, "#c9b694").save(out, format="JPEG")
    return SimpleUploadedFile("bag.jpg", out.getvalue(), "image/jpeg")


def test_a_photo_is_kept_and_shown(door, tmp_path):
    answer = door.post("/lots/L001/photos/", {"photo": picture(), "back": "door"})
    assert answer["Location"] == "/lots/L001/door/"
    photo = Photo.objects.get(lot__code="L001")
    assert (photo.width, photo.height) == (60, 40)
    assert (tmp_path / "photos" / photo.name).is_file()
    page = door.get("/lots/L001/photos/").content.decode()
    assert f"/media/photos/{photo.name}" in page


@pytest.mark.parametrize(
    ("upload", "sentence"),
    [
        (SimpleUploadedFile("bag.pdf", b"%PDF-1.7", "application/pdf"), "a JPEG, PNG or WebP picture"),
        (SimpleUploadedFile("bag.jpg", b"\xff\xd8" + bytes(10_000_001), "image/jpeg"), "at most 10 MB"),
        (None, "Choose a picture first"),
    ],
)
def test_what_is_no_photo_is_refused_in_a_sentence(door, upload, sentence):
    answer = door.post("/lots/L001/photos/", {"photo": upload} if upload else {})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not Photo.objects.exists()


def test_too_many_pixels_are_refused(door):
    answer = door.post("/lots/L001/photos/", {"photo": picture((8000, 6000))})
    assert "at most 40 megapixels" in answer.content.decode()


def test_a_viewer_adds_no_photo(client_of, small_mill, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    answer = client_of(small_mill.viewer).post("/lots/L001/photos/", {"photo": picture()})
    assert answer.status_code == 422
    assert not Photo.objects.exists()
