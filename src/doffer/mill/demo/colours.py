"""Colours of the invented mill: its shades with their history, its dyed lots, its dye kitchen on Monday."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from importlib import resources

from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.mill.commands.dip_stick import measure_kettle
from doffer.mill.commands.kitchen import DyeRecipeFacts, DyeStep, begin_dyeing, write_dye_recipe
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.commands.shades import TargetFacts, add_batch, add_shade, judge_batch
from doffer.mill.commands.tubs import next_bath, put_in
from doffer.mill.demo.work import Act, Row, at_time, told
from doffer.mill.models import DyeLoad, Lot, Shade, TubUse
from doffer.people.models import Person
from doffer.planning.dip_stick import KettleShape, StickMark

INSTRUMENT = "pad colorimeter"
GEOMETRY = "45/0"
ASK_OVER_PASS = 1.5
GREENS = ("L027", "L028", "L029", "L030")  # kettle loads of the same green, read on five tufts each
DYED_LOTS = (*GREENS, "L031", "L032", "L033", "L037")
KETTLE_OF = {"L027": "K60", "L028": "K60", "L029": "K60", "L030": "K60"}
# the smallest kettle was never measured: its page says how to
STICKS = {
    "K60": KettleShape(bore_mm=400),
    "K120": KettleShape(low=StickMark(30, 165), high=StickMark(90, 470)),
}
# five tufts of a load lie about their mean like this
TUFTS = ((0.0, 0.0, 0.0), (0.4, -0.3, 0.2), (-0.4, 0.3, -0.2), (0.3, 0.2, -0.4), (-0.3, -0.2, 0.4))
OPENED = datetime(2025, 10, 1, 9, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 2)
STEPS = (
    DyeStep(what="wet out, then dye and salt", minutes=15, temperature_c=40),
    DyeStep(what="heat slowly, acid in two parts", minutes=55, temperature_c=95, ramp_c_per_min=1),
    DyeStep(what="hold", minutes=45, temperature_c=95),
    DyeStep(what="cool in the bath", minutes=60, temperature_c=60),
)


def colour_acts(people: dict[str, Person], lots: Iterable[Row]) -> Iterator[Act]:
    """Shades and their history, readings of dyed lots, dyeings, and what lies in tubs on Monday."""
    owner, dyer = people["P1"], people["P4"]
    yield from _shades(owner)
    for row in lots:
        if row["lot_id"] in DYED_LOTS:
            yield from _dyed(owner, dyer, row)
    yield Act(at_time(MONDAY, 7, 50), lambda: _batch(owner, "Madder", lot="L037", made_on=date(2026, 2, 5)))
    yield from _tubs(people)


def _shades(owner: Person) -> Iterator[Act]:
    recipes = json.loads((resources.files("doffer.mill.demo") / "dye_recipes.json").read_text("utf-8"))
    for number, row in enumerate(told("shade_standards")):
        yield Act(OPENED + timedelta(minutes=number), lambda row=row: _shade(owner, row))
    for number, recipe in enumerate(recipes):
        yield Act(
            OPENED + timedelta(minutes=10 + number), lambda recipe=recipe: _dye_recipe(owner, dict(recipe))
        )
    for number, row in enumerate(told("shade_batches")):
        yield Act(OPENED + timedelta(minutes=20 + number), lambda row=row: _old_batch(owner, row))


def _lab(row: Row) -> tuple[float, float, float]:
    return float(row["L"]), float(row["a"]), float(row["b"])


def _code(name: str) -> str:
    return Shade.objects.get(name=name).code


def _shade(owner: Person, row: Row) -> None:
    light, observer = row["illuminant"].split("/")
    tolerance = float(row["tolerance_dE00"])
    add_shade(
        owner,
        name=row["shade"],
        use=row["use"],
        target=TargetFacts(
            labs={light: _lab(row)}, light=light, observer_deg=int(observer), geometry=GEOMETRY
        ),
        tolerance=Tolerance(Formula.DE2000, tolerance, ASK_OVER_PASS * tolerance),
    )


def _dye_recipe(owner: Person, recipe: dict[str, object]) -> None:
    shade = str(recipe.pop("shade"))
    dyes = tuple((name, depth_frac) for name, depth_frac in recipe.pop("dyes"))
    write_dye_recipe(owner, _code(shade), DyeRecipeFacts(dyes=dyes, steps=STEPS, **recipe))


def _seen(*labs: tuple[float, float, float], day: date | None = None, note: str = "") -> Seen:
    return Seen(
        tufts=tuple(Tuft(labs={"D65": lab}) for lab in labs),
        instrument=INSTRUMENT,
        geometry=GEOMETRY,
        taken_at=None if day is None else at_time(day, 15),
        note=note,
    )


def _old_batch(owner: Person, row: Row) -> None:
    made_on = date.fromisoformat(row["made_on"])
    batch = add_batch(owner, shade=_code(row["shade"]), label=row["label"], made_on=made_on, note=row["note"])
    record_readings(owner, seen=_seen(_lab(row), day=made_on), batch=batch)
    judge_batch(owner, batch)


def _batch(owner: Person, shade: str, *, lot: str, made_on: date) -> None:
    judge_batch(owner, add_batch(owner, shade=_code(shade), lot=lot, made_on=made_on))


def _dyed(owner: Person, dyer: Person, row: Row) -> Iterator[Act]:
    """The day a dyed lot stands there: its kettle load, where it is one, and its tufts."""
    day, code = date.fromisoformat(row["received"]), row["lot_id"]
    if code in KETTLE_OF:
        yield Act(at_time(day, 9, 30), lambda: _dyeing(dyer, code, row["note"]))
        yield Act(at_time(day, 15), lambda: _read_load(dyer, code, _lab(row)))
        return
    note = "teased out of the roving" if row["stage"] == "carded" else ""
    yield Act(at_time(day, 15), lambda: record_readings(owner, seen=_seen(_lab(row), note=note), lot=code))


def _dyeing(dyer: Person, lot: str, note: str) -> None:
    fibre_g = Lot.objects.get(code=lot).now_mass_mg / 1000
    begin_dyeing(
        dyer,
        lot=lot,
        shade=_code("Fern"),
        loads=((KETTLE_OF[lot], fibre_g),),
        wet_pickup_frac=1.0,
        note=note,
        is_now=False,
    )


def _read_load(dyer: Person, lot: str, lab: tuple[float, float, float]) -> None:
    load = DyeLoad.objects.get(batch__lot__code=lot)
    tufts = tuple(tuple(x + d for x, d in zip(lab, off, strict=True)) for off in TUFTS)
    record_readings(dyer, seen=_seen(*tufts), load=load.pk)


def _tubs(people: dict[str, Person]) -> Iterator[Act]:
    washer = people["P3"]
    for kettle, shape in STICKS.items():
        yield Act(
            OPENED + timedelta(minutes=30),
            lambda kettle=kettle, shape=shape: measure_kettle(people["P4"], kettle, shape),
        )
    friday = MONDAY - timedelta(days=3)
    for rack, lot in (("RA", "L004"), ("RB", "L011")):
        yield Act(
            at_time(friday, 15, 40),
            lambda rack=rack, lot=lot: put_in(
                washer, machine=rack, lot=lot, what="drying", next_step="weigh", due_at=at_time(MONDAY, 11)
            ),
        )
    yield Act(
        at_time(MONDAY, 8, 10),
        lambda: put_in(
            washer,
            machine="SC1",
            lot="L040",
            what="first bath",
            n_baths=4,
            next_step="second bath",
            due_at=at_time(MONDAY, 8, 40),
        ),
    )
    yield Act(at_time(MONDAY, 8, 45), lambda: _second_bath(washer))


def _second_bath(washer: Person) -> None:
    use = TubUse.objects.get(machine__code="SC1", out_at=None)
    next_bath(washer, use.pk, what="second bath", next_step="first rinse", due_at=at_time(MONDAY, 9, 15))
