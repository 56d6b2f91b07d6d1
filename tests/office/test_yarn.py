"""The yarn of an order: drawn, counted, what every machine is set to, and the tests of its first metres."""

import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.office.page_words import words

from doffer.mill.commands.yarn_settings import MachineSettingFacts, record_machine_setting
from doffer.mill.models import YarnTest
from doffer.mill.queries.orders import one_order
from doffer.office.yarn import yarn_of

pytestmark = pytest.mark.django_db
SOCK, WHITE = "/orders/O203/yarn/", "/orders/O201/yarn/?batch=2"
TEST = {"state": "bobbin", "length": "10", "turns_length": "250"}


def plain(answer):
    return words(answer).replace("\u202f", " ")


def card(answer, title):
    """The words of one machine's card."""
    page = answer.content.decode()
    found = re.search(rf'<section class="settings-card".*?>{title} ?<.*?</section>', page, re.DOTALL)
    assert found, title
    return re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", found[0])).replace("\u202f", " ")


def test_the_page_says_whether_it_can_be_spun_and_shows_it_drawn(client, demo_mill):
    answer = client.get(SOCK)
    page = answer.content.decode()
    made = yarn_of(one_order("O203"), batch_number=None, units="metric")
    assert "It can be spun." in plain(answer)
    assert f"{made.plan.fibres:.0f} fibres across run well" in plain(answer)
    for picture in ("The yarn, drawn", "Fibres across one single", "against the limit", "Wraps on a ruler"):
        assert picture in page
    assert "3-ply, washed" in plain(answer)
    assert 'style="' not in page


def test_every_basis_has_its_own_count_and_ten_metres_weigh_a_hundredth(client, demo_mill):
    made = yarn_of(one_order("O203"), batch_number=None, units="metric")
    said = plain(client.get(SOCK))
    for strand in (made.plan.roller, made.plan.single, made.plan.greige, made.plan.finished):
        assert f"{strand.tex:.1f}" in said
        assert f"{strand.tex / 100:.2f} g" in said
    assert made.plan.roller.tex < made.plan.single.tex


def test_a_card_stands_for_every_machine_with_its_settings_and_minutes(client, demo_mill):
    answer = client.get(SOCK)
    made = yarn_of(one_order("O203"), batch_number=None, units="metric")
    spin = card(answer, "Spin")
    assert f"{made.plan.single_twist.tpm:.0f} turns/m" in spin
    assert f"{made.plan.draft.draft:.2f}" in spin
    assert "on the machine" in spin
    assert "of hands" in spin
    for title in ("Pick", "Card", "Ply", "Skein"):
        assert card(answer, title)
    assert "Suggestions" in plain(answer)


def test_the_card_of_a_machine_is_a_page_to_print(client, demo_mill):
    answer = client.get("/orders/O203/yarn/spin/")
    made = yarn_of(one_order("O203"), batch_number=None, units="metric")
    assert "Suggested, not set." in plain(answer)
    assert f"{made.plan.draft.draft:.2f}" in plain(answer)
    assert 'class="settings-figures giant"' in answer.content.decode()
    assert client.get("/orders/O203/yarn/dehair/").status_code == 404


def test_batches_are_chosen_by_number(client, demo_mill):
    assert "from L002" in plain(client.get(WHITE))
    assert "from L001" in plain(client.get("/orders/O201/yarn/"))
    assert client.get("/orders/O201/yarn/?batch=9").status_code == 404


def test_an_order_that_becomes_no_yarn_says_what_to_do(client, demo_mill):
    answer = client.get("/orders/O204/yarn/")
    assert answer.status_code == 200
    assert "No yarn of O204 can be planned" in plain(answer)
    assert "Back to the order" in plain(answer)
    part = client.get("/orders/O204/yarn/part/")
    assert "No yarn of O204 can be planned" in plain(part)


def test_the_order_has_a_fold_that_fetches_its_yarn(client, demo_mill):
    page = client.get("/orders/O203/").content.decode()
    assert 'hx-get="/orders/O203/yarn/part/?batch=1"' in page
    assert 'href="/orders/O203/yarn/?batch=1"' in page
    part = client.get("/orders/O203/yarn/part/?batch=1")
    assert "<html" not in part.content.decode()
    assert "Ten metres" in plain(part)
    assert 'hx-get="/orders/O204/yarn' not in client.get("/orders/O204/").content.decode()


def test_a_heavy_first_test_tells_to_draft_more_and_is_kept(client, demo_mill, key):
    made = yarn_of(one_order("O201"), batch_number=2, units="metric")
    heavy = made.plan.single.tex / 100 * 1.08
    weights = "\n".join(f"{heavy * (1 + 0.01 * (-1) ** k):.3f}" for k in range(10))
    answer = client.post(WHITE, {**TEST, "key": key, "weights": weights, "rh": "65"})
    assert answer.status_code == 302
    row = YarnTest.objects.order_by("-pk").first()
    assert (row.order.code, row.lot.code, row.state, len(row.masses_mg)) == ("O201", "L002", "bobbin", 10)
    said = plain(client.get(WHITE))
    assert "Before the rest is spun" in said
    assert "changed" in said
    assert "ten lengths" in said or "10 lengths" in said
    again = client.post(WHITE, {**TEST, "key": key, "weights": weights, "rh": "65"})
    assert again.status_code == 302
    assert YarnTest.objects.filter(order__code="O201", lot__code="L002").count() == 1
    assert "Before the rest is spun" not in plain(client.get("/orders/O201/yarn/?batch=1"))


def test_a_test_as_planned_is_left_alone(client, demo_mill, key):
    made = yarn_of(one_order("O201"), batch_number=2, units="metric")
    right = made.plan.single.tex / 100
    weights = " ".join(f"{right * (1 + 0.02 * (-1) ** k):.3f}" for k in range(6))
    client.post(WHITE, {**TEST, "key": key, "weights": weights})
    assert "Leave it as it is set" in plain(client.get(WHITE))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"weights": "2.05\nabc"}, "plain numbers, such as 2.05"),
        ({"weights": ""}, "lengths weighed, turns, a length washed, or a ply-back"),
        ({"weights": "2.0", "state": ""}, "Choose which yarn was tested."),
        ({"before": "1\n1", "after": "0.97"}, "one for each of the 2 before"),
        ({"weights": "2.0 2.1", "length": "ten"}, "a length in m, such as 10"),
    ],
)
def test_what_is_wrong_with_a_test_stands_beside_its_field(client, demo_mill, key, changed, said):
    before = YarnTest.objects.count()
    answer = client.post(WHITE, {**TEST, "key": key, **changed})
    assert answer.status_code == 422
    assert said in plain(answer)
    assert YarnTest.objects.count() == before


def test_a_slip_of_the_decimal_point_is_asked_about_and_can_be_confirmed(client, demo_mill, key):
    typed = {**TEST, "key": key, "weights": "210 205"}
    answer = client.post(WHITE, typed)
    assert answer.status_code == 422
    assert "If it is right, say why" in plain(answer)
    assert "210 205" in answer.content.decode()
    answer = client.post(WHITE, {**typed, "confirmation": "it is a rope"})
    assert answer.status_code == 302


def test_who_may_not_record_sees_no_form_and_is_refused(client_of, demo_mill, key):
    from doffer.people.models import Person, Role

    viewer = Person.objects.create(code="P9", name="Vera", role=Role.VIEWER)
    client = client_of(viewer)
    assert "Keep the test" not in plain(client.get(WHITE))
    answer = client.post(WHITE, {**TEST, "key": key, "weights": "1.97"})
    assert answer.status_code == 422
    assert "may not record what machines are set to" in plain(answer)
    assert not YarnTest.objects.filter(lot__code="L002").exists()


def test_the_mills_own_pinions_are_what_the_card_says(client, demo_mill):
    for setting, values in (("draft_constant", 480.0), ("draft_teeth", [float(t) for t in range(20, 61)])):
        record_machine_setting(demo_mill.owner, "SPN", MachineSettingFacts(key=setting, values=values))
    made = yarn_of(one_order("O203"), batch_number=None, units="metric")
    teeth = round(480 / made.plan.draft.draft)
    assert f"{teeth} teeth" in card(client.get(SOCK), "Spin")


def test_us_pages_speak_of_yards_grains_and_turns_per_inch(client, demo_mill):
    session = client.session
    session["units"] = "us"
    session.save()
    said = plain(client.get(SOCK))
    assert "yd/lb" in said
    assert "turns/in" in said
    assert "gr/yd" in said


def test_pages_ask_the_books_only_so_often(client, demo_mill):
    for address, most in ((SOCK, 32), ("/orders/O203/yarn/part/", 30), ("/orders/O203/yarn/spin/", 30)):
        client.get(address)
        with CaptureQueriesContext(connection) as asked:
            client.get(address)
        assert len(asked) <= most, (address, len(asked))


def far_reading(client, key):
    """A plied test whose singles were untwisted over a length that is not the one written down."""
    made = yarn_of(one_order("O201"), batch_number=1, units="metric")
    heavy = made.plan.single.tex / 100 * 1.07
    weights = " ".join(f"{heavy * (1 + 0.01 * (-1) ** k):.3f}" for k in range(8))
    client.post("/orders/O201/yarn/?batch=1", {**TEST, "key": uuid.uuid4(), "weights": weights})
    typed = {**TEST, "key": key, "state": "plied", "single": "17 18 17"}
    assert client.post("/orders/O201/yarn/?batch=1", typed).status_code == 302
    return YarnTest.objects.order_by("-pk").first()


def test_one_far_reading_is_named_and_does_not_silence_the_tests_without_a_word(client, demo_mill, key):
    far_reading(client, key)
    said = plain(client.get("/orders/O201/yarn/?batch=1"))
    assert "The tests say nothing yet" in said
    assert re.search(r"turns.*?must", said.partition("The tests say nothing yet")[2])
    assert "Before the rest is spun" not in said


def test_a_test_is_corrected_on_the_page_and_the_correction_comes_back(client, demo_mill, key):
    far = far_reading(client, key)
    page = client.get("/orders/O201/yarn/?batch=1").content.decode()
    assert f"correct={far.pk}#write" in page
    form = client.get(f"/orders/O201/yarn/?batch=1&correct={far.pk}")
    assert "This takes the place of the test" in plain(form)
    assert ">17\n18\n17</textarea>" in form.content.decode()
    right = {**TEST, "key": uuid.uuid4(), "state": "plied", "single": "45 46 47", "correct": far.pk}
    unsaid = client.post("/orders/O201/yarn/?batch=1", right)
    assert unsaid.status_code == 422
    assert "Say what was wrong" in plain(unsaid)
    assert client.post("/orders/O201/yarn/?batch=1", {**right, "note": "slip"}).status_code == 302
    newest = YarnTest.objects.order_by("-pk").first()
    assert (newest.corrects_id, newest.note, newest.single_turns_milli) == (
        far.pk,
        "slip",
        [45000, 46000, 47000],
    )
    said = plain(client.get("/orders/O201/yarn/?batch=1"))
    assert "The tests say nothing yet" not in said
    assert "Before the rest is spun" in said
    assert "corrected since" in said
    assert client.get(f"/orders/O201/yarn/?batch=2&correct={far.pk}").status_code == 404
