"""A full mix is released only after its trial card was measured; the card then teaches the constant."""

import uuid

import numpy as np
import pytest
from tests.mill.conftest import FERN, seen

from doffer.errors import ConflictError, InputError, RefusedError
from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.fibre.colour.difference import de2000
from doffer.mill.bridge import current_tables
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.samples import SamplePart, fit_mixing, record_sample_blend
from doffer.mill.commands.trial_card import card_trial, measure_trial, refuse_recipe, release_recipe
from doffer.mill.models import ColourReading
from doffer.mill.queries.bench import bench
from doffer.mill.queries.recipes import list_recipes, mixing_fits, one_recipe, sample_blends
from doffer.planning.shade.correct import Batch, correct_batch

pytestmark = pytest.mark.django_db

# oven-dry kilograms of scenario 15: four greens and half a kilogram of yellow
KG = {"G1": 0.96, "G2": 0.83, "G3": 0.70, "G4": 0.57, "yellow": 0.51}


def facts(house, kg=KG, **more):
    total = sum(kg.values())
    parts = tuple(PartFacts(house.lots[name], mass / total) for name, mass in kg.items())
    return RecipeFacts(parts=parts, **{"dry_mass_g": 1000 * total, "shade": house.shade, **more})


def test_the_trial_card_of_four_greens_and_a_yellow_is_weighed_to_the_hundredth(dye_house):
    done = propose_recipe(dye_house.owner, facts(dye_house))
    assert list(done.trial_g.values()) == pytest.approx([5.38, 4.65, 3.92, 3.19, 2.86], abs=0.005)
    assert sum(done.trial_g.values()) == pytest.approx(20)
    assert done.de < 1.2
    low, high = done.band_de
    assert low <= done.de <= high
    assert high > 1.2  # how wrong it may be while M is not the mill's own


def test_the_full_mix_is_not_released_before_the_card_was_measured(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    with pytest.raises(RefusedError, match=r"not measured yet.*not the mill's own.*1.02 to 1.23"):
        release_recipe(dye_house.owner, code)
    card_trial(dye_house.floor, code)
    with pytest.raises(RefusedError, match="Card 20 g by the recipe"):
        release_recipe(dye_house.owner, code)
    told = measure_trial(dye_house.floor, code, seen=seen(*[(46.8, -20.6, 19.0)] * 4))
    assert told.verdict == "pass"
    assert release_recipe(dye_house.owner, code) == "released"
    steps = [step.state for step in one_recipe(code).steps]
    assert steps == ["proposed", "carded", "measured", "released"]


def test_a_card_that_is_off_shade_stops_the_mix_and_says_how_it_is_off(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    told = measure_trial(dye_house.floor, code, seen=seen((42, -24, 14)))
    assert told.verdict == "fail"
    assert told.prediction_off_de > 4
    with pytest.raises(RefusedError, match=r"off shade by 5.8: .*darker"):
        release_recipe(dye_house.owner, code, note="never mind")
    assert one_recipe(code).row.state == "measured"


def test_a_card_between_pass_and_fail_needs_a_note(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    assert measure_trial(dye_house.floor, code, seen=seen((48.1, -20.9, 19.2))).verdict == "ask"
    with pytest.raises(RefusedError, match="leaves to a person"):
        release_recipe(dye_house.owner, code)
    assert release_recipe(dye_house.owner, code, note="felting kits take it") == "released"


def test_a_card_read_on_one_tuft_needs_somebodys_word_and_keeps_whose(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    assert measure_trial(dye_house.floor, code, seen=seen((46.8, -20.6, 19.0))).verdict == "pass"
    with pytest.raises(RefusedError, match=r"read on one tuft alone, where 4 even out.*who decided"):
        release_recipe(dye_house.owner, code)
    assert one_recipe(code).row.state == "measured"
    assert release_recipe(dye_house.office, code, note="Ottoline: a very even card") == "released"
    last = one_recipe(code).steps[-1]
    assert (last.person, last.note) == (dye_house.office.name, "Ottoline: a very even card")


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"is_wet": True}, "read wet"),
        ({"is_photo": True}, "first guess"),
        ({"geometry": "d/8"}, "45/0 and the other with d/8"),
        ({"form": "yarn"}, "loose pad and the other a yarn"),
    ],
)
def test_a_card_read_unlike_the_target_is_refused_and_nothing_is_kept(dye_house, more, reason):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    before = ColourReading.objects.count()
    with pytest.raises(RefusedError, match=reason):
        measure_trial(dye_house.floor, code, seen=seen(FERN, **more))
    assert ColourReading.objects.count() == before
    assert one_recipe(code).row.state == "proposed"


def test_somebody_elses_fibre_goes_in_only_with_their_consent(dye_house):
    parts = (PartFacts(dye_house.lots["G1"], 0.5), PartFacts(dye_house.theirs, 0.5))
    wish = RecipeFacts(parts=parts, dry_mass_g=500, shade=dye_house.shade)
    with pytest.raises(RefusedError, match="two owners is not joined"):
        propose_recipe(dye_house.owner, wish)
    decision = decide_join(
        dye_house.owner, lots=[dye_house.lots["G1"], dye_house.theirs], consent="Tilly by phone"
    )
    code = propose_recipe(
        dye_house.owner,
        RecipeFacts(parts=parts, dry_mass_g=500, shade=dye_house.shade, join_decision=decision),
    ).code
    assert one_recipe(code).join_decision == decision


def test_no_more_of_a_lot_than_there_is(dye_house):
    with pytest.raises(RefusedError, match="holds 960 g oven-dry, the blend takes 1345 g"):
        propose_recipe(dye_house.owner, facts(dye_house, dry_mass_g=5000))


def test_a_held_lot_and_an_unread_lot_are_refused(dye_house):
    unread = RecipeFacts(
        parts=(PartFacts("L005", 0.5), PartFacts(dye_house.lots["G1"], 0.5)),
        dry_mass_g=500,
        shade=dye_house.shade,
    )
    with pytest.raises(RefusedError, match="L005 was not read dry"):
        propose_recipe(dye_house.owner, unread)
    open_hold(dye_house.owner, kind="moth", lot=dye_house.lots["G1"], reason="larvae")
    with pytest.raises(RefusedError, match="larvae"):
        propose_recipe(dye_house.owner, facts(dye_house))


def test_lots_read_behind_glass_are_not_blended_with_the_others(dye_house):
    record_readings(dye_house.floor, seen=seen((46, -22, 18), is_behind_glass=True), lot="L005")
    parts = (PartFacts("L005", 0.5), PartFacts(dye_house.lots["G1"], 0.5))
    with pytest.raises(RefusedError, match="behind glass"):
        propose_recipe(dye_house.owner, RecipeFacts(parts=parts, dry_mass_g=100, shade=dye_house.shade))
    lot = bench(shade=dye_house.shade).lot("L005")
    assert not lot.is_usable
    assert "L005" not in bench(shade=dye_house.shade).stock().names


def test_shares_add_up_and_name_each_lot_once(dye_house):
    one = PartFacts(dye_house.lots["G1"], 0.4)
    with pytest.raises(InputError, match=r"40\.0% together"):
        RecipeFacts(parts=(one,), dry_mass_g=100, shade=dye_house.shade)
    with pytest.raises(InputError, match="each named once"):
        RecipeFacts(parts=(one, one), dry_mass_g=100, shade=dye_house.shade)


def test_a_corrected_recipe_is_a_new_version_and_the_old_one_stays(dye_house):
    first = propose_recipe(dye_house.owner, facts(dye_house))
    measure_trial(dye_house.floor, first.code, seen=seen((42, -24, 14)))
    second = propose_recipe(dye_house.owner, facts(dye_house, {**KG, "yellow": 0.8}), code=first.code)
    assert (second.code, second.version) == (first.code, 2)
    assert one_recipe(first.code).row.state == "proposed"
    assert one_recipe(first.code, 1).row.state == "measured"
    assert [row.version for row in list_recipes().rows] == [2]


def test_a_refused_or_released_recipe_is_closed(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    with pytest.raises(InputError, match="reason is missing"):
        refuse_recipe(dye_house.owner, code, reason=" ")
    refuse_recipe(dye_house.owner, code, reason="customer changed her mind")
    with pytest.raises(ConflictError, match="refused already"):
        measure_trial(dye_house.floor, code, seen=seen(FERN))
    with pytest.raises(ConflictError, match="refused already"):
        release_recipe(dye_house.owner, code)


def test_proposing_twice_with_one_key_writes_one_recipe(dye_house):
    key = uuid.uuid4()
    first = propose_recipe(dye_house.owner, facts(dye_house), key=key)
    assert propose_recipe(dye_house.owner, facts(dye_house), key=key) == first
    assert len(list_recipes().rows) == 1


def grey(level):
    return tuple([level] * 31)


def made_by(m, *levels):
    """Sample blends half and half that an other mill's M would make."""
    return [
        (dark, light, blend(np.array([grey(dark), grey(light)]), np.array([0.5, 0.5]), stearns_noechel(m)))
        for dark, light in levels
    ]


def test_sample_blends_teach_the_mill_its_own_constant_and_recipes_use_it(dye_house):
    before = propose_recipe(dye_house.owner, facts(dye_house))
    for dark, light, made in made_by(0.25, (0.04, 0.6), (0.05, 0.7), (0.08, 0.5), (0.06, 0.8)):
        parts = [SamplePart("dark", 0.5, grey(dark)), SamplePart("light", 0.5, grey(light))]
        record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(made))
    fit = fit_mixing(dye_house.owner, fibre="wool")
    assert fit.m == pytest.approx(0.25, abs=0.003)
    assert fit.n_blends == 4
    assert fit.left_out_de < 0.1
    row = bench(shade=dye_house.shade).mixing
    assert (row.n_blends, row.m) == (4, pytest.approx(0.25, abs=0.003))
    after = propose_recipe(dye_house.owner, facts(dye_house))
    assert one_recipe(after.code).is_fitted
    assert not one_recipe(before.code).is_fitted
    assert after.band_de[1] - after.band_de[0] < before.band_de[1] - before.band_de[0]
    assert mixing_fits(fibre="wool")[0].m_high < 0.27


def test_two_cards_that_disagree_move_the_constant_little_and_the_recipe_says_so(dye_house):
    for m in (0.13, 0.24):
        dark, light, made = made_by(m, (0.04, 0.6))[0]
        parts = [SamplePart("dark", 0.5, grey(dark)), SamplePart("light", 0.5, grey(light))]
        record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(made))
    fit = fit_mixing(dye_house.owner, fibre="wool")
    kept = mixing_fits(fibre="wool")[0]
    assert kept.m_high / kept.m > 10 or kept.m_high == pytest.approx(0.95)  # two samples settle nothing
    row = bench(shade=dye_house.shade).mixing
    assert 0.15 < row.m < 0.15 + 0.2 * (fit.m - 0.15)
    proposed = one_recipe(propose_recipe(dye_house.owner, facts(dye_house)).code)
    assert proposed.constant == pytest.approx(row.m, abs=1e-6)
    assert 0.35 < proposed.ln_m_sd < 0.4


def test_cards_that_disagree_by_more_than_print_ever_did_are_not_used(dye_house):
    for m in (0.1, 0.4):
        dark, light, made = made_by(m, (0.04, 0.6))[0]
        parts = [SamplePart("dark", 0.5, grey(dark)), SamplePart("light", 0.5, grey(light))]
        record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(made))
    with pytest.raises(RefusedError, match=r"left out it is off by 6\.\d on average"):
        fit_mixing(dye_house.owner, fibre="wool")
    assert bench(shade=dye_house.shade).mixing.m == 0.15


def test_two_sample_blends_are_the_least(dye_house):
    dark, light, made = made_by(0.2, (0.04, 0.6))[0]
    parts = [SamplePart("dark", 0.5, grey(dark)), SamplePart("light", 0.5, grey(light))]
    record_sample_blend(dye_house.floor, fibre="wool", parts=parts, blend=tuple(made))
    with pytest.raises(InputError, match="2 or more"):
        fit_mixing(dye_house.owner, fibre="wool")


def test_a_measured_card_becomes_a_sample_blend(dye_house):
    code = propose_recipe(dye_house.owner, facts(dye_house)).code
    told = measure_trial(dye_house.floor, code, seen=seen(FERN))
    row = sample_blends(fibre="wool").rows[0]
    assert (row.id, row.recipe, row.kind) == (told.sample, code, "lab")
    assert sum(share for _, share in row.parts) == pytest.approx(1, abs=1e-5)
    assert float(de2000(np.array(FERN), np.array(row.lab))) < 0.02


def test_without_own_samples_the_bench_says_how_unsure_the_constant_is(dye_house):
    row = bench(shade=dye_house.shade).mixing
    assert (row.m, row.n_blends) == (0.15, 0)
    assert row.m_low == pytest.approx(0.15 * np.exp(-0.8), abs=1e-3)
    assert row.m_high == pytest.approx(0.15 * np.exp(0.8), abs=1e-3)


def test_the_bench_of_the_invented_mill_answers_four_greens_and_a_yellow(demo_mill):
    found = bench(shade="S001")
    target = found.target("S001", current_tables())
    greens = found.stock({"L027", "L028", "L029", "L030"})
    batch = Batch(greens.reflectance, greens.dry_mass_g)
    best = correct_batch(
        batch,
        target=target,
        stock=found.stock({"L031"}),
        owners=frozenset({"C12"}),
        ways=found.ways,
        tolerance_de=1.2,
    )[0]
    assert best.lots == ("L031",)
    assert 300 <= best.added_dry_mass_g[0] <= 750
    assert best.de_after < 1.2
    lot = found.lot("L031")
    assert lot.free_dry_g == pytest.approx(1720, abs=1)
    assert (lot.kind, lot.owner, lot.is_own) == ("lab", "C12", True)
    assert [part.fibre for part, _ in lot.parts] == ["wool"]


def test_lots_nobody_read_are_on_the_bench_with_the_reason(demo_mill):
    lot = bench().lot("L026")
    assert lot.why_not == ("not read dry by an instrument",)
    assert lot.reflectance_ppm == ()
    assert lot.lab == (84, 0.1, 9)
