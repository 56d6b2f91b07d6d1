"""What machines can be set to, what runs were set to and gave, and which of them were good."""

import dataclasses
import uuid

import pytest
from django.db import IntegrityError, connection, transaction

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.mill import bridge
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.machines import archive_machine
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.commands.yarn_settings import (
    MachineSettingFacts,
    RunSettingsFacts,
    record_machine_setting,
    record_run_settings,
)
from doffer.mill.machine_values import usual_values
from doffer.mill.models import Lot, MachineSetting, RunSettings
from doffer.mill.queries.yarn import best_settings, machine_settings, past_runs, run_settings
from doffer.tables.loader import load_tables
from doffer.working import Status

pytestmark = pytest.mark.django_db
PICKER, CARD, FRAME = "PIC1", "CAR1", "SPI1"


def setting(key, values, **more):
    return MachineSettingFacts(key=key, values=values, **more)


def carded(mill, *, out_g=1000.0, lot="L005", stage="card"):
    """A run of some of a scoured lot through the card; gives its number."""
    weighed = {"branch": "measured", "measured_regain_frac": 0.15}
    done = record_run(
        mill.floor,
        RunFacts(stage=stage, machine=CARD if stage == "card" else "", cleaned_before="yes"),
        inputs=(RunIn(lot=lot, reading=Reading(gross_g=out_g * 1.05, **weighed)),),
        outputs=(RunOut(reading=Reading(gross_g=out_g, **weighed), is_product=True),),
        confirmation="a part of it",
    )
    return done.run


def test_a_frame_nobody_described_has_the_usual_settings_and_they_are_guesses(small_mill):
    frame = machine_settings(FRAME)
    assert (frame.stage, frame.n_own, frame.name) == ("spin", 0, "spinning frame")
    spindles = frame.of("spindles")
    assert (spindles.values, spindles.value, spindles.low, spindles.high) == ((8,), 8, 4, 16)
    assert (spindles.is_own, spindles.is_guess, spindles.status) == (False, True, Status.PRACTICE)
    assert (spindles.unit, spindles.source, spindles.history) == (
        "spindles",
        small_mill.tables.sources["practice"].title,
        (),
    )
    assert frame.value("draft_constant") is None
    assert frame.all_of("draft_teeth") == ()
    assert (frame.of("system").word, frame.of("system").names[1]) == ("semi_worsted", "semi_worsted")


def test_a_guess_that_stands_in_another_table_follows_that_table(small_mill):
    frame, tables = machine_settings(FRAME), small_mill.tables
    limit = tables.yarn_limits["spin_draft/semi_worsted"]
    assert frame.all_of("draft_window") == (limit.low, limit.high) == (6, 25)
    assert frame.value("roll_speed_cap") == tables.yarn_figures["roll_speed_cap/any"].value == 25
    assert machine_settings(CARD).value("card_roving") == tables.yarn_figures["card_tex/any"].value


def test_the_newest_setting_counts_and_the_older_ones_stay(small_mill):
    first = record_machine_setting(small_mill.owner, FRAME, setting("spindles", 8, known="maker"))
    second = record_machine_setting(small_mill.floor, FRAME, setting("spindles", 7, note="one is broken"))
    row = machine_settings(FRAME).of("spindles")
    assert (row.value, row.is_own, row.is_guess, row.status) == (7, True, False, Status.OWN)
    assert [(one.id, one.values, one.person) for one in row.history] == [
        (second, (7,), "Flo"),
        (first, (8,), "Ada"),
    ]
    assert (row.now.note, row.now.known_words) == ("one is broken", "counted or measured here")
    assert (row.usual, machine_settings(FRAME).n_own) == ((8,), 1)
    assert MachineSetting.objects.get(pk=second).supersedes_id == first


def test_a_setting_the_mill_guessed_is_its_own_and_still_a_guess(small_mill):
    record_machine_setting(small_mill.owner, FRAME, setting("efficiency", 0.7, known="guess"))
    row = machine_settings(FRAME).of("efficiency")
    assert (row.value, row.is_own, row.is_guess) == (0.7, True, True)


def test_lists_steps_ranges_and_words_are_kept_in_their_shape(small_mill):
    record_machine_setting(small_mill.owner, FRAME, setting("draft_teeth", [40, 32, 36, 40]))
    record_machine_setting(small_mill.owner, FRAME, setting("ratch", (80, 180)))
    record_machine_setting(small_mill.owner, FRAME, setting("system", "woollen"))
    record_machine_setting(small_mill.owner, PICKER, setting("beater_steps", (420, 640.5, 880)))
    frame = machine_settings(FRAME)
    assert frame.all_of("draft_teeth") == (32, 36, 40)
    assert frame.all_of("ratch") == (80, 180)
    assert (frame.of("system").word, frame.value("system")) == ("woollen", 3)
    steps = machine_settings(PICKER).of("beater_steps")
    assert dict(zip(steps.names, steps.values, strict=True)) == {"slow": 420, "middle": 640.5, "fast": 880}


@pytest.mark.parametrize(
    ("key", "values", "said"),
    [
        ("spindles", 0, "above zero spindles"),
        ("spindles", 7.5, "a whole number of spindles"),
        ("spindles", float("nan"), "above zero spindles"),
        ("efficiency", 80, "from 0 to 1"),
        ("ratch", (180, 80), "rising figures"),
        ("ratch", 90, "2 of them"),
        ("draft_teeth", (), "from 1 to 60 figures"),
        ("draft_teeth", (32, 32.5), "a whole number of teeth"),
        ("system", "mule", "one of worsted, semi_worsted, woollen"),
        ("system", 4, "one of worsted, semi_worsted, woollen"),
        ("spindle_rpm", "fast", "a number of rpm"),
        ("ends", 4, "one of system, spindles"),
    ],
)
def test_settings_that_cannot_be_are_refused_with_what_they_should_be(small_mill, key, values, said):
    with pytest.raises(InputError, match=said):
        record_machine_setting(small_mill.owner, FRAME, setting(key, values))
    assert MachineSetting.objects.count() == 0


def test_a_setting_outside_of_what_is_possible_is_asked_about(small_mill):
    with pytest.raises(QuestionError, match=r"spindle rpm is 30000 rpm, and 300 to 12000 is possible"):
        record_machine_setting(small_mill.owner, FRAME, setting("spindle_rpm", 30_000))
    assert MachineSetting.objects.count() == 0
    record_machine_setting(small_mill.owner, FRAME, setting("spindle_rpm", 12_000))
    record_machine_setting(
        small_mill.owner, FRAME, setting("spindle_rpm", 30_000, note="new"), confirmation="it is a rotor"
    )
    row = machine_settings(FRAME).of("spindle_rpm")
    assert (row.value, row.now.note) == (30_000, "new; it is a rotor")


def test_settings_are_refused_for_machines_that_are_gone_and_to_viewers(small_mill):
    with pytest.raises(RefusedError, match="Vic may not"):
        record_machine_setting(small_mill.viewer, FRAME, setting("spindles", 8))
    archive_machine(small_mill.owner, FRAME)
    with pytest.raises(NotFoundError, match="SPI1"):
        record_machine_setting(small_mill.owner, FRAME, setting("spindles", 8))
    with pytest.raises(NotFoundError, match="XYZ"):
        machine_settings("XYZ")


def test_a_setting_sent_twice_is_kept_once(small_mill):
    key = uuid.uuid4()
    numbers = {
        record_machine_setting(small_mill.owner, FRAME, setting("spindles", 8), key=key) for _ in range(2)
    }
    assert len(numbers) == MachineSetting.objects.count() == 1


def test_every_shipped_guess_has_its_shape_and_is_possible():
    tables = load_tables()
    for row in tables.machine_settings.values():
        values = usual_values(tables, key=row.setting, stage=row.stage)
        assert all(row.least <= value <= row.most for value in values), row.setting
        wanted = {"one": (0, 1), "range": (2,), "steps": (3,), "list": (0,), "word": (1,)}
        assert len(values) in wanted[row.shape], row.setting
        assert values == tuple(sorted(values))
    assert len(tables.machine_settings) == 37


def test_what_a_run_was_set_to_is_kept_with_its_fibre(small_mill):
    run = carded(small_mill, out_g=800)
    number = record_run_settings(
        small_mill.floor,
        run,
        RunSettingsFacts(settings={"feed": 60, "roving": 4200, "wire_settings": (0.5, 0.4)}),
    )
    told = run_settings(run)
    assert (told.id, told.run, told.stage, told.machine, told.fibre) == (number, run, "card", CARD, "wool")
    breed = small_mill.tables.breeds["corriedale"]
    assert (told.diameter_um, told.staple_mm) == (breed.diameter_um, breed.staple_mm)
    assert (told.of("feed").value, told.of("feed").unit) == (60, "g")
    assert told.of("wire_settings").values == (0.4, 0.5)
    assert told.of("web") is None
    assert (told.breaks_per_kg, told.rating, told.rated_by, told.why) == (None, None, "", "")


def test_what_it_gave_is_added_later_without_losing_its_settings(small_mill):
    run = carded(small_mill, out_g=800)
    record_run_settings(
        small_mill.floor, run, RunSettingsFacts(settings={"feed": 60, "web": 12}, note="damp")
    )
    record_run_settings(
        small_mill.owner,
        run,
        RunSettingsFacts(settings={"web": 14}, breaks=2, spindle_h=4.5, cv_frac=0.042, rating=4),
    )
    told = run_settings(run)
    assert [(one.key, one.value) for one in told.settings] == [("feed", 60), ("web", 14)]
    assert (told.breaks, told.breaks_per_kg, told.spindle_h, told.cv_frac) == (2, 2.5, 4.5, 0.042)
    assert told.breaks_per_spindle_h == pytest.approx(2 / 4.5)
    assert (told.rating, told.rated_by, told.note) == (4, "Ada", "damp")
    assert told.why == "Ada gave it 4 of 5, 2.5 end breaks in a kilogram"
    assert RunSettings.objects.count() == 2
    # counted in the last 200 g only
    record_run_settings(small_mill.floor, run, RunSettingsFacts(breaks_over_g=200.0))
    assert (run_settings(run).breaks_per_kg, run_settings(run).rated_by) == (10, "Ada")


def test_run_settings_that_cannot_be_are_refused_and_odd_ones_asked_about(small_mill):
    run = carded(small_mill)
    with pytest.raises(InputError, match=r"one of feed, web, roving"):
        record_run_settings(small_mill.floor, run, RunSettingsFacts(settings={"twist": 200}))
    with pytest.raises(InputError, match="a setting, or what it gave"):
        record_run_settings(small_mill.floor, run, RunSettingsFacts())
    with pytest.raises(InputError, match="from 1 to 5"):
        RunSettingsFacts(rating=6)
    with pytest.raises(InputError, match="end breaks"):
        RunSettingsFacts(breaks=-1)
    with pytest.raises(NotFoundError, match="X9"):
        record_run_settings(small_mill.floor, "X9", RunSettingsFacts(rating=3))
    odd = RunSettingsFacts(settings={"feed": 600}, cv_frac=4.2)
    with pytest.raises(QuestionError, match=r"feed is 600 g, and 5 to 300 is possible.*unevenness is 420 %"):
        record_run_settings(small_mill.floor, run, odd)
    assert RunSettings.objects.count() == 0
    record_run_settings(small_mill.floor, run, odd, confirmation="two belts")
    assert run_settings(run).note == "two belts"


def of_diameter(code, diameter_um):
    Lot.objects.filter(code=code).update(diameter_nm=round(diameter_um * bridge.NM_PER_UM))


def test_the_best_settings_are_those_of_like_fibre_that_went_well(small_mill):
    told = {}
    for name, um, facts in (
        ("plain", 25.0, {"breaks": 3, "breaks_over_g": 1000.0}),
        ("loved", 25.5, {"rating": 5, "breaks": 9, "breaks_over_g": 1000.0}),
        ("liked", 26.9, {"rating": 4, "breaks": 1, "breaks_over_g": 1000.0}),
        ("liked, more breaks", 25.0, {"rating": 4, "breaks": 4, "breaks_over_g": 1000.0}),
        ("many breaks", 25.0, {"breaks": 6, "breaks_over_g": 1000.0}),
        ("disliked", 25.0, {"rating": 2, "breaks": 0, "breaks_over_g": 1000.0}),
        ("no word", 25.0, {"cv_frac": 0.03}),
        ("coarse", 27.1, {"rating": 5}),
        ("fine", 22.9, {"rating": 5}),
    ):
        of_diameter("L005", um)
        told[carded(small_mill, out_g=300)] = name
        run = list(told)[-1]
        record_run_settings(small_mill.floor, run, RunSettingsFacts(settings={"feed": 60}, **facts))
    best = best_settings("card", fibre="wool", diameter_um=25.0)
    assert [told[one.run] for one in best] == ["loved", "liked", "liked, more breaks", "plain"]
    assert best[0].of("feed").value == 60
    assert best[3].why == "3 end breaks in a kilogram"
    wider = best_settings("card", fibre="wool", diameter_um=25.0, within_um=2.2)
    assert {"coarse", "fine"} <= {told[one.run] for one in wider}
    assert best_settings("card", fibre="alpaca", diameter_um=25.0) == ()
    assert best_settings("spin", fibre="wool", diameter_um=25.0) == ()
    assert best_settings("card", fibre="wool", diameter_um=25.0, machine="OTHER") == ()
    assert len(past_runs("card", machine=CARD).rows) == 9


def test_a_run_whose_good_word_was_taken_back_is_no_longer_among_the_best(small_mill):
    run = carded(small_mill)
    record_run_settings(small_mill.floor, run, RunSettingsFacts(settings={"feed": 60}, rating=5))
    assert [one.run for one in best_settings("card", fibre="wool")] == [run]
    record_run_settings(small_mill.owner, run, RunSettingsFacts(rating=1, note="shed in the wash"))
    assert best_settings("card", fibre="wool") == ()
    assert run_settings(run).rated_by == "Ada"


def test_settings_are_read_with_few_queries_however_many_there_are(small_mill, django_assert_num_queries):
    for teeth in range(30, 42):
        record_machine_setting(small_mill.owner, FRAME, setting("draft_teeth", (teeth, 60)))
    run = carded(small_mill)
    record_run_settings(small_mill.floor, run, RunSettingsFacts(settings={"feed": 60}, rating=5))
    with django_assert_num_queries(4):
        assert len(machine_settings(FRAME).of("draft_teeth").history) == 12
    with django_assert_num_queries(2):
        assert len(best_settings("card", fibre="wool")) == 1
    with django_assert_num_queries(3):
        run_settings(run)
    with django_assert_num_queries(2):
        past_runs("card")


def test_kept_settings_cannot_be_changed_nor_a_rating_kept_without_a_name(small_mill):
    number = record_machine_setting(small_mill.owner, FRAME, setting("spindles", 8))
    run = carded(small_mill)
    told = record_run_settings(small_mill.floor, run, RunSettingsFacts(rating=5))
    for table, pk in (("mill_machinesetting", number), ("mill_runsettings", told)):
        with pytest.raises(IntegrityError, match="only ever added to"), transaction.atomic():
            connection.cursor().execute(f"UPDATE {table} SET note = 'x' WHERE id = {pk}")
    kept = RunSettings.objects.get(pk=told)
    columns = {field.name: getattr(kept, field.name) for field in RunSettings._meta.fields}
    nobody = columns | {"id": None, "rated_by": None, "supersedes": kept}
    with pytest.raises(IntegrityError), transaction.atomic():
        RunSettings.objects.create(**nobody)


def test_facts_of_settings_say_how_they_are_known():
    with pytest.raises(InputError, match="one of guess, maker, measured"):
        setting("spindles", 8, known="heard")
    assert dataclasses.replace(setting("spindles", 8), known="maker").known == "maker"
