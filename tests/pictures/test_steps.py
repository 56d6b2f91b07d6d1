"""The line of an order in small: where its fibre stands."""

from doffer.pictures.steps import Standing, steps

PLACES = (("door", "door"), ("card", "card"), ("box", "box"))


def test_every_lot_is_said_with_its_weight_and_place():
    svg = steps(PLACES, [Standing("L001", "card", 1980.0, "#a9907a")])
    assert "L001 1.98\u202fkg at card" in svg
    assert svg.count("<g transform") == 1


def test_lots_at_one_place_stand_side_by_side():
    svg = steps(PLACES, [Standing("L1", "card", 900.0, "#ffffff"), Standing("L2", "card", 500.0, "#000000")])
    assert "translate(157.5 " in svg
    assert "translate(172.5 " in svg


def test_the_way_done_ends_at_the_foremost_lot():
    svg = steps(PLACES, [Standing("L1", "door", 900.0, "#ffffff"), Standing("L2", "card", 500.0, "#000000")])
    assert 'd="M20 32H165" class="p-strand"' in svg.replace(' fill="none"', "")


def test_fibre_in_the_store_is_named_and_not_drawn_on_the_line():
    svg = steps(PLACES, [Standing("L1", "store", 900.0, "#ffffff")])
    assert "in store" in svg
    assert "tuft-shape" not in svg


def test_an_order_without_fibre_says_so():
    assert "nothing of it is in the mill yet" in steps(PLACES, [])
