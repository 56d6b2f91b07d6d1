"""Records on a phone and at a desk: every page, an own figure, a list from a file, a mill of one's own."""

import pytest

LIST = """tag,owner,fibre,breed,colour,weight
A1,Saltwhistle Croft,wool,Shetland,moorit,"3,5 kg"
A2,C03,wool,,white,about 3 bags
"""
PAGES = {
    "records": "/records/",
    "settings": "/records/settings/",
    "people": "/records/people/",
    "backups": "/records/backups/",
    "machines": "/records/machines/",
    "machine": "/records/machines/CRD/",
    "owners": "/records/owners/",
    "owner": "/records/owners/C07/",
    "tables": "/records/tables/",
    "regain": "/records/tables/regain/",
    "breeds": "/records/tables/breeds/",
    "sources": "/records/tables/sources/",
    "row": "/records/tables/scour_yields/row/?key=fine_wool",
    "import": "/records/import/",
    "start": "/start/",
}


@pytest.mark.parametrize("name", PAGES)
def test_records_are_read_in_both_lights_at_both_sizes(page, live, axe, shot, name):
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.goto(live + PAGES[name])
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert axe(page) == []
        shot(page, f"{name}-{scheme}")


def test_an_own_figure_is_put_in_refused_mended_and_taken_back(fresh_live, page_at):
    page = page_at(360, 740)
    page.goto(fresh_live + PAGES["row"])
    page.get_by_label("Yield low").fill("70")
    page.get_by_role("button", name="Let these figures count").click()
    page.expected("422")
    assert "at least 70" in page.locator(".field-error").first.inner_text()
    assert page.get_by_label("Yield low").input_value() == "70"
    page.get_by_label("Yield mode").fill("75")
    page.get_by_label("Yield high").fill("80")
    page.get_by_role("button", name="Let these figures count").click()
    page.locator(".row-own").wait_for()
    assert "shipped" in page.locator(".row-own").inner_text()
    page.goto(fresh_live + PAGES["row"])
    page.get_by_role("button", name="Let the shipped figures count again").click()
    page.wait_for_url("**/records/tables/scour_yields/")
    assert page.locator(".row-own").count() == 0


def test_a_farms_list_is_looked_at_and_brought_in_without_the_refused_row(fresh_live, page, axe, shot):
    page.goto(fresh_live + PAGES["import"])
    file = {"name": "farm.csv", "mimeType": "text/csv", "buffer": LIST.encode()}
    page.get_by_label("The list").set_input_files(file)
    page.get_by_role("button", name="Look at every row").click()
    page.get_by_role("heading", name="Rows to mend").wait_for()
    assert axe(page) == []
    shot(page, "import-look")
    page.get_by_role("button", name="Leave out one row and bring in 1").click()
    page.get_by_role("heading", name="One lot came in").wait_for()
    page.locator("main").get_by_role("link", name="A1", exact=True).click()
    page.wait_for_url("**/lots/A1/")
    assert page.locator("h1").inner_text() == "A1"


def test_a_safety_copy_is_made_while_one_watches(fresh_live, page_at):
    page = page_at(1440, 900)
    page.goto(fresh_live + PAGES["backups"])
    page.get_by_role("button", name="Make one now").click()
    page.locator("#work .job", has_text="done").first.wait_for(timeout=40_000)
    page.reload()
    assert ".sqlite3" in page.locator("table").inner_text()


def test_a_mill_of_ones_own_is_laid_down_and_waited_for(fresh_live, page_at, axe):
    page = page_at(360, 740)
    page.goto(f"{fresh_live}/start/")
    page.get_by_label("1. What is your mill called?").fill("Barrow Lane Mill")
    page.get_by_label("Picker and bin").check()
    page.get_by_role("button", name="Start my mill").click()
    page.expected("422")
    assert "your name is missing" in page.locator("#your_name-error").inner_text()
    assert page.get_by_label("Picker and bin").is_checked()
    page.get_by_label("5. Who are you?").fill("Ida")
    page.get_by_role("button", name="Start my mill").click()
    page.get_by_role("heading", name="Barrow Lane Mill begins").wait_for()
    assert axe(page) == []
    page.goto(f"{fresh_live}/start/wait/?looked=60")
    assert "nobody serves it" in page.locator("h1").inner_text()
