"""The work of the invented mill: each lot's way to where it stands, and the events of its last two weeks."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from importlib import resources

from doffer.fibre.kinds import kind_of
from doffer.fibre.material import Form
from doffer.mill import bridge, clock
from doffer.mill.booking import Reading
from doffer.mill.commands.lots import move_lot
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, RunWasteRow, record_run
from doffer.mill.models import Lot
from doffer.people.models import Person
from doffer.tables.loader import Tables

LAST_DAYS = date(2026, 2, 27)  # runs that follow the last two weeks' events
ROOM_REGAIN_FRAC = 0.15  # water that the mill's meter showed where its tables say oven-dry only
CHAINS = {
    "scoured": ("wash",),
    "picked": ("wash", "pick"),
    "rest": ("wash", "pick", "rest"),
    "carded": ("wash", "pick", "card"),
    "drawn": ("wash", "pick", "card", "draw"),
    "spun": ("wash", "pick", "card", "draw", "spin"),
    "plied": ("wash", "pick", "card", "draw", "spin", "ply"),
    "skeined": ("wash", "pick", "card", "draw", "spin", "ply", "skein"),
}
MACHINE_OF = {
    "wash": "SC1",
    "pick": "PIC",
    "rest": "BIN",
    "card": "CRD",
    "draw": "DRW",
    "spin": "SPN",
    "ply": "PLY",
    "skein": "SKN",
}
WASTE_WORDS = {"pick": "dust and fly", "card": "card waste", "spin": "bobbin ends", "draw": "sliver ends"}
CONTAINER_WORDS = ("can", "bin", "bobbin", "cone", "tray", "rack")
# lots of which the last two weeks' events took something: after which stage, how much oven-dry [g]
TAKEN = {"L006": ("wash", 900.0), "L007": ("wash", 2800.0), "L008": ("wash", 3600.0), "L019": ("pick", 600.0)}
SCOURED_REST = {"L007", "L008"}  # their table names what their fibre became; what is left of them is scoured
MACHINE_PERSON = "P2"
WASH_PERSON = "P3"


Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class Act:
    """Something that happened at an instant."""

    at: datetime
    do: Callable[[], object]


def told(name: str) -> list[Row]:
    text = (resources.files("doffer.mill.demo") / f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def at_time(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour), tzinfo=UTC) + timedelta(minutes=minute)


def workday(day: date) -> date:
    while day.weekday() >= 5:  # Saturday, Sunday
        day += timedelta(days=1)
    return day


def came_in_as_it_is(row: Row) -> bool:
    """Whether the lot still weighs what it weighed at the door."""
    return abs(net_g(row) - float(row["kg_now_as_weighed"]) * 1000) < 1


def net_g(row: Row) -> float:
    return round((float(row["gross_in_kg"]) - float(row["tare_kg"])) * 1000, 3)


def container(row: Row) -> str:
    return next((word for word in CONTAINER_WORDS if word in row["location"]), "bag")


def _loss_frac(tables: Tables, stage: str, fibre: str) -> float:
    losses_as = tables.fibres[fibre].losses_as
    row = tables.stage_losses.get(f"{stage}/{losses_as}") or tables.stage_losses.get(f"{stage}/any")
    return row.dry_loss_mode_pct / 100 if row else 0.0


def _order_of() -> dict[str, str]:
    return {row["lot_id"]: row["order_id"] for row in told("order_lots") if row["role"] != "mill fibre"}


@dataclass(frozen=True, slots=True)
class Step:
    """One stage of a lot: dry fibre in and out [g], and the water it comes out with."""

    stage: str
    dry_in_g: float
    dry_out_g: float
    regain_in_frac: float
    regain_out_frac: float


def _steps(row: Row, fibre: str, tables: Tables) -> list[Step]:
    """The lot's way to where it stands, counted backward from its last weight by the usual losses."""
    code, dry_g = row["lot_id"], float(row["kg_now_oven_dry"]) * 1000
    chain = ("wash",) if code in SCOURED_REST else CHAINS[row["stage"]]
    regain = float(row["kg_now_as_weighed"]) * 1000 / dry_g - 1 if dry_g else ROOM_REGAIN_FRAC
    steps = []
    for stage in reversed(chain):
        taken_after, taken_g = TAKEN.get(code, ("", 0.0))
        if stage == taken_after:
            dry_g += taken_g
            regain = ROOM_REGAIN_FRAC
        before_g = dry_g / (1 - _loss_frac(tables, stage, fibre))
        steps.append(Step(stage, before_g, dry_g, ROOM_REGAIN_FRAC, regain))
        dry_g, regain = before_g, ROOM_REGAIN_FRAC
    return steps[::-1]


def stage_acts(people: dict[str, Person], lots: Iterable[Row], tables: Tables) -> Iterator[Act]:
    orders = _order_of()
    booked = {row["order_id"]: date.fromisoformat(row["booked"]) for row in told("orders")}
    for number, row in enumerate(lots):
        if came_in_as_it_is(row):
            continue
        code = row["lot_id"]
        fibre = kind_of(tables, fibre=row["fibre"], breed=row["breed"]).fibre.fibre
        day = workday(date.fromisoformat(row["received"]) + timedelta(days=1))
        steps = _steps(row, fibre, tables)
        late = False
        for step in steps:
            order = orders.get(code, "")
            facts = RunFacts(
                stage=step.stage,
                machine=MACHINE_OF[step.stage],
                order=order if order and booked[order] <= day else "",
                cleaned_before="yes",
            )
            person = people[WASH_PERSON if step.stage == "wash" else MACHINE_PERSON]
            at = at_time(LAST_DAYS, 8 + len(steps), number) if late else at_time(day, 10, number)
            at += timedelta(hours=steps.index(step)) if late else timedelta()
            yield Act(at, lambda p=person, f=facts, s=step, r=row: _walk(p, f, s, r))
            late = late or TAKEN.get(code, ("",))[0] == step.stage
            day = workday(day + timedelta(days=1))


def _walk(person: Person, facts: RunFacts, step: Step, row: Row) -> None:
    """A lot through one stage, whole, under its own number."""
    lot = Lot.objects.get(code=row["lot_id"])
    if step.stage == "wash":
        into = Reading(gross_g=bridge.grams(lot.now_mass_mg), rh_frac=0.6)
    else:
        into = measured(step.dry_in_g, ROOM_REGAIN_FRAC)
    lost_g = step.dry_in_g - step.dry_out_g
    waste = WASTE_WORDS.get(step.stage)
    kind = container(row)
    record_run(
        person,
        dataclasses.replace(facts, started_at=clock.now() - timedelta(hours=1)),
        inputs=(RunIn(lot=lot.code, reading=into, rest_g=0.0),),
        outputs=(RunOut(reading=measured(step.dry_out_g, step.regain_out_frac), kind=kind),),
        wastes=(_waste(waste, 0.8 * lost_g),) if waste and lost_g else (),
    )


def measured(dry_g: float, regain_frac: float) -> Reading:
    return Reading(
        gross_g=dry_g * (1 + regain_frac), branch="measured", measured_regain_frac=regain_frac, scale="S15"
    )


def _waste(kind: str, dry_g: float) -> RunWasteRow:
    mass_g = dry_g * (1 + ROOM_REGAIN_FRAC)
    return RunWasteRow(kind=kind, mass_g=mass_g, measured_regain_frac=ROOM_REGAIN_FRAC)


def event_acts(person: Person) -> Iterator[Act]:
    """The last two weeks: parts of lots joined, carded and spun, with what was cleaned between."""
    events: dict[str, list[Row]] = {}
    for row in told("genealogy"):
        events.setdefault(row["event_id"], []).append(row)
    for number, rows in enumerate(events.values()):
        at = at_time(date.fromisoformat(rows[0]["date"]), 9, 20 * number)
        yield Act(at, lambda rows=rows: _event(person, rows))
        if rows[0]["stage"] == "spin":
            child = rows[0]["child"]
            at = at_time(date.fromisoformat(rows[0]["date"]), 15, number)
            yield Act(at, lambda lot=child: move_lot(person, lot, place="skein", location="skein shelf"))


def _event(person: Person, rows: list[Row]) -> None:
    first = rows[0]
    stage = first["stage"]
    out = RunOut(
        reading=measured(float(first["kg_od_child_total"]) * 1000, ROOM_REGAIN_FRAC),
        code=first["child"],
        form=Form.SKEIN if stage == "spin" else "",
        kind={"pick": "bin", "card": "can", "spin": "box"}[stage],
        note=first["note"],
    )
    record_run(
        person,
        RunFacts(
            stage=stage,
            machine=first["machine"],
            started_at=clock.now() - timedelta(hours=1),
            cleaned_before=first["cleaned_before"],
            note="; ".join(row["note"] for row in rows if row["note"]),
        ),
        inputs=tuple(
            RunIn(
                lot=row["parent"].removesuffix("-part"),
                reading=measured(float(row["kg_od_from_parent"]) * 1000, ROOM_REGAIN_FRAC),
            )
            for row in rows
        ),
        outputs=(out,),
        wastes=tuple(_waste(WASTE_WORDS[stage], float(row["waste_kg_od"]) * 1000) for row in rows),
    )
