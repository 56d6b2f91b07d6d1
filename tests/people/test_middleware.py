"""Who is acting: chosen in the page head, the first owner until then."""

import pytest
from django.contrib.auth import authenticate
from django.contrib.sessions.backends.db import SessionStore
from django.test import RequestFactory

from doffer.errors import NotFoundError
from doffer.people.middleware import PersonMiddleware, acting_person, choose_person


@pytest.fixture
def request_of(rf: RequestFactory):
    def make():
        request = rf.get("/")
        request.session = SessionStore()
        return request

    return make


@pytest.mark.django_db
def test_the_first_owner_acts_until_somebody_is_chosen(people, request_of):
    request = request_of()
    assert PersonMiddleware(lambda r: r.person)(request) == people.owner
    choose_person(request, people.floor.code)
    assert PersonMiddleware(lambda r: r.person)(request) == people.floor


@pytest.mark.django_db
def test_in_a_mill_without_people_nobody_acts(request_of):
    assert PersonMiddleware(lambda r: r.person)(request_of()) is None


@pytest.mark.django_db
def test_somebody_unknown_cannot_be_chosen(people, request_of):
    with pytest.raises(NotFoundError, match="There is no person “P99”"):
        choose_person(request_of(), "P99")
    assert acting_person("P99") == people.owner


@pytest.mark.django_db
def test_nobody_has_a_password_yet(people):
    assert not people.owner.has_usable_password()
    assert authenticate(username=people.owner.code, password="") is None
