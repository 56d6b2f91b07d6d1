"""Evenness in a browser: an order's stripes fade while layers are moved, and a photo of a strip is kept."""

import re

import pytest
from playwright.sync_api import expect
from tests.browser.conftest import DESK, PHONE
from tests.process.strip_photo_maker import Scene, as_jpeg, photograph

ORDER = "/orders/O207/evenness/"
TOUCHED = (
    "main button, main .button, main select, main .choice, "
    "main input.input, main .slider, main .working summary"
)
FOUND = ".strip-row:nth-last-child(2) .tag"


def last_verdict(page):
    return page.locator(FOUND)


def test_from_an_order_to_a_verdict_that_changes_as_layers_are_moved(page, live):
    page.goto(f"{live}/orders/O207/")
    with page.expect_response(re.compile(r"strips\.png")) as drawn:
        page.get_by_role("link", name="How even it will be").first.click()
    assert drawn.value.ok
    assert drawn.value.headers["content-type"] == "image/png"
    expect(last_verdict(page)).to_have_text("seen")
    slider = page.locator('input[data-turns="layers"]')
    slider.focus()
    for _ in range(9):
        page.keyboard.press("ArrowRight")
    expect(page.locator("#layers")).to_have_value("15")
    page.locator("#passes").fill("3")
    page.locator("#drawn").select_option("6x6")
    page.get_by_text("In layers, lot on lot").first.click()
    page.get_by_label("Tossed in the bin after each pass").check(force=True)
    expect(last_verdict(page)).not_to_have_text("seen")
    expect(page).to_have_url(re.compile(r"layers=15.*passes=3"))
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_way_is_found_at_a_button_and_shown_by_its_link(page, live):
    page.goto(f"{live}{ORDER}")
    page.get_by_role("button", name="Find it for me").click()
    expect(page.get_by_role("heading", name="A way that will do")).to_be_visible()
    page.get_by_role("link", name="Use this").first.click()
    expect(last_verdict(page)).to_have_text(re.compile("not seen|may be seen"))


def test_the_bench_shows_the_stripes_of_the_blend_on_it(page, live):
    page.goto(f"{live}/bench/?lot=L027&lot=L031")
    expect(page.locator("#bench-even .strip").first).to_be_visible()
    expect(page.locator("#bench-even .tag").first).to_have_text("seen")
    page.locator("#bench-even").get_by_role("link", name="Layers, passes and drawing").click()
    expect(page.locator("#evenness-form")).to_be_visible()


def test_a_photo_of_a_strip_is_kept_with_its_lot(page, live):
    picture, paper, _ = photograph(Scene(sd=2.4, wave_mm=40.0, fall_off=0.0), 4)
    page.goto(f"{live}/lots/L006/strip/")
    for name, data in (("photo", picture), ("white", paper)):
        page.set_input_files(
            f"#{name}", {"name": f"{name}.jpg", "mimeType": "image/jpeg", "buffer": as_jpeg(data)}
        )
    page.locator("input[name=scale][value=scanner]").check(force=True)
    page.locator("#dots").fill("101.6")
    page.get_by_role("button", name="Look for stripes, and keep it").click()
    expect(page.locator("#trials .strip-trial").first).to_contain_text("Stripes of about 4")
    expect(page.locator("#trials .strip-trial").first).to_contain_text("plainly seen")


def test_a_clean_down_is_written_down_at_its_machine(page, live):
    page.goto(f"{live}/records/machines/CRD/mixing/")
    page.get_by_label("Weights in grams, one in a line").fill("66\n64.5")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("#figures")).to_contain_text("65.3")


@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "light"), (DESK, "dark")], ids=["phone", "desk"])
@pytest.mark.parametrize(
    "address",
    [f"{ORDER}?find=yes&layers=6&laying=handfuls", "/lots/L006/strip/", "/records/machines/PIC/mixing/"],
    ids=["order", "strip", "machine"],
)
def test_the_pages_can_be_used_by_everybody(page_at, live, axe, address, size, scheme):
    page = page_at(*size, color_scheme=scheme)
    page.goto(f"{live}{address}")
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        f"""[...document.querySelectorAll("{TOUCHED}")]
        .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5)
        .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert small == []
