"""Papers: what stands on them, that they are tagged, that typed text stays text, that they are quick."""

import dataclasses
import io
import re
import time

import pytest
from pypdf import PdfReader
from tests.paper import sample

from doffer.errors import InputError
from doffer.paper import render
from doffer.paper.letters import printable
from doffer.paper.papers import PaperSize
from doffer.pictures.wording import say, say_range

MM = 72 / 25.4
MAKERS = {
    "run card": lambda **how: render.run_cards([sample.run_card()], sample.IMPRINT, **how),
    "weigh-out sheet": lambda **how: render.weigh_out_sheets(
        [sample.weigh_out_sheet()], sample.IMPRINT, **how
    ),
    "bag tag": lambda **how: render.bag_tags([sample.bag_tag()], sample.IMPRINT, **how),
    "work order": lambda **how: render.work_orders([sample.work_order()], sample.IMPRINT, **how),
    "lot sheet": lambda **how: render.lot_sheets([sample.lot_sheet()], sample.IMPRINT, **how),
}
US = dataclasses.replace(sample.IMPRINT, system="us", country="US")
HOSTILE = {
    "source": '#import "/etc/passwd": * #panic("no") #sys.inputs',
    "marks": r"\ \u{41} *a* _b_ `c` $x^2$ <label> @ref = # ~ // /* [ ] { } \"",
    "quotes": """'it's' "said" „so“ «fine»""",
    "emoji": "Woolly \N{SHEEP} farm \N{WOMAN}\u200d\N{EAR OF RICE}",
    "long": "x" * 300,
    "long words": "bay black " * 30,
    "right to left": "\u202eevil\u202c \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "controls": "a\x00b\x1bc\ud800d\r\ne",
    "accents": "Łódź, Őrség, Århus, Ærø, I\u0307zmir, e\u0301t\u0301e",
    "nothing": "",
}


def plain(text):
    """Text as a reader sees it: any run of spaces is one, invisible breaks are none."""
    return re.sub(r"\s+", " ", text.replace("\u200b", "").replace("\u202f", " ").replace("\xa0", " "))


def pages_of(pdf):
    return PdfReader(io.BytesIO(pdf)).pages


def words_of(pdf):
    return plain(" ".join(page.extract_text() for page in pages_of(pdf)))


def figure_alternatives(pdf):
    """The alternative texts of all pictures in the structure tree."""
    waiting, found = [PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]], []
    while waiting:
        node = waiting.pop().get_object()
        if isinstance(node, list):
            waiting += node
        elif isinstance(node, dict):
            if node.get("/S") == "/Figure":
                found.append(node.get("/Alt"))
            if "/K" in node:
                waiting.append(node["/K"])
    return found


def roles_of(pdf):
    waiting, found = [PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]], set()
    while waiting:
        node = waiting.pop().get_object()
        if isinstance(node, list):
            waiting += node
        elif isinstance(node, dict):
            found.add(node.get("/S"))
            if "/K" in node:
                waiting.append(node["/K"])
    return found


def test_a_run_card_shows_every_stage_with_its_weights_and_range():
    words = words_of(MAKERS["run card"]())
    for stage in sample.own_fleece().stages:
        assert plain(say(stage.weighed_in.mean, "g")) in words
        assert plain(say(stage.weighed.mean, "g")) in words
        assert plain(say_range(stage.weighed.low, stage.weighed.high, "g")) in words
        for dose in stage.doses:
            assert dose.name in words
        for caution in stage.cautions:
            assert caution.text in words


def test_a_run_card_has_boxes_to_write_in_at_every_stage():
    words = words_of(MAKERS["run card"]())
    n_stages = len(sample.own_fleece().stages)
    for box in ("waste", "RH %", "initials"):
        assert words.count(box) == n_stages


def test_a_run_card_says_whose_what_which_version_and_which_tables():
    words = words_of(MAKERS["run card"]())
    for part in ("O201", "Moonbucket Farm", "L001", "fawn", "plan 2", "2 March 2026", "set 4f1d9a07"):
        assert part in words
    assert "4f1d9a07c" not in words


def test_every_card_counts_its_own_pages():
    card = sample.run_card()
    pages = pages_of(render.run_cards([card, card], sample.IMPRINT))
    feet = [re.search(r"page (\d+) of (\d+)", page.extract_text()).groups() for page in pages]
    assert feet == [("1", "3"), ("2", "3"), ("3", "3")] * 2


def test_weights_are_said_in_the_units_of_the_mill():
    pdf = render.run_cards([sample.run_card()], US, size=PaperSize.LETTER)
    words = words_of(pdf)
    assert plain(say(sample.own_fleece().stages[0].weighed_in.mean, "g", "us")) == "5 lb 15 oz"
    assert "5 lb 15 oz" in words
    assert "2.70 kg" not in words
    assert "Wash" in words


def test_a_card_in_pounds_keeps_grams_and_litres_only_with_ounces_and_gallons_beside():
    product = "2-ply yarn, 1240 yd/lb, in skeins of 3.5 oz"
    for batch in (sample.own_fleece(), sample.sock_blend()):
        card = sample.run_card(product=product, batch=batch)
        words = words_of(render.run_cards([card], US, size=PaperSize.LETTER))
        assert not re.findall(r"[\d.]+ (?:kg|mg|mL|m|mm|°C)\b", words)
        assert not re.findall(r"\d (?:g|L)\b(?! \([\d.]+ (?:lb [\d.]+ )?(?:oz|gal)\))", words)
        assert re.search(r"g \([\d lb.]+ oz\) product \+ \d+ g \([\d lb.]+ oz\) water = ", words)
    assert "in 2 baths of" in words_of(render.run_cards([sample.run_card()], US, size=PaperSize.LETTER))


def test_baths_and_heat_are_said_in_gallons_and_fahrenheit_for_us_readers():
    wash = next(stage for stage in sample.own_fleece().stages if stage.stage == "wash")
    litres, low, high = (figure.value for figure in wash.doses[0].figures[:3])
    words = words_of(render.run_cards([sample.run_card()], US, size=PaperSize.LETTER))
    assert f"baths of {litres:.0f} L ({plain(say(litres, 'l', 'us', digits=1))})" in words
    assert f"{low * 9 / 5 + 32:.0f} °F to {high * 9 / 5 + 32:.0f} °F" in words
    metric = words_of(MAKERS["run card"]())
    assert plain(wash.doses[0].words) in metric


def test_losses_on_a_card_count_fibre_at_agreed_regain_and_say_so():
    words = words_of(MAKERS["run card"]())
    for stage in sample.own_fleece().stages:
        for loss, mass_g in stage.losses_agreed_g:
            if mass_g >= 0.5:
                assert f"{loss.name} {plain(say(round(mass_g), 'g'))}" in words
            if loss.kind in ("fibre", "held"):
                assert mass_g == pytest.approx(loss.mass_g * 1.17)
    assert "(fibre at agreed regain)" in words
    assert "(fibre at agreed regain, dirt as weighed)" in words


def test_a_scouring_mill_reads_scour_where_others_read_wash():
    assert "Scour" in words_of(MAKERS["run card"]())


def test_a_weigh_out_sheet_shows_grams_shares_and_what_naive_weighing_would_give():
    words = words_of(MAKERS["weigh-out sheet"]())
    weighed = sample.sock_blend().weigh_out
    for line in weighed.lines:
        assert f"{round(line.weigh_mass_g)} g" in words
        assert plain(say(line.label_share_frac, "frac", digits=1)) in words
        assert plain(say(line.share_if_weighed_as_label_frac, "frac", digits=1)) in words
    assert f"{sum(round(line.weigh_mass_g) for line in weighed.lines)} g" in words  # the lines as they stand


def test_a_line_of_fibre_in_the_grease_says_on_the_sheet_that_it_is_weighed_after_washing():
    blend = sample.sock_blend()
    raw = dataclasses.replace(blend.lots[0], form="greasy")
    unwashed = dataclasses.replace(blend, lots=(raw, *blend.lots[1:]))
    words = words_of(render.weigh_out_sheets([sample.weigh_out_sheet(batch=unwashed)], sample.IMPRINT))
    grams = round(blend.weigh_out.lines[0].weigh_mass_g)
    assert f"after washing, at the picker: {grams} g of clean dry fibre" in words
    assert words.count("after washing") == 1


def test_a_weigh_out_sheet_lists_each_layer_and_the_label_on_three_bases():
    words = words_of(MAKERS["weigh-out sheet"]())
    for layer in sample.sock_blend().layers:
        assert re.search(rf"{layer.place} {layer.name} {layer.mass_g} g", words)
    for basis in ("EU, agreed regain", "US, commercial regain", "oven-dry"):
        assert basis in words
    for label in sample.sock_blend().labels:
        assert label.words in words
    assert "conditioner" in words


def test_grams_stay_grams_on_the_bench_with_pounds_beside():
    words = words_of(render.weigh_out_sheets([sample.weigh_out_sheet()], US, size=PaperSize.LETTER))
    mass_g = sample.sock_blend().weigh_out.lines[0].weigh_mass_g
    assert f"{round(mass_g)} g" in words
    assert plain(say(mass_g, "g", "us", digits=1)) in words


def test_a_heap_is_never_cut_across_pages():
    batch = sample.sock_blend()
    layers = tuple(
        dataclasses.replace(batch.layers[place % 19], place=place + 1, mass_g=100 + place)
        for place in range(70)
    )
    sheet = sample.weigh_out_sheet(batch=dataclasses.replace(batch, layers=layers))
    pages = [plain(p.extract_text()) for p in pages_of(render.weigh_out_sheets([sheet], sample.IMPRINT))]
    where = [
        next(n for n, text in enumerate(pages) if re.search(rf" {place} L\d+ {99 + place} g", text))
        for place in range(1, 71)
    ]
    assert where == sorted(where)
    assert len({where[place] for place in range(40)}) == 1


def test_only_blends_have_a_weigh_out_sheet():
    with pytest.raises(InputError, match="these lots go in whole"):
        sample.weigh_out_sheet(batch=sample.own_fleece())


def test_a_bag_tag_says_owner_lot_bag_weights_colour_and_has_a_token():
    pdf = MAKERS["bag tag"]()
    words = words_of(pdf)
    for part in ("of 3", "2.70 kg", "2.95 kg", "250 g", "fawn huacaya alpaca", "12 January 2026", "plan 2"):
        assert part in words
    for twice in ("Moonbucket Farm", "L001", "7Q4K2Y"):
        assert words.count(twice) == 2
    assert "wash bag" in words


def test_the_lot_on_a_tag_stands_in_letters_of_three_centimetres():
    sizes = []

    def look(text, _cm, tm, _font, size):
        if "L001" in text:
            sizes.append(abs(size * (tm[3] or 1)))

    pages_of(MAKERS["bag tag"]())[0].extract_text(visitor_text=look)
    cap_height = 0.668  # of the typeface
    assert max(sizes) * cap_height / MM == pytest.approx(30, abs=0.2)


@pytest.mark.parametrize(
    ("size", "n_tags", "n_pages", "wide_mm", "high_mm"),
    [
        (PaperSize.LABEL, 3, 3, 150, 100),
        (PaperSize.A4, 8, 1, 210, 297),
        (PaperSize.A4, 9, 2, 210, 297),
        (PaperSize.LETTER, 8, 1, 215.9, 279.4),
    ],
)
def test_tags_come_one_to_a_label_or_eight_to_a_sheet(size, n_tags, n_pages, wide_mm, high_mm):
    pages = pages_of(render.bag_tags([sample.bag_tag()] * n_tags, sample.IMPRINT, size=size))
    assert len(pages) == n_pages
    assert float(pages[0].mediabox.width) == pytest.approx(wide_mm * MM, abs=0.5)
    assert float(pages[0].mediabox.height) == pytest.approx(high_mm * MM, abs=0.5)


def test_a_work_order_lists_bags_and_asks_before_it_signs():
    words = words_of(MAKERS["work order"]())
    for part in ("7Q4K2Y", "3M8XD2", "9T0RA5", "7.90 kg", "4.51 kg", "4.12 to 4.89 kg", "4.29 kg"):
        assert part in words
    for part in ("owner of the fibre", "for Quillfern Hollow", "own terms apply", "aimed at, not promised"):
        assert part in words


def test_answers_given_are_ticked_and_others_left_for_the_pen():
    assert words_of(MAKERS["work order"]()).count("×") == 2
    asked = sample.work_order(wants_waste_back=None, may_blend=None)
    assert words_of(render.work_orders([asked], sample.IMPRINT)).count("×") == 0


def test_a_lot_sheet_shows_weighings_and_the_working_of_its_figure():
    words = words_of(MAKERS["lot sheet"]())
    for part in ("23.1 micron", "2.01 kg", "1.72 kg", "62 %", "oven-dry fibre after the last stage", "From:"):
        assert part in words


@pytest.mark.parametrize("name", MAKERS)
def test_every_paper_is_tagged_titled_and_has_a_language(name):
    pdf = MAKERS[name]()
    root = PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    assert "/H1" in roles_of(pdf)


@pytest.mark.parametrize("name", MAKERS)
def test_every_square_code_says_in_words_what_it_holds(name):
    alternatives = figure_alternatives(MAKERS[name]())
    assert alternatives
    assert all(": DOFFER:" in words for words in alternatives)


@pytest.mark.parametrize("name", MAKERS)
def test_the_same_paper_is_the_same_bytes(name):
    assert MAKERS[name]() == MAKERS[name]()


def test_a_later_printing_is_told_apart():
    later = dataclasses.replace(
        sample.IMPRINT, printed_at=sample.IMPRINT.printed_at.replace(hour=9), version="plan 3"
    )
    words = words_of(render.run_cards([sample.run_card()], later))
    assert "plan 3" in words
    assert "09:15" in words


@pytest.mark.parametrize("kind", HOSTILE)
def test_whatever_was_typed_is_printed_as_text(kind):
    typed = HOSTILE[kind]
    face = dataclasses.replace(sample.FAWN, owner=typed, fibre=typed, colour=typed)
    imprint = dataclasses.replace(sample.IMPRINT, mill=typed, version=typed)
    card = sample.run_card(owner=typed, product=typed, lots=(face,), note=typed)
    order = sample.work_order(owner=typed, wish=typed, contact=typed, terms=typed, grade_notes=(typed, typed))
    tags = render.bag_tags([sample.bag_tag(lot=face, note=typed)], imprint)
    made = [
        render.run_cards([card], imprint),
        render.weigh_out_sheets([sample.weigh_out_sheet(owner=typed, lots=(face,), note=typed)], imprint),
        render.work_orders([order], imprint),
        render.lot_sheets([sample.lot_sheet(lot=face, facts=((typed, typed),), note=typed)], imprint),
    ]
    assert len(pages_of(tags)) == 1
    if kind != "right to left":  # read back in the order it is seen
        shown = plain(printable(typed, render._draws))
        assert all(shown[1:].replace(" ", "") in words_of(pdf).replace(" ", "") for pdf in made)


def test_template_language_in_a_name_is_read_back_letter_by_letter():
    typed = r'#import "x" \ *a* _b_ `c` $x$ <l> @r'
    assert typed in words_of(render.run_cards([sample.run_card(product=typed)], sample.IMPRINT))


def test_names_of_other_alphabets_are_drawn_and_emoji_become_a_question_mark():
    card = sample.run_card(owner="Ферма Łąka \N{SHEEP}")
    assert "Ферма Łąka ?" in words_of(render.run_cards([card], sample.IMPRINT))


def test_a_long_name_is_cut_with_a_sign_that_it_was():
    words = words_of(render.bag_tags([sample.bag_tag(note="much hay " * 40)], sample.IMPRINT))
    assert "in the grease · much hay much hay much hay" in words
    assert re.search(r"(much|much hay|much h|hay m|mu?c?|ha?)…", words)


def test_a_paper_size_that_does_not_fit_is_refused_in_words():
    with pytest.raises(InputError, match="paper size is “label”; it must be one of a4, a5, us-letter"):
        MAKERS["run card"](size=PaperSize.LABEL)
    with pytest.raises(InputError, match="at least one"):
        render.bag_tags([], sample.IMPRINT)


@pytest.mark.parametrize("wrong", ["red", "#12", "#12345g", 'rgb("x")'])
def test_a_colour_patch_must_be_a_colour(wrong):
    with pytest.raises(InputError, match="six hex signs"):
        dataclasses.replace(sample.FAWN, colour_hex=wrong)


def test_a_bag_cannot_weigh_less_than_its_tare():
    with pytest.raises(InputError, match="from 0 to the gross weight of 200 g"):
        sample.bag_tag(gross_mass_g=200)


def test_twenty_four_cards_are_typeset_in_one_go(monkeypatch):
    cards = [sample.run_card(order=f"O{number}") for number in range(200, 224)]
    calls = []

    def counted(template, data, timestamp):
        calls.append(template)
        return typeset(template, data, timestamp)

    typeset = render._typeset
    monkeypatch.setattr(render, "_typeset", counted)
    render.run_cards(cards[:1], sample.IMPRINT)  # signs it has not met yet are tried once and remembered
    calls.clear()
    pdf = render.run_cards(cards, sample.IMPRINT)
    assert calls.count("run_card") == 1
    assert len(calls) < len(cards)
    assert len(pages_of(pdf)) == 72


def test_a_stack_of_cards_costs_less_each_than_one_card():
    cards = [sample.run_card(order=f"O{number}") for number in range(200, 224)]
    render.run_cards(cards, sample.IMPRINT)  # fonts read, signs known
    one = fastest(lambda: render.run_cards(cards[:1], sample.IMPRINT))
    stack = fastest(lambda: render.run_cards(cards, sample.IMPRINT))
    assert stack < len(cards) * one  # a ratio of two measurements on the same machine, whatever its speed


def fastest(work):
    """The least of three tries, which is the least disturbed by what else runs."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)
