"""A lot's main button: the counter begins with the lot, its owner by number, and the owner's units."""

import pytest

from doffer.mill.commands.customers import add_customer

pytestmark = pytest.mark.django_db


def test_the_owner_is_meant_by_number_though_another_has_nearly_the_same_name(client, small_mill):
    other = add_customer(small_mill.office, name="Moss Edge Farm, Fellside")
    page = client.get("/orders/new/?lot=L001").content.decode()
    assert f'value="{small_mill.moss}" checked' in page
    assert f'value="{other}" checked' not in page
    assert 'name="lot_L001" value="yes" checked' in page
    assert 'name="lot_L002" value="yes" checked' not in page


def test_the_owner_s_units_come_along(client, small_mill):
    page = client.get("/orders/new/?lot=L003").content.decode()
    assert 'name="speak" value="us" checked' in page


def test_the_mill_s_own_fibre_brings_no_owner_along(client, small_mill):
    page = client.get("/orders/new/?lot=L005").content.decode()
    assert 'name="lot_L005"' not in page
    assert 'value="Thimble End Mill (fictional)"' not in page


def test_the_button_on_the_lot_leads_there(client, small_mill):
    assert 'href="/orders/new/?lot=L001"' in client.get("/lots/L001/").content.decode()
