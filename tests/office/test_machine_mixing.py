"""How a machine mixes: its figures, whose they are, and finding new ones at a form."""

import re
import uuid

import numpy as np
import pytest
from tests.office.page_words import words

from doffer.mill.models import EvennessTrial, Machine, MachineFigure
from doffer.planning.evenness.calibrate import correlation_of_cans

pytestmark = pytest.mark.django_db
CARD, PICKER = "/records/machines/CRD/mixing/", "/records/machines/PIC/mixing/"


def form(**more: str) -> dict[str, str]:
    return {"key": str(uuid.uuid4()), "figure": "card_hold_up", "way": "clean-down", **more}


@pytest.fixture
def kept():
    """How many figures and trials there are more than before."""
    before = MachineFigure.objects.count(), EvennessTrial.objects.count()
    return lambda: (MachineFigure.objects.count() - before[0], EvennessTrial.objects.count() - before[1])


@pytest.fixture
def client(client, demo_mill):
    return client


def newest() -> MachineFigure:
    return MachineFigure.objects.latest("pk")


def test_a_guess_is_called_a_guess_and_what_was_weighed_found_here(client):
    text = words(client.get(PICKER))
    assert "Weight of the locks as fed 2 g 1.00 to 5.00 g a guess" in text
    assert "What the picker holds 22.4 g 20.2 to 24.7 g found here" in text
    assert "Two figures of 7 were found here; the others are guesses." in text


def test_weights_of_a_clean_down_become_the_machines_own_figure(client, kept):
    sent = form(weights="52\n48,5\n50", regain="15")
    assert client.post(CARD, sent).status_code == 302
    trial, figure = EvennessTrial.objects.latest("pk"), newest()
    assert (trial.kind, trial.machine.code, trial.stage) == ("clean-down", "CRD", "card")
    dry_g = np.mean([52, 48.5, 50]) / 1.15
    assert figure.value_micro == pytest.approx(dry_g * 1e6, rel=1e-6)
    assert figure.trials == [trial.pk]
    assert f"{dry_g:.1f} g" in words(client.get(CARD))
    assert client.post(CARD, sent).status_code == 302
    assert kept() == (1, 1)


def test_a_coloured_pulse_gives_the_hold_up_it_was_made_with(client):
    middles = np.arange(2.0, 240, 4)
    shares = 100 * 0.08 * np.exp(-middles / 55)
    lines = "\n".join(f"4 {share:.4f}" for share in shares)
    answer = client.post(CARD, form(way="pulse", weights=lines, pulse="5"))
    assert answer.status_code == 302
    assert newest().value_micro / 1e6 == pytest.approx(55, rel=0.02)


def test_twenty_tufts_give_the_weight_of_the_clumps(client):
    masses = [0.1, 0.3] * 10
    sent = form(figure="clump_after_1", way="tufts", weights="\n".join(map(str, masses)))
    assert client.post(PICKER, sent).status_code == 302
    assert newest().value_micro / 1e6 == pytest.approx(0.25)
    assert EvennessTrial.objects.latest("pk").passes == 1


def test_a_figure_from_experience_stays_a_guess(client):
    assert client.post(CARD, form(way="guess", value="70", low="60", high="85")).status_code == 302
    text = words(client.get(CARD))
    assert re.search(r"70 g 60\S* to 85\S* g a guess", text)
    assert "usual, before anybody measured" in text


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"weights": ""}, "Type the weights, one in a line."),
        ({"weights": "12 13"}, "one weight"),
        ({"weights": "fifty"}, "plain numbers, such as 4.8"),
        ({"way": "pulse", "weights": "4 10\n4 8\n4 6\n4 5"}, "how much coloured fibre was fed"),
        ({"way": "guess"}, "Type the figure."),
        ({"way": "guess", "value": "50", "low": "60"}, "three rising numbers"),
        ({"way": "tufts", "weights": "1"}, "Choose how the figure was found."),
        ({"figure": "picker_hold_up", "weights": "20"}, "figure of this machine"),
    ],
)
def test_what_is_wrong_is_told_and_what_was_typed_stays(client, kept, more, sentence):
    answer = client.post(CARD, form(note="Monday’s", **more))
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "Monday’s" in answer.content.decode()
    assert kept() == (0, 0)


def test_a_figure_far_from_the_usual_is_asked_about_first(client, kept):
    sent = form(weights="1200")
    asked = client.post(CARD, sent)
    assert asked.status_code == 422
    assert "If it is right, say why" in words(asked)
    assert kept() == (0, 0)
    again = client.post(CARD, {**sent, "confirmation": "a carder of 2 m"})
    assert again.status_code == 302
    assert "a carder of 2 m" in newest().note


@pytest.mark.parametrize(
    ("way", "address", "more"),
    [
        ("tufts", PICKER, {"figure": "clump_after_1", "weights": "9\n8\n7\n9\n8\n7"}),
        ("pulse", CARD, {"pulse": "300", "weights": "\n".join(f"900 {80 * 0.8**k:.3f}" for k in range(14))}),
    ],
)
def test_an_unusual_figure_of_a_trial_is_kept_once_it_is_said_to_be_right(client, kept, way, address, more):
    sent = form(way=way, **more)
    asked = client.post(address, sent)
    text = words(asked)
    assert asked.status_code == 422
    assert "is far from the usual" in text
    assert kept() == (0, 0)
    again = client.post(address, {**sent, "confirmation": "weighed twice"})
    assert again.status_code == 302
    assert kept() == (1, 1)
    assert newest().trials == [EvennessTrial.objects.latest("pk").pk]
    assert client.post(address, {**sent, "confirmation": "weighed twice"}).status_code == 302
    assert kept() == (1, 1)


def test_a_question_names_the_figure_as_the_page_does(client):
    text = words(client.post(PICKER, form(figure="clump_after_1", way="tufts", weights="9\n8\n7\n9\n8\n7")))
    assert "“clumps after the first picking” is far from the usual" in text
    assert "clump after 1" not in text


CANS = "60 64 61 66 59\n60.5 63 61.5 65 60\n59.5 63.5 60.5 66 59.5"


def test_cans_side_by_side_give_what_all_ends_have_in_common(client, kept):
    drawing = Machine.objects.get(stage="draw", archived_at=None).code
    address = f"/records/machines/{drawing}/mixing/"
    assert "Shades of the cans, one can in a line" in words(client.get(f"{address}?figure=end_correlation"))
    sent = form(figure="end_correlation", way="samples", weights=CANS, note="monday")
    asked = client.post(address, sent)
    if asked.status_code == 422:
        assert "“what all ends of a drawing have in common” is far from the usual" in words(asked)
        assert kept() == (0, 0)
        assert client.post(address, {**sent, "confirmation": "read twice"}).status_code == 302
    figure = newest()
    found = correlation_of_cans(
        np.array([[float(cell) for cell in line.split()] for line in CANS.split("\n")])
    )
    assert figure.key == "end_correlation"
    assert figure.value_micro / 1e6 == pytest.approx(found.value, abs=1e-6)
    assert figure.note.startswith("3 cans side by side at 5 places; monday")
    assert kept() == (1, 0)


@pytest.mark.parametrize(
    ("typed", "sentence"), [("60 61\n60", "as many in every line"), ("60 61 62 63", "cans")]
)
def test_cans_that_tell_nothing_are_refused(client, kept, typed, sentence):
    drawing = Machine.objects.get(stage="draw", archived_at=None).code
    sent = form(figure="end_correlation", way="samples", weights=typed)
    answer = client.post(f"/records/machines/{drawing}/mixing/", sent)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert kept() == (0, 0)


def test_who_only_looks_cannot_write_a_figure(client_of, small_mill):
    viewer = client_of(small_mill.viewer)
    code = Machine.objects.get(stage="card").code
    assert "Figures are for people who run the machines" in words(
        viewer.get(f"/records/machines/{code}/mixing/")
    )
    answer = viewer.post(f"/records/machines/{code}/mixing/", form(weights="50"))
    assert answer.status_code in (403, 422)
    assert not MachineFigure.objects.exists()


def test_a_machine_that_mixes_nothing_says_so(client):
    assert "This machine mixes nothing" in words(client.get("/records/machines/SPN/mixing/"))
    assert "How it mixes" in words(client.get("/records/machines/CRD/"))
    assert "How it mixes" not in words(client.get("/records/machines/SPN/"))


def test_the_page_asks_no_more_with_a_longer_history(client, django_assert_max_num_queries):
    for mass in (50, 55, 60, 65):
        client.post(CARD, form(weights=str(mass)))
    with django_assert_max_num_queries(12):
        page = client.get(CARD)
    assert words(page).count("weighed at a clean-down") >= 4
