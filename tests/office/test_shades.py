"""The shade book: standards, every batch against them, drift, and a named person where the tolerance asks."""

import re
import uuid
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.spectra_files import GREEN, RED, csv_of, sent

from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.shades import add_batch, judge_batch
from doffer.mill.models import ColourReading, Shade, ShadeBatch, ShadeVerdict, ShadeVersion
from doffer.mill.queries.shades import one_shade

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
HOW = {"light": "D65", "form": "loose", "observer": "10", "geometry": "45/0"}
STRICT = {"formula": "cmc", "pass_de": "1.0", "ask_de": "1.5"}
WALK = [(46.8, -20.6, 19.0), (46.4, -20.3, 19.8), (45.9, -19.4, 20.7), (45.4, -18.6, 21.6)]


@pytest.fixture
def desk(client_of, dye_house):
    """A browser in which the office is chosen."""
    return client_of(dye_house.office)


def form(**more):
    return {**HOW, "key": str(uuid.uuid4()), **more}


def batches(house, labs, *, shade=None):
    """Old batches, a month apart; gives their numbers."""
    made = []
    for number, lab in enumerate(labs, start=1):
        day = date(2025, 1, 1) + timedelta(days=30 * number)
        batch = add_batch(house.owner, shade=shade or house.shade, label=f"batch {number}", made_on=day)
        record_readings(house.owner, seen=dyed.seen(lab), batch=batch)
        made.append(batch)
    return made


def test_an_empty_book_says_what_to_do_next(client_of, small_mill):
    text = words(client_of(small_mill.office).get("/shades/"))
    assert "No shade is in the book yet." in text
    assert "Add a shade" in text


def test_the_list_tells_standard_batches_and_the_last_verdict_in_words(desk, dye_house):
    last = batches(dye_house, WALK[:2])[-1]
    judge_batch(dye_house.owner, last)
    text = words(desk.get("/shades/"))
    assert re.search(r"Fern S001 · felting roving .*1 .*2 .*batch 2 Sunday 2 March 2025 .*on shade", text)
    assert (
        "Shades" in re.search(r'<nav class="places".*?</nav>', desk.get("/").content.decode(), re.DOTALL)[0]
    )


def test_a_shade_from_typed_tufts_has_their_mean_and_the_usual_tolerance(desk, dye_house):
    page = desk.get("/shades/new/").content.decode()
    assert 'value="1"' in page
    assert 'value="1.5"' in page
    done = desk.post("/shades/new/", form(name="Moss", use="socks", tufts="50 -10 20\n52 -10 20", **STRICT))
    code = done["Location"].split("/")[-2]
    book = one_shade(code)
    assert book.standard.lab == pytest.approx((51.0, -10, 20), abs=0.05)
    assert (book.standard.formula, book.standard.pass_de, book.standard.ask_de) == ("cmc", 1.0, 1.5)
    assert ColourReading.objects.filter(standard__shade__code=code).count() == 2
    assert (
        "A batch is on shade up to 1.0 away, lightness counted by half; up to 1.5 a person decides"
        in words(desk.get(done["Location"]))
    )


def test_a_shade_from_a_file_is_measured_and_knows_lamp_light(desk):
    file = sent(csv_of([("fern 1", GREEN), ("fern 2", GREEN), ("madder", RED)]))
    refused = desk.post("/shades/new/", form(name="Moss", file=file, **STRICT))
    assert refused.status_code == 422
    assert "name the ones that belong here" in words(refused)
    assert Shade.objects.count() == 1
    file = sent(csv_of([("fern 1", GREEN), ("fern 2", GREEN), ("madder", RED)]))
    done = desk.post("/shades/new/", form(name="Moss", file=file, only="fern 1, 2", **STRICT))
    text = words(desk.get(done["Location"]))
    assert "In lamp light" in text
    assert "measured as a spectrum" in text
    assert "approximate: it comes from" not in text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"name": ""}, "Give it a name"),
        ({"name": "fern"}, "There is a shade fern already"),
        ({"pass_de": "some"}, "on shade up to is “some”"),
        ({"pass_de": "2"}, "this number must be the larger one"),
        ({"pass_de": "0"}, "both above zero"),
        ({"formula": "gut feeling"}, "Choose one of the two"),
        ({"tufts": "green"}, "three numbers, L, a and b"),
    ],
)
def test_a_shade_that_cannot_be_is_refused_and_stays_typed(desk, typed, sentence):
    data = form(**{"name": "Moss", "use": "for socks", "tufts": "50 -10 20", **STRICT, **typed})
    page = desk.post("/shades/new/", data)
    assert page.status_code == 422
    assert sentence in words(page)
    assert "for socks" in page.content.decode()
    assert Shade.objects.count() == 1
    assert ColourReading.objects.filter(standard__isnull=False).count() == 0


def test_a_shade_sent_twice_is_one_shade(desk):
    data = form(name="Moss", tufts="50 -10 20", **STRICT)
    first, second = desk.post("/shades/new/", data), desk.post("/shades/new/", data)
    assert first["Location"] == second["Location"]
    assert Shade.objects.count() == 2


def test_a_shade_that_walks_away_says_how_and_when_it_leaves(desk, dye_house):
    batches(dye_house, [(46.5 - 0.2 * k, -20.9 + 0.1 * k, 19.2) for k in range(4)])
    text = words(desk.get("/shades/S001/"))
    told = re.search(
        r"Fern drifts darker.* by 0\.2 a batch; it will leave what passes in about (\w+) batches\.", text
    )
    assert told, text[:3000]
    assert told[1] in ("three", "four", "five")
    page = desk.get("/shades/S001/").content.decode()
    assert "stroke-dasharray" in page
    assert page.count("<title>4 batch 4: ") == 3


def test_a_shade_that_has_left_says_so_though_each_batch_is_near_the_last(desk, dye_house):
    batches(dye_house, WALK)
    text = words(desk.get("/shades/S001/"))
    assert "Fern drifts yellower and darker by 0.8 a batch and has left what passes." in text
    steps = [
        float(x)
        for x in re.findall(
            r"<td class=\"number soft small\"[^>]*><span>([\d.]+)", desk.get("/shades/S001/").content.decode()
        )
    ]
    assert max(steps) < 1.1


def test_batches_that_scatter_are_not_called_a_drift(desk, dye_house):
    batches(dye_house, [(46.9, -21.2, 19.6), (46.2, -20.6, 18.8), (46.8, -20.7, 19.7), (46.4, -21.2, 18.7)])
    assert "Fern does not drift: its batches scatter about one place." in words(desk.get("/shades/S001/"))


def test_below_three_batches_no_drift_is_told(desk, dye_house):
    assert "No batch was compared with standard 1 yet." in words(desk.get("/shades/S001/"))
    batches(dye_house, WALK[:2])
    assert "two batches are here so far" in words(desk.get("/shades/S001/"))


def test_a_batch_is_added_as_a_lot_or_under_a_name(desk, dye_house):
    lot = dye_house.lots["G1"]
    done = desk.post(
        "/shades/S001/batch/", {"key": str(uuid.uuid4()), "lot": lot.lower(), "made_on": "2026-02-20"}
    )
    assert ShadeBatch.objects.get(lot__code=lot).made_on == date(2026, 2, 20)
    assert "1.2 away: greener" in words(desk.get(done["Location"]))
    done = desk.post("/shades/S001/batch/", {"key": str(uuid.uuid4()), "label": "autumn 2025"})
    assert "Read a few dry tufts below first." in words(desk.get(done["Location"]))


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "a lot, or a label"),
        ({"lot": "L999"}, "no lot “L999”"),
        ({"label": "x", "made_on": "2031-01-01"}, "not in the future"),
        ({"label": "x", "made_on": "last week"}, "a day, such as"),
    ],
)
def test_a_batch_that_cannot_be_is_refused_beside_its_field(desk, typed, sentence):
    page = desk.post("/shades/S001/batch/", {"key": str(uuid.uuid4()), "note": "from the shed", **typed})
    assert page.status_code == 422
    assert sentence in words(page)
    assert "from the shed" in page.content.decode()
    assert ShadeBatch.objects.count() == 0


def judge(desk, batch, **more):
    return desk.post(f"/shades/S001/batches/{batch}/judge/", {"key": str(uuid.uuid4()), **more})


def test_a_batch_is_judged_with_words_against_the_standard(desk, dye_house):
    near, far = batches(dye_house, [(46.8, -20.6, 19.0), (42, -24, 14)])
    judge(desk, near)
    done = judge(desk, far)
    text = words(desk.get(done["Location"]))
    assert "off shade" in text
    assert "5.8 away: darker, greener" in text
    assert [row.verdict for row in ShadeVerdict.objects.order_by("id")] == ["pass", "fail"]


def test_where_the_tolerance_asks_a_named_person_decides_with_a_note(desk, client_of, dye_house):
    (batch,) = batches(dye_house, [(48.1, -20.9, 19.2)])
    judge(desk, batch)
    page = words(desk.get(f"/shades/S001/batches/{batch}/"))
    assert "I decide it, Otto" in page
    assert judge(desk, batch, decision_needed="yes").status_code == 422
    refused = judge(desk, batch, decision_needed="yes", decision="pass", note="")
    assert "with a note that says why" in words(refused)
    done = judge(desk, batch, decision_needed="yes", decision="pass", note="goes to felting kits")
    assert "Otto decided: goes to felting kits" in words(desk.get(done["Location"]))
    floor = words(client_of(dye_house.floor).get(f"/shades/S001/batches/{batch}/"))
    assert "I decide it" not in floor
    floor_asks = client_of(dye_house.floor)
    assert judge(floor_asks, batch, decision_needed="yes", decision="fail", note="no").status_code in (
        403,
        422,
    )
    assert ShadeVerdict.objects.count() == 2


def test_a_batch_only_photographed_or_read_wet_is_not_judged(desk, dye_house):
    for number, more in enumerate(({"is_photo": True}, {"is_wet": True})):
        batch = add_batch(dye_house.owner, shade="S001", label=f"guess {number}")
        record_readings(dye_house.owner, seen=dyed.seen(dyed.FERN, **more), batch=batch)
        assert judge(desk, batch).status_code == 422
    assert ShadeVerdict.objects.count() == 0


def test_pads_read_in_another_way_are_compared_only_with_a_reason(desk, dye_house):
    batch = add_batch(dye_house.owner, shade="S001", label="other head")
    record_readings(dye_house.owner, seen=dyed.seen(dyed.FERN, geometry="d/8"), batch=batch)
    refused = judge(desk, batch)
    assert refused.status_code == 422
    assert "45/0 and the other with d/8" in words(refused)
    assert judge(desk, batch, anyhow="both checked on the same tile").status_code == 302


def test_a_batch_that_turns_in_lamp_light_is_told(desk, dye_house):
    done = desk.post("/shades/new/", form(name="Turncoat", tufts="50 -10 20 | A 50 -5 22", **STRICT))
    code = done["Location"].split("/")[-2]
    batch = add_batch(dye_house.owner, shade=code, label="one")
    page = f"/shades/{code}/batches/{batch}/"
    desk.post(f"{page}read/", form(tufts="50 -10 20 | A 50 2 24"))
    text = words(desk.get(page))
    assert (
        "On shade in daylight, off shade in lamp light: it was dyed with other dyes than the standard."
        in text
    )
    assert "In lamp light" in text
    assert "turns in another light" in words(desk.get(f"/shades/{code}/"))
    assert "turns in another light" not in words(desk.get("/shades/S001/"))


def test_a_batch_read_badly_keeps_nothing(desk, dye_house):
    batch = add_batch(dye_house.owner, shade="S001", label="one")
    before = ColourReading.objects.count()
    page = desk.post(f"/shades/S001/batches/{batch}/read/", form(tufts="46 nan 2"))
    assert page.status_code == 422
    assert "46 nan 2" in page.content.decode()
    assert ColourReading.objects.count() == before


def test_a_new_standard_needs_a_reason_and_leaves_the_old_one_in_sight(desk, dye_house):
    batches(dye_house, WALK[:1])
    same = {"formula": "de2000", "pass_de": "1.2", "ask_de": "1.8"}
    assert "Say why" in words(desk.post("/shades/S001/restate/", form(tufts="50 -21 20", **same)))
    nothing = desk.post("/shades/S001/restate/", form(reason="just so", **same))
    assert "Nothing changes" in words(nothing)
    assert ShadeVersion.objects.count() == 1
    done = desk.post("/shades/S001/restate/", form(reason="old tuft had faded", tufts="50 -21 20", **same))
    text = words(desk.get(done["Location"]))
    assert "Standard 2 (counts now)" in text
    assert "old tuft had faded" in text
    assert "to standard 1" in text
    stricter = form(reason="kits are fussy", formula="de2000", pass_de="0.8", ask_de="1.2")
    desk.post("/shades/S001/restate/", stricter)
    assert [
        (v.version, v.pass_centi, v.labs_centi["D65"][0]) for v in ShadeVersion.objects.order_by("id")
    ] == [
        (1, 120, 4660),
        (2, 120, 5000),
        (3, 80, 5000),
    ]


def test_the_tuft_in_the_book_is_read_again_and_its_fading_told(desk, dye_house):
    assert "No reading of the tuft is kept" in words(desk.get("/shades/S001/standard/"))
    desk.post("/shades/S001/standard/", form(tufts="49.6 -18.9 19.2"))
    text = words(desk.get("/shades/S001/standard/"))
    assert re.search(r"\d\.\d from what is written, lightness counted in full: lighter", text)
    assert "Set a new standard" in text


def test_a_shade_leaves_the_book_and_stays_among_the_old_ones(desk):
    assert desk.post("/shades/S001/archive/").status_code == 302
    assert "Fern" not in words(desk.get("/shades/"))
    assert "Fern" in words(desk.get("/shades/?standing=archived"))
    text = words(desk.get("/shades/S001/"))
    assert "no longer made; its history stays" in text
    assert "Bring Fern back into the book" in text
    assert desk.post("/shades/S001/restore/")["Location"] == "/shades/S001/"
    assert "Fern" in words(desk.get("/shades/"))
    assert "Bring Fern back" not in words(desk.get("/shades/S001/"))
    assert desk.post("/shades/S001/restore/").status_code == 302


def test_unknown_shades_and_batches_of_others_are_not_found(desk, dye_house):
    (batch,) = batches(dye_house, WALK[:1])
    desk.post("/shades/new/", form(name="Moss", tufts="50 -10 20", **STRICT))
    assert desk.get("/shades/S999/").status_code == 404
    assert desk.get(f"/shades/S002/batches/{batch}/").status_code == 404
    assert desk.get("/shades/s001/")["Location"] == "/shades/S001/"


def test_viewers_read_the_book_and_write_nothing(client_of, dye_house):
    viewer = client_of(dye_house.viewer)
    (batch,) = batches(dye_house, WALK[:1])
    for way in ("/shades/", "/shades/S001/", f"/shades/S001/batches/{batch}/", "/shades/new/"):
        page = viewer.get(way)
        assert page.status_code == 200
        assert "Put it into the book" not in words(page)
        assert "Add the batch" not in words(page)
    assert viewer.post("/shades/new/", form(name="Moss", tufts="50 -10 20", **STRICT)).status_code in (
        403,
        422,
    )
    assert viewer.get("/shades/S001/archive/").status_code == 405
    assert Shade.objects.count() == 1


FORMULAS = ("ciede", "de00", "cmc", "friele")  # in a choice, what the instrument calls it stands in brackets


def test_no_science_word_stands_on_the_face(desk, dye_house):
    made = batches(dye_house, WALK)
    for way in (
        "/shades/",
        "/shades/S001/",
        f"/shades/S001/batches/{made[0]}/",
        "/shades/new/",
        "/shades/mixing/",
    ):
        page = desk.get(way).content.decode()
        face = re.sub(r"(?s)<details.*?</details>", "", page).lower()
        face = re.sub(
            r"\(cmc 2:1 on instruments\)|\(de00\)|value=\"\w+\"|id=\"[\w-]+\"|for=\"[\w-]+\"", "", face
        )
        for word in (
            "kubelka",
            "reflectance",
            "illuminant",
            "metamer",
            "stearns",
            "observer<",
            "regression",
            *FORMULAS,
        ):
            assert word not in face, (way, word)


def test_queries_do_not_grow_with_batches_and_shades(desk, dye_house):
    def asked(way):
        with CaptureQueriesContext(connection) as caught:
            assert desk.get(way).status_code == 200
        return len(caught)

    batches(dye_house, WALK)
    one = add_batch(dye_house.owner, shade="S001", lot=dye_house.lots["G1"])
    judge_batch(dye_house.owner, one)
    ways = ("/shades/", "/shades/S001/", f"/shades/S001/batches/{one}/")
    before = [asked(way) for way in ways]
    for name in ("Moss", "Slate", "Oat"):
        done = desk.post("/shades/new/", form(name=name, tufts="50 -10 20", **STRICT))
        for batch in batches(dye_house, WALK, shade=done["Location"].split("/")[-2]):
            judge_batch(dye_house.owner, batch)
    for name in ("G2", "G3", "G4"):
        lot = dye_house.lots[name]
        judge_batch(dye_house.owner, add_batch(dye_house.owner, shade="S001", lot=lot, anyhow="a poor one"))
    assert [asked(way) for way in ways] == before
    assert max(before) < 30


def drift_panel(desk):
    return words(desk.get("/shades/S001/")).split("Does it drift?")[1].split("Every batch")[0]


def test_a_wild_newest_batch_is_said_first_and_hides_no_drift(desk, dye_house):
    batches(dye_house, [*WALK, (84, 1, 12)])
    told = drift_panel(desk)
    newest = re.search(r"The newest batch, batch 5, is off shade: (\d+\.\d) away, lighter", told)
    assert float(newest[1]) > 20
    assert told.index("is off shade") < told.index(
        "Fern drifts yellower and darker by 0.8 a batch and has left"
    )
    assert "Batch 5 (batch 5) lies far from the others and is left out of the line." in told
    assert "a little" not in told
    page = desk.get("/shades/S001/").content.decode()
    assert "off shade, left out of the line</title>" in page


def test_an_off_newest_batch_is_never_calmed_by_steady_ones(desk, dye_house):
    steady = [(46.9, -21.2, 19.6), (46.2, -20.6, 18.8), (46.8, -20.7, 19.7), (46.4, -21.2, 18.7)]
    batches(dye_house, [*steady, (43.2, -21.0, 19.2)])
    told = drift_panel(desk)
    assert "The newest batch, batch 5, is off shade: " in told
    assert "does not drift" not in told
    assert "stays within" not in told


def test_an_unread_newest_batch_is_said_and_shows_no_swatch(desk, dye_house):
    batches(dye_house, WALK[:3])
    before = desk.get("/shades/S001/").content.decode()
    add_batch(dye_house.owner, shade="S001", label="unread")
    page = desk.get("/shades/S001/").content.decode()
    assert page.count("inline-picture") == before.count("inline-picture")
    assert "The newest batch, unread, is not held against the standard: not read yet." in drift_panel(desk)
    row = re.search(r"(?s)4\. unread.*?</tr>", page)[0]
    assert "not read yet" in row
    assert "<svg" not in row.split('data-name="To the standard"')[0]


def test_another_tolerance_keeps_the_history_against_the_new_one(desk, dye_house):
    made = batches(dye_house, WALK)
    for batch in made:
        judge_batch(dye_house.owner, batch)
    by_now = [point.to_standard.de_cmc for point in one_shade("S001").batches]
    desk.post("/shades/S001/restate/", form(reason="kits are fussy", **STRICT))
    page = desk.get("/shades/S001/").content.decode()
    told = words(desk.get("/shades/S001/"))
    assert "Fern drifts yellower and darker by 0.8 a batch and has left what passes." in told
    assert page.count("<title>4 batch 4: ") == 3
    shown = [float(x) for x in re.findall(r'class="batch-de">([\d.]+)', page)]
    assert shown == pytest.approx(by_now[::-1], abs=0.051)
    last = one_shade("S001").batches[-1]
    assert last.to_standard.de_cmc != pytest.approx(last.to_standard.de2000, abs=0.1)
    assert f"{last.verdicts[-1].de:.1f} with lightness counted in full when it was said" in told
    assert "off shade by the tolerance that counts now" in told
    assert "on shade up to 1.0 away, lightness counted by half" in told
    assert "on shade up to 1.2 away, lightness counted in full" in told
    assert "lightness counted by half: off shade" in words(desk.get(f"/shades/S001/batches/{made[-1]}/"))


def test_another_colour_leaves_old_batches_out_of_its_drift(desk, dye_house):
    batches(dye_house, WALK)
    same = {"formula": "de2000", "pass_de": "1.2", "ask_de": "1.8"}
    desk.post("/shades/S001/restate/", form(reason="new tuft", tufts="50 -21 20", **same))
    told = drift_panel(desk)
    assert "The newest batch, batch 4, was made to standard 1." in told
    assert "No batch was compared with standard 2 yet." in told


def test_a_lot_that_hardly_can_be_this_shade_is_asked_about_on_its_page(desk, dye_house):
    typed = {"key": str(uuid.uuid4()), "lot": "L001", "note": "from the shed"}
    page = desk.post("/shades/S001/batch/", typed)
    assert page.status_code == 422
    assert "L001 is not among the batches of Fern yet" in words(page)
    assert "Why it is a batch of Fern all the same" in words(page)
    assert "from the shed" in page.content.decode()
    assert ShadeBatch.objects.count() == 0
    assert desk.post("/shades/S001/batch/", {**typed, "anyhow": "dyed next door"}).status_code == 302
    assert ShadeBatch.objects.get().note == "from the shed; dyed next door"
