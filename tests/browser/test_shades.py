"""The shade book, readings and sample blends at a phone and at a desk."""

import base64
import http.client
import re
from contextlib import closing

import pytest

WAYS = (
    "/shades/",
    "/shades/new/",
    "/shades/S001/",
    "/shades/S002/",
    "/shades/S003/",
    "/shades/S001/restate/",
    "/shades/S001/standard/",
    "/shades/S001/batches/3/",
    "/shades/mixing/",
    "/shades/file/",
    "/shades/readings/1/",
    "/lots/L027/colour/",
    "/lots/L027/colour/photo/",
)
NM = range(400, 701, 10)
GREEN = [0.05 + 0.12 * max(0.0, 1 - abs(nm - 540) / 90) for nm in NM]


def spectra(*names):
    """A file of the instrument as the browser uploads it."""
    lines = [",".join(["name", *map(str, NM)])]
    lines += [",".join([name, *(f"{x:.4f}" for x in GREEN)]) for name in names]
    return {"name": "pads.csv", "mimeType": "text/csv", "buffer": "\n".join(lines).encode()}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("way", WAYS)
def test_shades_are_read_in_both_lights_at_both_sizes(page, live, axe, shot, scheme, way):
    page.emulate_media(color_scheme=scheme)
    page.goto(live + way)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for folded in page.locator("details.working > summary").all():
        folded.click()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"{way.strip('/').replace('/', '-')}-{scheme}")


@pytest.mark.parametrize("way", ["/shades/", "/shades/S001/", "/lots/L027/colour/", "/shades/mixing/"])
def test_targets_are_large_enough_for_a_thumb(page_at, live, way):
    page = page_at(360, 740)
    page.goto(live + way)
    for folded in page.locator("details.working > summary").all():
        folded.click()
    small = page.evaluate(
        """() => [...document.querySelectorAll('main button, main input:not([type=hidden]), main select,'
            + ' main td a, main th a, main summary')]
        .filter(e => !['checkbox', 'radio'].includes(e.type))
        .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47)
        .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert small == []


def test_the_drift_of_fern_is_told_and_drawn(page, live):
    page.goto(f"{live}/shades/")
    page.get_by_role("link", name="Fern", exact=True).click()
    page.wait_for_url("**/shades/S001/")
    assert page.locator(".notice-error", has_text="has left what passes").is_visible()
    over = page.get_by_role("img", name=re.compile("How far each batch is"))
    assert "4 Fern autumn 2025 2.4, off shade" in over.get_attribute("aria-label")
    assert over.bounding_box()["width"] <= page.viewport_size["width"]


def test_an_open_shade_follows_what_others_write_down(fresh_live, page_at):
    watching, writing = page_at(1440, 900), page_at(360, 740)
    watching.goto(f"{fresh_live}/shades/S003/")
    watching.get_by_text("No batch was made to this standard yet").wait_for()
    writing.goto(f"{fresh_live}/shades/S003/")
    writing.get_by_label("Or a name").fill("Slate winter")
    writing.get_by_role("button", name="Add the batch").click()
    watching.get_by_role("link", name="1. Slate winter").wait_for()


def test_a_batch_is_read_judged_and_decided_by_name(fresh_live, page_at):
    page = page_at(360, 740)
    page.goto(f"{fresh_live}/shades/S004/")
    page.get_by_label("Or a name").fill("Oat winter")
    page.get_by_role("button", name="Add the batch").click()
    page.wait_for_url("**/batches/*/")
    page.get_by_label("L, a and b, a line for each tuft").fill("77.9 3.5 17\n78.1 3.4 17.2")
    page.get_by_role("button", name="Keep this reading").click()
    page.get_by_role("button", name="Hold it against the standard").click()
    page.get_by_label("On shade").check()
    page.get_by_label("Why", exact=True).fill("for inner soles")
    page.get_by_role("button", name="I decide it, Wrenna").click()
    page.get_by_text("Wrenna decided: for inner soles").wait_for()


def test_a_file_is_shown_sample_by_sample_and_kept_once(fresh_live, page_at):
    page = page_at(1440, 900)
    page.goto(f"{fresh_live}/lots/L027/colour/")
    page.get_by_label("Or a file of the instrument").set_input_files(spectra("pad 1", "L028 1"))
    page.get_by_role("button", name="Keep this reading").click()
    page.get_by_label("Lot of sample pad 1").wait_for()
    assert page.get_by_label("Lot of sample pad 1").input_value() == "L027"
    assert page.get_by_label("Lot of sample L028 1").input_value() == "L028"
    page.get_by_label("Lot of sample L028 1").fill("L999")
    page.expected("422")
    page.get_by_role("button", name="Keep these readings").click()
    page.locator("#lot_2-error").wait_for()
    page.get_by_label("Lot of sample L028 1").fill("L028")
    page.get_by_role("button", name="Keep these readings").dblclick()
    page.get_by_text("Kept", exact=True).wait_for()
    page.goto(f"{fresh_live}/lots/L028/colour/")
    assert page.locator(".sitting").count() == 2


def test_half_a_gigabyte_is_refused_before_it_is_sent(live):
    with closing(http.client.HTTPConnection(live.removeprefix("http://"), timeout=20)) as connection:
        connection.putrequest("POST", "/shades/file/")
        connection.putheader("Content-Type", "multipart/form-data; boundary=x")
        connection.putheader("Content-Length", "500000000")
        connection.endheaders()
        with connection.getresponse() as answer:
            said = answer.read().decode()
    assert answer.status == 413
    assert "has 500 MB; a page takes 12 MB at most. Nothing was kept." in said


def test_a_file_that_is_too_large_is_said_so_as_soon_as_it_is_chosen(live, page_at):
    page = page_at(360, 740)
    page.goto(f"{live}/shades/file/")
    large = {"name": "pads.csv", "mimeType": "text/csv", "buffer": b"1," * 1_000_000}
    page.get_by_label("File of spectra").set_input_files(large)
    said = page.get_by_role("alert")
    assert "pads.csv has 2.0 MB; at most 1.5 MB are taken." in said.inner_text()
    assert page.get_by_label("File of spectra").input_value() == ""
    page.get_by_label("File of spectra").set_input_files(spectra("L027"))
    assert page.get_by_role("alert").count() == 0


def test_a_photo_is_touched_to_mark_its_places(live, page_at):
    page = page_at(360, 740)
    page.goto(f"{live}/lots/L027/colour/photo/")
    pixel = page.evaluate(
        """() => { const c = document.createElement('canvas'); c.width = 400; c.height = 300;
        return c.toDataURL('image/png').split(',')[1]; }"""
    )
    page.get_by_label("Photo with fibre and chart").set_input_files(
        {"name": "p.png", "mimeType": "image/png", "buffer": base64.b64decode(pixel)}
    )
    shown = page.locator("[data-photo-shown]")
    shown.wait_for()
    box = shown.bounding_box()
    shown.click(position={"x": box["width"] / 4, "y": box["height"] / 2})
    assert float(page.locator("#fibre_left").input_value()) == pytest.approx(25, abs=1)
    assert float(page.locator("#fibre_top").input_value()) == pytest.approx(50, abs=1)
    assert page.get_by_label("Fibre, lower right").is_checked()
