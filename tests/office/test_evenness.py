"""How even a blend will be: strips with their verdicts, on the bench and for a batch of an order."""

import dataclasses
import html
import io
import math
import re
import uuid

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image
from tests.office.page_words import words

from doffer.mill.commands.evenness import FigureFacts, TrialFacts, record_figure, record_trial
from doffer.mill.commands.lots import add_photo
from doffer.mill.evenness_facts import PhotoFacts, PieceVariance, SampleFacts, TrialResult
from doffer.mill.models import MachineFigure
from doffer.mill.queries.evenness import one_trial
from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import route_of, usual_of
from doffer.office.evenness_learn import spread_of
from doffer.office.evenness_pictures import are_locks, from_far, shown_g, strips_png
from doffer.office.evenness_view import evenness_view, how_words, say_chances
from doffer.pictures.strip import COLUMNS, LANES, RIM_ROWS
from doffer.tables.loader import load_tables

pytestmark = pytest.mark.django_db
BENCH = "/bench/evenness/?lot=L027&lot=L028&lot=L031"
ORDER = "/orders/O207/evenness/"
MANY = "set=yes&layers=31&passes=3&toss=yes&drawn=4x4"
FORMULA_WORDS = ("spectrum", "variance", "sigma", "cielab", " cv ", "standard deviation", "de2000")
WORKING = re.compile(r"<details class=\"working\".*?</details>\s*(?=<details|</div>|<p|</section)", re.DOTALL)


def tags(answer) -> list[str]:
    """The word beside each strip, seen or not."""
    return re.findall(r'<span class="tag[^"]*">(seen|may be seen|not seen)</span>', answer.content.decode())


def test_every_pass_has_its_strip_and_its_verdict_in_words(client, demo_mill):
    answer = client.get(f"{BENCH}&set=yes&layers=12&passes=2&toss=yes&drawn=4x6")
    page = answer.content.decode()
    names = re.findall(r"<li class=\"strip-row\"><div><p><strong>([^<]+)</strong>", page)
    assert names == ["On the belt", "Picked once", "Picked twice", "Carded", "Drawn, 4 ends", "Drawn, 6 ends"]
    assert page.count('class="strip"') == len(names) == len(tags(answer))
    assert tags(answer)[0] == "seen"
    assert "as far as the machines are known" in words(answer)


def test_more_layers_and_passes_change_the_verdict(client, demo_mill):
    few, many = client.get(f"{ORDER}?set=yes&layers=2&passes=1"), client.get(f"{ORDER}?{MANY}")
    assert tags(few)[-1] == "seen"
    assert tags(many)[-1] != "seen"


def test_the_strips_are_one_picture_with_a_strip_for_every_step(client, demo_mill):
    answer = client.get(f"/orders/O207/evenness/strips.png?{MANY}")
    assert answer["Content-Type"] == "image/png"
    picture = Image.open(io.BytesIO(answer.content))
    # as laid, three passes each with its toss, the card, two drawings
    assert picture.size == (COLUMNS, (1 + 6 + 1 + 2) * (LANES + 2 * RIM_ROWS))
    assert answer.content == client.get(f"/orders/O207/evenness/strips.png?{MANY}").content


def test_what_is_laid_in_pure_layers_fades_in_the_picture_from_pass_to_pass(client, demo_mill):
    answer = client.get(f"/orders/O207/evenness/strips.png?{MANY}")
    pixels = np.asarray(Image.open(io.BytesIO(answer.content)).convert("L"), dtype=float)
    step = LANES + 2 * RIM_ROWS
    stripes = [pixels[k * step : (k + 1) * step].mean(axis=0).std() for k in (0, 6, 7, 9)]
    assert stripes[0] > 3 * stripes[1]
    assert stripes[1] > stripes[2] >= stripes[3]


def test_a_swatch_of_cloth_is_a_picture(client, demo_mill):
    answer = client.get(f"/orders/O207/evenness/cloth.png?{MANY}")
    picture = Image.open(io.BytesIO(answer.content))
    assert picture.size == (220, 176)
    assert len(picture.convert("RGB").getcolors(100_000)) > 5


def test_fine_hues_melt_from_afar_while_slow_ones_stay():
    tables = load_tables()
    red, green = np.array([0.40, 0.20, 0.20]), np.array([0.20, 0.26, 0.20])

    def hue_contrast(period_px, distance_mm):
        one = np.where(np.arange(96) // (period_px // 2) % 2, 1.0, 0.0)[:, None]
        linear = np.broadcast_to(red * one + green * (1 - one), (8, 96, 3))
        seen = from_far(linear, tables, high_mm=1.0, wide_mm=1.0, distance_mm=distance_mm).astype(int)
        return (seen[..., 0] - seen[..., 1]).std()

    assert hue_contrast(2, 1000.0) < 0.8 * hue_contrast(2, 400.0)
    assert hue_contrast(48, 1000.0) > 0.9 * hue_contrast(48, 400.0)


def test_a_way_is_found_and_its_link_shows_no_stripe(client, demo_mill):
    page = client.get(f"{ORDER}?find=yes").content.decode()
    found = page[page.index('id="found"') :]
    link = re.search(r'class="button" href="([^"]+)"', found).group(1).replace("&amp;", "&")
    assert tags(client.get(link))[-1] in ("not seen", "may be seen")
    assert "ways were tried" in found


def test_what_cannot_be_read_keeps_its_sentence_beside_what_was_typed(client, demo_mill):
    answer = client.get(f"{ORDER}?set=yes&layers=many&passes=2&roving=500")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="layers" name="layers"' in page
    assert 'value="many" aria-invalid="true"' in page
    assert "grams in a metre, from 0.5 to 100" in page


def test_while_a_slider_moves_only_the_answer_comes_with_its_address(client, demo_mill):
    answer = client.get(f"{ORDER}?set=yes&layers=20&passes=2", headers={"HX-Request": "true"})
    assert answer.content.decode().lstrip().startswith('<div class="stack" id="evenness-answer"')
    assert "layers=20" in answer["HX-Replace-Url"]
    assert answer["HX-Replace-Url"].startswith(ORDER)


def test_the_bench_shows_the_strips_alone_and_leads_to_everything(client, demo_mill):
    answer = client.get(f"{BENCH}&part=strips", headers={"HX-Request": "true"})
    page = answer.content.decode()
    assert "HX-Replace-Url" not in answer
    assert "Layers, passes and drawing" in page
    assert "What it costs" not in page
    assert 'hx-get="/bench/evenness/?part=strips"' in client.get("/bench/?lot=L027&lot=L028").content.decode()


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("/bench/evenness/", "put them on the bench first"),
        ("/orders/O201/evenness/", "Nothing of O201 is mixed from here on"),
        ("/orders/O207/evenness/?batch=9", "Nothing of O207 is mixed from here on"),
    ],
)
def test_where_nothing_is_mixed_the_page_says_so_and_where_to_go(client, demo_mill, address, why):
    answer = client.get(address)
    assert answer.status_code == 200
    assert why in words(answer)
    assert 'class="button button-main"' in answer.content.decode()


def test_an_order_leads_to_how_even_it_will_be(client, demo_mill):
    assert "/orders/O207/evenness/?batch=1" in client.get("/orders/O207/").content.decode()


def test_traps_are_told_with_what_to_do_instead(client, demo_mill):
    answer = client.get(f"{ORDER}?set=yes&layers=6&passes=1&laying=handfuls&whole=yes")
    assert "Pure handfuls in any order lie together by chance" in words(answer)
    assert "Lay the lots in turn" in words(answer)
    assert "Feed sheet" not in words(answer)


def test_the_feed_sheet_lays_what_is_weighed_out(client, demo_mill):
    page = client.get(f"{ORDER}?set=yes&layers=3&passes=1").content.decode()
    laid = re.search(r'aria-label="Layers on the feed\. ([^"]+)"', page).group(1).replace("\u202f", " ")
    grams = [int(mass) for mass in re.findall(r"(\d+) g", laid)]
    plan = client.get("/orders/O207/").content.decode().replace("\u202f", " ")
    planned = re.search(r'aria-label="Layers on the feed\. ([^"]+)"', plan).group(1)
    assert sum(grams) == sum(int(mass) for mass in re.findall(r"(\d+) g", planned))
    assert len(grams) == 3 * 4 + 1


def test_the_words_are_those_of_a_mill(client, demo_mill):
    page = WORKING.sub("", client.get(f"{BENCH}&set=yes&layers=12&passes=2").content.decode())
    text = re.sub(r"<[^>]+>", " ", page).lower()
    assert "seen" in text
    assert [word for word in FORMULA_WORDS if word in text] == []


def test_which_figures_are_the_mills_own_is_told(client, demo_mill):
    text = words(client.get(ORDER))
    assert "What the card holds 53 g 47.7 to 58.3 g ours" in text
    assert "Weight of the locks as fed 2 g 1.00 to 5.00 g a guess" in text


def test_the_page_asks_the_database_as_often_for_two_lots_as_for_five(client, demo_mill):
    def asked(address):
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        return len(queries)

    client.get("/bench/")
    two, five = asked("/bench/evenness/?lot=L027&lot=L028"), asked(f"{BENCH}&lot=L029&lot=L030")
    assert five == two
    assert five < 60
    assert asked(ORDER) < 70


def test_the_same_blend_is_not_read_again_until_something_changes(
    client, demo_mill, django_assert_max_num_queries
):
    client.get(ORDER)
    with django_assert_max_num_queries(8):
        before = client.get(f"{ORDER}?set=yes&layers=9&passes=1")
    assert "What the card holds 53 g 47.7 to 58.3 g ours" in words(before)
    drawn = re.search(r"strips\.png\?[^\"]+", before.content.decode())[0]
    record_figure(
        demo_mill.owner, "CRD", FigureFacts(key="card_hold_up", value=80, low=70, high=90, found="fit")
    )
    after = client.get(f"{ORDER}?set=yes&layers=9&passes=1")
    assert re.search(r"What the card holds 80 g 70\S* to 90\S* g ours", words(after))
    assert drawn not in after.content.decode()


def test_no_strip_is_drawn_of_a_lot_without_colour_but_its_shares_are_told(demo_mill):
    inputs = mixing_of_lots({"L027": 900.0, "L028": 300.0})
    bare = dataclasses.replace(inputs.parts[1], lab=None, reflectance_ppm=())
    inputs = dataclasses.replace(inputs, parts=(inputs.parts[0], bare))
    route = route_of(inputs, read_mixed({}, "metric", usual_of(inputs)))
    view = evenness_view(route, route.foretold(), strips_href="/x.png", weighed_g={}, colours={})
    assert view.without_colour == ("L028",)
    assert {row.strip for row in view.rows} == {""}
    assert {row.seen for row in view.rows} == {""}
    assert "L028" in view.last.sentence
    assert route.looks is None


def test_strips_show_three_sets_but_never_more_than_the_lot(demo_mill):
    inputs = mixing_of_lots({"L027": 900.0, "L028": 300.0})
    few, many = (
        route_of(
            inputs, read_mixed({"set": "yes", "layers": layers, "drawn": ""}, "metric", usual_of(inputs))
        )
        for layers in ("2", "24")
    )
    assert shown_g(few.passage) == pytest.approx(1200.0)
    assert shown_g(many.passage) == pytest.approx(150.0)
    assert are_locks(many.passage) == (True, True, False)
    assert strips_png(few.looks) != strips_png(many.looks)


def test_how_it_is_mixed_is_said_in_one_sentence(client, demo_mill):
    text = words(client.get(f"{ORDER}?set=yes&layers=6&passes=2&toss=yes&drawn=4x6&sandwich=yes"))
    assert (
        "Six sets of 510 g of dry fibre, each entering the picker at once, two passes through the picker, "
        "tossed after each, carded, drawn 4 ends, then 6." in text
    )
    assert "no passes through the picker, carded, not drawn." in words(
        client.get(f"{ORDER}?set=yes&passes=0")
    )


def test_who_weighs_in_pounds_reads_pounds(client, demo_mill):
    client.post("/units", {"units": "us", "next": "/"})
    text = words(client.get(f"{ORDER}?set=yes&layers=6&passes=1&find=yes&row=48"))
    assert re.search(r"Bands of about 1 lb 2 oz, 15\.\d apart: seen", text)
    assert re.search(r"Stripes of about \d+ yd", text)
    assert not re.search(r"about \d+ (g|kg|m)\b|sets of \d+ g", text)
    assert "What the card holds 53 g" in text


def test_one_more_pass_has_its_price(client, demo_mill):
    text = words(client.get(f"{ORDER}?set=yes&layers=6&passes=2&toss=yes"))
    assert re.search(
        r"One more pass through the picker would cost \d+(\.\d)? g of dry fibre and \d+ min\.", text
    )
    assert "One more pass" not in words(client.get(f"{ORDER}?set=yes&layers=6&passes=0"))


@pytest.fixture
def photographed(demo_mill, settings, tmp_path):
    """A strip of O207 was photographed after it was carded: 30 pieces of 1 cm."""
    settings.MEDIA_ROOT = tmp_path
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30), "#557744").save(buffer, "PNG")
    photo = add_photo(demo_mill.owner, "L027", data=buffer.getvalue(), key=uuid.uuid4())
    pieces = (PieceVariance(variance=0.25, standard_error=0.05, n_pieces=30, length_mm=10.0),)
    return record_trial(
        demo_mill.owner,
        TrialFacts(
            facts=PhotoFacts(length_mm=300.0, mm_per_px=0.25),
            result=TrialResult(signal="lightness", pieces=pieces),
            stage="card",
            lot="L027",
            photo=photo,
        ),
    )


def test_a_photo_of_a_strip_stands_in_the_chart_of_its_order(client, photographed):
    page = client.get(ORDER).content.decode().replace("\u202f", " ")
    # what 95 of 100 pairs stay within: 2.77 times the root of the variance, and of its ends
    assert "measured at 1 cm: 1.4, truly 1.1 to 1.6" in page
    assert "measured at" not in client.get("/orders/O203/evenness/").content.decode()


@pytest.fixture
def sampled(demo_mill):
    """Pieces of a gram from all over the carded lot of O207, with the share of L027 in each."""
    shares = tuple(0.6 + 0.08 * math.sin(7.3 * at) for at in range(60))
    facts = SampleFacts(masses_g=(1.0,) * 60, shares_frac=shares, component="L027")
    return record_trial(
        demo_mill.owner,
        TrialFacts(facts=facts, stage="card", lot="L027"),
    )


def test_one_strip_tells_nothing_of_a_card_that_is_known(client, photographed):
    shown = words(client.get(f"{ORDER}?set=yes&layers=20&passes=1&toss=yes&drawn=4&learn=yes"))
    assert "They say no more than is believed already" in shown


def test_trials_tell_of_the_machines_and_are_kept_as_their_own(client, sampled):
    asked = "set=yes&layers=20&passes=1&toss=yes&drawn=4"
    assert "What do its trials say of the machines?" in words(client.get(f"{ORDER}?{asked}"))
    shown = client.get(f"{ORDER}?{asked}&learn=yes")
    assert "What the trials say of the machines" in words(shown)
    page = shown.content.decode()
    form = page[page.index('id="learned"') :]
    sent = {
        "key": re.search(r'name="key" value="([^"]+)"', form)[1],
        "state": html.unescape(re.search(r'name="state" value="([^"]+)"', form)[1]),
    }
    before = MachineFigure.objects.count()
    answer = client.post("/orders/O207/evenness/keep/", sent)
    assert answer.status_code == 302
    kept = MachineFigure.objects.filter(found="fit")
    assert kept.count() == MachineFigure.objects.count() - before >= 1
    assert all(one.trials == [sampled] for one in kept)
    assert all(one.low_micro < one.value_micro < one.high_micro for one in kept)
    assert client.post("/orders/O207/evenness/keep/", sent).status_code == 302
    assert MachineFigure.objects.filter(found="fit").count() == kept.count()


def test_a_photo_along_the_blends_colours_tells_only_of_a_blend_with_that_lot(client, photographed):
    inputs = mixing_of_lots({"L027": 900.0, "L028": 300.0})
    route = route_of(inputs, read_mixed({"set": "yes", "layers": "12"}, "metric", usual_of(inputs)))
    lit = one_trial(photographed)
    result = dataclasses.replace(lit.result, signal="colour")
    facts = [PhotoFacts(length_mm=300.0, mm_per_px=0.25, component=lot) for lot in ("L028", "L006", "")]
    told = [spread_of(route, dataclasses.replace(lit, facts=each, result=result)) for each in facts]
    assert told[1:] == [None, None]
    assert told[0].sd == pytest.approx(0.5)
    # a unit vector times the slopes: how long the slope of that lot itself is, at its own place
    assert told[0].signals.weights[0, 1] == pytest.approx(np.linalg.norm(route.slope_lab[:, 1]))


def test_without_a_trial_of_its_passage_nothing_is_told(client, photographed):
    assert "What do its trials say" not in words(client.get("/orders/O203/evenness/"))
    assert "What the trials say of the machines" not in words(client.get("/orders/O203/evenness/?learn=yes"))


@pytest.mark.parametrize(
    "address",
    [
        "/bench/evenness/?lot=L027",
        f"{BENCH}&set=yes&layers=120&passes=6&toss=yes&drawn=6x6x6",
        f"{BENCH}&set=yes&layers=0&passes=-1&drawn=7x&roving=0&row=1&far=12",
        f"{BENCH}&set=yes&layers=1&passes=0&drawn=&find=yes",
        f"{BENCH}&mass=0.05&set=yes&layers=60&find=yes",
    ],
)
def test_whatever_is_asked_is_answered_and_drawn(client, demo_mill, address):
    assert client.get(address).status_code in (200, 422)
    strips = client.get(address.replace("/evenness/", "/evenness/strips.png"))
    assert strips["Content-Type"] == "image/png"


def test_chances_are_said_as_one_in_so_many():
    assert say_chances(1e-6, 1e-5) == "less than 1 in 1000"
    assert say_chances(0.005, 0.08) == "1 in 200 to 1 in 12"
    assert say_chances(0.3, 0.82) == "1 in 3 to 8 in 10"
    assert say_chances(0.99, 1.0) == "nearly always"


def test_a_recipe_leads_to_its_stripes(client, demo_mill):
    page = client.get("/bench/?lot=L027&lot=L028&shade=S001").content.decode()
    sent = {
        "key": str(uuid.uuid4()),
        "state": html.unescape(re.search(r'name="state" value="([^"]+)"', page)[1]),
        "name": "Two greens",
    }
    recipe = client.post("/bench/keep/", sent, follow=True).content.decode()
    link = html.unescape(re.search(r'href="(/bench/evenness/\?[^"]+)"', recipe)[1])
    assert "L027, L028" in words(client.get(link))


def test_a_photo_is_marked_as_within_its_strip_and_told_beside_what_such_a_strip_would_show(
    client, photographed
):
    page = client.get(f"{ORDER}?set=yes&layers=20&passes=1&toss=yes").content.decode().replace("\u202f", " ")
    assert "measured at 1 cm: 1.4, truly 1.1 to 1.6, within a strip of 30 cm" in page
    assert "dotted and squares: within one strip of 30 cm" in page


def test_a_photo_is_taken_at_its_own_count_and_within_its_own_strip(client, photographed):
    inputs = mixing_of_lots({"L027": 900.0, "L028": 300.0})
    route = route_of(inputs, read_mixed({"set": "yes", "layers": "12"}, "metric", usual_of(inputs)))
    trial = one_trial(photographed)
    facts = PhotoFacts(length_mm=900.0, mm_per_px=0.25, n_strips=3, strand_tex=5000.0)
    told = spread_of(route, dataclasses.replace(trial, facts=facts))
    assert (told.piece_g, told.within_g, told.n_strips) == pytest.approx((0.05, 1.5, 3))
    assert told.variance_error == pytest.approx(0.05)


def test_a_plan_of_several_loads_is_forecast_load_by_load(client, demo_mill):
    inputs = mixing_of_lots({"L027": 4000.0, "L039": 4000.0})
    asked = read_mixed(
        {"set": "yes", "layers": "12", "passes": "2", "toss": "yes"}, "metric", usual_of(inputs)
    )
    whole, halves = (route_of(dataclasses.replace(inputs, loads=loads), asked) for loads in (1, 2))
    assert (halves.passage.feed.lot_dry_mass_g, halves.passage.feed.layers) == (4000.0, 6)
    assert halves.passage.feed.set_mass_g == whole.passage.feed.set_mass_g
    last = [one.foretold().stages[-1] for one in (whole, halves)]
    assert [one.lost_g for one in last] == pytest.approx([last[0].lost_g] * 2)
    assert "in two loads of 4.00\u202fkg, each mixed by itself" in how_words(halves, "metric")
    assert "load" not in how_words(whole, "metric")
    page = words(client.get("/orders/O208/evenness/"))
    assert re.search(r"in two loads of 3\.\d\d kg, each mixed by itself", page)
