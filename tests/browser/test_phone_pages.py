"""Pages on a telephone: how long they may be, what folds there, and what stands under what."""

import pytest
from tests.browser.conftest import DESK, PHONE

# The most screens of 360 x 740 a page may take before anything is opened. A list has fifty rows at most.
SCREENS = {
    "/": 6,
    "/lots/": 8,
    "/lots/L023/": 5,
    "/lots/L039/": 5,
    "/orders/": 4,
    "/runs/": 7,
    "/runs/N044/": 4,
    "/weigh-in/": 6,
    "/doses/": 4,
    "/holds/": 3,
    "/records/": 4,
    "/records/machines/": 8,
    "/records/owners/": 5,
    **{f"/orders/O20{number}/": 5 for number in range(1, 9)},
}
HEIGHT = "document.documentElement.scrollHeight"
SHUT = "[...document.querySelectorAll('main details[data-fold]')].filter((fold) => !fold.open).length"
FOLDS = "document.querySelectorAll('main details[data-fold]').length"


def test_no_page_of_the_main_places_is_longer_than_its_screens(live, page_at):
    page = page_at(*PHONE)
    too_long = {}
    for path, screens in SCREENS.items():
        assert page.goto(f"{live}{path}").status == 200, path
        height = page.evaluate(HEIGHT)
        if height > screens * PHONE[1]:
            too_long[path] = round(height / PHONE[1], 1)
    assert too_long == {}


def test_folds_are_shut_on_a_telephone_and_open_at_a_desk(live, page_at):
    phone, desk = page_at(*PHONE), page_at(*DESK)
    phone.goto(f"{live}/orders/O203/")
    desk.goto(f"{live}/orders/O203/")
    assert phone.evaluate(FOLDS) > 5
    assert phone.evaluate(SHUT) == phone.evaluate(FOLDS)
    assert desk.evaluate(SHUT) == 0


def test_a_fold_opens_and_shuts_by_the_keyboard(live, page_at):
    page = page_at(*PHONE)
    page.goto(f"{live}/orders/O203/")
    fold = page.locator("details.fold", has_text="What to weigh out")
    fold.locator("> summary").focus()
    page.keyboard.press("Enter")
    assert fold.get_by_role("table").is_visible()
    page.keyboard.press("Enter")
    assert not fold.get_by_role("table").is_visible()


def test_on_paper_every_fold_is_open_and_afterwards_as_it_was(live, page_at):
    page = page_at(*PHONE)
    page.goto(f"{live}/orders/O203/")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(SHUT) == 0
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(SHUT) == page.evaluate(FOLDS)


def test_an_address_into_a_fold_opens_it(live, page_at):
    page = page_at(*PHONE)
    page.goto(f"{live}/orders/O203/#plans")
    assert page.get_by_role("link", name="Change the wish").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_opened_folds_can_be_read_by_everybody(live, page_at, axe, scheme):
    page = page_at(*PHONE, color_scheme=scheme)
    for path in ("/orders/O203/", "/lots/L023/", "/lots/", "/runs/"):
        page.goto(f"{live}{path}")
        page.evaluate(
            "document.querySelectorAll('details[data-fold]').forEach((fold) => { fold.open = true; })"
        )
        assert axe(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0], path


BOXES = """(all) => all.map((each) => {
  const box = each.getBoundingClientRect();
  return [box.left, box.top, box.bottom];
})"""


def _boxes(page, selector):
    return page.locator(selector).evaluate_all(BOXES)


def test_facts_stack_on_phones_and_stand_side_by_side_at_a_desk(live, page_at):
    phone, desk = page_at(*PHONE), page_at(*DESK)
    for page in (phone, desk):
        page.goto(f"{live}/lots/L023/")
        page.evaluate("document.querySelectorAll('main details').forEach((fold) => { fold.open = true; })")
    names, values = _boxes(phone, "main dl.facts dt"), _boxes(phone, "main dl.facts dd")
    assert len(names) == len(values) > 8
    for name, value in zip(names, values, strict=True):
        assert value[0] == pytest.approx(name[0], abs=1)  # the same left edge
        assert value[1] >= name[2] - 1  # the value begins under its name
    names, values = _boxes(desk, "main dl.facts dt"), _boxes(desk, "main dl.facts dd")
    for name, value in zip(names, values, strict=True):
        assert value[0] > name[0] + 50
        assert value[1] < name[2]


@pytest.mark.parametrize("path", ["/lots/", "/runs/"])
def test_a_row_of_a_list_opens_by_a_tap_anywhere_in_it(live, page_at, path):
    page = page_at(*PHONE)
    page.goto(f"{live}{path}")
    row = page.locator(".table-lead tbody tr").nth(2)
    code = row.locator("th a").inner_text()
    box = row.bounding_box()
    assert box["height"] >= 48
    row.click(position={"x": box["width"] - 4, "y": box["height"] - 4})
    page.wait_for_url(f"**/{code}/")


def test_runs_of_one_stage_alone(live, page_at):
    page = page_at(*PHONE)
    page.goto(f"{live}/runs/")
    page.select_option("#stage", "wash")
    page.click("#ended button")
    page.wait_for_url("**stage=wash**")
    said = {cell.strip() for cell in page.locator("#ended td.first").all_inner_texts()}
    assert said == {"Wash"}
