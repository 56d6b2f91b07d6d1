"""A kettle load speaks for its lot only when all of the lot went into the dyeing."""

from __future__ import annotations

import pytest
from tests.mill.conftest import seen
from tests.mill.test_kitchen import kitchen  # noqa: F401

from doffer.errors import RefusedError
from doffer.mill.commands.kitchen import begin_dyeing
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.shades import add_batch, judge_batch
from doffer.mill.models import Lot
from doffer.mill.queries.bench import bench
from doffer.mill.queries.readings import colour_of_lot

pytestmark = pytest.mark.django_db
WHITE, GREEN = (88, 0, 9), (46, -21, 19)


@pytest.fixture
def white(kitchen):  # noqa: F811
    """2.60 kg of white wool as L005, read white, kettles and a dye recipe."""
    record_readings(kitchen.floor, seen=seen(WHITE), lot="L005")
    return kitchen


def dyed(house, *grams, **more):
    return begin_dyeing(
        house.floor,
        lot="L005",
        shade=house.shade,
        loads=tuple(("K60", mass) for mass in grams),
        is_now=False,
        **more,
    )


def read(house, load, lab=GREEN):
    record_readings(house.floor, seen=seen(lab), load=load)


def test_a_load_of_a_part_leaves_the_lot_its_colour(white):
    done = dyed(white, 600.0)
    read(white, done.loads[0][0])
    found = bench(shade=white.shade).lot("L005")
    assert found.lab == pytest.approx(WHITE, abs=0.1)
    assert found.is_usable
    assert colour_of_lot("L005").lab == pytest.approx(WHITE, abs=0.1)
    assert Lot.objects.get(code="L005").lab_l_centi == 8800


def test_what_lies_dyed_beside_the_rest_is_not_free(white):
    dry_g = bench(shade=white.shade).lot("L005").free_dry_g
    dyed(white, 600.0)
    found = bench(shade=white.shade).lot("L005")
    assert found.dyed_apart_dry_g == pytest.approx(600 / 1.15, abs=0.5)
    assert found.free_dry_g == pytest.approx(dry_g - 600 / 1.15, abs=0.5)


def test_a_load_of_all_of_the_lot_gives_the_lot_its_colour(white):
    done = dyed(white, 1300.0, 1300.0)
    read(white, done.loads[0][0])
    found = bench(shade=white.shade).lot("L005")
    assert found.why_not == ("not read dry by an instrument since it was dyed",)
    read(white, done.loads[1][0])
    found = bench(shade=white.shade).lot("L005")
    assert found.lab == pytest.approx(GREEN, abs=0.1)
    assert found.is_usable
    assert found.dyed_apart_dry_g == 0
    assert Lot.objects.get(code="L005").lab_l_centi == 4600


def test_a_batch_is_not_judged_by_a_load_that_was_a_part_of_it(white):
    done = dyed(white, 600.0)
    read(white, done.loads[0][0], lab=(46.6, -20.9, 19.2))
    batch = add_batch(white.owner, shade=white.shade, lot="L005")
    assert judge_batch(white.owner, batch).verdict == "fail"


def test_a_lot_of_which_only_a_load_was_read_is_not_judged(kitchen):  # noqa: F811
    done = dyed(kitchen, 600.0)
    read(kitchen, done.loads[0][0])
    batch = add_batch(kitchen.owner, shade=kitchen.shade, lot="L005")
    with pytest.raises(RefusedError, match="part of it"):
        judge_batch(kitchen.owner, batch)
