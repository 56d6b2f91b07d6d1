"""What the bench says holds: of which fibre, how far off at worst, and no more than was looked at."""

import re

import numpy as np
import pytest
from django.utils import timezone
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.test_bench import answer, asked, spectrum_of
from tests.office.test_bench_model import tint

from doffer.mill.booking import Reading
from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.commands.shades import TargetFacts, add_shade, restate_shade
from doffer.mill.models import MixingFit
from doffer.mill.queries import bench as bench_query
from doffer.mill.queries.bench import bench, spectra
from doffer.mill.queries.recipes import one_recipe

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def away(text):
    return re.search(r"What it will be.*?([\d.]+(?: or less)?) away", text)[1]


def new_lot(house, *, fibre="wool", colour="navy", readings):
    bag = Bag(
        customer=house.own,
        facts=FibreFacts(fibre=fibre, colour_name=colour),
        reading=Reading(gross_g=2300, branch="measured", measured_regain_frac=0.15),
        form="scoured",
        place="dye",
    )
    lot = weigh_in_bag(house.floor, bag, confirmation="parcels differ").lot
    check_for_pests(house.floor, lot, seen="clear")
    record_readings(house.floor, seen=readings, lot=lot)
    return lot


def fitted(house, m, *, left_out_de=0.3):
    """The newest fit of wool says M."""
    return MixingFit.objects.create(
        fibre="wool",
        form="loose",
        m_ppm=round(m * 1e6),
        ln_m_sd_ppm=1000,
        n_blends=6,
        residual_de_centi=20,
        left_out_de_centi=round(100 * left_out_de),
        samples=[],
        fitted_at=timezone.now(),
        fitted_by=house.office,
    )


def test_the_colour_of_a_mix_does_not_hang_on_the_order_of_its_lots(desk, dye_house):
    fitted(dye_house, 0.4)
    nylon = new_lot(dye_house, fibre="polyamide", readings=dyed.seen((22, 3, -24)))
    wool = dye_house.lots["yellow"]
    for shares in ({wool: 50, nylon: 50}, {wool: 70, nylon: 30}, {wool: 30, nylon: 70}):
        there = words(answer(desk, asked(dye_house, shares)))
        back = words(answer(desk, asked(dye_house, dict(reversed(shares.items())))))
        assert away(there) == away(back), shares
        assert "It is of several fibres." in there
    most = words(answer(desk, asked(dye_house, {nylon: 30, wool: 70})))
    assert (
        "It is reckoned as wool mixes, which makes most of it; polyamide (nylon) may mix otherwise." in most
    )
    least = words(answer(desk, asked(dye_house, {wool: 30, nylon: 70})))
    assert "It is reckoned as polyamide (nylon) mixes" in least
    assert "several fibres" not in words(answer(desk, asked(dye_house)))


def test_a_recipe_is_foretold_alike_whatever_the_order_of_its_lots(dye_house):
    from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe

    fitted(dye_house, 0.4)
    nylon = new_lot(dye_house, fibre="polyamide", readings=dyed.seen((22, 3, -24)))
    parts = [PartFacts(dye_house.lots["yellow"], 0.7), PartFacts(nylon, 0.3)]
    labs = []
    for order in (parts, parts[::-1]):
        facts = RecipeFacts(parts=tuple(order), dry_mass_g=500, shade=dye_house.shade)
        made = propose_recipe(dye_house.office, facts)
        labs.append(made.lab)
        assert one_recipe(made.code).constant == pytest.approx(0.4, abs=0.01)
    assert labs[0] == labs[1]


def test_the_error_on_the_face_is_the_lots_own_where_that_is_larger(desk, dye_house):
    fitted(dye_house, 0.15, left_out_de=0.3)
    text = words(answer(desk, asked(dye_house)))
    assert "This may be off by 1.5, because a lot is known as L, a and b only." in text
    assert "This may be off by 1.5" in words(desk.get("/bench/", {"want": "find", "mass": "1 kg"}))
    for name, (lab, _) in dyed.DYED.items():
        tuft = Tuft(reflectance=spectrum_of(lab))
        record_readings(dye_house.floor, seen=Seen(tufts=(tuft,), geometry="45/0"), lot=dye_house.lots[name])
    measured = words(answer(desk, asked(dye_house)))
    assert "because a lot is known" not in measured
    assert "were off by 0.5 or less on average" in measured


def test_a_lot_read_under_lamp_light_is_as_far_away_alone_as_all_of_a_mix(desk, dye_house):
    lamp = Seen(tufts=(Tuft(labs={"A": (48, 46, 34)}),), geometry="45/0", light="A")
    red = new_lot(dye_house, colour="red", readings=lamp)
    text = words(desk.get("/bench/", asked(dye_house, {red: 100})))
    assert re.search(r"alone ([\d.]+) away", text)[1] == away(text)


def test_a_new_shade_is_read_with_the_head_that_lots_were_read_with(desk, dye_house):
    body = desk.get("/shades/new/").content.decode()
    assert re.search(r'name="geometry"[^>]*value="45/0"', body)


def test_a_shade_read_with_nobody_knows_which_head_says_so_and_how_to_go_on(desk, dye_house):
    code = add_shade(dye_house.owner, name="Moss", target=TargetFacts(labs={"D65": dyed.FERN}))
    for asks in ({"want": "find"}, {"want": "correct", "lot": dye_house.lots["G1"]}):
        page = desk.get("/bench/", {**asks, "shade": code})
        text = words(page)
        assert "was read dry by an instrument and is free" not in text
        assert "geometry nobody wrote down" in text
    found = desk.get("/bench/", {"want": "find", "shade": code})
    assert "were not read in the way Moss was" in words(found)
    assert f'href="/shades/{code}/restate/"' in found.content.decode()


@pytest.mark.parametrize("want", ["mix", "find", "correct", "together", "leftovers"])
def test_a_shade_under_lamp_light_alone_says_that_daylight_is_missing(desk, dye_house, want):
    target = TargetFacts(labs={"A": (48, 46, 34)}, light="A", geometry="45/0")
    code = add_shade(dye_house.owner, name="Brick", target=target)
    lots = [dye_house.lots[name] for name in ("G1", "G2")]
    page = desk.get("/bench/", {"shade": code, "want": want, "lot": lots})
    assert page.status_code == 200
    assert "Brick was read under other light only." in words(page)
    assert f'href="/shades/{code}/restate/"' in page.content.decode()


def test_what_is_just_beyond_the_tolerance_is_not_said_as_the_tolerance(desk, dye_house):
    lot = dye_house.lots["G1"]
    seen_de = float(
        bench(shade=dye_house.shade)
        .target(dye_house.shade, bench().tables)
        .apart(np.array(bench(shade=dye_house.shade).lot(lot).lab))
    )
    from doffer.fibre.colour.verdict import Formula, Tolerance

    tight = Tolerance(Formula.DE2000, round(seen_de - 0.02, 2), 3.0)
    restate_shade(dye_house.owner, dye_house.shade, reason="tighter", tolerance=tight)
    text = words(answer(desk, asked(dye_house, {"G1": 100})))
    assert away(text) == f"{seen_de:.2f}"


def test_five_lots_are_offered_where_only_their_number_stands_in_the_way(desk, dye_house):
    data = {"want": "find", "mass": "3.8 kg"}
    page = desk.get("/bench/", data)
    text = words(page)
    assert "None of these comes within your tolerance" in text
    assert "what stands in the way is how many lots a blend may have" in text
    link = re.search(r'href="([^"]+)">Allow five lots', page.content.decode())[1].replace("&amp;", "&")
    assert "most=5" in link
    assert "None of these" not in words(desk.get(link))
    too_few = desk.get("/bench/", {**data, "most": "2"})
    assert "do not add up to the batch" in words(too_few)
    assert "Allow five lots" in words(too_few)


def test_of_many_lots_those_read_last_are_looked_at_and_the_others_are_looked_for(
    desk, dye_house, monkeypatch
):
    monkeypatch.setattr(bench_query, "MOST_LOTS", 3)
    navy = new_lot(dye_house, readings=dyed.seen((22, 3, -24)))
    lots = dye_house.lots
    assert navy in [lot.code for lot in bench(shade=dye_house.shade).lots]
    record_readings(dye_house.floor, seen=dyed.seen((46, -22, 18)), lot=lots["G1"])
    shown = bench(shade=dye_house.shade)
    assert lots["G1"] in [lot.code for lot in shown.lots]
    assert lots["G2"] not in [lot.code for lot in shown.lots]
    assert len(shown.lots) == 3
    text = words(desk.get("/bench/"))
    assert re.search(r"lots were read longer ago and are not looked at here", text), text
    page = desk.get("/bench/", {"seek": "g2", "lot": navy})
    assert lots["G2"] in words(page)
    assert navy in words(page)
    assert "is not on the bench" not in words(page)
    chosen = words(desk.get("/bench/", {"lot": lots["G2"]}))
    assert "is not on the bench" not in chosen


def test_two_constants_are_chosen_once_a_tint_of_every_lot_is_known(desk, dye_house):
    pair = {"G1": 50, "yellow": 50}
    codes = [dye_house.lots[one] for one in pair]
    lots = spectra([bench(shade=dye_house.shade).lot(code) for code in codes])
    data = asked(dye_house, pair, model="two_constant")
    tint(dye_house, codes[0], lots[0], 0.7)
    page = desk.get("/bench/", data)
    assert 'value="two_constant"' not in page.content.decode()
    assert f"Two constants need a sample of every lot in white; {codes[1]} has none" in words(page)
    tint(dye_house, codes[1], lots[1], 1.3)
    page = desk.get("/bench/", data)
    text = words(page)
    assert re.search(r'<option value="two_constant" selected', page.content.decode())
    assert "Reckoned by another model, as you chose: Kubelka and Munk, two constants." in text
    compared = re.search(r"two constants from tints in white ([\d.]+)", text)[1]
    assert away(text) == compared != away(words(desk.get("/bench/", asked(dye_house, pair))))
    assert "Keep this recipe" not in text
    assert "Reckon it the usual way" in text
    state = desk.get("/bench/answer/", data)["HX-Replace-Url"].partition("?")[2]
    refused = desk.post("/bench/keep/", {"state": state})
    assert refused.status_code == 422
    assert "reckon it the usual way first" in words(refused)
    found = words(desk.get("/bench/", {"want": "find", "mass": "1 kg", "model": "two_constant"}))
    assert "blends are searched for the usual way" in found


def test_a_leftover_that_stays_is_named(desk, dye_house):
    lots = dye_house.lots
    asks = {"want": "leftovers", "lot": [lots["G4"], lots["G2"], lots["G3"], lots["G1"]], "mass": "1 kg"}
    text = words(desk.get("/bench/", {**asks, "most": "2"}))
    assert re.search(
        r"takes \S+ k?g, and nothing of L\d+ and L\d+: more of the others goes in without it", text
    )


def test_a_colour_that_a_card_moved_keeps_the_tolerance_of_its_shade(desk, dye_house):
    data = asked(dye_house, shade="own", lab="46.6 -20.9 19.2")
    assert "Your tolerance is 1.0." in words(answer(desk, data))
    held = desk.get("/bench/", {**data, "held": dye_house.shade})
    assert "Your tolerance is 1.2." in words(held)
    assert f'name="held" value="{dye_house.shade}"' in held.content.decode()
