"""Colours are read on pages: typed, from a file, put right; what cannot be is refused, nothing kept."""

import re
import struct
import uuid
import zlib

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.spectra_files import BAD, GREEN, RED, csv_of, sent, with_one

from doffer.errors import InputError
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.models import ColourReading, Photo
from doffer.mill.queries.readings import lot_sittings

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
HOW = {"light": "D65", "form": "loose", "observer": "10", "geometry": "45/0"}
EVEN = "46.0 -22.0 18.0\n46.6 -22.2 18.3\n45.9 -21.8 17.9"
UNEVEN = "46.0 -22.0 18.0\n49.0 -20.0 21.0\n43 -23 15"


@pytest.fixture
def desk(client_of, dye_house):
    """A browser in which somebody of the floor is chosen: reading is floor work."""
    return client_of(dye_house.floor)


def form(**more):
    return {**HOW, "key": str(uuid.uuid4()), **more}


def address(dye_house, name="G1"):
    return f"/lots/{dye_house.lots[name]}/colour/"


def errors(page):
    """The sentence beside a field."""
    return re.findall(r'class="field-error"[^>]*>.*?<span>(.*?)</span>', page.content.decode(), re.DOTALL)


def test_a_lot_leads_to_its_colour_and_a_lot_never_read_says_what_to_do(desk, dye_house):
    assert "/lots/L005/colour/" in desk.get("/lots/L005/").content.decode()
    text = words(desk.get("/lots/L005/colour/"))
    assert "This lot was not read yet." in text
    assert "Pull tufts from all over it" in text


def test_typed_tufts_are_one_sitting_and_say_how_even_they_are(desk, dye_house):
    done = desk.post(address(dye_house), form(tufts=EVEN, instrument="bench meter"))
    assert done.status_code == 302
    sitting = lot_sittings(dye_house.lots["G1"])[0]
    assert (sitting.n_tufts, sitting.instrument, sitting.pad.geometry) == (3, "bench meter", "45/0")
    assert sitting.person == dye_house.floor.name
    assert "These 3 tufts differ by up to 0.7: even enough." in words(desk.get(done["Location"]))


def test_tufts_far_apart_say_that_the_lot_is_uneven(desk, dye_house):
    desk.post(address(dye_house), form(tufts=UNEVEN))
    text = words(desk.get(address(dye_house)))
    assert re.search(r"differ by up to 7.1: the lot is uneven", text)


def test_sent_twice_is_kept_once(desk, dye_house):
    data = form(tufts=EVEN)
    before = ColourReading.objects.count()
    desk.post(address(dye_house), data)
    desk.post(address(dye_house), data)
    assert ColourReading.objects.count() == before + 3


def test_wet_readings_are_kept_and_do_not_count(desk, dye_house):
    desk.post("/lots/L005/colour/", form(tufts=EVEN, wet="yes"))
    text = words(desk.get("/lots/L005/colour/"))
    assert "wet, loose fibre" in text
    assert "None of these counts yet" in text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"tufts": ""}, "three numbers, L, a and b, on a line for each tuft"),
        ({"tufts": "46 -22"}, "line 1"),
        ({"tufts": "46 -22 18\nnan nan nan"}, "line 2"),
        ({"tufts": "146 -22 18"}, "at most 100"),
        ({"tufts": "46 -222 18"}, "from -130 to 130"),
        ({"tufts": "46 -22 18", "light": ""}, "mean nothing without it"),
        ({"tufts": "46 -22 18 | candle 46 -22 18"}, "no light “candle"),
        ({"tufts": "46 -22 18", "observer": ""}, "10° or 2°"),
        ({"tufts": "46 -22 18", "read_on": "2031-01-01"}, "today or earlier"),
        ({"tufts": "46 -22 18", "read_on": "last week"}, "a day, such as"),
        ({"tufts": "46 -22 18", "form": "jumper"}, "one of loose, roving, yarn"),
    ],
)
def test_what_cannot_be_a_colour_is_refused_and_stays_typed(desk, dye_house, typed, sentence):
    before = ColourReading.objects.count()
    page = desk.post(address(dye_house), form(note="from the left bin", **typed))
    assert page.status_code == 422
    assert len(set(errors(page))) == 1
    assert sentence in words(page)
    assert "from the left bin" in page.content.decode()
    assert ColourReading.objects.count() == before


WAYS = {"shade": "/shades/new/", "sample": "/shades/mixing/", "new colour": "/shades/S001/restate/"}


@pytest.mark.parametrize("way", WAYS)
def test_typed_numbers_without_their_light_are_refused_and_nothing_is_kept(client_of, dye_house, way):
    before = ColourReading.objects.count()
    more = {"name": "Moss", "formula": "cmc", "pass_de": "1", "ask_de": "1.5", "fibre": "wool", "reason": "x"}
    page = client_of(dye_house.office).post(WAYS[way], form(tufts="46.8 -20.6 19.0", light="", **more))
    assert page.status_code == 422
    assert "L, a and b mean nothing without it" in words(page)
    assert ColourReading.objects.count() == before


@pytest.mark.parametrize(
    "where",
    ["/lots/{lot}/colour/", "/shades/file/", "/shades/new/", "/shades/mixing/", "/shades/S001/restate/"],
)
def test_the_largest_file_is_said_the_same_wherever_one_is_chosen(client_of, dye_house, where):
    page = client_of(dye_house.office).get(where.format(lot=dye_house.lots["G1"]))
    assert "At most 1.5 MB." in words(page)
    assert 'data-most-bytes="1500000"' in page.content.decode()
    assert "file_size.js" in page.content.decode()


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("way", ["lot", "many lots", "shade", "sample", "new colour"])
def test_a_bad_file_is_refused_in_one_sentence_and_nothing_is_kept(client_of, dye_house, name, way):
    client = client_of(dye_house.office)
    text, piece = BAD[name]
    before = ColourReading.objects.count()
    addresses = {
        "lot": address(dye_house),
        "many lots": "/shades/file/",
        "shade": "/shades/new/",
        **WAYS,
    }
    more = {"name": "Moss", "formula": "cmc", "pass_de": "1", "ask_de": "1.5", "fibre": "wool", "reason": "x"}
    page = client.post(addresses[way], form(file=sent(text), **more))
    assert page.status_code == 422
    said = [one for one in errors(page) if "pads" in one or piece in one]
    assert len(said) == 1, errors(page)
    assert piece in words(page)
    assert ColourReading.objects.count() == before


def test_a_file_of_half_a_gigabyte_is_refused_by_its_size_without_being_read(dye_house, client_of, rf):
    from doffer.office.colour_readings_form import form_of

    class Huge:
        """An upload that must not be read."""

        name, size = "pads.cxf", 500_000_000

        def read(self):
            raise AssertionError("it was read")

    asked = form_of(HOW, Huge())
    with pytest.raises(Exception, match=r"500 MB”; it must be at most 1\.5 MB"):
        asked.seen()
    request = rf.post("/shades/file/", HOW)
    request.FILES["file"] = Huge()
    request.person = dye_house.floor
    request.session = {}
    from doffer.office.colour_readings import file_page

    page = file_page(request)
    assert page.status_code == 422
    assert "at most 1.5 MB" in words(page)


def test_a_file_is_looked_at_first_and_names_find_their_lots(desk, dye_house):
    one, two = dye_house.lots["G1"], dye_house.lots["G2"]
    before = ColourReading.objects.count()
    file = sent(csv_of([(f"{one} 1", GREEN), (f"{one}-b", GREEN), (two.lower(), GREEN), ("white tile", RED)]))
    look = desk.post("/shades/file/", form(file=file, instrument="bench meter"))
    assert look.status_code == 200
    assert ColourReading.objects.count() == before
    page = look.content.decode()
    assert re.findall(r'name="lot_\d"[^>]*value="(\w*)"', page) == [one, one, two, ""]
    assert "“white tile” is no lot of the mill." in words(look)
    data = hidden(page)
    done = desk.post("/shades/file/keep/", {**data, "lot_1": one, "lot_2": one, "lot_3": two, "lot_4": ""})
    assert done.status_code == 302
    assert ColourReading.objects.count() == before + 3
    newest = lot_sittings(one)[0]
    assert (newest.n_tufts, newest.kind, newest.instrument) == (2, "spectrum", "bench meter")
    assert f"{one} , {two}" in words(desk.get(done["Location"]))


def hidden(page):
    """What a form carries unseen."""
    found = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page)
    return {name: value.replace("&#34;", '"') for name, value in found if name != "csrfmiddlewaretoken"}


def test_a_file_from_a_lots_page_is_taken_for_that_lot_unless_a_name_says_otherwise(desk, dye_house):
    two = dye_house.lots["G2"]
    look = desk.post(address(dye_house), form(file=sent(csv_of([("pad 1", GREEN), (two, GREEN)]))))
    assert re.findall(r'name="lot_\d"[^>]*value="(\w*)"', look.content.decode()) == [
        dye_house.lots["G1"],
        two,
    ]


def test_one_wrong_lot_number_keeps_nothing_of_the_file(desk, dye_house):
    before = ColourReading.objects.count()
    look = desk.post(address(dye_house), form(file=sent(csv_of([("a", GREEN), ("b", GREEN)]))))
    data = {**hidden(look.content.decode()), "lot_1": dye_house.lots["G1"], "lot_2": "L999"}
    page = desk.post("/shades/file/keep/", data)
    assert page.status_code == 422
    assert "There is no lot L999." in words(page)
    assert 'value="L999"' in page.content.decode()
    assert ColourReading.objects.count() == before


def test_a_file_in_which_nothing_is_named_keeps_nothing(desk, dye_house):
    look = desk.post("/shades/file/", form(file=sent(csv_of([("a", GREEN)]))))
    page = desk.post("/shades/file/keep/", {**hidden(look.content.decode()), "lot_1": ""})
    assert page.status_code == 422
    assert "every line is left out" in words(page)


def test_more_samples_than_a_page_takes_are_refused(desk):
    page = desk.post("/shades/file/", form(file=sent(csv_of([(f"p{n}", GREEN) for n in range(51)]))))
    assert page.status_code == 422
    assert "at most 50 at a time" in words(page)


def test_a_file_that_was_damaged_on_its_way_through_the_page_keeps_nothing(desk, dye_house):
    look = desk.post(address(dye_house), form(file=sent(with_one(GREEN))))
    data = {**hidden(look.content.decode()), "lot_1": dye_house.lots["G1"], "data": "%%%"}
    page = desk.post("/shades/file/keep/", data)
    assert page.status_code == 422
    assert "did not come through whole" in words(page)


def test_a_reading_is_put_right_by_a_new_one_that_names_the_old(desk, dye_house):
    desk.post(address(dye_house), form(tufts=EVEN))
    wrong = lot_sittings(dye_house.lots["G1"])[0].tufts[1]
    page = f"/shades/readings/{wrong.id}/"
    refused = desk.post(page, form(tufts="46.1 -22 18", reason=""))
    assert refused.status_code == 422
    assert "reason for the correction" in words(refused)
    done = desk.post(page, form(tufts="46.1 -22 18", reason="white tile was dirty"))
    assert done["Location"] == address(dye_house)
    sitting = lot_sittings(dye_house.lots["G1"])[0]
    assert sitting.n_tufts == 3
    assert ColourReading.objects.get(pk=wrong.id).corrected_by.note == "white tile was dirty"
    text = words(desk.get(address(dye_house)))
    assert "corrected, counts no more" in text
    assert f"in the place of reading {wrong.id}" in text
    again = desk.post(page, form(tufts="46 -22 18", reason="again"))
    assert "corrected already" in words(again)


def test_a_corrected_tuft_says_nothing_of_evenness_any_more(desk, dye_house):
    desk.post(address(dye_house), form(tufts="46.0 -22.0 18.0\n49.0 -20.0 21.0\n46.1 -22.0 18.1"))
    assert "the lot is uneven" in words(desk.get(address(dye_house)))
    wrong = lot_sittings(dye_house.lots["G1"])[0].tufts[1]
    desk.post(f"/shades/readings/{wrong.id}/", form(tufts="46 -22 18", reason="held askew"))
    text = words(desk.get(address(dye_house)))
    assert "The 3 tufts are alike." in text
    assert "uneven" not in text


def test_a_reading_of_another_day_stands_at_its_day(desk, dye_house):
    desk.post(address(dye_house), form(tufts=EVEN, read_on="2025-11-05"))
    newest = lot_sittings(dye_house.lots["G1"])[0]
    assert newest.taken_at.date().isoformat() == "2026-03-02"
    assert "Wednesday 5 November 2025" in words(desk.get(address(dye_house)))
    look = desk.post(address(dye_house), form(file=sent(with_one(GREEN)), read_on="2025-11-06"))
    data = {**hidden(look.content.decode()), "lot_1": dye_house.lots["G2"]}
    desk.post("/shades/file/keep/", data)
    assert "Thursday 6 November 2025" in words(desk.get(address(dye_house, "G2")))


def test_a_lot_is_put_beside_a_shade_from_its_colour(desk, dye_house):
    lot = dye_house.lots["G1"]
    page = desk.get(address(dye_house)).content.decode()
    assert f'href="/shades/S001/?lot={lot}#add-batch"' in page
    shade = desk.get(f"/shades/S001/?lot={lot}").content.decode()
    assert re.search(rf'name="lot"[^>]*value="{lot}"', shade)


def test_a_kettle_load_is_read_by_the_same_form(desk, dye_house):
    page = desk.get(f"{address(dye_house)}?load=3").content.decode()
    assert "Read kettle load 3" in page
    assert '<input type="hidden" name="load" value="3">' in page
    refused = desk.post(address(dye_house), form(tufts=EVEN, load="3"))
    assert refused.status_code == 422
    assert "no dye load “3”" in words(refused)


def test_a_trial_card_is_read_by_the_same_form_and_takes_the_samples_named(client_of, dye_house):
    lots = dye_house.lots
    facts = RecipeFacts(
        parts=(PartFacts(lots["G1"], 0.5), PartFacts(lots["G3"], 0.5)), dry_mass_g=1000, shade=dye_house.shade
    )
    code = propose_recipe(dye_house.owner, facts).code
    desk, way = client_of(dye_house.office), f"/bench/recipes/{code}/measure/"
    rows = csv_of([("card 1", GREEN), ("card 2", GREEN), ("white tile", [0.8] * 31)])
    refused = desk.post(way, form(file=sent(rows)))
    assert "name the ones that belong here" in words(refused)
    assert not ColourReading.objects.filter(recipe__isnull=False).exists()
    assert desk.post(way, form(file=sent(rows), only="1, card 2")).status_code == 302
    assert ColourReading.objects.filter(recipe__code=code).count() == 2


def test_readers_without_the_right_see_no_form_and_may_not_write(client_of, dye_house):
    viewer = client_of(dye_house.viewer)
    page = viewer.get(address(dye_house)).content.decode()
    assert 'name="tufts"' not in page
    before = ColourReading.objects.count()
    assert viewer.post(address(dye_house), form(tufts=EVEN)).status_code in (403, 422)
    assert ColourReading.objects.count() == before


def test_a_wrong_method_is_refused(desk):
    assert desk.get("/shades/file/keep/").status_code == 405


def test_queries_do_not_grow_with_sittings(desk, dye_house):
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(
            connection,
        ) as caught:
            desk.get(address(dye_house))
        counts.append(len(caught))
        for _ in range(4):
            record_readings(
                dye_house.floor, seen=dyed.seen((46, -22, 18), (47, -22, 18)), lot=dye_house.lots["G1"]
            )
    assert counts[1] <= counts[0]


def picture(shift=1.0):
    """A photo with fibre on the left and a chart of 24 patches on the right, with their true Lab."""
    import io

    import numpy as np
    from PIL import Image

    from doffer.fibre.colour.screen import encode
    from doffer.fibre.colour.spectrum import xyz_of_lab
    from doffer.pictures.colour import XYZ_TO_RGB

    labs = [(20 + 15 * k, 0.0, 0.0) for k in range(6)]
    labs += [(45 + 10 * (k % 3), 25 * np.cos(k), 25 * np.sin(k)) for k in range(18)]
    white = np.array([0.948111, 1.0, 1.073046])

    def rgb(lab):
        linear = np.array(XYZ_TO_RGB) @ xyz_of_lab(np.array(lab), white * 100) / 100
        return np.round(255 * encode(np.clip(linear * shift, 0, 1))).astype(np.uint8)

    pixels = np.full((600, 1200, 3), 128, dtype=np.uint8)
    pixels[60:540, 60:540] = rgb((50.0, 10.0, 15.0))
    for k, lab in enumerate(labs):
        row, column = divmod(k, 6)
        y, x = 120 + 120 * row, 660 + 90 * column
        pixels[y - 40 : y + 40, x - 35 : x + 35] = rgb(lab)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    typed = "\n".join(f"{one[0]:.2f} {one[1]:.2f} {one[2]:.2f}" for one in labs)
    return out.getvalue(), typed


def many_pixels(side):
    """The head of a PNG of this many pixels a side: a file of no size, a picture of any."""
    head = b"IHDR" + struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    size, check = struct.pack(">I", 13), struct.pack(">I", zlib.crc32(head))
    data = b"\x89PNG\r\n\x1a\n" + size + head + check
    for kind in (b"IDAT", b"IEND"):
        data += bytes(4) + kind + struct.pack(">I", zlib.crc32(kind))
    return data


PLACES = {
    "fibre_left": "10", "fibre_top": "15", "fibre_right": "40", "fibre_bottom": "85",
    "first_x": "55", "first_y": "20", "last_x": "92.5", "last_y": "80", "columns": "6", "rows": "4",
}  # fmt: skip


def test_a_photo_with_a_chart_is_a_first_guess_and_never_counts(desk, dye_house, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    data, chart = picture()
    asked = form(chart=chart, **PLACES)
    for _ in range(2):  # sent twice, kept once
        done = desk.post("/lots/L005/colour/photo/", {**asked, "photo": sent(data, "p.png")})
        assert done.status_code == 302, errors(done)
    sitting = lot_sittings("L005")[0]
    assert sitting.kind == "photo"
    assert sitting.lab == pytest.approx((50, 10, 15), abs=4)
    assert not sitting.is_measured
    text = words(desk.get("/lots/L005/colour/"))
    assert "From a photo: a first guess only, never for a verdict." in text
    assert "may be off by 3 to 8" in text
    assert Photo.objects.filter(lot__code="L005").count() == 1
    assert len(list(tmp_path.rglob("*.png"))) == 1
    assert len(lot_sittings("L005")) == 1


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"photo": sent(b"no picture", "p.png")}, "photo"),
        ({"photo": sent(many_pixels(60_000), "p.png")}, "at most 40 megapixels"),
        ({"photo": sent(many_pixels(11_000), "p.png")}, "at most 40 megapixels"),
        ({"photo": None}, "choose one first"),
        ({"chart": "50 0 0"}, "24, a line for each"),
        ({"first_x": "left"}, "in per cent of the picture"),
        ({"fibre_right": "12"}, "at least 200 by 200 pixels"),
        ({"columns": "1"}, "from 2 to 20"),
    ],
)
def test_a_photo_that_tells_nothing_is_refused_and_nothing_is_kept(desk, settings, tmp_path, wrong, sentence):
    settings.MEDIA_ROOT = tmp_path
    data, chart = picture()
    typed = {"photo": sent(data, "p.png"), "chart": chart, **PLACES, **wrong}
    before = ColourReading.objects.count()
    page = desk.post("/lots/L005/colour/photo/", form(**{k: v for k, v in typed.items() if v is not None}))
    assert page.status_code == 422
    assert sentence in words(page)
    assert ColourReading.objects.count() == before
    assert Photo.objects.count() == 0
    assert not list(tmp_path.rglob("*.png"))


def test_a_pad_lighter_than_white_is_one_sentence_at_the_file_and_nothing_is_kept(desk, dye_house):
    before = ColourReading.objects.count()
    bright = csv_of([("L006", GREEN), ("white", [1.1] * 31)])
    for page in ("/shades/file/", address(dye_house)):
        answer = desk.post(page, form(file=sent(bright)))
        assert answer.status_code == 422
        (said,) = errors(answer)
        assert "white, lightness 103.7" in said
        assert "leave it out of the file" in said
        assert "<form" in answer.content.decode()
    assert ColourReading.objects.count() == before
    seen = Seen(tufts=(Tuft(reflectance=(1.1,) * 31),), geometry="45/0")
    with pytest.raises(InputError, match="at most 100, as light as white"):
        record_readings(dye_house.floor, seen=seen, lot="L005")


def test_a_perfect_white_can_be_read(desk, dye_house):
    answer = desk.post("/shades/file/", form(file=sent(csv_of([("L006", [1.0] * 31)]))))
    assert answer.status_code == 200
    assert "L006" in words(answer)
