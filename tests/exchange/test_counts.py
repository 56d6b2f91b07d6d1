"""Yarn counts in every spelling people use, and the questions that two meanings leave."""

import dataclasses
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.exchange.outcome import is_sentence, outcome

from doffer.errors import InputError
from doffer.exchange.count_said import DIRECT_SPELT, OWN_HANK, SaidOf, TypedCount, spell
from doffer.exchange.counts import THICKEST_TEX, parse_count, parse_count_tex
from doffer.exchange.numbers import Habits
from doffer.fibre.count import to_tex
from doffer.pictures.wording import say
from doffer.tables.loader import load_tables

TABLES = load_tables()
NEW = 453592.37 / (560 * 0.9144)  # tex of worsted 1, from the exact pound and yard
NE = 453592.37 / (840 * 0.9144)
RUN = 453592.37 / (1600 * 0.9144)
CUT = 453592.37 / (300 * 0.9144)
YD_LB = 453592.37 / 0.9144

# typed, strands (None: not said), tex of the yarn
SPELLINGS = [
    ("2/8 Nm", 2, 250),
    ("Nm 2/8", 2, 250),
    ("2/8Nm", 2, 250),
    ("NM 2/8", 2, 250),
    ("2/8 metric", 2, 250),
    ("Nm 8", None, 125),
    ("8 Nm", None, 125),
    ("nm8", None, 125),
    ("Nm. 8", None, 125),
    ("Nm 28/2", 2, 2000 / 28),
    ("Nm 8/1", 1, 125),
    ("Nm 2/7,5", 2, 2000 / 7.5),
    ("2 x Nm 8", 2, 250),
    ("Nm 8 × 2", 2, 250),
    ("2 strands of Nm 8", 2, 250),
    ("2-ply Nm 8 singles", 2, 250),
    ("2-ply Nm 4 resultant", 2, 250),
    ("Nm 8 singles", 1, 125),
    ("2/8s worsted", 2, 2 * NEW / 8),
    ("2/12's worsted", 2, 2 * NEW / 12),
    ("12s worsted", None, NEW / 12),
    ("NeW 12", None, NEW / 12),
    ("2/24 Ne(w)", 2, 2 * NEW / 24),
    ("worsted 2/24", 2, 2 * NEW / 24),
    ("64s worsted", None, NEW / 64),
    ("20/2 Ne", 2, 2 * NE / 20),
    ("Ne 20/2", 2, 2 * NE / 20),
    ("Ne 30", None, NE / 30),
    ("8/2 cotton", 2, 2 * NE / 8),
    ("2/20s cotton", 2, 2 * NE / 20),
    ("20/2 cc", 2, 2 * NE / 20),
    ("3/2 pearl cotton", 2, 2 * NE / 3),
    ("3 run", None, RUN / 3),
    ("3-run", None, RUN / 3),
    ("2½ run", None, RUN / 2.5),
    ("2 1/2 run", None, RUN / 2.5),
    ("2 ends of 3 run", 2, 2 * RUN / 3),
    ("20 cut", None, CUT / 20),
    ("2/20 cut", 2, 2 * CUT / 20),
    ("18 Yorkshire skeins", None, YD_LB / (18 * 256)),
    ("20 hanks of 300 yd/lb", None, YD_LB / (20 * 300)),
    ("2/16 leas of 300 yd per lb", 2, 2 * YD_LB / (16 * 300)),
    ("80 tex", None, 80),
    ("tex 80", None, 80),
    ("1250 dtex x 2", 2, 250),
    ("3,5 ktex", None, 3500),
    ("20 den", None, 20 / 9),
    ("R 421 tex / 2", 2, 421),
    ("R421.6tex/2", 2, 421.6),
    ("210.6 tex x 2", 2, 421.2),
    ("2 × 210.6 tex", 2, 421.2),
    ("R 421.6 tex / 2 Z 163 S 110", 2, 421.6),
    ("250 m/100g", None, 400),
    ("250m / 100 gr", None, 400),
    ("ca. 230 metres in 100 grams", None, 1e5 / 230),
    ("105 m / 50 g", None, 50000 / 105),
    ("115 m to 50g", None, 50000 / 115),
    ("50 g = 105 m", None, 50000 / 105),
    ("4 m/g", None, 250),
    ("4000 m/kg", None, 250),
    ("400 g/km", None, 400),
    ("3.5 g/m", None, 3500),
    ("1100 yd/lb", None, YD_LB / 1100),
    ("1100 ypp", None, YD_LB / 1100),
    ("1450 yards per pound", None, YD_LB / 1450),
    ("560 yds/4oz", None, YD_LB / 4 / 560),
    ("437 yd / 100 g", None, 1e5 / (437 * 0.9144)),
    ("220 yards to the ounce", None, YD_LB / 16 / 220),
    ("50 gr/yd", None, 50 * 70.86494969378826),
    ("50 grains per yard", None, 50 * 70.86494969378826),
    ("2-ply 200 m/100g", 2, 500),
    ("200 m/100 g, 2-ply", 2, 500),
    ("three-ply 1100 yd/lb", 3, YD_LB / 1100),
    ("200 m/100 g, 4 strands", 4, 500),
    ("2 ply, 1100 yds. per lb.", 2, YD_LB / 1100),
    ("2/8 Nm.", 2, 250),
    ("“2/8 Nm”", 2, 250),
    ("２/８ Nm", 2, 250),
    ("125tex*2", 2, 250),
    ("LL 250 m pro 100 g", None, 400),
    ("yd/lb 1100", None, YD_LB / 1100),
    ("m/100 g: 250", None, 400),
    ("1'450 yd/lb", None, YD_LB / 1450),
    ("10/2 perle", 2, 2 * NE / 10),
]

# typed, what the sentence says
REFUSED = [
    ("2/8", r"2/8 Nm is 250 tex, 2/8s worsted is 221 tex, and in cotton 8/2 Ne is 148 tex\."),
    ("2/8s", r"2/8s worsted is 221 tex"),
    ("64s", r"64s is a grade of wool: write 64s worsted or 64 Ne \(cotton\)"),
    ("12s", r"12s worsted or 12 Ne \(cotton\)"),
    ("worsted", r"a way of spinning and a thickness.*metres in 100 g"),
    ("woollen", r"a way of spinning"),
    ("DK weight", r"“DK” is a thickness that charts draw differently \(one has 219 to 256 m in 100 g\)"),
    ("8 ply", r"a number of strands, and in some countries a thickness.*230 m/100 g, 2 strands"),
    ("8 ply 230 m/100 g", r"either “230 m/100 g, 8 strands”, or “230 m/100 g” alone where 8-ply"),
    ("450 m/100g 4-ply", r"either “450 m/100g, 4 strands”, or “450 m/100g” alone"),
    ("chunky", r"a thickness that everybody draws differently"),
    ("2-ply Nm 8", r"either “2/8 Nm” for each of the 2 strands, or “8 Nm resultant, 2 strands” for all"),
    ("8/2 Nm", r"either 2/8 Nm, which is 2 strands of 8, or 8 strands of 2 Nm"),
    ("2/8 Ne", r"either 8/2 Ne, which is 2 strands of 8, or 8 strands of 2 Ne"),
    ("2/3 run", r"either 2 strands of 3 run, or 0\.6667 run"),
    ("421 tex / 2", r"either R 421 tex / 2 for all strands together, or 421 tex x 2 for each of them"),
    ("2/125 tex", r"either R 125 tex / 2 .*, or 125 tex x 2"),
    ("100 gr = 250 yd", r"“gr” stands for both"),
    ("1,100 yd/lb", r"either 1\.1 or 1100"),
    ("200-250 m/100g", r"one figure, not a range"),
    ("12 wpi", r"wraps depend on how they are laid"),
    ("16 lea", r"linen lea is not kept here.*20 leas of 300 yd/lb"),
    ("18 skeins", r"20 hanks of 300 yd/lb, or as Yorkshire skein"),
    ("size 10", r"no common measure"),
    ("250", r"written with its system"),
    ("2/8 Nm 3-ply", r"it says 2 and 3"),
    ("20/48 Nm", r"1 to 8 strands, such as 2/48 Nm"),
    ("12 x 125 tex", r"1 to 8 strands"),
    ("R 421 tex / 20", r"1 to 8 strands"),
    ("2-ply 3-ply 200 m/100 g", r"metres in 100 g"),
    ("-8 Nm", r"metres in 100 g"),
    ("0/8 Nm", r"above zero"),
    ("0 m/100g", r"above zero"),
    ("9999999999 Nm", r"from 1 tex to 200 g in a metre"),
    ("2/8/3 Nm", r"metres in 100 g"),
    ("250 m/100 ells", r"metres in 100 g"),
    ("Nm 8 tex", r"metres in 100 g"),
    ("2/8 Nm merino", r"metres in 100 g"),
    ("Nm", r"metres in 100 g"),
    ("", r"is missing"),
]


@pytest.mark.parametrize(("typed", "plies", "yarn_tex"), SPELLINGS)
def test_a_count_is_understood(typed, plies, yarn_tex):
    count = parse_count(typed, TABLES)
    assert count.plies == plies
    assert count.yarn_tex == pytest.approx(yarn_tex, rel=1e-12)
    assert count.single_tex == (None if plies is None else pytest.approx(yarn_tex / plies, rel=1e-12))
    assert parse_count_tex(typed, TABLES) == count.yarn_tex


def test_sixty_spellings_are_understood_and_twenty_refused():
    assert len({typed for typed, *_ in SPELLINGS}) >= 60
    assert len({typed for typed, _ in REFUSED}) >= 20


@pytest.mark.parametrize(("typed", "sentence"), REFUSED)
def test_a_count_that_leaves_a_question_is_asked_in_one_sentence(typed, sentence):
    with pytest.raises(InputError, match=f"yarn count is .*{sentence}" if typed else sentence) as refused:
        parse_count(typed, TABLES)
    said = str(refused.value)
    assert is_sentence(said)
    assert typed in said


def test_every_reading_that_a_question_offers_is_understood():
    offers = [
        ("2/8", 250),
        ("8/2 Nm", 250),
        ("2-ply Nm 8", 250),
        ("421 tex / 2", 421),
        ("2/3 run", 2 * RUN / 3),
    ]
    patterns = r"2/8 Nm|R 421 tex / 2|2 strands of 3 run"
    for typed, yarn_tex in offers:
        offered = re.search(patterns, outcome(parse_count, typed, TABLES))
        assert parse_count_tex(offered[0], TABLES) == pytest.approx(yarn_tex), typed


def test_what_was_said_is_kept_apart_from_what_follows():
    single, yarn = parse_count("2/8 Nm", TABLES), parse_count("R 250 tex / 2", TABLES)
    assert (single.system, single.number, single.said_of) == ("nm", 8, SaidOf.SINGLE)
    assert (yarn.system, yarn.number, yarn.said_of) == ("tex", 250, SaidOf.YARN)
    assert single.single_tex == yarn.single_tex == 125
    with pytest.raises(dataclasses.FrozenInstanceError):
        single.plies = 3


def test_strands_that_were_left_open_are_filled_in_and_never_changed():
    assert parse_count("250 m/100 g", TABLES).with_plies(2).single_tex == 200
    assert parse_count("2/8 Nm", TABLES).with_plies(3).plies == 2


def test_the_turns_of_a_designation_are_kept_in_their_order():
    assert parse_count("210.6 tex Z 163 x 2 S 110", TABLES).twists == (("Z", 163), ("S", 110))
    assert parse_count("210.6 tex x 2", TABLES).twists == ()


def test_a_decimal_comma_is_read_by_the_habits_of_the_mill():
    assert parse_count_tex("1,100 yd/lb", TABLES, habits=Habits(decimal=".")) == pytest.approx(YD_LB / 1100)
    assert parse_count_tex("7,125 Nm", TABLES, habits=Habits(decimal=",")) == pytest.approx(1000 / 7.125)


@given(st.floats(min_value=20, max_value=5000))
def test_a_count_said_in_tex_is_read_back(count_tex):
    assert parse_count_tex(say(count_tex, "tex", digits=2), TABLES) == pytest.approx(count_tex, abs=0.006)


@st.composite
def counts(draw):
    """A count in any system, of the single or of the yarn, with its strands or without."""
    system = draw(st.sampled_from(sorted(TABLES.counts)))
    said_of = draw(st.sampled_from(SaidOf))
    plies = draw(st.integers(1, 8) if said_of is SaidOf.SINGLE else st.none() | st.integers(2, 8))
    yarn_tex = draw(st.floats(8.0, 0.99 * THICKEST_TEX))
    row = TABLES.counts[system]
    tex = yarn_tex / plies if said_of is SaidOf.SINGLE else yarn_tex
    number = float(f"{tex / row.factor if row.kind == 'direct' else row.factor / tex:.8g}")
    together = plies if said_of is SaidOf.SINGLE else 1
    return TypedCount(
        system=system,
        number=number,
        said_of=said_of,
        plies=plies,
        yarn_tex=to_tex(TABLES, system=system, count=number) * together,
    )


@settings(deadline=None, max_examples=300)
@given(counts())
def test_a_count_that_is_spelt_is_read_back_the_same(count):
    read = parse_count(spell(count), TABLES)
    assert (read.said_of, read.plies) == (count.said_of, count.plies)
    assert read.system == count.system
    assert read.number == pytest.approx(count.number, rel=1e-12)
    assert read.yarn_tex == pytest.approx(count.yarn_tex, rel=1e-12)


@settings(deadline=None)
@given(st.integers(1, 200), st.integers(20, 2000), st.none() | st.integers(1, 8))
def test_a_hank_of_ones_own_is_read_back_the_same(number, yards, plies):
    words = f"{plies} strands of {number}" if plies else f"{number}"
    count = parse_count(f"{words} hanks of {yards} yd/lb", TABLES)
    again = parse_count(spell(count), TABLES)
    assert count.system == again.system == OWN_HANK
    assert again.yarn_tex == pytest.approx(count.yarn_tex, rel=1e-12)
    assert count.yarn_tex == pytest.approx((plies or 1) * YD_LB / (number * yards), rel=1e-12)


SIGNS = st.text(st.sampled_from(list("0123456789/x.,' -½RNmteswgydlbkz()=&")), max_size=24)


@settings(deadline=None, max_examples=300)
@given(SIGNS | st.text(max_size=40) | st.floats() | st.integers() | st.none() | st.dates())
def test_whatever_is_typed_gives_a_count_or_a_sentence(typed):
    result = outcome(parse_count, typed, TABLES)
    assert is_sentence(result) or 1 <= result.yarn_tex <= THICKEST_TEX


@pytest.mark.parametrize("system", sorted(DIRECT_SPELT))
def test_a_direct_count_never_takes_a_stroke_for_granted(system):
    with pytest.raises(InputError, match="either R"):
        parse_count(f"2/150 {system}", TABLES)
