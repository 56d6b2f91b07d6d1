"""At the door with a thumb: owner, bag, tag, what was seen, skirting; dry weight while typing."""

import re

import pytest
from playwright.sync_api import Page, expect

SCHEMES = ("light", "dark")


def settled(page: Page) -> None:
    """Figures that follow typing have arrived."""
    page.wait_for_function("!document.querySelector('[aria-busy=true]')")


def assert_fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_a_bag_comes_in_from_its_owner_to_its_grade(fresh_live, page, axe, shot):
    page.goto(f"{fresh_live}/weigh-in/")
    page.get_by_label("Farm, name or number").fill("saltwh")
    page.get_by_role("link", name=re.compile("Saltwhistle Croft")).first.click()
    page.get_by_label("Fibre or breed").fill("Shetland")
    page.get_by_label("Full, as the scale shows it").fill("4,65")
    page.get_by_label("Empty bag or bin").fill("0.25")
    page.get_by_role("textbox", name="Humidity of the room").fill("61")
    says = page.locator("#says")
    expect(says).to_contain_text("4.400")
    expect(says).to_contain_text("Washed, to be expected")
    page.locator(".palette .choice", has_text="fawn").click()
    settled(page)
    assert axe(page) == []
    assert_fits(page)
    shot(page, "weigh-in-bag")
    page.get_by_role("button", name="Write it down and make the tag").click()
    expect(page.get_by_role("heading", name=re.compile("is weighed"))).to_be_visible()
    tag = page.get_by_role("link", name="Print the tag")
    assert tag.bounding_box()["y"] < page.get_by_text("Now open it").bounding_box()["y"]
    assert axe(page) == []
    assert_fits(page)
    shot(page, "weigh-in-tag")
    page.get_by_label("The tag is tied on").check()
    page.get_by_label("Nothing seen").check()
    page.get_by_role("button", name="Write it down").click()
    page.get_by_role("link", name="Skirt and grade").click()
    page.get_by_label("Kept, with its bag or bin").fill("4.1")
    page.get_by_label("Empty bag or bin").fill("0.25")
    page.get_by_label("Thrown out").fill("480")
    page.get_by_label("Tender").check()
    assert axe(page) == []
    assert_fits(page)
    shot(page, "grade")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("3.85")).to_be_visible()
    assert axe(page) == []


def test_larvae_send_the_bag_to_the_quarantine_shelf(fresh_live, page, axe):
    page.goto(f"{fresh_live}/weigh-in/C03/")
    page.get_by_label("Fibre or breed").fill("Shetland")
    page.get_by_label("Full, as the scale shows it").fill("2.1")
    page.get_by_role("button", name="Write it down and make the tag").click()
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("Tie the tag on before the bag is opened").first).to_be_visible()
    page.expected("422")
    page.get_by_label("The tag is tied on").check()
    page.get_by_label("Larvae or cases").check()
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("quarantine shelf").first).to_be_visible()
    assert axe(page) == []


@pytest.mark.parametrize("scheme", SCHEMES)
def test_scenario_1_is_seen_while_typing(live, page_at, axe, shot, scheme):
    page = page_at(1440, 900, color_scheme=scheme)
    page.goto(f"{live}/weigh/dry/")
    page.get_by_label("Fibre or breed").fill("wool")
    page.get_by_label("Full").fill("6.20")
    page.get_by_label("Empty bag or bin").fill("0.35")
    page.get_by_label("Humidity of the room").fill("75")
    says = page.locator("#says")
    expect(says).to_contain_text("4.893\u202fkg")
    page.get_by_label("Stored dry, then dampened").check()
    for figure in ("5.850", "4.975", "5.821", "5.652"):
        expect(says).to_contain_text(figure)
    settled(page)
    assert axe(page) == []
    shot(page, f"weigh-dry-{scheme}")


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("address", ["/weigh-in/", "/weigh-in/C03/", "/lots/L012/door/", "/lots/L012/grade/"])
def test_the_door_can_be_read_by_everybody(live, page_at, axe, address, scheme):
    page = page_at(360, 740, color_scheme=scheme)
    page.goto(f"{live}{address}")
    assert axe(page) == []
    assert_fits(page)


def test_a_known_empty_bag_is_typed_by_a_press(live, page):
    page.goto(f"{live}/weigh-in/C03/")
    button = page.locator(".tares button").first
    button.click()
    assert page.get_by_label("Empty bag or bin").input_value() == button.get_attribute("data-fill")
    box = button.bounding_box()
    assert box["height"] >= 48


def test_the_form_works_without_scripts(live, page_at):
    page = page_at(360, 740, java_script_enabled=False)
    page.goto(f"{live}/weigh-in/C03/")
    page.get_by_label("Fibre or breed").fill("Shetland")
    page.get_by_label("Full, as the scale shows it").fill("4.65")
    page.get_by_role("button", name="Work it out without writing it down").click()
    expect(page.locator("#says")).to_contain_text("4.650\u202fkg")
