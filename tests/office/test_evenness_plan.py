"""“Plan it so”: layers, passes and drawings chosen on the page of evenness become the order's own."""

import html
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.office.page_words import words

from doffer.mill import clock
from doffer.mill.commands.agreements import Agreement, owner_agreed
from doffer.mill.models import Change, Order, OrderPlan

pytestmark = pytest.mark.django_db
PAGE = "/orders/O207/evenness/"
SO = "set=yes&batch=1&layers=20&passes=2&toss=yes&drawn=4x6"


def form(client, asked=SO, **more):
    """What the button sends, as the page has it."""
    page = client.get(f"{PAGE}?{asked}").content.decode()
    part = page[page.index('id="plan-so"') :]
    return {
        "key": re.search(r'name="key" value="([^"]+)"', part)[1],
        "state": html.unescape(re.search(r'name="state" value="([^"]+)"', part)[1]),
        **more,
    }


def plans():
    return list(OrderPlan.objects.filter(order__code="O207").order_by("version"))


def test_what_was_chosen_becomes_a_plan_beside_the_earlier_ones(client, demo_mill):
    before = plans()
    answer = client.post(f"{PAGE}plan/", form(client))
    assert (answer.status_code, answer["Location"]) == (302, "/orders/O207/")
    after = plans()
    assert [one.pk for one in after[:-1]] == [one.pk for one in before]
    newest = after[-1]
    ways = newest.spec["ways"]
    assert (ways["n_layers"], ways["pick_passes"], ways["draw_passes"]) == (20, 2, 2)
    assert (ways["draw_ends"], ways["is_tossed"]) == ([4, 6], True)
    stages = {stage["stage"]: stage for stage in newest.result["batches"][0]["stages"]}
    assert stages["pick"]["settings"][:2] == ["2 passes", "tossed in the bin after each pass"]
    assert stages["draw"]["settings"] == ["2 passes: 4 ends, then 6 ends"]
    assert len(newest.result["batches"][0]["layers"]) == 20 * 4 + 1
    assert newest.note.startswith("mixed otherwise: 20 sets of ")
    assert newest.made_by == demo_mill.owner
    assert newest.made_at == clock.now()
    assert Change.objects.filter(subject="O207", what__contains="wish changed").exists()


def test_the_order_and_its_papers_show_it_and_the_page_says_it_is_planned(client, demo_mill):
    client.post(f"{PAGE}plan/", form(client))
    text = words(client.get("/orders/O207/"))
    assert "Layers on the picker 81 layers" in text
    assert "mixed otherwise: 20 sets of" in text
    assert "Settings. 2 passes: 4 ends, then 6 ends." in text
    assert client.get("/orders/O207/run-card.pdf").content.startswith(b"%PDF")
    page = client.get(PAGE)
    assert "The newest plan has it so" in words(page)
    assert (
        'name="layers" type="text" inputmode="numeric" autocomplete="off" value="20"' in page.content.decode()
    )
    assert "Plan it so" in words(client.get(f"{PAGE}?{SO}&layers=12".replace("layers=20&", "")))


def test_it_stays_when_the_order_is_planned_again(client, demo_mill):
    client.post(f"{PAGE}plan/", form(client))
    client.post("/orders/O207/plan/", {"key": str(uuid.uuid4()), "note": ""})
    assert plans()[-1].spec["ways"]["n_layers"] == 20
    assert Order.objects.get(code="O207").spec["ways"]["draw_ends"] == [4, 6]


def test_what_is_not_drawn_has_no_drawing_in_its_plan(client, demo_mill):
    client.post(f"{PAGE}plan/", form(client, SO.replace("4x6", "")))
    assert [stage["stage"] for stage in plans()[-1].result["batches"][0]["stages"]][-1] == "card"
    page = client.get(PAGE)
    assert "not drawn" in words(page)
    assert page.status_code == 200


def test_sent_twice_it_is_planned_once(client, demo_mill):
    sent, n = form(client), len(plans())
    assert client.post(f"{PAGE}plan/", sent).status_code == 302
    assert client.post(f"{PAGE}plan/", sent).status_code == 302
    assert len(plans()) == n + 1


def test_leaving_an_agreed_plan_is_asked_about_first(client, demo_mill):
    client.post("/orders/O207/plan/", {"key": str(uuid.uuid4()), "note": ""})
    n = len(plans())
    yes = Agreement(version=n, said_by="Bryony", how="phone", on=clock.today(), words="ten bumps of roving")
    owner_agreed(demo_mill.owner, "O207", yes)
    sent = form(client)
    asked = client.post(f"{PAGE}plan/", sent)
    assert asked.status_code == 422
    assert f"Bryony said yes to plan {n}: ten bumps of roving. Say why" in words(asked)
    assert 'value="20"' in asked.content.decode()
    assert len(plans()) == n
    again = client.post(f"{PAGE}plan/", {**sent, "confirmation": "the owner wants no stripes"})
    assert again.status_code == 302
    assert plans()[-1].note.endswith("the owner wants no stripes")
    assert len(plans()) == n + 1


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ("laying=handfuls", "A plan lays the lots in turn"),
        ("whole=yes", "A plan lays the lots in turn"),
        ("passes=0", "A plan mixes at the picker"),
    ],
)
def test_what_a_plan_cannot_say_is_no_button_but_a_sentence(client, demo_mill, more, sentence):
    asked = f"set=yes&batch=1&layers=20&{more}"
    text = words(client.get(f"{PAGE}?{asked}"))
    assert sentence in text
    assert "Plan it so" not in text
    n = len(plans())
    answer = client.post(f"{PAGE}plan/", {"key": str(uuid.uuid4()), "state": asked})
    assert answer.status_code in (409, 422)
    assert sentence in words(answer)
    assert len(plans()) == n


def test_who_takes_no_orders_plans_nothing(client_of, demo_mill):
    floor, n = client_of(demo_mill.floor), len(plans())
    assert "Planning is for people who take orders" in words(floor.get(f"{PAGE}?{SO}"))
    assert floor.post(f"{PAGE}plan/", {"key": str(uuid.uuid4()), "state": SO}).status_code in (403, 422)
    assert len(plans()) == n


def test_planning_it_so_asks_the_database_little(client, demo_mill):
    sent = form(client)
    with CaptureQueriesContext(connection) as queries:
        client.post(f"{PAGE}plan/", sent)
    assert len(queries) <= 60
