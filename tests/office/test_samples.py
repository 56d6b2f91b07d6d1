"""How our fibre mixes: sample blends teach the constant, and the page says what a fit would change."""

import re
import uuid
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.spectra_files import csv_of, sent

from doffer.errors import InputError
from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.mill import clock
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.commands.samples import SamplePart, record_sample_blend
from doffer.mill.models import Lot, MixingFit, SampleBlend
from doffer.mill.queries.samples import mixing_book
from doffer.office.samples import far

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
NM = np.arange(400, 701, 10)
DARK = 0.03 + 0.05 * (NM > 600)
LIGHT = 0.45 + 0.35 * (NM - 400) / 300
TRUE_M = 0.30  # another card than the printed one
HOW = {"light": "D65", "form": "loose", "observer": "10", "geometry": "45/0"}


@pytest.fixture
def desk(client_of, dye_house):
    """A browser in which the office is chosen; G1 is dark, yellow is light, both measured as spectra."""
    for name, spectrum in (("G1", DARK), ("yellow", LIGHT)):
        seen = Seen(tufts=(Tuft(reflectance=tuple(spectrum)),), geometry="45/0")
        record_readings(dye_house.floor, seen=seen, lot=dye_house.lots[name])
    return client_of(dye_house.office)


def made(share, noise=0.0):
    spectra = blend(np.stack([DARK, LIGHT]), np.array([share, 1 - share]), stearns_noechel(TRUE_M))
    return spectra * (1 + noise)


def samples(house, n):
    for k in range(n):
        share = 0.35 + 0.3 * k / max(1, n - 1)
        parts = [SamplePart("dark", share, tuple(DARK)), SamplePart("light", 1 - share, tuple(LIGHT))]
        record_sample_blend(
            house.floor, fibre="wool", parts=parts, blend=tuple(made(share, 0.02 * (-1) ** k))
        )


def form(house, **more):
    lots = {"lot_1": house.lots["G1"], "share_1": "50", "lot_2": house.lots["yellow"], "share_2": "50"}
    return {**HOW, "key": str(uuid.uuid4()), "fibre": "wool", **lots, **more}


def test_without_samples_the_page_says_what_counts_and_what_to_make(desk):
    text = words(desk.get("/shades/mixing/"))
    assert "No sample blend was kept yet. What is printed for wool counts" in text
    assert "off by 1.0 to 1.2 on average" in text
    assert "the darkest with the lightest lot, half and half" in text


def test_a_sample_blend_is_kept_from_a_file_with_the_spectra_of_its_lots(desk, dye_house):
    file = sent(csv_of([("card", made(0.5))]))
    done = desk.post("/shades/mixing/", form(dye_house, file=file, note="Monday's card"))
    assert done.status_code == 302
    row = SampleBlend.objects.get()
    assert row.kind == "spectrum"
    assert [part["share_ppm"] for part in row.parts] == [500_000, 500_000]
    assert row.parts[0]["reflectance_ppm"][0] == 30_000
    text = words(desk.get(done["Location"]))
    assert "Monday's card" in text
    assert re.search(r"The prediction was off by \d\.\d: the blend is darker", text)


def test_a_sample_read_as_l_a_b_is_kept_as_less_sure(desk, dye_house):
    from doffer.tables.loader import load_tables

    lab = lab_of_reflectance(made(0.5), light(load_tables(), "D65", observer_deg=10))
    typed = " ".join(f"{x:.1f}" for x in lab)
    desk.post("/shades/mixing/", form(dye_house, tufts=typed))
    row = SampleBlend.objects.get()
    assert row.kind == "lab"
    assert "from L, a and b" in words(desk.get("/shades/mixing/"))


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"lot_2": "", "share_2": ""}, "Name two lots or more"),
        ({"lot_2": "L005"}, "L005 was not read dry by an instrument yet"),
        ({"lot_2": "L999"}, "L999 was not read dry by an instrument yet"),
        ({"share_1": "half"}, "share of"),
        ({"geometry": "d/8"}, "was read in another way than the sample"),
        ({"wet": "yes"}, "it was read wet"),
        ({"tufts": ""}, "three numbers"),
    ],
)
def test_a_sample_that_teaches_nothing_is_refused_and_stays_typed(desk, dye_house, typed, sentence):
    page = desk.post("/shades/mixing/", form(dye_house, **{"tufts": "40 0 5", "note": "by hand", **typed}))
    assert page.status_code == 422
    assert sentence in words(page)
    assert "by hand" in page.content.decode()
    assert SampleBlend.objects.count() == 0


def test_the_page_says_what_a_fit_would_change_before_it_is_made(desk, dye_house):
    samples(dye_house, 5)
    book = mixing_book("wool", "loose")
    assert book.change.m == pytest.approx(TRUE_M, rel=0.15)
    assert book.change.left_out_de < book.now_off_de
    text = words(desk.get("/shades/mixing/"))
    assert "What is printed for wool still counts." in text
    assert f"off by {far(book.change.left_out_de)} on a blend they have not seen" in text
    assert re.search(r"Half and half of dark and light would be predicted \d\.\d darker", text)
    assert MixingFit.objects.count() == 0


def test_fitting_uses_the_mills_own_samples_from_then_on(desk, dye_house):
    samples(dye_house, 5)
    done = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    text = words(desk.get(done["Location"]))
    fit = MixingFit.objects.get()
    off = far(fit.left_out_de_centi / 100)
    assert f"Our own samples count: predictions were off by {off} on a sample that was left out" in text
    assert "All five samples are in the fit that counts." in text
    assert "Fit now" not in text
    with clock.frozen(clock.now() + timedelta(days=1)):
        samples(dye_house, 1)
    assert "Fit now" in words(desk.get(done["Location"]))
    assert "Fits so far" in text


def test_the_models_are_compared_on_the_samples_best_first(dye_house, desk):
    samples(dye_house, 4)
    models = mixing_book("wool", "loose").models
    assert [row.model for row in models][-1] == "plain_average"
    assert [row.mean_de for row in models] == sorted(row.mean_de for row in models)
    assert "plain average of the spectra" in words(desk.get("/shades/mixing/"))


def test_less_than_the_models_can_tell_is_never_said_as_a_figure():
    assert [far(0.0), far(0.49), far(0.5), far(1.26)] == ["0.5 or less", "0.5 or less", "0.5", "1.3"]


def test_one_sample_alone_is_not_fitted(desk, dye_house):
    samples(dye_house, 1)
    assert "One sample more, and it can be fitted." in words(desk.get("/shades/mixing/"))
    refused = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    assert refused.status_code == 422
    assert "2 or more" in words(refused)
    assert MixingFit.objects.count() == 0


def test_the_floor_keeps_samples_and_the_office_fits(client_of, dye_house, desk):
    samples(dye_house, 3)
    floor = client_of(dye_house.floor)
    assert "Fit now" not in words(floor.get("/shades/mixing/"))
    file = sent(csv_of([("card", made(0.5))]))
    assert floor.post("/shades/mixing/", form(dye_house, file=file)).status_code == 302
    asked = {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"}
    assert floor.post("/shades/mixing/fit/", asked).status_code in (403, 422)
    assert MixingFit.objects.count() == 0


def test_a_fibre_nobody_knows_is_shown_as_wool(desk):
    assert "How wool mixes here" in words(desk.get("/shades/mixing/?fibre=moss&form=jumper"))


def test_queries_do_not_grow_with_samples(desk, dye_house):
    counts = []
    for _ in range(2):
        samples(dye_house, 3)
        with CaptureQueriesContext(connection) as caught:
            desk.get("/shades/mixing/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_samples_that_settle_nothing_are_not_fitted(desk, dye_house):
    for share in (0.4, 0.6):
        parts = [
            SamplePart("one", share, tuple(LIGHT)),
            SamplePart("other", 1 - share, tuple(LIGHT * 0.97)),
        ]
        record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(LIGHT * 1.1))
    text = words(desk.get("/shades/mixing/"))
    assert "do not settle it" in text
    assert "What counts now goes on counting" in text
    assert "Fit now and use it" not in text
    refused = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    assert refused.status_code == 422
    assert "do not settle" in words(refused)
    assert MixingFit.objects.count() == 0


def test_a_sample_that_was_misread_can_be_left_out_of_the_fit(desk, dye_house):
    samples(dye_house, 3)
    wrong = record_sample_blend(
        dye_house.floor,
        fibre="wool",
        parts=[SamplePart("dark", 0.5, tuple(DARK)), SamplePart("light", 0.5, tuple(LIGHT))],
        blend=tuple(LIGHT),
    )
    page = desk.get("/shades/mixing/").content.decode()
    assert page.count('name="sample"') == 4
    assert page.count('form="fit-form"') == 4
    assert 'id="fit-form"' in page
    good = [str(row.pk) for row in SampleBlend.objects.exclude(pk=wrong)]
    sent_form = {"fibre": "wool", "form": "loose", "ticks": "yes"}
    none = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), **sent_form})
    assert none.status_code == 422
    assert "tick those" in words(none)
    done = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), **sent_form, "sample": good})
    assert done.status_code == 302
    fit = MixingFit.objects.get()
    assert wrong not in fit.samples
    assert fit.m_ppm / 1e6 == pytest.approx(TRUE_M, abs=0.05)
    page = desk.get("/shades/mixing/").content.decode()
    assert page.count("left out of the fit that counts") == 1
    assert re.search(rf'value="{wrong}" form="fit-form">', page), "it stays without its tick"


def test_a_sample_that_its_lots_cannot_make_is_asked_about_before_it_is_kept(desk, dye_house):
    typed = form(dye_house, tufts="90 -23 13")
    page = desk.post("/shades/mixing/", typed)
    assert page.status_code == 422
    assert "no blend of" in words(page)
    assert "comes nearer to it than" in words(page)
    assert SampleBlend.objects.count() == 0
    assert 'name="sure"' in page.content.decode()
    kept = desk.post("/shades/mixing/", {**typed, "sure": "yes", "key": str(uuid.uuid4())})
    assert kept.status_code == 302
    assert SampleBlend.objects.count() == 1


def test_a_lot_of_another_fibre_is_no_sample_of_wool(desk, dye_house):
    Lot.objects.filter(code=dye_house.lots["yellow"]).update(fibre="polyamide")
    file = sent(csv_of([("card", made(0.5))]))
    page = desk.post("/shades/mixing/", form(dye_house, file=file, sure="yes"))
    assert page.status_code == 422
    assert f"{dye_house.lots['yellow']} is" in words(page)
    assert SampleBlend.objects.count() == 0


def test_the_bench_quotes_the_fits_own_error_on_samples_it_had_not_seen(desk, dye_house):
    samples(dye_house, 5)
    desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    off = far(MixingFit.objects.get().left_out_de_centi / 100)
    lots = {f"share_{dye_house.lots[name]}": "50" for name in ("G1", "yellow")}
    asked = {"lot": [dye_house.lots["G1"], dye_house.lots["yellow"]], "shade": dye_house.shade, **lots}
    text = words(desk.get("/bench/answer/", asked))
    told = "On samples of our own that the fit had not seen, predictions were off by"
    assert f"{told} {off} on average" in text
    assert "1.0 to 1.2" not in text


def test_a_card_read_as_l_a_b_teaches_only_when_somebody_ticks_it(desk, dye_house):
    samples(dye_house, 4)
    parts = [SamplePart("dark", 0.5, tuple(DARK)), SamplePart("light", 0.5, tuple(LIGHT))]
    rough = record_sample_blend(
        dye_house.floor, fibre="wool", parts=parts, blend=tuple(made(0.5, 0.05)), kind="lab"
    )
    page = desk.get("/shades/mixing/").content.decode()
    assert re.search(rf'value="{rough}" form="fit-form">', page), "it has no tick of itself"
    every = {"fibre": "wool", "form": "loose"}
    desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), **every})
    assert rough not in MixingFit.objects.get().samples
    ticked = [str(row.pk) for row in SampleBlend.objects.all()]
    desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), **every, "ticks": "yes", "sample": ticked})
    assert rough in MixingFit.objects.order_by("-id").first().samples


def test_what_a_fit_would_change_leaves_out_what_is_known_from_l_a_b_alone(desk, dye_house):
    samples(dye_house, 3)
    before = mixing_book("wool", "loose")
    parts = [SamplePart("dark", 0.5, tuple(DARK)), SamplePart("light", 0.5, tuple(LIGHT))]
    record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(made(0.5, 0.05)), kind="lab")
    after = mixing_book("wool", "loose")
    assert (after.n_samples, len(after.teaching)) == (4, 3)
    assert after.change == before.change
    assert after.now_off_de == before.now_off_de
    assert after.models == before.models
    assert "One sample read as L, a and b alone is left out of this." in words(desk.get("/shades/mixing/"))
    desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    assert mixing_book("wool", "loose").is_current
    assert "All three samples are in the fit that counts" in words(desk.get("/shades/mixing/"))


def test_a_fit_that_a_wild_sample_spoilt_is_not_used(desk, dye_house):
    samples(dye_house, 3)
    parts = [SamplePart("dark", 0.5, tuple(DARK)), SamplePart("light", 0.5, tuple(LIGHT))]
    record_sample_blend(
        dye_house.floor, fibre="wool", parts=parts, blend=tuple(0.8 * LIGHT), is_looked_at=True
    )
    refused = desk.post("/shades/mixing/fit/", {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose"})
    assert refused.status_code == 422
    assert "on a sample that is left out it is off by" in words(refused) or "do not settle" in words(refused)
    assert MixingFit.objects.count() == 0


def test_the_terminal_says_the_constant_that_the_bench_then_counts_with(dye_house, monkeypatch, capsys):
    from doffer.cli.main import main
    from doffer.mill.queries.bench import bench

    samples(dye_house, 3)
    monkeypatch.setattr("doffer.cli.shade_files.open_records", lambda _: None)
    monkeypatch.setattr("doffer.cli.shade_files.acting_owner", lambda: dye_house.owner)
    assert main(["shade", "calibrate", "--mill", "demo", "--keep"]) == 0
    counts = bench(shade=dye_house.shade).mixing.m
    fitted = MixingFit.objects.get().m_ppm / 1e6
    assert abs(counts - fitted) > 1e-4
    assert f"The bench counts with M {counts:.3f} from now on" in capsys.readouterr().out


def test_a_lot_carded_with_itself_is_no_sample(desk, dye_house):
    code = dye_house.lots["G1"]
    sent = {"key": str(uuid.uuid4()), "fibre": "wool", "form": "loose", "lot_1": code, "lot_2": code.lower()}
    more = {"share_1": "50", "share_2": "50", "light": "D65", "observer": "10", "tufts": "46 -22 18"}
    refused = desk.post("/shades/mixing/", {**sent, **more, "geometry": "45/0", "sure": "yes"})
    assert refused.status_code == 422
    assert f"{code} is named twice" in words(refused)
    twice = [SamplePart(code, 0.5, tuple(DARK))] * 2
    with pytest.raises(InputError, match="each named once"):
        record_sample_blend(dye_house.floor, fibre="wool", parts=twice, blend=tuple(DARK))
    assert SampleBlend.objects.count() == 0
