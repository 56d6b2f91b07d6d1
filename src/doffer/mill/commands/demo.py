"""The invented mill Quillfern Hollow, lived through by the same commands as a real one, day by day.

Its tables say what came in and what stands there on Monday 2 March 2026, and what happened in its last two
weeks. The runs between (washing, picking, carding ...) are filled in with the usual losses, so that each lot
has a history that ends at the weight its table gives.
"""

from __future__ import annotations

import csv
import dataclasses
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from importlib import resources

from doffer.errors import ConflictError
from doffer.fibre.kinds import kind_of
from doffer.fibre.material import Form
from doffer.mill import bridge, clock
from doffer.mill.booking import Reading
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
from doffer.mill.commands.lots import move_lot
from doffer.mill.commands.machines import MachineFacts, add_machine, add_scale, check_scale
from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, move_order, take_order
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, RunWasteRow, record_run
from doffer.mill.commands.settings import keep_settings, new_person
from doffer.mill.models import Customer, Lot
from doffer.mill.write import write
from doffer.people.models import Person, Role
from doffer.tables.loader import Tables

BEGINNING = datetime(2025, 10, 1, 8, 0, tzinfo=UTC)
LAST_DAYS = date(2026, 2, 27)  # runs that follow the last two weeks' events
ROOM_REGAIN_FRAC = 0.15  # water that the mill's meter showed where its tables say oven-dry only
ROLES = {"owner, office, blending": Role.OWNER, "partner, machines": Role.OWNER}
STAGE_WORDS = {"scour": "wash", "blend": "pick"}
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
PLACE_OF = {
    "received": "door",
    "bought": "store",
    "bought top": "store",
    "scoured": "dry",
    "dyed": "dye",
    "carded": "card",
    "picked": "pick",
    "rest": "rest",
    "drawn": "draw",
    "spun": "spin",
    "plied": "ply",
    "skeined": "skein",
}
FORM_OF = {"carded": Form.ROVING, "received": Form.GREASY}
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


def load_demo() -> None:
    """Live the invented mill through, in one transaction; the same every time.

    Raises
    ------
    ConflictError
        There is somebody in this mill already.
    """
    with write():
        if Person.objects.exists():
            raise ConflictError("This mill has records already", "Load the invented mill into an empty one")
        with clock.frozen(BEGINNING):
            people = _people()
            _house(people["P1"])
        tables = bridge.current_tables()
        lots = _rows("lots")
        acts = [
            *_intake_acts(people, lots, tables),
            *_order_acts(people["P1"]),
            *_stage_acts(people, lots, tables),
            *_event_acts(people[MACHINE_PERSON]),
            *_closing_acts(people["P1"], lots),
        ]
        for act in sorted(acts, key=lambda act: act.at):
            with clock.frozen(act.at):
                act.do()
    clock.forget_shift()


def _rows(name: str) -> list[Row]:
    text = (resources.files("doffer.mill") / "demo" / f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _at(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour), tzinfo=UTC) + timedelta(minutes=minute)


def _workday(day: date) -> date:
    while day.weekday() >= 5:  # Saturday, Sunday
        day += timedelta(days=1)
    return day


def _people() -> dict[str, Person]:
    return {
        row["person_id"]: new_person(
            name=row["first_name"],
            role=ROLES.get(row["role"], Role.FLOOR),
            code=row["person_id"],
            duties=row["role"],
            can_run=tuple(row["can_run"].split(";")),
            days=row["days"],
        )
        for row in _rows("people")
    }


def _house(owner: Person) -> None:
    """Settings, owners of fibre, machines and scales."""
    mill = {row["key"]: row["value"] for row in _rows("mill")}
    keep_settings(
        owner,
        {
            clock.DEMO_TODAY: mill["demo_today"],
            "name": mill["name"].removesuffix(" (fictional)"),
            "units": mill["unit_system"],
            "country_rules": mill["label_rules"],
            "currency": mill["currency"].split()[0],
            "open": mill["open"],
            "closed_days": mill["closed_days"],
            "tax_rate_frac": str(float(mill["tax_rate_pct"]) / 100),
            "deposit_frac": str(float(mill["deposit_pct"]) / 100),
            "least_billed_g": f"{float(mill['min_billed_kg']) * 1000:g}",
            "card_room_rh_frac": str(float(mill["card_room_rh_target_pct"]) / 100),
            "store_rh_frac": str(float(mill["store_rh_max_pct"]) / 100),
            "promise_quantile": mill["quote_promise_quantile"],
            "storage_free_days": mill["storage_free_days"],
            "storage_fee_cents": f"{float(mill['storage_fee_per_week']) * 100:g}",
            "altitude_m": mill["altitude_m"],
        },
    )
    for row in _rows("customers"):
        said = {name: "" if value == "-" else value for name, value in row.items()}
        add_customer(
            owner,
            code=row["customer_id"],
            is_own=row["kind"] == "own stock",
            name=row["farm"],
            contact=said["contact_first_name"],
            kind=said["kind"],
            units="us" if row["prefers_units"] == "lb" else "metric",
            country_rules=row["country_rules"],
            notice_by=said["min_notice"],
            credit_note=said["credit_note"],
            remark=said["remark"],
        )
    for row in _rows("machines"):
        add_machine(owner, _machine(row), code=row["machine_id"])
    for row in _rows("scales"):
        mass_g = float(row["check_weight_kg"]) * 1000
        add_scale(
            owner,
            code=row["scale_id"],
            name=row["use"],
            capacity_g=float(row["capacity_kg"]) * 1000,
            division_g=float(row["division_g"]),
            check_mass_g=mass_g,
        )


def _machine(row: Row) -> MachineFacts:
    def maybe(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return MachineFacts(
        name=row["name"],
        stage=STAGE_WORDS.get(row["stage"], row["stage"]),
        capacity=maybe("capacity"),
        capacity_unit=row["capacity_unit"],
        rate_wool_kg_per_h=maybe("rate_wool_kg_h"),
        rate_camelid_kg_per_h=maybe("rate_camelid_kg_h"),
        rate_angora_kg_per_h=maybe("rate_angora_kg_h"),
        setup_min=int(row["setup_min"]),
        clean_light_to_dark_min=int(row["clean_light_to_dark_min"]),
        clean_dark_to_light_min=int(row["clean_dark_to_light_min"]),
        clean_new_owner_min=int(row["clean_new_owner_min"]),
        holdup_g=float(row["holdup_g"]),
        note=row["note"],
    )


def _facts(row: Row, tables: Tables) -> FibreFacts:
    kind = kind_of(tables, fibre=row["fibre"], breed=row["breed"])
    return FibreFacts(
        fibre=kind.fibre.fibre,
        breed=kind.breed.breed if kind.breed else "",
        breed_typed=row["breed"],
        colour_name=row["colour_name"],
        lab=(float(row["L"]), float(row["a"]), float(row["b"])),
        diameter_um=float(row["micron_mean"]),
        diameter_sd_um=float(row["micron_sd"]),
        diameter_source=row["micron_source"],
        staple_mm=float(row["staple_mm"]),
        soundness=row["soundness"],
        vm_grade=int(row["vm_0_4"]),
        second_cuts=int(row["second_cuts_0_3"]),
    )


def _came_in_as_it_is(row: Row) -> bool:
    """Whether the lot still weighs what it weighed at the door."""
    return abs(_net_g(row) - float(row["kg_now_as_weighed"]) * 1000) < 1


def _net_g(row: Row) -> float:
    return round((float(row["gross_in_kg"]) - float(row["tare_kg"])) * 1000, 3)


def _container(row: Row) -> str:
    return next((word for word in CONTAINER_WORDS if word in row["location"]), "bag")


def _reading(row: Row) -> Reading:
    """The door weighing; water of clean fibre was measured where the table gives its dry mass."""
    reading = Reading(
        gross_g=float(row["gross_in_kg"]) * 1000,
        tare_g=float(row["tare_kg"]) * 1000,
        rh_frac=float(row["rh_at_weighing_pct"]) / 100,
        scale="S150",
    )
    dry_g = float(row["kg_now_oven_dry"] or 0) * 1000
    if row["stage"] == "received" or not dry_g:
        return reading
    return dataclasses.replace(reading, branch="measured", measured_regain_frac=_net_g(row) / dry_g - 1)


def _intake_acts(people: dict[str, Person], lots: Iterable[Row], tables: Tables) -> Iterator[Act]:
    """Every bag at the door, looked at for moth ten minutes later."""
    for number, row in enumerate(lots):
        at = _at(date.fromisoformat(row["received"]), 8, 5 + number)
        as_it_is = _came_in_as_it_is(row)
        stage = row["stage"] if as_it_is else "received"
        bag = Bag(
            customer=row["customer_id"],
            facts=_facts(row, tables),
            reading=_reading(row) if as_it_is else dataclasses.replace(_reading(row), branch="desorption"),
            form=FORM_OF.get(stage, Form.SCOURED),
            kind=_container(row) if as_it_is else "bag",
            place="store" if "own bin" in row["location"] or "store" in row["location"] else PLACE_OF[stage],
            location=row["location"] if as_it_is else "door shelf",
            note=row["note"],
            lot=row["lot_id"],
        )
        yield Act(at, lambda bag=bag: weigh_in_bag(people[WASH_PERSON], bag, confirmation="own stock and parcels differ"))
        yield Act(
            at + timedelta(minutes=10),
            lambda lot=row["lot_id"]: check_for_pests(people[WASH_PERSON], lot, seen="clear"),
        )


def _order_acts(owner: Person) -> Iterator[Act]:
    specs = json.loads((resources.files("doffer.mill") / "demo" / "wishes.json").read_text(encoding="utf-8"))
    links: dict[str, list[OrderLotFacts]] = {}
    for row in _rows("order_lots"):
        role = "mill fibre" if row["role"] in ("mill fibre", "own stock") else "own fibre"
        links.setdefault(row["order_id"], []).append(OrderLotFacts(lot=row["lot_id"], role=role))
    lots_in = {row["lot_id"]: date.fromisoformat(row["received"]) for row in _rows("lots")}
    for row in _rows("orders"):
        code = row["order_id"]
        booked = date.fromisoformat(row["booked"])
        facts = OrderFacts(
            code=code,
            customer=row["customer_id"],
            booked_on=booked,
            promised_on=date.fromisoformat(row["promised"]),
            date_is_hard="hard date" in row["note"],
            product=row["product"],
            target=row["target"],
            label_wanted=row["label_wanted"],
            price_basis=row["price_basis"],
            deposit_cents=round(float(row["deposit_paid"] or 0) * 100),
            next_stage=STAGE_WORDS.get(row["next_stage"], row["next_stage"]),
            note=row["note"],
            spec=specs[code],
            lots=tuple(links[code]),
        )
        # an order is written down when its lots are there
        day = max([booked, *(lots_in[item.lot] for item in facts.lots)])
        yield Act(_at(day, 9, 30), lambda facts=facts: take_order(owner, facts))
        state = {"booked": "booked", "waiting": "waiting"}.get(row["status"], "running")
        if state != "booked":
            yield Act(_at(day, 9, 45), lambda code=code, state=state: move_order(owner, code, state))


def _loss_frac(tables: Tables, stage: str, fibre: str) -> float:
    losses_as = tables.fibres[fibre].losses_as
    row = tables.stage_losses.get(f"{stage}/{losses_as}") or tables.stage_losses.get(f"{stage}/any")
    return row.dry_loss_mode_pct / 100 if row else 0.0


def _order_of() -> dict[str, str]:
    return {row["lot_id"]: row["order_id"] for row in _rows("order_lots") if row["role"] != "mill fibre"}


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


def _stage_acts(people: dict[str, Person], lots: Iterable[Row], tables: Tables) -> Iterator[Act]:
    orders = _order_of()
    booked = {row["order_id"]: date.fromisoformat(row["booked"]) for row in _rows("orders")}
    for number, row in enumerate(lots):
        if _came_in_as_it_is(row):
            continue
        code = row["lot_id"]
        fibre = kind_of(tables, fibre=row["fibre"], breed=row["breed"]).fibre.fibre
        day = _workday(date.fromisoformat(row["received"]) + timedelta(days=1))
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
            at = _at(LAST_DAYS, 8 + len(steps), number) if late else _at(day, 10, number)
            at += timedelta(hours=steps.index(step)) if late else timedelta()
            yield Act(at, lambda p=person, f=facts, s=step, r=row: _walk(p, f, s, r))
            late = late or TAKEN.get(code, ("",))[0] == step.stage
            day = _workday(day + timedelta(days=1))


def _walk(person: Person, facts: RunFacts, step: Step, row: Row) -> None:
    """A lot through one stage, whole, under its own number."""
    lot = Lot.objects.get(code=row["lot_id"])
    if step.stage == "wash":
        into = Reading(gross_g=bridge.grams(lot.now_mass_mg), rh_frac=0.6)
    else:
        into = _measured(step.dry_in_g, ROOM_REGAIN_FRAC)
    lost_g = step.dry_in_g - step.dry_out_g
    waste = WASTE_WORDS.get(step.stage)
    kind = _container(row)
    record_run(
        person,
        dataclasses.replace(facts, started_at=clock.now() - timedelta(hours=1)),
        inputs=(RunIn(lot=lot.code, reading=into, rest_g=0.0),),
        outputs=(RunOut(reading=_measured(step.dry_out_g, step.regain_out_frac), kind=kind),),
        wastes=(_waste(waste, 0.8 * lost_g),) if waste and lost_g else (),
    )


def _measured(dry_g: float, regain_frac: float) -> Reading:
    return Reading(
        gross_g=dry_g * (1 + regain_frac), branch="measured", measured_regain_frac=regain_frac, scale="S15"
    )


def _waste(kind: str, dry_g: float) -> RunWasteRow:
    mass_g = dry_g * (1 + ROOM_REGAIN_FRAC)
    return RunWasteRow(kind=kind, mass_g=mass_g, measured_regain_frac=ROOM_REGAIN_FRAC)


def _event_acts(person: Person) -> Iterator[Act]:
    """The last two weeks: parts of lots joined, carded and spun, with what was cleaned between."""
    events: dict[str, list[Row]] = {}
    for row in _rows("genealogy"):
        events.setdefault(row["event_id"], []).append(row)
    for number, rows in enumerate(events.values()):
        at = _at(date.fromisoformat(rows[0]["date"]), 9, 20 * number)
        yield Act(at, lambda rows=rows: _event(person, rows))
        if rows[0]["stage"] == "spin":
            child = rows[0]["child"]
            at = _at(date.fromisoformat(rows[0]["date"]), 15, number)
            yield Act(at, lambda lot=child: move_lot(person, lot, place="skein", location="skein shelf"))


def _event(person: Person, rows: list[Row]) -> None:
    first = rows[0]
    stage = first["stage"]
    out = RunOut(
        reading=_measured(float(first["kg_od_child_total"]) * 1000, ROOM_REGAIN_FRAC),
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
                reading=_measured(float(row["kg_od_from_parent"]) * 1000, ROOM_REGAIN_FRAC),
            )
            for row in rows
        ),
        outputs=(out,),
        wastes=tuple(_waste(WASTE_WORDS[stage], float(row["waste_kg_od"]) * 1000) for row in rows),
    )


def _closing_acts(owner: Person, lots: Iterable[Row]) -> Iterator[Act]:
    """Friday afternoon: lots go to their shelves, larvae are seen, holds are opened, scales are checked."""
    for number, row in enumerate(lots):
        if not _came_in_as_it_is(row):
            place = "store" if "own bin" in row["location"] else PLACE_OF[row["stage"]]
            if row["lot_id"] in SCOURED_REST:
                place = "dry"
            if "dispatch" in row["location"]:
                place = "box"
            yield Act(
                _at(LAST_DAYS, 15, number),
                lambda lot=row["lot_id"], place=place, location=row["location"]: move_lot(
                    owner, lot, place=place, location=location
                ),
            )
        if "larvae" in row["moth"]:
            yield Act(
                _at(LAST_DAYS, 14),
                lambda row=row: check_for_pests(owner, row["lot_id"], seen="found", note=row["moth"]),
            )
    yield Act(
        _at(LAST_DAYS, 16),
        lambda: open_hold(owner, kind="moth", order="O202", reason="larvae in L007, which is in its yarn"),
    )
    for code, note in Customer.objects.filter(credit_note__startswith="unpaid").values_list(
        "code", "credit_note"
    ):
        yield Act(
            _at(LAST_DAYS, 16, 5),
            lambda c=code, n=note: open_hold(owner, kind="unpaid", customer=c, reason=n),
        )
    for row in _rows("scales"):
        reading_g = float(row["last_check_reading_kg"]) * 1000
        day = date.fromisoformat(row["last_check"])
        hour = 7 if day > LAST_DAYS else 16
        yield Act(
            _at(day, hour, 45), lambda s=row["scale_id"], g=reading_g: check_scale(owner, s, reading_g=g)
        )
