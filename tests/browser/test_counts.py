"""A count typed at the counter in Chromium: its conversions appear below it, and its plies in their field."""

import pytest
from tests.browser.conftest import DESK, PHONE

THIN = "\u202f"
TARGET_PX = 48


def said(page) -> str:
    return page.inner_text("#thick-said").replace(THIN, " ")


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_a_count_is_answered_while_it_is_typed(live, page_at, axe, shot, size):
    page = page_at(*size)
    page.goto(f"{live}/orders/new/")
    page.fill("#fibre", "huacaya")
    page.fill("#mass", "2,7")
    page.fill("#plies", "3")
    page.locator("#thick").press_sequentially("2/8", delay=20)
    page.wait_for_selector("#thick-said >> text=2/8s worsted is 221 tex")
    page.locator("#thick").press_sequentially(" Nm", delay=20)
    page.wait_for_selector("#thick-said >> text=together 250")
    assert "2 strands of Nm 8: together 250 tex, Nm 4, 400 m in 100 g, 1984 yd/lb; before washing." in said(
        page
    )
    assert page.locator("#thick-error").count() == 0
    assert page.input_value("#plies") == "2"
    assert page.evaluate("document.activeElement.id") == "thick"
    page.wait_for_selector("#answer >> text=2-ply yarn")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.locator("#thick").bounding_box()["height"] >= TARGET_PX
    assert axe(page) == []
    shot(page, f"count-{size[0]}")


def test_plies_typed_beside_a_count_keep_the_hand_that_types_them(live, page_at):
    page = page_at(*DESK)
    page.goto(f"{live}/orders/new/")
    page.fill("#thick", "200 m/100 g")
    page.wait_for_selector("#thick-said >> text=each of 2 strands")
    page.locator("#plies").press_sequentially("")
    page.fill("#plies", "4")
    page.wait_for_selector("#thick-said >> text=each of 4 strands")
    assert "each of 4 strands 125 tex, Nm 8." in said(page)
    assert page.evaluate("document.activeElement.id") == "plies"
    page.fill("#thick", "2/8 Nm")
    page.wait_for_selector("#thick-said >> text=together 250")
    page.wait_for_function("document.querySelector('#plies').value === '2'")
    page.fill("#plies", "3")
    page.wait_for_selector("#thick-said >> text=This count says 2 plies itself")
    assert page.input_value("#plies") == "3"
