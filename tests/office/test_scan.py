"""Square codes are printed in capitals; whatever case is typed leads to the same page."""

import pytest

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("letter", ["T", "t"])
def test_a_tag_leads_to_the_lot_in_it(client, small_mill, letter):
    tag = small_mill.bags[0].tag
    answer = client.get(f"/{letter}/{tag.lower() if letter == 't' else tag}")
    assert (answer.status_code, answer["Location"]) == (302, "/lots/L001/")


@pytest.mark.parametrize(("path", "page"), [("/L/L001", "/lots/L001/"), ("/l/l001/", "/lots/L001/")])
def test_a_lot_code_leads_to_the_lot(client, small_mill, path, page):
    assert client.get(path)["Location"] == page


def test_an_order_code_leads_to_the_order(client, small_mill):
    assert client.get("/O/o203")["Location"] == "/orders/O203/"


def test_an_unknown_tag_is_said_in_a_sentence(client, small_mill):
    answer = client.get("/T/ZZZZZZ")
    assert answer.status_code in (400, 404, 422)
    assert "tag" in answer.content.decode().lower()
