"""Small samples of an order at a form: kept as a trial, and what they show."""

import uuid

import numpy as np
import pytest
from tests.office.page_words import words

from doffer.mill.models import EvennessTrial

pytestmark = pytest.mark.django_db
PAGE, EVEN = "/orders/O207/evenness/samples/", "/orders/O207/evenness/"
SHARES = [30, 34, 41, 28, 37, 33]


def form(**more: str) -> dict[str, str]:
    return {"key": str(uuid.uuid4()), "stage": "card", "passes": "1", "component": "", **more}


@pytest.fixture
def client(client, demo_mill):
    return client


def test_shares_of_samples_become_a_trial_that_tells_of_the_machines(client):
    assert 'href="/orders/O207/evenness/samples/"' in client.get(EVEN).content.decode()
    before = EvennessTrial.objects.count()
    sent = form(component="L027", weights="\n".join(f"0,5 {share}" for share in SHARES), regain="10")
    assert client.post(PAGE, sent).status_code == 302
    assert client.post(PAGE, sent).status_code == 302
    assert EvennessTrial.objects.count() == before + 1
    trial = EvennessTrial.objects.latest("pk")
    assert (trial.kind, trial.order.code, trial.stage, trial.passes) == ("samples", "O207", "card", 1)
    assert trial.facts["masses_mg"] == [500] * 6
    sd = np.std(SHARES, ddof=1)
    text = words(client.get(PAGE))
    assert f"The share of L027 of six pieces strays by {sd:.2f} points" in text
    assert "What do its trials say of the machines?" in words(client.get(EVEN))


def test_weights_alone_are_compared_over_one_length(client):
    sent = form(weights="0.50\n0.55\n0.45", length="10 cm", passes="2", note="drawn by hand")
    assert client.post(PAGE, sent).status_code == 302
    trial = EvennessTrial.objects.latest("pk")
    assert trial.facts["length_um"] == 100_000
    text = words(client.get(PAGE))
    assert "The weight of three pieces strays by 10.00 % of their weight" in text
    assert "after two passes at the card" in text
    assert "drawn by hand" in text


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"weights": "", "length": "10 cm"}, "Type the weights, one in a line."),
        ({"weights": "1\n2"}, "Type how long each piece is"),
        ({"weights": "1\n2", "component": "L027"}, "a weight and a share"),
        ({"weights": "1 20\n2 30", "component": "L999"}, "Choose a lot of this order"),
        ({"weights": "1", "length": "10 cm"}, "number of pieces"),
    ],
)
def test_what_is_wrong_is_told_beside_what_was_typed(client, more, sentence):
    before = EvennessTrial.objects.count()
    answer = client.post(PAGE, form(note="Monday", **more))
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "Monday" in answer.content.decode()
    assert EvennessTrial.objects.count() == before


def test_samples_of_an_order_that_is_not_there_are_not_found(client):
    assert client.get("/orders/O999/evenness/samples/").status_code == 404
