"""Classes of thickness: one of our own for every yarn, and the names of the charts beside it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.thickness import thickness_class
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()


def names(length_m_per_100g: float) -> tuple[str, tuple[str, ...]]:
    found = thickness_class(TABLES, length_m_per_100g=length_m_per_100g)
    return found.name, tuple(name for name, _ in found.also)


@pytest.mark.parametrize(
    ("length", "name", "also"),
    [
        (800, "Lace", ()),
        (550, "Lace", ("Super Fine",)),
        (400, "Super Fine", ("fingering",)),
        (300, "Fine", ("sport",)),
        (250, "Light", ("Fine", "DK")),
        (222, "Light", ("DK", "worsted")),
        (183, "Medium", ("Light", "worsted", "aran")),
        (140, "Bulky", ("Medium", "bulky")),
        (60, "Super Bulky", ()),
        (40, "Jumbo", ("Super Bulky",)),
    ],
)
def test_a_yarn_has_one_class_and_the_names_charts_sell_it_under(length, name, also):
    assert names(length) == (name, also)


def test_a_class_begins_at_its_lower_bound():
    assert names(210)[0] == "Light"
    assert names(209.99)[0] == "Medium"
    assert thickness_class(TABLES, length_m_per_100g=210).number == 3


@given(st.floats(1, 5000), st.floats(1, 5000))
def test_a_longer_yarn_is_never_of_a_thicker_class(one, other):
    thin, thick = (thickness_class(TABLES, length_m_per_100g=m) for m in (max(one, other), min(one, other)))
    assert thin.number <= thick.number


def test_each_name_says_its_chart_and_the_cut_is_practice():
    found = thickness_class(TABLES, length_m_per_100g=222)
    assert found.also == (("DK", "shop_list"), ("worsted", "shop_list"))
    assert found.status is Status.PRACTICE


@pytest.mark.parametrize("bad", [0.0, -5.0, float("nan")])
def test_no_length_has_no_class(bad):
    with pytest.raises(InputError, match="above zero"):
        thickness_class(TABLES, length_m_per_100g=bad)
