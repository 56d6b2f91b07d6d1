"""A browser without a screen, for each of the people of the small mill."""

import uuid
from collections.abc import Callable

import pytest
from django.test import Client

from doffer.office import evenness_source
from doffer.people.models import Person, Role


class AtTheScreen(Client):
    """A browser in which the first owner is chosen, as soon as there is one."""

    def request(self, **request):
        if "person" not in self.session:
            owner = Person.objects.filter(role=Role.OWNER, archived_at=None).first()
            if owner:
                session = self.session
                session["person"] = owner.code
                session.save()
        return super().request(**request)


@pytest.fixture(autouse=True)
def _no_blend_of_another_test() -> None:
    """A test undoes what it wrote, numbers of changes included: what was read before counts no more."""
    evenness_source.forget()


@pytest.fixture
def client() -> Client:
    """A browser at which the owner of the mill stands."""
    return AtTheScreen()


@pytest.fixture
def client_of() -> Callable[..., Client]:
    """A client for whom somebody is chosen in the page head: `client_of(mill.floor)`."""

    def make(person) -> Client:
        client = Client()
        session = client.session
        session["person"] = person.code
        session.save()
        return client

    return make


@pytest.fixture
def key() -> str:
    """The key of a form."""
    return str(uuid.uuid4())
