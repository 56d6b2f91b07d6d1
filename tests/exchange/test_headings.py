"""Headings in the spellings farms use."""

import pytest

from doffer.exchange.headings import FIELDS, column_of, columns_of, known_columns


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("Bag No.", "tag", ""),
        ("Lot #", "tag", ""),
        ("Fiber", "fibre", ""),
        ("Color", "colour", ""),
        ("Weight (lb)", "weight", "lb"),
        ("Weight in pounds", "weight", "lb"),
        ("weight_kg", "weight", "kg"),
        ("KG", "weight", "kg"),
        ("Net wt (oz)", "net", "oz"),
        ("Gross in kg", "gross", "kg"),
        ("gross_in_kg", "gross", "kg"),
        ("Weight lbs/oz", "weight", "lb oz"),
        ("Staple (in)", "staple", "in"),
        ("Micron (µm)", "micron", "um"),
        ("RH %", "rh", "%"),
        ("Date received", "received", ""),
        ("Weight (%)", "", ""),
        ("Price", "", ""),
        ("please call us before you open the bags, they were packed wet", "", ""),
    ],
)
def test_a_heading_is_known_with_its_unit(heading, field, unit):
    column = column_of(heading)
    assert (column.heading, column.field, column.unit) == (heading, field, unit)


def test_every_field_has_a_heading_of_its_own_name():
    assert [name for name in FIELDS if column_of(name.replace("_", " ")).field != name] == []


def test_a_weight_alone_is_the_net_weight():
    columns, remarks = columns_of(["lot", "weight (lb)"])
    assert (columns[1].field, columns[1].unit, remarks) == ("net", "lb", ())


def test_beside_a_net_weight_another_weight_is_an_extra_column():
    columns, _ = columns_of(["net kg", "weight"])
    assert [column.field for column in columns] == ["net", ""]


@pytest.mark.parametrize(
    ("headings", "fields"),
    [
        (["type", "kg"], ["fibre", "net"]),
        (["animal", "type", "kg"], ["fibre", "breed", "net"]),
        (["type", "breed", "kg"], ["fibre", "breed", "net"]),
        (["fibre", "breed", "type", "kg"], ["fibre", "breed", "", "net"]),
    ],
)
def test_a_type_is_the_fibre_or_beside_a_fibre_the_breed(headings, fields):
    columns, _ = columns_of(headings)
    assert [column.field for column in columns] == fields


def test_of_two_columns_for_one_thing_the_first_counts_and_it_is_said():
    columns, remarks = columns_of(["net kg", "Net (lb)"])
    assert [column.field for column in columns] == ["net", ""]
    assert "“Net (lb)” and “net kg” say the same thing" in remarks[0]


def test_numbers_and_empty_cells_are_no_headings():
    assert known_columns(["lot", None, 3.5, "weight"]) == 2
