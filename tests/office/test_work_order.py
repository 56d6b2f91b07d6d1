"""The paper that owner and mill sign says what the order says."""

import io

import pytest
from pypdf import PdfReader

from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, take_order
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.orders import one_order
from doffer.office.door_papers import WISH_LEFT_OPEN, work_order_of
from doffer.pictures.calendar_words import say_day

pytestmark = pytest.mark.django_db


def paper_words(answer) -> str:
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    return " ".join(text.replace("\u202f", " ").split())


@pytest.mark.parametrize(("lot", "code"), [("L014", "O204"), ("L024", "O206"), ("L009", "O203")])
def test_every_field_is_that_of_the_order(demo_mill, lot, code):
    paper, order = work_order_of(one_lot(lot)), one_order(code)
    assert (paper.order, paper.owner) == (code, order.row.owner_name)
    assert (paper.promised_on, paper.is_hard_date) == (order.row.promised_on, order.row.date_is_hard)
    assert paper.wish.startswith(f"{order.label_wanted}: {order.row.product}, {order.row.target}")
    assert paper.price_words[0] == f"Counted by {order.price_basis}."
    assert paper.price_words[1] == f"Deposit: {order.deposit_cents / 100:.2f} XMC."
    mine = {row.lot.code for row in order.lots if row.lot.owner == order.row.owner}
    assert {bag.lot for bag in paper.bags} <= mine
    for row in order.lots:
        assert (row.lot.code in paper.wish) == (row.lot.owner != order.row.owner)


def test_the_printed_sheet_says_the_promised_day(client, demo_mill):
    words = paper_words(client.get("/lots/L014/work-order.pdf"))
    assert "to be agreed" not in words.lower()
    assert f"Date: {say_day(one_order('O204').row.promised_on)}" in words.replace("\u00a0", " ")


def test_a_day_that_is_a_must_is_ticked(client, demo_mill):
    assert work_order_of(one_lot("L024")).is_hard_date is True
    hard = paper_words(client.get("/lots/L024/work-order.pdf"))
    assert hard.count("×") == 1
    assert work_order_of(one_lot("L014")).is_hard_date is False


def test_without_an_order_the_sheet_is_left_to_the_pen(client, small_mill):
    paper = work_order_of(one_lot("L001"))
    assert (paper.order, paper.wish, paper.promised_on, paper.is_hard_date) == (
        "L001",
        WISH_LEFT_OPEN,
        None,
        None,
    )
    assert "Date: to be agreed" in paper_words(client.get("/lots/L001/work-order.pdf"))


def test_fibre_of_the_mill_does_not_sign_for_the_owner_whose_order_it_goes_into(demo_mill):
    assert work_order_of(one_lot("L015")).order != "O204"


def test_a_bag_for_another_order_stands_on_another_sheet(small_mill):
    for lot in ("L001", "L002"):
        facts = OrderFacts(
            customer=small_mill.moss, product="roving", lots=(OrderLotFacts(lot=lot, role="own fibre"),)
        )
        take_order(small_mill.office, facts)
    assert [bag.lot for bag in work_order_of(one_lot("L001")).bags] == ["L001"]
