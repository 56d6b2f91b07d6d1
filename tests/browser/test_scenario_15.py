"""Scenario 15 by thumb and by keyboard: four greens and a yellow, from the bench to the picker."""

import re

import pytest
from playwright.sync_api import Page, expect

SCHEMES = ("light", "dark")
GREENS = ("L027", "L028", "L029", "L030")
TICKED = "&".join(f"lot={lot}" for lot in GREENS)
THIN = "\u202f"


def settled(page: Page) -> None:
    """Figures that follow a slider have arrived."""
    page.wait_for_timeout(250)
    expect(page.locator("[aria-busy=true]")).to_have_count(0)


def assert_fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def shares(page: Page) -> dict[str, float]:
    return {
        field.get_attribute("id").removeprefix("share_"): float(field.input_value())
        for field in page.locator("[data-share]").all()
    }


def too_small(page: Page) -> list[str]:
    """Things to touch that are lower than a thumb."""
    return page.evaluate(
        """() => [...document.querySelectorAll('main :is(button, select, input:not([type=hidden]), .choice)')]
          .filter((one) => one.checkVisibility() && !one.matches('.choice input'))
          .filter((one) => one.getBoundingClientRect().height < 48)
          .map((one) => one.outerHTML.slice(0, 90))"""
    )


def assert_good(page: Page, axe) -> None:
    """Readable by everybody, fits the screen, and can be touched."""
    assert axe(page) == []
    assert_fits(page)
    assert too_small(page) == []


def ask_what_to_add(page: Page, address: str) -> None:
    """From the page head to the sub-lots, and from them to what is to be added."""
    page.goto(f"{address}/")
    page.get_by_role("navigation", name="Places").get_by_role("link", name="Bench").click()
    page.get_by_label("Question").select_option("Which of these lots make the shade together?")
    page.wait_for_url("**want=together**")
    for lot in GREENS:
        page.locator(f'input[name="lot"][value="{lot}"]').check()
    page.get_by_role("button", name="Work it out").click()
    found = page.locator("#answer")
    expect(found).to_contain_text("All 4 together are 3.4 away: darker, greener")
    expect(found).to_contain_text("leave out L028 and L030")
    page.get_by_role("link", name="What to add to all of them").click()


def test_scenario_15_from_the_question_to_the_picker(fresh_live, page, axe, shot):
    ask_what_to_add(page, fresh_live)
    found = page.locator("#answer")
    expect(found).to_contain_text("Alone they are away by L027 1.2, L029 2.7, L028 5.8, L030 9.1")
    yellow_g = int(re.search(r"\((\d+)\Wg oven-dry\)", found.inner_text())[1])
    assert 300 <= yellow_g <= 750
    expect(found).to_contain_text("0.5 or less away, as far as the model can tell")
    expect(found).to_contain_text("Plain averaging would add 110")
    expect(found).to_contain_text("The full mix is not released before the card was read.")
    page.get_by_text("Working: what other models would add").click()
    expect(found).to_contain_text("M 0.15 on three bands, without spectra")
    expect(found.get_by_role("row", name=re.compile("three bands"))).to_contain_text(re.compile(r"5(09|10)"))
    assert_good(page, axe)
    shot(page, "bench-correct")

    found.get_by_role("link", name="Put this on the bench").first.click()
    expect(page.get_by_role("heading", name="What it will be")).to_be_visible()
    expect(page.locator("#answer")).to_contain_text("0.5 or less away")
    expect(page.locator("#answer")).to_contain_text("100 % wool")
    assert_good(page, axe)
    shot(page, "bench-mix")
    page.get_by_label("Recipe’s name").fill("Spring kits")
    page.get_by_role("button", name="Keep this recipe").click()
    expect(page.get_by_role("heading", name=re.compile(r"M\d+ Spring kits"))).to_be_visible()
    assert_good(page, axe)
    shot(page, "recipe")

    code = page.url.rstrip("/").rpartition("/")[2]
    page.get_by_role("button", name="It is carded").click()
    expect(page.get_by_text("trial card made, to be read")).to_be_visible()
    page.get_by_label("L, a and b, a line for each tuft").fill(
        "46.8 -20.6 19.0\n46.5 -20.9 19.3\n46.6 -20.8 19.1\n46.7 -20.7 19.2"
    )
    page.get_by_role("button", name="Hold it against the shade").click()
    expect(page.get_by_text("on shade", exact=True)).to_be_visible()
    page.get_by_role("button", name="Release the full mix").click()
    expect(page.get_by_role("link", name="Weigh-out sheet (PDF)")).to_be_visible()
    sheet = page.request.get(f"{fresh_live}/bench/recipes/{code}/mix.pdf")
    assert sheet.body().startswith(b"%PDF")
    assert_good(page, axe)
    shot(page, "recipe-released")
    page.get_by_role("link", name="Weigh it out now").click()
    typed = {
        field.get_attribute("name")[3:7]: field.input_value()
        for field in page.locator('input[name$="_gross"][name^="in_"]').all()
    }
    assert set(typed) == {*GREENS, "L031"}
    assert int(typed["L027"].split()[0]) == pytest.approx(1120, abs=3)
    assert int(typed["L031"].split()[0]) == pytest.approx(690, abs=5)


def test_a_moved_slider_moves_the_others_and_the_answer_follows(live, page):
    page.goto(f"{live}/bench/?{TICKED}&lot=L031&act=by_weight")
    settled(page)
    before = shares(page)
    slider = page.get_by_role("slider", name="Share of L031")
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    settled(page)
    after = shares(page)
    assert after["L031"] == pytest.approx(before["L031"] - 5, abs=0.5)
    assert sum(after.values()) == pytest.approx(100, abs=0.05)
    ratio = {lot: after[lot] / before[lot] for lot in GREENS}
    assert max(ratio.values()) - min(ratio.values()) < 0.01
    assert f"share_L031={after['L031']:g}" in page.url
    told = page.locator("#answer .verdict").inner_text()
    page.reload()
    assert page.locator("#answer .verdict").inner_text() == told
    assert shares(page) == pytest.approx(after, abs=0.02)


def test_a_typed_share_makes_the_others_give_way(live, page):
    page.goto(f"{live}/bench/?lot=L027&lot=L031&share_L027=50&share_L031=50")
    page.get_by_role("textbox", name="Share of L031").fill("16,5")
    settled(page)
    assert page.get_by_role("textbox", name="Share of L027").input_value() == "83.5"
    expect(page.locator("#grams-L031")).to_contain_text("of")
    assert "share_L027=83.5" in page.url


def test_grams_of_every_lot_follow_the_slider(live, page):
    page.goto(f"{live}/bench/?lot=L027&lot=L031&share_L027=50&share_L031=50&mass=1+kg")
    expect(page.locator("#grams-L031")).to_contain_text(f"499{THIN}g")  # drier than the green: half oven-dry
    page.get_by_role("textbox", name="Share of L031").fill("20")
    expect(page.locator("#grams-L031")).to_contain_text(f"199{THIN}g")
    expect(page.locator("#grams-L027")).to_contain_text(f"801{THIN}g")


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", [(360, 740), (1440, 900)], ids=["phone", "desk"])
@pytest.mark.parametrize(
    "address",
    [
        "/bench/",
        f"/bench/?{TICKED}&lot=L031&share_L027=40",
        f"/bench/?want=correct&{TICKED}",
        f"/bench/?want=together&{TICKED}",
        "/bench/?want=find&shade=S003&mass=2+kg",
        "/bench/?want=leftovers&lot=L030",
        "/bench/?shade=own&lab=60+-90+60&lot=L027&lot=L031&share_L027=x",
        "/bench/recipes/",
        "/bench/costs/",
    ],
)
def test_everybody_can_read_it(live, page_at, axe, address, size, scheme):
    page = page_at(*size, color_scheme=scheme)
    page.goto(f"{live}{address}")
    assert_good(page, axe)


def test_the_bench_works_without_scripts(live, page_at):
    page = page_at(360, 740, java_script_enabled=False)
    page.goto(f"{live}/bench/?lot=L027&lot=L031&share_L027=50&share_L031=50")
    page.get_by_role("textbox", name="Share of L027").fill("84")
    page.get_by_role("textbox", name="Share of L031").fill("16")
    page.get_by_role("button", name="Show it").click()
    expect(page.locator("#answer")).to_contain_text("away")
    assert "share_L027=84" in page.url
    page.get_by_role("button", name="Put in L032").click()
    expect(page.get_by_role("textbox", name="Share of L032")).to_have_value("33.33")
