"""The wish of a taken order is changed on its page, and every plan before it stays."""

import uuid
from html.parser import HTMLParser

import pytest

from doffer.mill.commands.orders import move_order
from doffer.mill.queries.orders import one_order

THIN = "\u202f"


def words(answer) -> str:
    return answer.content.decode().replace(THIN, " ")


class Form(HTMLParser):
    """What a browser would send of the form of the counter."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.inside, self.select, self.sent = False, "", {}
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        at = dict(attrs)
        self.inside = at.get("id") == "order-form" if tag == "form" else self.inside
        if not self.inside:
            return
        if tag == "input" and (at.get("type") not in ("radio", "checkbox") or "checked" in at):
            self.sent[at["name"]] = at.get("value") or ""
        if tag == "select":
            self.select = at["name"]
            self.sent[self.select] = ""
        if tag == "option" and "selected" in at:
            self.sent[self.select] = at["value"]

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "form"


def filled(client, code, batch=1) -> dict[str, str]:
    """The form as the page shows it, to be sent back."""
    return Form(client.get(f"/orders/{code}/wish/?batch={batch}").content.decode()).sent


def keep(client, code, sent, **changed):
    return client.post(f"/orders/{code}/wish/", {**sent, "key": str(uuid.uuid4()), "act": "keep", **changed})


@pytest.mark.parametrize("number", range(201, 209))
def test_the_form_of_every_order_stands_filled_and_kept_as_it_is_changes_nothing(client, demo_mill, number):
    code = f"O{number}"
    before = one_order(code)
    page = client.get(f"/orders/{code}/wish/")
    assert page.status_code == 200
    assert "Safe to promise" in words(page)
    answer = keep(client, code, filled(client, code))
    assert answer.status_code == 302, words(answer)
    after = one_order(code)
    assert (after.spec, after.plans, after.row) == (before.spec, before.plans, before.row)


def test_another_yarn_is_kept_as_a_new_plan_with_what_changed(client, demo_mill):
    client.post("/orders/O202/plan/", {"key": str(uuid.uuid4())})
    answer = keep(
        client, "O202", filled(client, "O202"), plies="3", thick="180 m/100 g", piece="50 g",
        wanted="2026-03-20", date_kind="hard",
    )  # fmt: skip
    assert answer.status_code == 302, words(answer)
    order = one_order("O202")
    assert [plan.version for plan in order.plans] == [2, 1]
    assert order.plans[0].note.replace(THIN, " ") == (
        "2-ply → 3-ply, 250 m/100 g → 180 m/100 g, pieces of 100 g → 50 g, "
        "day 2026-03-06 → 2026-03-20 and the day is fixed"
    )
    assert (order.row.product, order.row.date_is_hard) == ("3-ply yarn", True)
    assert "3-ply yarn, 180 m/100 g" in words(client.get("/orders/O202/"))
    assert "2-ply yarn, 250 m/100 g" in words(client.get("/orders/O202/?plan=1"))


def test_one_batch_of_three_is_changed_and_the_others_stay(client, demo_mill):
    answer = keep(client, "O201", filled(client, "O201", 2), plies="4")
    assert answer.status_code == 302, words(answer)
    order = one_order("O201")
    assert [batch["wish"]["plies"] for batch in order.spec["batches"]] == [2, 4, 2]
    assert order.spec["ways"] == {"skirts": False}
    assert order.plans[0].note == "white: 2-ply → 4-ply"


def test_a_lot_goes_out_and_mill_wool_of_the_same_kind_comes_in(client, demo_mill):
    sent = filled(client, "O205")
    del sent["lot_L019"]
    answer = keep(client, "O205", sent, stock_L036="25")
    assert answer.status_code == 302, words(answer)
    order = one_order("O205")
    assert order.spec["batches"][0]["lots"] == ["L018", "L036"]
    assert {row.lot.code: row.role for row in order.lots} == {"L018": "own fibre", "L036": "mill fibre"}
    assert "with L036 and without L019" in order.plans[0].note
    assert "needs the owner’s recorded yes" in words(client.get("/orders/O205/"))


def test_a_smaller_finished_weight_is_planned(client, demo_mill):
    answer = keep(client, "O202", filled(client, "O202"), finished="1 kg")
    assert answer.status_code == 302, words(answer)
    plan = one_order("O202").plans[0]
    assert plan.result["batches"][0]["finished"]["mean"] == pytest.approx(1000, rel=0.01)
    assert plan.note.replace(THIN, " ") == "finished not said → 1.00 kg"


def test_the_same_form_sent_twice_keeps_one_plan(client, demo_mill):
    sent = filled(client, "O202")
    key = str(uuid.uuid4())
    for _ in range(2):
        assert keep(client, "O202", sent, plies="3", key=key).status_code == 302
    assert len(one_order("O202").plans) == 1


def test_a_wrong_value_stays_with_its_sentence_and_nothing_is_kept(client, demo_mill):
    answer = keep(client, "O202", filled(client, "O202"), piece="a handful")
    assert answer.status_code == 422
    assert 'value="a handful"' in words(answer)
    assert 'id="piece-error"' in words(answer)
    assert one_order("O202").plans == ()


def test_no_lot_at_all_is_asked_about(client, demo_mill):
    sent = {name: value for name, value in filled(client, "O202").items() if not name.startswith("lot_")}
    answer = keep(client, "O202", sent)
    assert answer.status_code == 422
    assert "Tick a lot above" in words(answer)


def test_the_answer_comes_while_typing(client, demo_mill):
    text = words(client.post("/orders/O202/wish/answer/", {**filled(client, "O202"), "plies": "3"}))
    assert "3-ply yarn, 250 m/100 g" in text
    assert 'id="answer"' in text


def test_a_sent_order_keeps_its_wish(client, demo_mill):
    sent = filled(client, "O203")
    move_order(demo_mill.owner, "O203", "cancelled")
    answer = keep(client, "O203", sent, plies="4")
    assert answer.status_code == 422
    assert "Take a new order" in words(answer)


def test_who_may_only_look_changes_no_wish(client, demo_mill):
    from doffer.mill.commands.settings import add_person
    from doffer.people.models import Person

    sent = filled(client, "O202")
    add_person(demo_mill.owner, name="Vic", role="viewer")
    session = client.session
    session["person"] = Person.objects.get(name="Vic").code
    session.save()
    assert client.get("/orders/O202/wish/").status_code == 422
    assert keep(client, "O202", sent, plies="3").status_code == 422
    assert one_order("O202").plans == ()


def test_the_page_asks_the_database_a_fixed_number_of_times(client, demo_mill, django_assert_max_num_queries):
    with django_assert_max_num_queries(60):
        assert client.get("/orders/O203/wish/").status_code == 200


def test_mill_fibre_of_another_kind_needs_no_word_of_the_owner(client, demo_mill):
    assert "recorded yes" not in words(client.get("/orders/O203/"))


def test_a_lot_in_no_batch_says_what_it_waits_for(client, demo_mill):
    assert "The yellow waits for the shade recipe" in words(client.get("/orders/O207/"))


def test_yarn_that_is_made_stands_beside_what_is_still_to_make(client, demo_mill):
    text = words(client.get("/orders/O202/"))
    assert "Moorit alone, still to make" in text
    made = text[text.index('id="made-title"') : text.index('id="happened"')]
    assert [code for code in ("Y201", "Y202", "Y203", "Y204", "Y205") if f"/lots/{code}/" in made] == [
        "Y201", "Y202", "Y203", "Y204",
    ]  # fmt: skip
    assert made.count("on hold") == 4
    assert 'still to make: <span class="nowrap">L006</span>.' in made


def test_yarn_that_is_made_is_not_offered_as_fibre(client, demo_mill):
    text = words(client.get("/orders/O202/wish/"))
    assert 'name="lot_L006"' in text
    assert 'name="lot_Y201"' not in text
