"""What a lot or a blend can become, and what comes nearest to a wish that cannot be spun."""

import html
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.office.page_words import words

from doffer.mill.models import Lot

pytestmark = pytest.mark.django_db
FINE = "/lots/L009/yarns/"
COUNTER = "/orders/new/"


def plain(answer):
    return words(answer).replace("\u202f", " ")


def names(answer):
    return re.findall(r'<div class="becoming-name"><p><strong>([^<]+)</strong>', answer.content.decode())


def test_a_lot_says_what_it_can_become_finest_first(client, demo_mill):
    answer = client.get(FINE)
    assert names(answer)[0] == "Lace"
    assert names(answer).index("Fingering") < names(answer).index("DK") < names(answer).index("Bulky")
    lengths = [int(m) for m in re.findall(r"<dd>(\d+)\u202fm/100 g</dd>", answer.content.decode())]
    assert lengths == sorted(lengths, reverse=True)
    assert "What it can become, drawn" in answer.content.decode()


def test_the_list_can_be_ranked_by_what_matters(client, demo_mill):
    quick = client.get(f"{FINE}?by=quickest")
    assert names(quick)[0] == "Jumbo"
    assert 'aria-current="page">Quickest first' in quick.content.decode()
    assert names(client.get(f"{FINE}?by=nonsense")) == names(client.get(FINE))


def test_every_yarn_leads_to_an_order_with_its_wish_filled_in(client, demo_mill):
    page = client.get("/lots/L012/yarns/").content.decode()
    href = html.unescape(re.search(r'href="(/orders/new/\?[^"]*)"', page)[1])
    form = client.get(href).content.decode()
    assert re.search(r'name="lot_L012"[^>]*checked', form)
    assert 'value="800 m/100 g"' in form


def test_the_bench_asks_the_same_of_its_blend(client, demo_mill):
    bench = client.get("/bench/?lot=L027&lot=L028").content.decode()
    href = html.unescape(re.search(r'href="(/bench/yarn/\?[^"]*)"', bench)[1])
    answer = client.get(href)
    assert answer.status_code == 200
    assert "L027, L028" in plain(answer)
    assert names(answer)
    assert "Put two lots or more on the bench" in plain(client.get("/bench/yarn/"))


def test_a_lot_that_is_yarn_already_says_so(client, demo_mill):
    assert client.get("/lots/Y203/yarns/").status_code == 200
    assert "/lots/Y203/yarns/" not in client.get("/lots/Y203/").content.decode()
    assert 'href="/lots/L009/yarns/"' in client.get("/lots/L009/").content.decode()


def typed(**changed):
    form = {
        "owner": "Somebody New", "owner_code": "new", "fibre": "romney", "mass": "4", "micron": "34",
        "staple": "40", "form": "skirted", "product": "yarn", "plies": "2", "thick": "800 m/100 g",
        "piece": "100 g", "speak": "metric",
    }  # fmt: skip
    return {**form, **changed}


def choices(answer):
    page = answer.content.decode()
    return [html.unescape(v) for v in re.findall(r'name="instead" value="([^"]*)"', page)]


def test_lace_from_coarse_short_fibre_gets_the_reason_and_the_nearest_yarns(client, demo_mill):
    answer = client.post("/orders/new/answer/", typed())
    said = plain(answer)
    assert "This cannot be spun" in said
    assert "34 µm, 40 mm staple" in said
    assert "fibres across where 60 hold together" in said
    assert "What comes nearest" in said
    assert "safe to promise" not in said
    assert "A batt, a roving for hand-spinning or felting" in said
    assert choices(answer)


def test_a_choice_fills_the_form_at_one_tap(client, demo_mill):
    first = choices(client.post("/orders/new/answer/", typed(staple="90")))
    thicker = next(value for value in first if "thick=" in value and "batt" not in value)
    answer = client.post(COUNTER, {**typed(staple="90"), "instead": thicker, "act": "take"})
    page = answer.content.decode()
    assert answer.status_code == 200, "the choice fills the form and takes no order"
    assert "This cannot be spun" not in plain(answer)
    length = re.search(r"thick=(\d+)", thicker)[1]
    assert f'value="{length} m/100 g"' in page
    assert 'value="Somebody New"' in page


def test_a_finer_lot_of_the_mill_is_offered_to_blend_with(client, demo_mill):
    answer = client.post("/orders/new/answer/", typed(micron="27", staple="90", thick="1000 m/100 g"))
    blends = [value for value in choices(answer) if value.startswith("stock_")]
    assert blends
    lot = blends[0].partition("=")[0].removeprefix("stock_")
    assert f"Blended with {lot}." in plain(answer)


def test_a_yarn_that_can_be_spun_shows_no_choices(client, demo_mill):
    answer = client.post("/orders/new/answer/", typed(micron="22", staple="90", thick="230 m/100 g"))
    assert "This cannot be spun" not in plain(answer)
    assert choices(answer) == []


def test_pages_ask_the_books_only_so_often(client, demo_mill):
    for address, most in ((FINE, 40), ("/bench/yarn/?lot=L027&lot=L028", 36)):
        client.get(address)
        with CaptureQueriesContext(connection) as asked:
            client.get(address)
        assert len(asked) <= most, (address, len(asked))


def plan_links(client, lot):
    page = client.get(f"/lots/{lot}/yarns/").content.decode()
    return page, [html.unescape(href) for href in re.findall(r'href="(/orders/[^"]*thick=[^"]*)"', page)]


def test_a_lot_of_an_order_is_planned_in_that_orders_wish_filled_in(client, demo_mill):
    page, links = plan_links(client, "L001")
    assert "Plan it in O201" in page
    assert links
    assert all(href.startswith("/orders/O201/wish/?batch=1&") for href in links)
    thick = re.search(r"thick=(\d+)", links[0])[1]
    form = client.get(links[0]).content.decode()
    assert f'value="{thick} m/100 g"' in form
    assert re.search(r'name="lot_L001"[^>]*checked', form)
    assert f'value="{thick} m/100 g"' not in client.get("/orders/O201/wish/?batch=1").content.decode()


def test_the_mills_own_lot_says_what_to_do_instead_of_an_empty_form(client, demo_mill):
    page, links = plan_links(client, "L036")
    assert links == []
    assert "L036 is the mill’s own" in page
    assert "type the share of L036" in page


def test_yarn_that_is_made_is_not_spun_again(client, demo_mill):
    said = plain(client.get("/lots/Y201/yarns/"))
    assert "Y201 is yarn already" in said
    assert "Plan it" not in said


def test_a_lot_says_what_it_cannot_become_and_which_lot_to_add(client, demo_mill):
    Lot.objects.filter(code="L013").update(diameter_nm=34_000)
    part = client.get("/lots/L013/yarns/").content.decode().partition('id="finer"')[2]
    said = plain_text(part)
    assert "Lace as a 2-ply cannot be spun from it alone" in said
    assert "fibres across a single where" in said
    found = re.search(
        r"Add ([\d.]+) % of (L\d+) \(([\d.]+) kg oven-dry\): (it runs well|it can be spun)", said
    )
    assert found
    assert float(found[1]) > 0
    assert Lot.objects.get(code=found[2]).customer.is_own or found[2] == "L015"


def test_where_no_lot_helps_that_is_said(client, demo_mill):
    Lot.objects.filter(code="L013").update(diameter_nm=34_000, staple_mm=20)
    said = plain_text(client.get("/lots/L013/yarns/").content.decode().partition('id="finer"')[2])
    assert "No lot that may be added makes it possible" in said
    assert "Add " not in said


def plain_text(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]*>", " ", page))).replace("\u202f", " ")
