"""Who is at a screen: whoever was chosen in this browser, and nobody until then."""

import uuid
from datetime import UTC, datetime

import pytest
from django.contrib.auth import authenticate
from django.contrib.sessions.backends.db import SessionStore
from django.test import RequestFactory

from doffer.errors import InputError, NotFoundError
from doffer.mill.booking import announce
from doffer.mill.commands.customers import add_customer
from doffer.mill.models import Customer
from doffer.people.middleware import PersonMiddleware, acting_person, choose_person, first_owner, somebody
from doffer.people.models import Person

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def request_of(rf: RequestFactory):
    def make():
        request = rf.get("/")
        request.session = SessionStore()
        return request

    return make


@pytest.mark.django_db
def test_nobody_acts_until_somebody_is_chosen(people, request_of):
    request = request_of()
    assert PersonMiddleware(lambda r: r.person)(request) is None
    choose_person(request, people.floor.code)
    assert PersonMiddleware(lambda r: r.person)(request) == people.floor


@pytest.mark.django_db
def test_who_works_alone_is_not_asked(people, request_of):
    Person.objects.exclude(pk=people.floor.pk).update(archived_at=NOON)
    assert PersonMiddleware(lambda r: r.person)(request_of()) == people.floor


@pytest.mark.django_db
def test_who_left_is_no_longer_at_the_screen(people, request_of):
    request = request_of()
    choose_person(request, people.floor.code)
    Person.objects.filter(pk=people.floor.pk).update(archived_at=NOON)
    assert PersonMiddleware(lambda r: r.person)(request) is None


@pytest.mark.django_db
def test_nothing_can_be_recorded_in_the_name_of_somebody(people):
    with pytest.raises(ValueError, match="unsaved related object"):
        announce(somebody(), "order", "O1", "taken")
    with pytest.raises((ValueError, InputError)):
        add_customer(somebody(), name="Moss Edge Farm", key=uuid.uuid4())
    assert not Customer.objects.filter(name="Moss Edge Farm").exists()


@pytest.mark.django_db
def test_at_the_terminal_the_first_owner_acts(people):
    assert first_owner() == people.owner


@pytest.mark.django_db
def test_in_a_mill_without_people_nobody_acts(request_of):
    assert PersonMiddleware(lambda r: r.person)(request_of()) is None


@pytest.mark.django_db
def test_somebody_unknown_cannot_be_chosen(people, request_of):
    with pytest.raises(NotFoundError, match="There is no person “P99”"):
        choose_person(request_of(), "P99")
    assert acting_person("P99") is None


@pytest.mark.django_db
def test_nobody_has_a_password_yet(people):
    assert not people.owner.has_usable_password()
    assert authenticate(username=people.owner.code, password="") is None
