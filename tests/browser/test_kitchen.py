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
SMALL_TARGETS = """[...document.querySelectorAll('main .button, main .input, main .select, main summary, main .choice, .around a')]
  .filter(one => one.getClientRects().length && one.getBoundingClientRect().height < 47.5)
  .map(one => one.outerHTML.slice(0, 80))"""
