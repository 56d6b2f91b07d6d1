"""Yarn in a browser: from an order to the settings of its machines, first metres kept, a wish too fine."""

import re

import pytest
from playwright.sync_api import expect
from tests.browser.conftest import DESK, PHONE

ORDER = "/orders/O201/yarn/?batch=2"
TOUCHED = "main button, main .button, main select, main .choice, main input.input, main .working summary"


def test_an_order_shows_its_yarn_and_leads_to_the_card_of_a_machine(page, live, shot):
    page.goto(f"{live}/orders/O203/")
    part = page.locator(".yarn-part").first
    part.wait_for(state="attached")
    page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    expect(part).to_contain_text("It can be spun")
    expect(part.locator("svg").first).to_be_visible()
    page.get_by_role("link", name="Settings, counts and first metres").first.click()
    expect(page.get_by_role("heading", name="The yarn of O203")).to_be_visible()
    shot(page, "yarn")
    page.locator(".settings-card", has_text="spinning frame").get_by_role(
        "link", name="Card for the machine"
    ).click()
    expect(page.locator(".giant .setting-value").first).to_be_visible()
    tall = page.locator(".giant .setting-value").first.evaluate(
        "e => parseFloat(getComputedStyle(e).fontSize)"
    )
    assert tall >= 40, "read from the machine, at arm's length"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_first_metres_are_kept_and_say_what_to_change(fresh_live, page_at):
    page = page_at(*DESK)
    page.goto(f"{fresh_live}{ORDER}")
    page.get_by_text("Write a test down").click()
    page.get_by_label("Weights in grams").fill("\n".join(["2.20", "2.24"] * 5))
    page.get_by_role("button", name="Keep the test").click()
    expect(page.locator("#tests")).to_contain_text("Before the rest is spun")
    expect(page.locator("#tests")).to_contain_text("changed")


def test_a_wish_too_fine_is_answered_by_what_comes_nearest_at_one_tap(live, page_at, axe):
    page = page_at(*DESK)
    page.goto(f"{live}/orders/new/")
    for name, text in (("fibre", "romney"), ("mass", "4"), ("micron", "34"), ("staple", "90")):
        page.fill(f"#{name}", text)
    page.fill("#thick", "800 m/100 g")
    expect(page.locator("#answer")).to_contain_text("This cannot be spun")
    assert axe(page) == []
    page.locator("#answer").get_by_role("button", name=re.compile("Take this.*Thicker")).first.click()
    expect(page.locator("#answer")).not_to_contain_text("This cannot be spun")
    expect(page.locator("#thick")).not_to_have_value("800 m/100 g")
    expect(page.locator("#fibre")).to_have_value("romney")


def test_a_machine_is_told_its_pinions(fresh_live, page_at):
    page = page_at(*PHONE)
    page.goto(f"{fresh_live}/records/machines/PLY/settings/?setting=twist_teeth")
    page.get_by_label("Twist pinions").fill("24-30")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("#settings")).to_contain_text("every one from 24 to 30 teeth")


@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "dark"), (DESK, "light")], ids=["phone", "desk"])
@pytest.mark.parametrize(
    "address",
    [ORDER, "/orders/O203/yarn/spin/", "/lots/L009/yarns/", "/records/machines/SPN/settings/"],
    ids=["yarn", "card", "lot", "machine"],
)
def test_the_pages_can_be_used_by_everybody(page_at, live, axe, shot, address, size, scheme):
    page = page_at(*size, color_scheme=scheme)
    page.goto(f"{live}{address}")
    shot(page, re.sub(r"\W+", "-", address).strip("-"))
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        f"""[...document.querySelectorAll("{TOUCHED}")]
        .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5)
        .map(e => e.outerHTML.slice(0, 90))"""
    )
    assert small == []


def test_the_card_of_a_machine_prints_without_bars(live, page_at):
    page = page_at(*DESK)
    page.goto(f"{live}/orders/O203/yarn/spin/")
    page.emulate_media(media="print")
    expect(page.locator(".places")).to_be_hidden()
    tall = page.locator(".giant .setting-value").first.evaluate(
        "e => parseFloat(getComputedStyle(e).fontSize)"
    )
    assert tall >= 46
