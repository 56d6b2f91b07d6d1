import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import RequestFactory

from doffer.mill.models import Setting
from doffer.people.models import Person, Role
from doffer.serve.context import page_head

pytestmark = pytest.mark.django_db


@pytest.fixture
def photo():
    name = default_storage.save("bags/q8.jpg", ContentFile(b"\xff\xd8\xff\xe0 picture"))
    yield name
    default_storage.delete(name)


def test_the_sign_of_life_names_the_mill(client):
    answer = client.get("/healthz")
    assert answer.json() == {"ok": True, "mill": "", "demo": False}


def test_a_photo_is_shown_and_can_run_nothing(client, photo):
    answer = client.get(f"/media/{photo}")
    assert b"".join(answer.streaming_content) == b"\xff\xd8\xff\xe0 picture"
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_what_is_no_picture_is_offered_as_a_download(client):
    name = default_storage.save("bags/q8.html", ContentFile(b"<script>alert(1)</script>"))
    try:
        answer = client.get(f"/media/{name}")
        assert answer["Content-Disposition"].startswith("attachment")
        answer.close()
    finally:
        default_storage.delete(name)


@pytest.mark.parametrize("path", ["../secret.key", "bags/../../secret.key", "none.jpg", "%2e%2e/secret.key"])
def test_nothing_outside_the_photos_is_given_out(client, path):
    assert client.get(f"/media/{path}").status_code == 404


def test_an_unknown_host_is_refused(client):
    assert client.get("/healthz", headers={"host": "evil.example"}).status_code == 400


def head_of(session):
    request = RequestFactory().get("/")
    request.session = session
    return page_head(request)


def test_every_page_knows_the_mill_its_people_and_the_day():
    Person.objects.create_user("ida", "Ida", role=Role.OWNER)
    owner = Person.objects.get(code="ida")
    Setting.objects.create(
        key="name", value="Barrow Lane Mill", changed_at="2026-03-02T08:00Z", changed_by=owner
    )
    head = head_of({})
    assert (head["mill"].name, head["mill"].is_demo, head["units"]) == ("Barrow Lane Mill", False, "metric")
    assert [person.name for person in head["people"]] == ["Ida"]
    assert head["today"].year >= 2026
    assert head["version"]


def test_a_device_may_speak_other_units_than_its_mill():
    head = head_of({"units": "us"})
    assert (head["units"], head["mill"].units) == ("us", "metric")
