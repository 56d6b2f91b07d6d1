"""Which sample blends a fit takes of itself, and which teach nothing."""

from datetime import timedelta

import numpy as np
import pytest
from tests.mill.conftest import seen
from tests.mill.test_colour_recipes import facts

from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.mill import clock
from doffer.mill.commands.recipes import propose_recipe
from doffer.mill.commands.samples import SamplePart, fit_mixing, record_sample_blend
from doffer.mill.commands.trial_card import measure_trial
from doffer.mill.models import Lot, SampleBlend
from doffer.mill.queries.samples import mixing_book

pytestmark = pytest.mark.django_db
NM = np.arange(400, 701, 10)
DARK = 0.03 + 0.05 * (NM > 600)
LIGHT = 0.45 + 0.35 * (NM - 400) / 300
TRUE_M = 0.30


def sample(house, share, m=TRUE_M):
    made = blend(np.stack([DARK, LIGHT]), np.array([share, 1 - share]), stearns_noechel(m))
    parts = [SamplePart("dark", share, tuple(DARK)), SamplePart("light", 1 - share, tuple(LIGHT))]
    return record_sample_blend(house.floor, fibre="wool", parts=parts, blend=tuple(made))


def test_a_card_of_two_fibres_teaches_neither(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    Lot.objects.filter(code=dye_house.lots["yellow"]).update(fibre="polyamide")
    measure_trial(dye_house.floor, code, seen=seen((46.8, -20.6, 19.0)))
    assert SampleBlend.objects.count() == 0


def test_of_a_card_read_twice_the_newest_reading_counts(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    measure_trial(dye_house.floor, code, seen=seen((46.2, -20.6, 19.0)))
    measure_trial(dye_house.floor, code, seen=seen((46.8, -20.6, 19.0)))
    older, newer = SampleBlend.objects.order_by("id").values_list("pk", flat=True)
    assert mixing_book("wool", "loose").read_again == {older}
    others = [sample(dye_house, share) for share in (0.4, 0.5, 0.6)]
    fit_mixing(dye_house.office, fibre="wool", samples=[older, *others])
    assert mixing_book("wool", "loose").fits[0].samples == tuple(others)
    fit_mixing(dye_house.office, fibre="wool", samples=[newer, *others])
    assert mixing_book("wool", "loose").fits[0].samples == (newer, *others)


def test_what_was_left_out_of_the_fit_stays_out_until_somebody_ticks_it(dye_house):
    good = [sample(dye_house, share) for share in (0.4, 0.5, 0.6)]
    wrong = sample(dye_house, 0.5, m=0.12)
    by_hand = fit_mixing(dye_house.office, fibre="wool", samples=good)
    with clock.frozen(clock.now() + timedelta(days=1)):
        later = sample(dye_house, 0.45)
        again = fit_mixing(dye_house.office, fibre="wool")
    assert mixing_book("wool", "loose").fits[0].samples == (*good, later)
    assert (by_hand.n_blends, again.n_blends) == (3, 4)
    assert again.m == pytest.approx(TRUE_M, abs=0.01)
    assert wrong not in mixing_book("wool", "loose").teaching
    ticked = fit_mixing(dye_house.office, fibre="wool", samples=[*good, wrong])
    assert ticked.n_blends == 4
