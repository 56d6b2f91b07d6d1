"""Orders in Chromium: the list, one order, the counter with a farmer on the telephone, doses."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.browser.conftest import DESK, PHONE, ROOT, environment, serving

SCENARIOS = ROOT / "tests" / "office" / "scenario_orders.py"
THIN = "\u202f"


def text_of(page, selector: str = "main") -> str:
    return page.inner_text(selector).replace(THIN, " ")


def fits(page) -> bool:
    """Nothing is wider than the screen."""
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.fixture(scope="module")
def scenarios(demo_root: Path, tmp_path_factory):
    """A server on a mill with the orders of scenarios 6 to 9; gives its address and the order numbers."""
    prepared = tmp_path_factory.mktemp("scenarios")
    shutil.copytree(demo_root, prepared, dirs_exist_ok=True)
    named = {"DOFFER_DATA": str(prepared / "demo"), "DJANGO_SETTINGS_MODULE": "doffer.settings"}
    done = subprocess.run(
        [sys.executable, str(SCENARIOS)],
        env={**environment(prepared), **named},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    with serving(prepared, tmp_path_factory.mktemp("served")) as address:
        yield address, json.loads(done.stdout)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "path",
    [
        "/orders/",
        "/orders/O201/",
        "/orders/O203/",
        "/orders/new/",
        "/orders/O201/wish/",
        "/orders/O203/wish/",
        "/doses/?kind=dye&mass=2.6",
    ],
)
def test_pages_fit_and_can_be_read_by_everybody(live, page, axe, shot, path, scheme):
    page.emulate_media(color_scheme=scheme)
    page.goto(f"{live}{path}", wait_until="networkidle")
    assert axe(page) == []
    assert fits(page)
    shot(page, f"{path.strip('/').split('?')[0].replace('/', '-')}-{scheme}")


def test_from_the_list_into_a_late_order(live, page):
    page.goto(f"{live}/orders/")
    page.click("text=Late")
    page.click("text=O205")
    assert "3 days late, since Friday" in text_of(page)
    assert "160 m/100 g" in text_of(page, ".promise")


def test_a_stage_opens_to_its_settings_doses_and_cautions(live, page):
    page.goto(f"{live}/orders/O206/")
    stage = page.locator("details.stage", has_text="Washing").first
    stage.locator("summary").first.click()
    said = stage.inner_text().replace(THIN, " ")
    assert "in 2 baths of" in said
    assert "Hot water scalds" in said
    assert "Weigh in" in said


def test_scenario_10_the_farmer_at_the_counter(live, page, axe, shot):
    page.goto(f"{live}/orders/new/")
    page.fill("#owner", "Moonbuck")
    page.wait_for_selector("text=Moonbucket Farm")
    page.fill("#fibre", "huacaya")
    page.fill("#mass", "2,70")
    page.fill("#thick", "200 m/100 g")
    page.wait_for_selector("#answer .two-figures")
    said = text_of(page, "#answer")
    assert "1.77 kg\n1.61 to 1.95 kg; 16 skeins safe" in said
    assert "1.57 kg" in said
    assert "spinning frame, plying frame and skein winder) keep about 227 g together" in said
    assert page.locator("#answer svg .river-range").count() > 0
    assert axe(page) == []
    shot(page, "counter")
    page.click("text=Take the order")
    page.wait_for_url(re.compile(r"/orders/O2\d\d/$"))
    assert "100 % alpaca: 2-ply yarn, 200 m/100 g" in text_of(page, ".promise")
    assert "plan 1" in text_of(page)
    card = page.context.request.get(f"{page.url}run-card.pdf")
    assert card.headers["content-type"] == "application/pdf"


def test_no_keystroke_is_lost_while_an_answer_is_on_its_way(live, page_at):
    page = page_at(1440, 900)
    page.goto(f"{live}/orders/new/")

    def slowly(route):
        page.wait_for_timeout(400)
        route.continue_()

    page.fill("#fibre", "huacaya")
    page.route("**/orders/new/answer/", slowly)
    page.fill("#mass", "2,7")
    page.wait_for_timeout(250)
    page.fill("#thick", "200 m/100 g")
    page.wait_for_selector("#answer >> text=3140")
    page.unroute("**/orders/new/answer/")
    page.fill("#mass", "5,4")
    page.wait_for_selector("#answer >> text=6690")
    assert "2-ply yarn, 200" in text_of(page, "#answer")


@pytest.fixture
def fresh_page(fresh_live, page_at):
    """A page of its own server, because the test writes."""
    return page_at(1440, 900), fresh_live


def test_without_scripts_the_button_works_it_out(live, page_at):
    page = page_at(360, 740, java_script_enabled=False)
    page.goto(f"{live}/orders/new/")
    page.fill("#fibre", "BFL")
    page.fill("#mass", "6 lb")
    page.check("input[name=product][value=roving]")
    page.click("text=Work it out")
    assert "Finished roving" in text_of(page, "#answer")
    assert page.input_value("#mass") == "6 lb"


def test_a_plan_is_kept_and_planned_again(fresh_page):
    page, address = fresh_page
    page.goto(f"{address}/orders/O203/")
    page.click("text=Keep this plan")
    page.wait_for_selector("text=You see plan 1")
    page.click("text=Plan again with today’s weights")
    page.wait_for_selector("text=You see plan 2")
    page.click("a:has-text('Plan 1')")
    page.wait_for_selector("text=Show the newest")
    assert "You see plan 1" in text_of(page)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_wish_of_an_order_is_changed_with_the_answer_beside_it(fresh_live, page_at, axe, shot, size):
    page = page_at(*size)
    page.goto(f"{fresh_live}/orders/O202/")
    page.click("text=Change the wish")
    page.wait_for_selector("#answer .figures")
    assert page.input_value("#thick") == "250 m/100 g"
    page.fill("#plies", "3")
    page.wait_for_selector("#answer-title:has-text('3-ply yarn')")
    page.fill("#finished", "2 kg")
    page.wait_for_selector("#answer .figure-value:has-text('2.00')")
    assert axe(page) == []
    assert fits(page)
    shot(page, "wish")
    page.click("text=Keep it as a new plan")
    page.wait_for_selector("text=You see plan 1")
    said = text_of(page)
    assert "2-ply → 3-ply and finished not said → 2.00 kg" in said
    assert "3-ply yarn" in text_of(page, ".promise")


def test_scenario_6_three_fibres_with_unequal_losses(scenarios, page, shot):
    address, codes = scenarios
    page.goto(f"{address}/orders/{codes['three fibres']}/")
    said = text_of(page)
    for figure in ("3342 g", "2110 g", "1290 g", "6.742 kg", "49.6 %", "31.3 %", "19.1 %"):
        assert figure in said
    assert "50.4 % / 28.7 % / 20.9 %" in said
    shot(page, "scenario-6")


def test_scenario_7_the_limiting_fibre(scenarios, page):
    address, codes = scenarios
    page.goto(f"{address}/orders/{codes['limiting fibre']}/")
    said = text_of(page)
    for figure in ("4.551 kg", "2535 g", "1600 g", "979 g", "is the limit"):
        assert figure in said


def test_scenario_8_layers_in_whole_grams(scenarios, page):
    address, codes = scenarios
    page.goto(f"{address}/orders/{codes['three fibres']}/")
    page.click("text=The same as a list")
    laid = [int(line.split()[0]) for line in page.locator(".feed li").all_inner_texts()]
    assert (laid[0], laid[-1], sum(laid)) == (278, 279, 6742)
    assert (laid.count(557), laid.count(352), laid.count(351), laid.count(215)) == (5, 4, 2, 6)


def test_scenario_9_the_label_on_three_bases(scenarios, page):
    address, codes = scenarios
    page.goto(f"{address}/orders/{codes['tin']}/")
    said = text_of(page)
    for exact in ("74.9 / 25.1", "74.7 / 25.3", "73.1 / 26.9"):
        assert exact in said
    assert text_of(page, ".label-words").startswith("75 % wool, 25 % polyamide")


def test_scenario_3_skeins_from_a_typed_weight(live, page):
    page.goto(f"{live}/orders/O208/")
    page.fill("#set_mass", "7,86")
    page.fill("#test_mass", "40")
    page.click("text=How many skeins?")
    page.wait_for_selector("#skeins .figure-value")
    said = text_of(page, "#skeins")
    assert "78 skeins of 100 g and 20 g over" in said
    for count in ("R 235.3 tex", "4.25", "464.8", "2108", "527"):
        assert count in said


def test_scenario_2_and_5_doses_while_typing(live, page):
    page.goto(f"{live}/doses/?kind=conditioner")
    page.fill("#mass", "3.4")
    page.fill("#layers", "4")
    page.wait_for_selector("text=68 g product + 272 g water = 340 g")
    page.wait_for_selector("text=85 + 85 + 85 + 85 g")
    page.click("text=Dye bath")
    page.fill("#mass", "2.6")
    page.wait_for_selector("text=One load of")
    page.check("input[name=busy][value='kettle 120 L']")
    page.wait_for_selector("text=2 equal loads of")
    assert "19.5 g = 1.95 L" in text_of(page, "#answer")
