"""The dye kitchen: recipes scale on fibre, loads are equal, a tub holds one owner's fibre at a time."""

import math
import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from tests.mill.conftest import seen

from doffer.errors import ConflictError, InfeasibleError, InputError, NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.booking import Reading
from doffer.mill.commands.dip_stick import measure_kettle
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.kitchen import DyeRecipeFacts, DyeStep, begin_dyeing, write_dye_recipe
from doffer.mill.commands.machines import MachineFacts, add_machine
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.tubs import next_bath, put_in, take_out
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.models import KettleStick, Machine
from doffer.mill.queries.kettles import kettles, one_kettle
from doffer.mill.queries.kitchen import dye_recipes, dyeings, one_dyeing, recipe_card, tubs
from doffer.planning.dip_stick import KettleShape, StickMark

pytestmark = pytest.mark.django_db

LOW, HIGH = StickMark(20, 120), StickMark(50, 400)
PLAIN = DyeRecipeFacts(
    dyes=(("acid yellow", 0.010), ("acid blue", 0.005)),
    acid="acetic_56",
    acid_frac_owf=0.02,
    salt_frac_owf=0.10,
    liquor_ratio=30,
    stock_g_per_100ml=1,
    steps=(
        DyeStep(what="heat", minutes=55, temperature_c=95, ramp_c_per_min=1),
        DyeStep(what="hold", minutes=45),
    ),
)


@pytest.fixture
def kitchen(dye_house):
    """Kettles of 60 and 120 L, a rack, and 2.60 kg of white wool as L005."""
    for code, capacity in (("K60", 1.8), ("K120", 3.6)):
        facts = MachineFacts(
            name=f"kettle {code[1:]} L", stage="dye", capacity=capacity, capacity_unit="kg at 30:1"
        )
        add_machine(dye_house.owner, facts, code=code)
    for code in ("RA", "RB"):
        add_machine(dye_house.owner, MachineFacts(name=f"rack {code[1]}", stage="dry"), code=code)
    add_machine(dye_house.owner, MachineFacts(name="wash tub", stage="wash"), code="T1")
    record_weighing(
        dye_house.floor,
        lot="L005",
        reading=Reading(gross_g=2600, branch="measured", measured_regain_frac=0.15),
        confirmation="the rest went to the store",
    )
    write_dye_recipe(dye_house.owner, dye_house.shade, PLAIN)
    return dye_house


def test_one_load_in_the_large_kettle(kitchen):
    """Scenario 5: 2.60 kg, 1.5 % deep, 1 % stock, 30:1."""
    card = recipe_card(kitchen.shade, fibre_g=2600, wet_pickup_frac=1.0)
    (load,) = card.loads
    assert load.kettle == "K120"
    assert load.liquor_l == pytest.approx(78)
    assert sum(volume_ml for _, volume_ml in load.stock_ml) == pytest.approx(3900)
    assert load.top_up_l == pytest.approx(78 - 3.9 - 2.6)
    assert load.salt_g == pytest.approx(260)
    assert load.acid_pure_g == pytest.approx(52)
    assert load.acid_ml == pytest.approx(52 / 0.56 / 1.062, abs=0.1)
    assert card.recipe.minutes == 100


def test_with_the_large_kettle_busy_two_equal_loads(kitchen):
    put_in(kitchen.floor, machine="K120", lot=kitchen.lots["G1"], what="dyeing")
    loads = recipe_card(kitchen.shade, fibre_g=2600).loads
    assert [load.kettle for load in loads] == ["K60", "K60"]
    for load in loads:
        assert load.fibre_g == pytest.approx(1300)
        assert load.liquor_l == pytest.approx(39)
        assert sum(volume_ml for _, volume_ml in load.stock_ml) == pytest.approx(1950)


def test_the_small_kettle_refuses_the_whole_lot(kitchen):
    with pytest.raises(InputError, match=r"at most 1\.80 kg at 30:1"):
        recipe_card(kitchen.shade, fibre_g=2600, kettle="K60")
    with pytest.raises(InputError, match=r"at most 1\.80 kg"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, loads=(("K60", 2600.0),))
    assert dyeings().rows == ()


def test_with_no_kettle_free_the_card_says_so(kitchen):
    for kettle, lot in (("K60", "G1"), ("K120", "G2")):
        put_in(kitchen.floor, machine=kettle, lot=kitchen.lots[lot], what="dyeing")
    card = recipe_card(kitchen.shade, fibre_g=2600)
    assert card.loads == ()
    assert "no kettle is free" in card.why_not
    with pytest.raises(InfeasibleError, match="no kettle is free"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)


def test_a_dyeing_keeps_its_loads_and_their_tufts(kitchen):
    put_in(kitchen.floor, machine="K120", lot=kitchen.lots["G1"], what="dyeing")
    done = begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, wet_pickup_frac=1.0)
    assert len(done.loads) == 2
    assert any("2 to 8" in remark for remark in done.remarks)
    for (load, _), lab in zip(done.loads, ((46, -22, 18), (42, -24, 14)), strict=True):
        record_readings(kitchen.floor, seen=seen(lab, lab), load=load)
    found = one_dyeing(done.id)
    assert [load.sittings[0].lab[0] for load in found.loads] == [pytest.approx(46), pytest.approx(42)]
    assert found.loads[0].sittings[0].lot == "L005"
    assert found.loads[0].top_up_l == pytest.approx(39 - 1.95 - 1.3, abs=0.001)
    assert found.loads[0].stock_ml == (("acid yellow", 1300.0), ("acid blue", 650.0))
    assert dyeings(lot="L005").rows[0].fibre_g == 2600


def test_loads_that_were_split_unequally_are_recorded_with_a_remark(kitchen):
    done = begin_dyeing(
        kitchen.floor, lot="L005", shade=kitchen.shade, loads=(("K60", 1800.0), ("K60", 800.0))
    )
    assert any("unequal loads" in remark for remark in done.remarks)


def test_more_fibre_than_the_lot_has_is_refused(kitchen):
    # 2600 g at a regain of 15 % are 2645 g at the agreed 17 %
    with pytest.raises(InputError, match="at most the 2645 g of L005"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, fibre_g=3000)


def test_a_lot_drier_than_agreed_is_dyed_by_its_agreed_weight(kitchen):
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, fibre_g=2645)
    assert dyeings(lot="L005").rows[0].fibre_g == 2645


@pytest.mark.parametrize("shape", [KettleShape(bore_mm=400), KettleShape(low=LOW, high=HIGH)])
def test_the_newest_shape_of_a_kettle_counts(kitchen, shape):
    measure_kettle(kitchen.floor, "K60", KettleShape(bore_mm=380))
    measure_kettle(kitchen.floor, "K60", shape)
    assert one_kettle("K60").shape == shape
    assert one_kettle("K60").measured_by
    assert [row.shape for row in kettles() if row.code != "K60"] == [None]


def test_a_shape_is_kept_of_dye_kettles_only_and_once_for_a_key(kitchen):
    with pytest.raises(InputError, match="a dye kettle"):
        measure_kettle(kitchen.floor, "RA", KettleShape(bore_mm=400))
    with pytest.raises(RefusedError):
        measure_kettle(kitchen.viewer, "K60", KettleShape(bore_mm=400))
    key = uuid.uuid4()
    first = measure_kettle(kitchen.floor, "K60", KettleShape(bore_mm=400), key=key)
    assert measure_kettle(kitchen.floor, "K60", KettleShape(bore_mm=400), key=key) == first
    assert KettleStick.objects.count() == 1


def test_the_database_refuses_a_stick_that_says_nothing(kitchen):
    machine = Machine.objects.get(code="K60")
    with pytest.raises(IntegrityError), transaction.atomic():
        KettleStick.objects.create(kettle=machine, low_ml=1, measured_at=clock.now(), person=kitchen.owner)


def test_a_new_recipe_is_a_new_version_and_dyeings_keep_theirs(kitchen):
    done = begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)
    version = write_dye_recipe(kitchen.owner, kitchen.shade, DyeRecipeFacts(dyes=(("acid green", 0.015),)))
    assert version == 2
    assert [row.version for row in dye_recipes(shade=kitchen.shade)] == [2, 1]
    assert [row.version for row in dye_recipes()] == [2]
    assert one_dyeing(done.id).recipe.version == 1


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"dyes": ()}, "one or more"),
        ({"dyes": (("acid red", 0.5),)}, "at most 15%"),
        ({"acid": "battery_acid"}, "citric_powder"),
        ({"liquor_ratio": 2}, "from 5 to 100"),
        ({"ph": 0}, "from 1 to 14"),
        ({"acid_frac_owf": 0.9}, "acid is “90 %”; it must be from 0 to 20 %"),
        ({"salt_frac_owf": 1.5}, "salt is “150 %”; it must be from 0 to 100 %"),
    ],
)
def test_recipes_that_no_dyer_means_are_refused(kitchen, more, sentence):
    words = {"dyes": (("acid red", 0.01),), **more}
    with pytest.raises(InputError, match=sentence):
        write_dye_recipe(kitchen.owner, kitchen.shade, DyeRecipeFacts(**words))


def test_a_step_above_boiling_is_refused():
    with pytest.raises(InputError, match="at most 100"):
        DyeStep(what="boil", minutes=10, temperature_c=130)


def test_the_floor_dyes_but_writes_no_recipe(kitchen):
    with pytest.raises(RefusedError, match="may not set standard shades"):
        write_dye_recipe(kitchen.floor, kitchen.shade, PLAIN)
    with pytest.raises(NotFoundError, match="dye recipe"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, version=9)


def inside(code):
    return next(tub for tub in tubs() if tub.code == code).inside


def test_a_tub_tells_which_bath_of_how_many_and_what_is_due(kitchen):
    due = clock.now() + timedelta(minutes=30)
    use = put_in(
        kitchen.floor, machine="T1", lot="L005", what="first bath", n_baths=2, next_step="rinse", due_at=due
    )
    (there,) = inside("T1")
    assert (there.bath, there.n_baths, there.what, there.next_step) == (1, 2, "first bath", "rinse")
    assert not there.is_due
    with clock.frozen(due):
        assert inside("T1")[0].is_due
        assert next_bath(kitchen.floor, use, what="rinse") == 2
        (there,) = inside("T1")
        assert there.bath == 2
        assert there.in_at < there.bath_since
    with pytest.raises(RefusedError, match="all its 2 baths"):
        next_bath(kitchen.floor, use, what="one more")
    assert next_bath(kitchen.floor, use, what="one more", n_baths=3) == 3
    take_out(kitchen.floor, use)
    assert inside("T1") == ()
    with pytest.raises(ConflictError, match="taken out"):
        take_out(kitchen.floor, use)


def test_a_tub_holds_one_lot_and_a_rack_several(kitchen):
    put_in(kitchen.floor, machine="T1", lot="L005", what="first bath")
    with pytest.raises(RefusedError, match="L005 of"):
        put_in(kitchen.floor, machine="T1", lot=kitchen.theirs, what="first bath")
    put_in(kitchen.floor, machine="RA", lot=kitchen.lots["G1"], what="drying")
    put_in(kitchen.floor, machine="RA", lot=kitchen.theirs, what="drying")
    assert [there.owner for there in inside("RA")] == [kitchen.own, kitchen.moss]
    with pytest.raises(ConflictError, match="in rack A already"):
        put_in(kitchen.floor, machine="RA", lot=kitchen.theirs, what="drying")


def test_held_fibre_and_machines_without_room_are_refused(kitchen):
    open_hold(kitchen.owner, kind="moth", lot="L005", reason="larvae")
    with pytest.raises(RefusedError, match="larvae"):
        put_in(kitchen.floor, machine="T1", lot="L005", what="first bath")
    with pytest.raises(RefusedError, match="larvae"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)
    with pytest.raises(NotFoundError, match="tub, kettle or rack"):
        put_in(kitchen.floor, machine="nowhere", lot=kitchen.theirs, what="first bath")


def test_what_was_dyed_cannot_be_rewritten_with_a_database_tool(kitchen):
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)
    with (
        pytest.raises(IntegrityError, match="only ever added to"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("UPDATE mill_dyeload SET liquor_ml = 1")


def test_the_invented_mill_has_a_wash_and_two_full_racks_on_monday(demo_mill):
    (wash,) = inside("SC1")
    assert (wash.lot, wash.bath, wash.n_baths, wash.next_step) == ("L040", 2, 4, "first rinse")
    assert [there.lot for there in inside("RA")] == ["L004"]
    loads = [one_dyeing(row.id).loads[0] for row in dyeings().rows]
    assert len(loads) == 4
    assert all(load.sittings[0].n_tufts == 5 for load in loads)
    assert {row.shade_name for row in dye_recipes()} == {"Fern", "Madder", "Slate", "Oat"}


CITRIC = DyeRecipeFacts(dyes=(("acid red", 0.01),), acid="citric_powder", acid_frac_owf=0.02)


@pytest.mark.parametrize(("grams", "sentence"), [(0, "above zero"), (-5, "above zero"), (math.nan, "above")])
def test_no_fibre_is_not_dyed(kitchen, grams, sentence):
    for kettle in ("", "K60"):
        with pytest.raises(InputError, match=f"fibre to dye .*{sentence}"):
            recipe_card(kitchen.shade, fibre_g=grams, kettle=kettle)


def test_a_batch_whose_doses_no_scale_shows_is_refused_with_the_least_that_can_be(kitchen):
    write_dye_recipe(kitchen.owner, kitchen.shade, CITRIC)
    # 2 % of 10 g in two parts are 0.1 g each, the least a scale shows
    assert recipe_card(kitchen.shade, fibre_g=10).loads[0].acid_pure_g == pytest.approx(0.2)
    with pytest.raises(InputError, match=r"at least 10 g .*citric acid powder is 0\.09 g, and 0\.1 g"):
        recipe_card(kitchen.shade, fibre_g=9)
    with pytest.raises(InputError, match="at least 10 g"):
        begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, fibre_g=9)
    assert dyeings().rows == ()


def test_a_stock_solution_too_little_to_measure_is_refused(kitchen):
    strong = DyeRecipeFacts(dyes=(("acid red", 0.0001),), stock_g_per_100ml=10)
    write_dye_recipe(kitchen.owner, kitchen.shade, strong)
    with pytest.raises(InputError, match=r"at least 100 g .*stock of acid red is 0\.05 mL"):
        recipe_card(kitchen.shade, fibre_g=50)


def test_a_dyeing_takes_its_kettle_until_the_lot_is_taken_out(kitchen):
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)
    (there,) = inside("K120")
    assert (there.lot, there.what, there.n_baths) == ("L005", "dyeing Fern", 1)
    assert there.due_at - there.in_at == timedelta(minutes=100)
    other = kitchen.lots["G1"]
    with pytest.raises(RefusedError, match="L005 of"):
        begin_dyeing(kitchen.floor, lot=other, shade=kitchen.shade, loads=(("K120", 300.0),))
    assert [row.lot for row in dyeings().rows] == ["L005"]
    assert recipe_card(kitchen.shade, fibre_g=2600).loads[0].kettle == "K60"
    assert recipe_card(kitchen.shade, fibre_g=2600, lot="L005").loads[0].kettle == "K60"
    take_out(kitchen.floor, there.use)
    assert recipe_card(kitchen.shade, fibre_g=2600).loads[0].kettle == "K120"


def test_a_lot_that_stands_in_its_kettle_already_is_dyed_there(kitchen):
    put_in(kitchen.floor, machine="K120", lot="L005", what="wetting out")
    done = begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade)
    assert [load.kettle for _, load in done.loads] == ["K120"]
    assert [there.what for there in inside("K120")] == ["wetting out"]


def test_two_loads_of_one_kettle_are_two_baths_of_it(kitchen):
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, loads=(("K60", 1300.0), ("K60", 1300.0)))
    (there,) = inside("K60")
    assert (there.what, there.bath, there.n_baths) == ("dyeing Fern, first load", 1, 2)


def test_a_dyeing_written_down_afterwards_takes_no_kettle(kitchen):
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, is_now=False)
    assert inside("K120") == ()
