"""The invented mill Quillfern Hollow, lived through by the same commands as a real one, day by day.

Its tables say what came in and what stands there on Monday 2 March 2026, and what happened in its last two
weeks. The runs between (washing, picking, carding ...) are filled in with the usual losses, so that each lot
has a history that ends at the weight its table gives.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from importlib import resources

from django.utils.timezone import get_default_timezone

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
from doffer.mill.commands.settings import keep_settings, new_person
from doffer.mill.demo.colours import colour_acts
from doffer.mill.demo.evenness import evenness_acts
from doffer.mill.demo.work import (
    LAST_DAYS,
    MACHINE_PERSON,
    SCOURED_REST,
    WASH_PERSON,
    Act,
    Row,
    at_time,
    came_in_as_it_is,
    container,
    event_acts,
    net_g,
    stage_acts,
    told,
)
from doffer.mill.demo.yarn import yarn_acts
from doffer.mill.models import Customer
from doffer.mill.write import write
from doffer.people.models import Person, Role
from doffer.tables.loader import Tables

BEGINNING = datetime(2025, 10, 1, 8, 0, tzinfo=get_default_timezone())
ROLES = {"owner, office, blending": Role.OWNER, "partner, machines": Role.OWNER}
STAGE_WORDS = {"scour": "wash", "blend": "pick"}
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
        lots = told("lots")
        acts = [
            *_intake_acts(people, lots, tables),
            *_order_acts(people["P1"]),
            *stage_acts(people, lots, tables),
            *event_acts(people[MACHINE_PERSON]),
            *_closing_acts(people["P1"], lots),
            *colour_acts(people, lots),
            *evenness_acts(people[MACHINE_PERSON]),
            *yarn_acts(people[MACHINE_PERSON], BEGINNING),
        ]
        for act in sorted(acts, key=lambda act: act.at):
            with clock.frozen(act.at):
                act.do()
    clock.forget_shift()


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
        for row in told("people")
    }


def _house(owner: Person) -> None:
    """Settings, owners of fibre, machines and scales."""
    mill = {row["key"]: row["value"] for row in told("mill")}
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
    for row in told("customers"):
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
    for row in told("machines"):
        add_machine(owner, _machine(row), code=row["machine_id"])
    for row in told("scales"):
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
    return dataclasses.replace(reading, branch="measured", measured_regain_frac=net_g(row) / dry_g - 1)


def _intake_acts(people: dict[str, Person], lots: Iterable[Row], tables: Tables) -> Iterator[Act]:
    """Every bag at the door, looked at for moth ten minutes later."""
    for number, row in enumerate(lots):
        at = at_time(date.fromisoformat(row["received"]), 8, 5 + number)
        as_it_is = came_in_as_it_is(row)
        stage = row["stage"] if as_it_is else "received"
        bag = Bag(
            customer=row["customer_id"],
            facts=_facts(row, tables),
            reading=_reading(row) if as_it_is else dataclasses.replace(_reading(row), branch="desorption"),
            form=FORM_OF.get(stage, Form.SCOURED),
            kind=container(row) if as_it_is else "bag",
            place="store" if "own bin" in row["location"] or "store" in row["location"] else PLACE_OF[stage],
            location=row["location"] if as_it_is else "door shelf",
            note=row["note"],
            lot=row["lot_id"],
        )
        yield Act(
            at,
            lambda bag=bag: weigh_in_bag(
                people[WASH_PERSON], bag, confirmation="own stock and parcels differ"
            ),
        )
        yield Act(
            at + timedelta(minutes=10),
            lambda lot=row["lot_id"]: check_for_pests(people[WASH_PERSON], lot, seen="clear"),
        )


def _order_acts(owner: Person) -> Iterator[Act]:
    specs = json.loads((resources.files("doffer.mill.demo") / "wishes.json").read_text(encoding="utf-8"))
    links: dict[str, list[OrderLotFacts]] = {}
    for row in told("order_lots"):
        role = "mill fibre" if row["role"] in ("mill fibre", "own stock") else "own fibre"
        links.setdefault(row["order_id"], []).append(OrderLotFacts(lot=row["lot_id"], role=role))
    lots_in = {row["lot_id"]: date.fromisoformat(row["received"]) for row in told("lots")}
    for row in told("orders"):
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
        yield Act(at_time(day, 9, 30), lambda facts=facts: take_order(owner, facts))
        state = {"booked": "booked", "waiting": "waiting"}.get(row["status"], "running")
        if state != "booked":
            yield Act(at_time(day, 9, 45), lambda code=code, state=state: move_order(owner, code, state))


def _closing_acts(owner: Person, lots: Iterable[Row]) -> Iterator[Act]:
    """Friday afternoon: lots go to their shelves, larvae are seen, holds are opened, scales are checked."""
    for number, row in enumerate(lots):
        if not came_in_as_it_is(row):
            place = "store" if "own bin" in row["location"] else PLACE_OF[row["stage"]]
            if row["lot_id"] in SCOURED_REST:
                place = "dry"
            if "dispatch" in row["location"]:
                place = "box"
            yield Act(
                at_time(LAST_DAYS, 15, number),
                lambda lot=row["lot_id"], place=place, location=row["location"]: move_lot(
                    owner, lot, place=place, location=location
                ),
            )
        if "larvae" in row["moth"]:
            yield Act(
                at_time(LAST_DAYS, 14),
                lambda row=row: check_for_pests(owner, row["lot_id"], seen="found", note=row["moth"]),
            )
    yield Act(
        at_time(LAST_DAYS, 16),
        lambda: open_hold(owner, kind="moth", order="O202", reason="larvae in L007, which is in its yarn"),
    )
    for code, note in Customer.objects.filter(credit_note__startswith="unpaid").values_list(
        "code", "credit_note"
    ):
        yield Act(
            at_time(LAST_DAYS, 16, 5),
            lambda c=code, n=note: open_hold(owner, kind="unpaid", customer=c, reason=n),
        )
    for row in told("scales"):
        reading_g = float(row["last_check_reading_kg"]) * 1000
        day = date.fromisoformat(row["last_check"])
        hour = 7 if day > LAST_DAYS else 16
        yield Act(
            at_time(day, hour, 45), lambda s=row["scale_id"], g=reading_g: check_scale(owner, s, reading_g=g)
        )
