"""Pages ask a number of questions that does not grow with the records."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from doffer.mill.booking import Reading
from doffer.mill.commands.intake import Bag, FibreFacts, weigh_in_bag
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.queries.ancestry import ancestry
from doffer.mill.queries.customers import find_customers, one_customer
from doffer.mill.queries.house import changes_after, latest_change, machines, people, scales, settings
from doffer.mill.queries.lots import list_lots, list_weighings, one_lot
from doffer.mill.queries.orders import list_orders, one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.mill.queries.today import today

pytestmark = pytest.mark.django_db


def questions(ask) -> int:
    """How many queries a reading takes."""
    with CaptureQueriesContext(
        connection,
    ) as asked:
        ask()
    return len(asked)


READINGS = [
    (today, 20),  # one more since tubs and kettles say what is due at them
    (list_lots, 3),
    (lambda: list_lots(search="wool white"), 3),
    (lambda: one_lot("L001"), 11),
    (lambda: one_order("O203"), 11),
    (lambda: one_order("O202"), 12),  # it has yarn: one more for the parts of it
    (list_orders, 1),
    (find_customers, 1),
    (lambda: one_customer("C03"), 5),
    (lambda: plan_inputs(order="O203"), 9),
    (machines, 1),
    (scales, 1),
    (people, 1),
    (settings, 1),
    (lambda: ancestry("Y201"), 20),
]


@pytest.mark.parametrize(("ask", "most"), READINGS)
def test_a_reading_asks_few_questions(demo_mill, ask, most):
    assert 0 < questions(ask) <= most


@pytest.mark.parametrize(
    "ask", [today, list_lots, lambda: one_lot("L001"), lambda: one_order("O203"), lambda: one_customer("C03")]
)
def test_twice_the_records_ask_no_more_questions(demo_mill, ask):
    before = questions(ask)
    bag = Bag(customer="C03", facts=FibreFacts(fibre="wool"), reading=Reading(gross_g=3000))
    for _ in range(20):
        weigh_in_bag(demo_mill.floor, bag)
        record_weighing(
            demo_mill.floor, lot="L001", reading=Reading(gross_g=2000), confirmation="weighed again"
        )
    assert questions(ask) == before


def test_today_is_the_morning_board_of_the_invented_mill(demo_mill):
    board = today()
    assert board.day == date(2026, 3, 2)
    assert [order.code for order in board.late] == ["O205"]
    assert board.late[0].days_left == -3
    assert [order.code for order in board.held_orders] == ["O202"]
    assert [order.code for order in board.waiting] == ["O204"]
    assert "O206" not in {order.code for order in board.near}
    assert "L022" in {lot.code for lot in board.below_minimum}
    assert {hold.kind for hold in board.holds} == {"moth", "unpaid"}
    places = {place.place: place for place in board.places}
    assert [place.place for place in board.places][:3] == ["door", "wash", "dry"]
    assert {lot.code for lot in places["skein"].lots} == {"Y201", "Y202", "Y203", "Y204", "Y205"}
    assert places["box"].mass_g == 4_100
    assert places["dye"].n_lots == 7
    assert [lot.code for lot in places["card"].lots] == ["L018", "L037", "L001", "L019"]


def test_pages_follow_one_another_without_gap_or_repeat(small_mill):
    bag = Bag(customer=small_mill.moss, facts=FibreFacts(fibre="wool"), reading=Reading(gross_g=3000))
    for _ in range(60):
        weigh_in_bag(small_mill.floor, bag)
    first = list_lots()
    assert len(first.rows) == 50
    second = list_lots(after=first.next_after)
    codes = [row.code for row in first.rows + second.rows]
    assert codes == [f"L{n:03d}" for n in range(65, 0, -1)]
    assert second.next_after is None


def test_weighings_of_a_lot_come_fifty_at_a_time(small_mill):
    for gross_g in range(1000, 1060):
        record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=gross_g), confirmation="sold")
    page = list_weighings("L005")
    assert [row.gross_g for row in page.rows] == list(range(1059, 1009, -1))
    assert len(list_weighings("L005", before=page.next_after).rows) == 11


def test_the_feed_says_what_changed_since(small_mill):
    before = latest_change()
    record_weighing(small_mill.floor, lot="L001", reading=Reading(gross_g=4000))
    (line,) = changes_after(before)
    assert (line.topic, line.subject, line.what, line.person) == ("lot", "L001", "weighed 4000 g", "Flo")
    assert changes_after(line.id) == ()


def test_customers_are_found_by_what_is_typed(demo_mill):
    assert [row.code for row in find_customers("saltwhistle").rows] == ["C03"]
    assert [row.code for row in find_customers("alpaca 30").rows] == ["C04"]
    assert find_customers("merrily").rows[0].n_lots > 0
    assert one_customer("C10").holds[0].kind == "unpaid"
