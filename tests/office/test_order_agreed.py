"""The owner's yes: who said it, how, when and to which plan; a later plan that differs asks again."""

import uuid

import pytest
from django.db import DatabaseError, transaction
from tests.office.test_order_wish import filled, keep, words

from doffer.mill.agreed import ACT
from doffer.mill.commands.orders import change_order, move_order
from doffer.mill.models import Deed
from doffer.mill.queries.agreements import agreements_of
from doffer.mill.queries.orders import one_order
from doffer.office.agreement import told_plan
from doffer.office.promise import agreed_plan

pytestmark = pytest.mark.django_db(transaction=True)
YES = {"said_by": "Marra", "how": "phone", "on": "2026-03-01"}
NEW_PLAN = "/orders/O202/plan/"


def form() -> dict[str, str]:
    return {"key": str(uuid.uuid4())}


@pytest.fixture
def planned(client, demo_mill):
    """The order O202 with its first plan kept."""
    client.post(NEW_PLAN, form())
    return client


def agree(client, **more):
    return client.post("/orders/O202/agreed/", {**YES, **form(), "plan": "1", **more})


def panel(client) -> str:
    """The part of the order's page about the owner's yes."""
    return words(client.get("/orders/O202/")).split('id="agreed"')[1].split("</section>")[0]


def test_the_order_says_who_agreed_how_when_and_to_what(planned, demo_mill):
    assert "Nobody has written down yet" in panel(planned)
    assert agree(planned, note="wants it soft").status_code == 302
    said = panel(planned)
    safe = one_order("O202").plans[0].result["batches"][0]["pieces"]["safe"]
    assert f"Marra said yes to it Sunday 1 March by phone: {safe} skeins, 2-ply yarn, 250 m/100 g" in said
    assert said.count("Promised with plan 1") == 1
    assert "wants it soft" in said
    assert "ask again" not in said
    kept = agreements_of("O202")
    assert [(row.version, row.said_by, row.how, row.written_by) for row in kept] == [
        (1, "Marra", "by phone", "Wrenna")
    ]


def test_a_plan_that_promises_the_same_leaves_the_yes_standing(planned):
    agree(planned)
    planned.post(NEW_PLAN, form())
    assert one_order("O202").plans[0].version == 2
    assert "ask again" not in panel(planned)


def test_what_was_promised_and_the_yes_are_told_as_one_story(planned):
    assert "Promised with plan 1, kept" in panel(planned)
    planned.post(NEW_PLAN, form())
    agree(planned, plan="2")
    said = panel(planned)
    assert "Promised with plan 1, kept" in said
    assert "; Marra said yes to plan 2 Sunday 1 March by phone: " in said
    assert said.count("Sunday 1 March") == 1


def test_the_plan_the_owner_said_yes_to_is_the_one_that_holds(planned):
    agree(planned)
    keep(planned, "O202", filled(planned, "O202"), plies="3")
    order = one_order("O202")
    yes = agreements_of("O202")[0]
    assert told_plan(order).version == 2
    assert agreed_plan(order, yes).version == 1
    assert agreed_plan(order).version == 2
    page = words(planned.get("/orders/O202/"))
    assert page.count("2-ply → 3-ply") == 2  # in the panel, and in the note of plan 2
    assert 'id="promise"' not in page


def test_another_yarn_asks_again_until_the_owner_agrees_anew(planned):
    agree(planned)
    assert keep(planned, "O202", filled(planned, "O202"), plies="3").status_code == 302
    said = panel(planned)
    assert "changed since: ask again" in said
    assert "Changed since: 2-ply → 3-ply" in said
    agree(planned, plan="2", how="person")
    said = panel(planned)
    assert "Marra said yes to it Sunday 1 March in person" in said
    assert "3-ply yarn" in said
    assert "ask again" not in said
    assert [row.version for row in agreements_of("O202")] == [2, 1]


def test_fewer_skeins_ask_again(planned):
    agree(planned)
    assert keep(planned, "O202", filled(planned, "O202"), finished="1 kg").status_code == 302
    safe = [plan.result["batches"][0]["pieces"]["safe"] for plan in one_order("O202").plans]
    assert f"{safe[1]} skeins → {safe[0]} skeins" in panel(planned)


def test_another_day_asks_again(planned, demo_mill):
    agree(planned)
    change_order(demo_mill.owner, "O202", promised_on=None)
    assert "Changed since: day: Friday 6 March → no day" in panel(planned)


def test_the_mills_fibre_in_it_is_agreed_to_by_name(planned):
    client = planned
    sent = filled(client, "O205")
    del sent["lot_L019"]
    assert keep(client, "O205", sent, stock_L036="25").status_code == 302
    assert "recorded yes" in words(client.get("/orders/O205/"))
    answer = client.post("/orders/O205/agreed/", {**YES, **form(), "plan": "1"})
    assert answer.status_code == 302
    assert agreements_of("O205")[0].words.endswith("with L036 of the mill")
    assert "recorded yes" not in words(client.get("/orders/O205/"))


def test_a_yes_is_never_changed(planned):
    agree(planned)
    deed = Deed.objects.get(act=ACT)
    with pytest.raises(DatabaseError), transaction.atomic():
        Deed.objects.filter(pk=deed.pk).update(result={**deed.result, "said_by": "somebody else"})
    assert agreements_of("O202")[0].said_by == "Marra"


def test_the_same_form_sent_twice_is_one_yes(planned):
    sent = form()
    for _ in range(2):
        assert agree(planned, **sent).status_code == 302
    assert len(agreements_of("O202")) == 1


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"said_by": " "}, "said_by", "a name"),
        ({"how": "smoke"}, "how", "by phone"),
        ({"on": "2026-03-03"}, "on", "today or a day before"),
        ({"on": "soon"}, "on", "2026-03-02"),
    ],
)
def test_what_is_missing_is_said_beside_its_field(planned, wrong, field, said):
    answer = agree(planned, **wrong)
    assert answer.status_code == 422
    assert said in words(answer).split(f'id="{field}-error"')[1][:400]
    assert agreements_of("O202") == ()


def test_without_a_kept_plan_there_is_nothing_to_agree_to(client, demo_mill):
    assert "Keep one first" in words(client.get("/orders/O202/agreed/"))
    assert agree(client).status_code == 404


def test_an_order_given_up_is_agreed_to_no_more(planned, demo_mill):
    move_order(demo_mill.owner, "O202", "cancelled")
    assert agree(planned).status_code == 422
    assert agreements_of("O202") == ()


def test_a_yes_of_another_order_is_not_read(planned):
    agree(planned)
    assert agreements_of("O201") == ()
