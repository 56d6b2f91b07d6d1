"""Runs on the plain forms: a lot through the card, now or later; everybody can read them."""

import re

import pytest
from playwright.sync_api import expect


def assert_fits(page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_a_lot_goes_through_the_card(fresh_live, page, axe, shot):
    page.goto(f"{fresh_live}/runs/new/?stage=card&lot=L010")
    expect(page.get_by_text("This screen does not stop the machine.")).to_be_visible()
    expected = page.locator("#expected")
    before = expected.inner_text()
    page.get_by_label("Full (if known)").fill("2")
    expect(expected).not_to_have_text(before)
    page.get_by_label("Full (if known)").fill("")
    page.get_by_label("Full, as the scale shows it").fill("3.6")
    assert axe(page) == []
    assert_fits(page)
    shot(page, "run-new")
    page.get_by_role("button", name="Write down the whole run").click()
    expect(
        page.get_by_text(re.compile("inside of what is usual|more than usual|less than usual"))
    ).to_be_visible()
    assert axe(page) == []
    assert_fits(page)
    shot(page, "run-done")


def test_fibre_goes_in_now_and_is_weighed_out_later(fresh_live, page, axe):
    page.goto(f"{fresh_live}/runs/new/?stage=pick&lot=L009")
    page.get_by_role("button", name="It goes in now, weigh out later").click()
    page.goto(f"{fresh_live}/runs/")
    page.get_by_role("link", name="Weigh out").first.click()
    page.get_by_label("Full, as the scale shows it").fill("99")
    page.get_by_role("button", name="Weigh out and end the run").click()
    expect(page.get_by_text("Pick cannot make fibre")).to_be_visible()
    page.expected("422")
    assert axe(page) == []
    page.get_by_label("Full, as the scale shows it").fill("5.2")
    page.get_by_role("button", name="Weigh out and end the run").click()
    expect(page.get_by_text("came out", exact=True)).to_be_visible()


def test_another_stage_brings_its_own_form(live, page):
    page.goto(f"{live}/runs/new/?stage=card&lot=L010")
    page.get_by_label("Stage").select_option("pick")
    expect(page.get_by_text("Metal in the fibre makes sparks")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "address",
    [
        "/runs/",
        "/runs/new/?stage=card",
        "/runs/new/?stage=pick&lot=L010&lot=L012",
        "/lots/L010/weigh/",
        "/lots/L010/photos/",
    ],
)
def test_runs_can_be_read_by_everybody(live, page_at, axe, address, scheme):
    page = page_at(360, 740, color_scheme=scheme)
    page.goto(f"{live}{address}")
    assert axe(page) == []
    assert_fits(page)
