"""A browser without a screen, for each of the people of the small mill."""

import uuid
from collections.abc import Callable

import pytest
from django.test import Client


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
