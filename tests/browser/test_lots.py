"""Finding a lot and reading its page."""

import pytest


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("way", ["/lots/", "/lots/L007/", "/lots/Y201/", "/lots/L005/"])
def test_lots_are_read_in_both_lights_at_both_sizes(page, live, axe, shot, scheme, way):
    page.emulate_media(color_scheme=scheme)
    page.goto(live + way)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for working in page.locator("details.working > summary").all():
        working.click()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"{way.strip('/').replace('/', '-')}-{scheme}")


def test_a_lot_is_found_by_its_number(page, live):
    page.goto(f"{live}/lots/")
    page.get_by_label("Find").fill("l011")
    page.keyboard.press("Enter")
    page.wait_for_url("**/lots/L011/")
    assert "suri" in page.locator(".lot-head").inner_text().lower()


def test_the_list_is_narrowed_to_what_is_on_hold(page, live):
    page.goto(f"{live}/lots/")
    page.get_by_label("Show").select_option("held")
    page.get_by_role("button", name="Find").click()
    page.wait_for_url("**standing=held**")
    codes = page.locator("#lots tbody th").all_inner_texts()
    # the larvae's own lot, all that the held order O202 is made of, and the unidentified fleece
    held = "B101 B102 B103 L006 L007 L008 L023 R101 R102 R103 Y201 Y202 Y203 Y204"
    assert sorted(code.strip() for code in codes) == held.split()


def test_putting_a_lot_on_hold_twice_in_one_breath_holds_it_once(fresh_live, page_at):
    page = page_at(360, 740)
    page.goto(f"{fresh_live}/lots/L012/")
    page.get_by_text("Put it on hold").click()
    page.get_by_label("Quarantine").check()
    page.get_by_label("What the next person must know").fill("something moved")
    page.get_by_role("button", name="Put L012 on hold").dblclick()
    page.locator(".notice-hold").wait_for()
    assert page.locator(".notice-hold").count() == 1


def test_targets_are_large_enough_for_a_thumb(page_at, live):
    page = page_at(360, 740)
    page.goto(f"{live}/lots/")
    small = page.evaluate(
        """() => {
        // a link that lies over its whole row is as high as the row
        const touched = e => {
          const over = getComputedStyle(e, '::after');
          const isOverRow = over.content !== 'none' && over.position === 'absolute';
          return (isOverRow ? e.closest('tr') : e).getBoundingClientRect().height;
        };
        return [...document.querySelectorAll('main button, main input, main select, main td a, main th a')]
        .filter(e => e.offsetParent && touched(e) < 47)
        .map(e => e.outerHTML.slice(0, 80));
        }"""
    )
    assert small == []
