"""Square codes are printed in capitals; whatever case is typed leads to the same page."""

from urllib.parse import quote

import pytest

from doffer.mill.commands.settings import change_settings
from doffer.paper import fill

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


SEARCHES = ("/lots/?search=", "/orders/?search=", "/records/owners/?search=", "/weigh-in/?q=", "/scan/?code=")


@pytest.mark.parametrize("address", SEARCHES)
@pytest.mark.parametrize("start", ["DOFFER:", "HTTP://127.0.0.1:8765/", "https://mill.local/"])
def test_a_scanner_in_any_search_field_opens_what_the_code_is_stuck_to(client, small_mill, address, start):
    tag = small_mill.bags[0].tag
    answer = client.get(f"{address}{quote(f'{start}T/{tag}')}", follow=True)
    assert answer.redirect_chain[-1] == ("/lots/L001/", 302)
    assert (
        client.get(f"{address}{quote(f'{start}L/L002')}", follow=True).redirect_chain[-1][0] == "/lots/L002/"
    )


def test_words_in_a_search_field_are_searched_for(client, small_mill):
    assert client.get("/lots/?search=shetland").status_code == 200


@pytest.mark.parametrize("typed", ["L001", "l001", "TAG"])
def test_the_scan_page_takes_what_stands_in_letters_below_the_code(client, small_mill, typed):
    code = small_mill.bags[0].tag.lower() if typed == "TAG" else typed
    assert client.get("/scan/", {"code": code}).url == "/lots/L001/"


def test_the_scan_page_says_what_it_did_not_find(client, small_mill):
    for typed, said in (
        ("L999", "L999"),
        ("O999", "O999"),
        ("nonsense", "7Q4K2Y"),
        ("DOFFER:L/L999", "L999"),
    ):
        answer = client.get("/scan/", {"code": typed})
        assert answer.status_code == 422
        assert said in answer.content.decode().split('id="code-error"')[1]


@pytest.fixture
def printed(monkeypatch) -> list[str]:
    """What the square codes of printed papers hold."""
    held: list[str] = []
    draw = fill.scan_picture
    monkeypatch.setattr(fill, "scan_picture", lambda payload: held.append(payload) or draw(payload))
    return held


@pytest.mark.parametrize("paper", ["/lots/L001/tag.pdf", "/lots/L001/work-order.pdf"])
def test_what_is_printed_holds_no_address_of_this_computer(client, small_mill, printed, paper):
    assert client.get(paper, headers={"host": "127.0.0.1:8765"}).status_code == 200
    assert printed
    assert all(text.startswith("DOFFER:") for text in printed)
    assert client.get("/lots/", {"search": printed[0]}, follow=True).redirect_chain[-1][0] == "/lots/L001/"


def test_with_an_address_for_other_screens_a_phone_opens_what_is_printed(client, small_mill, printed):
    change_settings(small_mill.owner, {"address": "http://192.168.1.20:8766/"})
    assert client.get("/lots/L001/tag.pdf").status_code == 200
    assert printed == [f"HTTP://192.168.1.20:8766/T/{small_mill.bags[0].tag}"]
    path = printed[0].removeprefix("HTTP://192.168.1.20:8766")
    assert client.get(path)["Location"] == "/lots/L001/"


@pytest.mark.parametrize(
    "typed", ["http://127.0.0.1:8766", "localhost:8766", "mill", "http://mill/lots/", "http://[::1]/"]
)
def test_an_address_that_no_other_screen_could_open_is_refused(client, small_mill, typed):
    answer = client.post("/records/settings/", {"address": typed})
    assert answer.status_code == 422
    assert "how a phone opens this mill" in answer.content.decode()


def test_the_address_for_other_screens_can_be_taken_out_again(client, small_mill, printed):
    change_settings(small_mill.owner, {"address": "http://192.168.1.20:8766"})
    change_settings(small_mill.owner, {"address": ""})
    client.get("/lots/L001/tag.pdf")
    assert printed[0].startswith("DOFFER:T/")
