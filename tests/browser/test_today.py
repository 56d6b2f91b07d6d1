"""A morning at the mill, on a phone and at a desk, by day and by night."""

import pytest

SCHEMES = ("light", "dark")


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_morning_is_read_in_both_lights_at_both_sizes(page, live, axe, shot, scheme):
    page.emulate_media(color_scheme=scheme)
    page.goto(live)
    assert page.locator(".morning-words").inner_text().startswith("One order is late: O205")
    assert page.locator("svg:visible a[href='/lots/L023/']").count() == 1, "one strand for each width"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert axe(page) == []
    shot(page, f"today-{scheme}")


def test_from_a_tuft_to_its_lot_and_back_by_keyboard(page, live):
    page.goto(live)
    tuft = page.locator("svg:visible a[href='/lots/L023/']")
    tuft.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/lots/L023/")
    assert page.locator("h1").inner_text() == "L023"
    page.go_back()
    assert page.locator("#worries-title").is_visible()


def test_somebody_else_is_chosen_and_the_page_says_who(page, live):
    page.goto(f"{live}/lots/")
    page.locator(".menu summary").first.click()
    page.get_by_role("button", name="Tobbin").click()
    page.wait_for_url("**/lots/")
    assert "Tobbin" in page.locator(".menu summary").first.inner_text()


def test_a_hold_that_is_cleared_leaves_the_open_page_by_itself(fresh_live, page_at):
    morning, lot = page_at(1440, 900), page_at(1440, 900)
    morning.goto(fresh_live)
    held = morning.locator(".worry", has_text="L007").filter(has_text="Larvae seen")
    assert held.count() == 1
    lot.goto(f"{fresh_live}/lots/L007/")
    own = lot.locator(".notice-hold").filter(has_text="put it on hold")  # its order is on hold as well
    own.get_by_text("Let it go on").click()
    own.get_by_label("Why it may go on").fill("frozen and looked at again")
    own.get_by_role("button", name="I clear it, Wrenna").click()
    lot.get_by_text("Holds that were cleared").wait_for()
    held.wait_for(state="detached")


def test_the_day_is_printed_without_menus(page_at, live):
    page = page_at(1440, 900)
    page.goto(live)
    page.emulate_media(media="print")
    assert not page.locator(".places").is_visible()
    assert page.locator(".morning-words").is_visible()
