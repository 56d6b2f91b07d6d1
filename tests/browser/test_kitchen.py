"""The dye kitchen and the tubs in a browser: both sizes, both lights, by keyboard and on paper."""

import re

import pytest

SCHEMES = ("light", "dark")
ADDRESSES = {
    "recipes": "/kitchen/",
    "card": "/kitchen/{shade}/?kg=2.6",
    "loads": "/kitchen/{shade}/?kg=7&kettle=",
    "unknown-kettle": "/kitchen/{shade}/?kg=0.4",
    "write": "/kitchen/write/?shade={shade}",
    "kettle": "/kitchen/kettles/K120/",
    "unmeasured": "/kitchen/kettles/K20/",
    "dyeings": "/kitchen/dyeings/",
    "dyeing": "/kitchen/dyeings/1/",
    "tubs": "/tubs/",
    "tub": "/tubs/SC1/",
    "free-tub": "/tubs/SC2/",
}


def fern(page, live):
    page.goto(f"{live}/kitchen/")
    return re.search(
        r"/kitchen/([^/]+)/", page.get_by_role("link", name="Fern", exact=True).get_attribute("href")
    )[1]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_page_of_the_kitchen_fits_and_is_accessible(page, live, axe, shot, scheme):
    page.emulate_media(color_scheme=scheme)
    shade = fern(page, live)
    faults = {}
    for name, address in ADDRESSES.items():
        page.goto(live + address.format(shade=shade))
        shot(page, f"kitchen-{name}-{scheme}")
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        found = axe(page)
        small = page.evaluate(SMALL_TARGETS)
        if wide > 0 or found or small:
            faults[name] = (wide, found, small)
    assert faults == {}


# links in a sentence are as high as their line; everything else is for a thumb
SMALL_TARGETS = """[...document.querySelectorAll(
    'main .button, main .input, main .select, main summary, main .choice, .around a'
  )]
  .filter(one => one.getClientRects().length && one.getBoundingClientRect().height < 47.5)
  .map(one => one.outerHTML.slice(0, 80))"""


def test_a_lot_is_dyed_from_recipe_to_tufts_by_keyboard(fresh_live, page_at, axe, shot):
    page = page_at(360, 740)
    page.goto(f"{fresh_live}/kitchen/")
    page.get_by_role("link", name="Fern", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_label("Lot").fill("L004")
    page.keyboard.press("Enter")
    page.wait_for_url("**lot=L004**")
    assert "at agreed regain" in page.locator("#card-title").inner_text()
    page.get_by_role("button", name="Begin dyeing L004").press("Enter")
    page.wait_for_url("**/kitchen/dyeings/**")
    assert page.locator("#now-title").inner_text() == "At the kettle now"
    tufts = page.get_by_label(re.compile("L, a and b of load 1"))
    tufts.fill("46.8 -20.6\n")
    page.expected("422")
    page.get_by_role("button", name="Keep the reading").first.click()
    page.get_by_text("three numbers, L, a and b").first.wait_for()
    assert tufts.input_value().startswith("46.8 -20.6")
    assert axe(page) == []
    tufts.fill("46.8 -20.6 19.0\n46.5 -20.9 19.3\n46.6 -20.8 19.1")
    page.get_by_role("button", name="Keep the reading").first.click()
    page.get_by_text("0.5 or less away from Fern").wait_for()
    second = page.get_by_label(re.compile("L, a and b of load 2"))
    second.fill("41 -23 15\n41.6 -22.8 15.5\n40.8 -23.4 15.2")
    page.get_by_role("button", name="Keep the reading").last.click()
    page.get_by_text(re.compile("Load 2 is .* away from load 1")).wait_for()
    assert page.get_by_role("link", name="Which make the shade together?").is_visible()
    assert axe(page) == []
    shot(page, "kitchen-two-loads")
    page.set_viewport_size({"width": 1440, "height": 900})
    shot(page, "kitchen-two-loads")


def test_a_bath_that_goes_on_leaves_the_open_board_by_itself(fresh_live, page_at):
    board, tub = page_at(1440, 900), page_at(1440, 900)
    board.goto(f"{fresh_live}/tubs/")
    due = board.locator(".tub", has_text="L040")
    assert "Second bath" in due.inner_text()
    tub.goto(f"{fresh_live}/tubs/SC1/")
    tub.get_by_label(re.compile("When that is due")).fill("45 min")
    tub.get_by_role("button", name="It goes on").click()
    tub.wait_for_url("**/tubs/")
    board.locator(".tub", has_text="First rinse, 3 of 4").wait_for()


def test_a_kettle_is_measured_once_and_the_card_then_says_the_mark(fresh_live, page_at):
    page = page_at(360, 740)
    page.goto(f"{fresh_live}/kitchen/kettles/K20/")
    page.get_by_text("Inner diameter").first.click()
    assert not page.get_by_label("First: on the stick").is_visible()
    page.get_by_label("Inner diameter", exact=True).last.fill("28")
    page.get_by_role("button", name="Keep these marks").click()
    page.locator("table").wait_for()
    shade = fern(page, fresh_live)
    page.goto(f"{fresh_live}/kitchen/{shade}/?kg=0.5&water=0")
    # 15 L less 530 mL of stock in a cylinder of 28 cm
    assert page.get_by_text(re.compile(r"to 23\.5.cm on the stick")).first.is_visible()


def test_the_card_is_printed_without_its_forms(page_at, live):
    page = page_at(1440, 900)
    page.goto(f"{live}/kitchen/{fern(page, live)}/?kg=2.6")
    page.emulate_media(media="print")
    assert not page.locator("#ask").is_visible()
    assert not page.locator(".around").is_visible()
    assert page.locator(".adding").is_visible()
