"""A wrong trial is corrected at a form: the new one counts, both stay, and its figure is found anew."""

import io
import re
import uuid

import pytest
from PIL import Image
from tests.office.page_words import words

from doffer.mill.commands.evenness import FigureFacts, TrialFacts, record_figure, record_trial
from doffer.mill.commands.lots import add_photo
from doffer.mill.evenness_facts import PhotoFacts, PieceVariance, TrialResult
from doffer.mill.models import EvennessTrial, MachineFigure

pytestmark = pytest.mark.django_db
CARD = "/records/machines/CRD/mixing/"


@pytest.fixture
def weighed(client, demo_mill):
    """A clean-down of the card that was typed with a slipped figure; its trial and its figure count."""
    sent = {"key": str(uuid.uuid4()), "figure": "card_hold_up", "way": "clean-down"}
    client.post(CARD, {**sent, "weights": "520\n48\n50", "regain": "15", "confirmation": "yes"})
    return EvennessTrial.objects.latest("pk")


def correct(trial):
    return f"/records/trials/{trial.pk}/correct/"


def form(**more):
    return {"key": str(uuid.uuid4()), "weights": "52\n48\n50", "regain": "15", "reason": "a comma", **more}


def card_figure():
    return MachineFigure.objects.get(machine__code="CRD", key="card_hold_up", superseded_by=None)


def test_the_machines_page_leads_to_a_form_filled_with_what_was_written(client, weighed):
    page = client.get(CARD).content.decode()
    assert f'href="{correct(weighed)}"' in page
    asked = client.get(correct(weighed)).content.decode()
    assert re.search(r"<textarea[^>]*>\s*520\n48\n50</textarea>", asked)
    assert 'value="15"' in asked


def test_a_corrected_trial_counts_and_its_figure_is_found_anew(client, demo_mill, weighed):
    before = card_figure()
    sent = form()
    answer = client.post(correct(weighed), sent)
    assert (answer.status_code, answer["Location"]) == (302, CARD)
    new = EvennessTrial.objects.latest("pk")
    assert (new.corrects_id, new.facts["masses_mg"]) == (weighed.pk, [52_000, 48_000, 50_000])
    assert "a comma" in new.note
    assert (new.machine.code, new.taken_at) == ("CRD", weighed.taken_at)
    after = card_figure()
    assert after.value_micro == pytest.approx(50 / 1.15 * 1e6, rel=1e-6)
    assert (after.supersedes_id, after.trials, after.n) == (before.pk, [new.pk], 3)
    text = words(client.get(CARD))
    assert "corrected since" in text
    assert "find it again" not in text
    assert client.post(correct(weighed), sent).status_code == 302
    assert EvennessTrial.objects.latest("pk") == new
    assert "corrected already" in words(client.get(correct(weighed)))
    assert client.post(correct(weighed), form()).status_code == 422


def test_a_figure_found_otherwise_since_stays(client, demo_mill, weighed):
    record_figure(demo_mill.owner, "CRD", FigureFacts(key="card_hold_up", value=66.0, found="guess"))
    client.post(correct(weighed), form())
    assert card_figure().value_micro == 66_000_000


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"reason": ""}, "Say what was wrong"),
        ({"weights": "some"}, "plain numbers, such as 4.8"),
        ({"weights": ""}, "Type the weights, one in a line."),
    ],
)
def test_what_is_missing_is_told_and_nothing_is_kept(client, weighed, more, sentence):
    answer = client.post(correct(weighed), form(**more))
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert EvennessTrial.objects.latest("pk") == weighed


def test_a_correction_far_from_the_usual_is_asked_about_first(client, weighed):
    sent = form(weights="1200")
    asked = client.post(correct(weighed), sent)
    assert asked.status_code == 422
    assert "If it is right, say why" in words(asked)
    assert EvennessTrial.objects.latest("pk") == weighed
    assert client.post(correct(weighed), {**sent, "confirmation": "a carder of 2 m"}).status_code == 302


@pytest.mark.parametrize("kind", ["tufts", "samples"])
def test_other_trials_come_back_as_they_were_written(client, demo_mill, kind):
    trial = EvennessTrial.objects.filter(kind=kind).latest("pk")
    page = client.get(correct(trial)).content.decode()
    typed = re.search(r"<textarea[^>]*>\s*(.*?)</textarea>", page, re.DOTALL)[1]
    assert client.post(correct(trial), form(weights=typed)).status_code == 302
    assert EvennessTrial.objects.latest("pk").facts == trial.facts


@pytest.fixture
def photographed(demo_mill, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30), "#557744").save(buffer, "PNG")
    photo = add_photo(demo_mill.owner, "L027", data=buffer.getvalue(), key=uuid.uuid4())
    pieces = (PieceVariance(variance=0.25, standard_error=0.05, n_pieces=30, length_mm=10.0),)
    number = record_trial(
        demo_mill.owner,
        TrialFacts(
            facts=PhotoFacts(length_mm=300.0, mm_per_px=0.25, strand_tex=3000.0),
            result=TrialResult(signal="lightness", pieces=pieces, words=("Stripes.",)),
            stage="draw",
            lot="L027",
            photo=photo,
        ),
    )
    return EvennessTrial.objects.get(pk=number)


def test_a_photo_said_to_be_of_the_wrong_stage_is_put_right(client, photographed):
    assert f'href="{correct(photographed)}"' in client.get("/lots/L027/strip/").content.decode()
    sent = {"key": str(uuid.uuid4()), "stage": "card", "passes": "1", "roving": "4", "reason": "mistaken"}
    answer = client.post(correct(photographed), sent)
    assert (answer.status_code, answer["Location"]) == (302, "/lots/L027/strip/")
    new = EvennessTrial.objects.latest("pk")
    assert (new.stage, new.facts["strand_mtex"], new.corrects) == ("card", 4_000_000, photographed)
    assert new.result == photographed.result


def test_a_photo_of_the_wrong_scale_tells_nothing_any_more(client, photographed):
    sent = {"key": str(uuid.uuid4()), "stage": "card", "passes": "1", "nothing": "yes", "reason": "in inches"}
    assert client.post(correct(photographed), sent).status_code == 302
    assert EvennessTrial.objects.latest("pk").result["pieces"] == []
    assert "It tells nothing: the picture or its scale was wrong." in words(client.get("/lots/L027/strip/"))
    assert "measured at" not in client.get("/orders/O207/evenness/").content.decode()
