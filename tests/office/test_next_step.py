"""What an order's page and Today say comes next is one thing, and the plan's first stage."""

import re

import pytest

from doffer.mill.queries.today import today

pytestmark = pytest.mark.django_db(transaction=True)


def said_next(client, code: str) -> str:
    found = re.search(
        r"Next for your hands</span> <strong>([^<]*)<.*?\?stage=(\w+)",
        client.get(f"/orders/{code}/").content.decode(),
        re.DOTALL,
    )
    return found[2] if found else ""


def test_fibre_that_is_to_be_blended_is_picked_together_before_it_is_carded(client, demo_mill):
    assert said_next(client, "O203") == "pick"


def test_todays_next_step_is_that_of_the_orders_page(client, demo_mill):
    startable = [order for order in today().orders if order.next_stage and not order.is_held]
    pages = {order.code: said_next(client, order.code) for order in startable}
    told = {order.code: order.next_stage for order in startable if pages[order.code]}
    assert {code: pages[code] for code in told} == told
    assert len(told) >= 3


def test_to_begin_takes_the_order_and_the_lots_that_go_in_together_along(client, demo_mill):
    page = client.get("/orders/O203/").content.decode()
    address = re.search(r'href="(/runs/new/\?stage=pick[^"]*)">Begin', page)[1].replace("&amp;", "&")
    form = client.get(address).content.decode()
    for code in ("L009", "L010", "L036", "L034"):  # they already stand in the form
        assert re.search(rf'name="lot" value="{code}"', form)
    assert re.search(r'name="order"[^>]*value="O203"', form)
