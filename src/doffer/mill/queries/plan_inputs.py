"""Everything a plan starts from: the lots as materials, the machines, the mill's habits, the tables."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from doffer.errors import InputError, NotFoundError
from doffer.fibre.content import Basis
from doffer.mill import bridge, house
from doffer.mill.frames import Times, figures_of, limits_of, spin_machine_of, times_of
from doffer.mill.machine_values import MachineSettings, settings_now
from doffer.mill.models import Lot, Machine, Order, OrderLot
from doffer.mill.queries.lots import Lab, lab_of
from doffer.mill.queries.own_settings import own_settings
from doffer.planning.loads import capacity_of
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec
from doffer.process.settings.own import OwnSetting
from doffer.tables.loader import Tables

US_RULES = ("US", "CA")  # shares by commercial regain; elsewhere by agreed regain
GATHERED = ("extract", "dry", "rest", "set")  # what lies on a rack or in a bin is gathered by hand, not lost
LEAST_MASS_G = 1.0  # a lot that holds less is used up


@dataclass(frozen=True, slots=True)
class PlanLot:
    """A lot for the planner.

    `start` is the whole lot as it lies there; `is_dry_known` is False for raw fibre and for fibre that was
    only weighed wet.
    """

    code: str
    owner: str
    is_own: bool
    role: str
    wanted_g: float | None
    fibre: str
    breed: str
    form: str
    place: str
    location: str
    mass_g: float
    soundness: str
    vm_grade: int | None
    second_cuts: int | None
    colour_name: str
    lab: Lab | None
    is_dry_known: bool
    start: LotStart


@dataclass(frozen=True, slots=True)
class PlanMachine:
    """A machine for the planner."""

    code: str
    name: str
    stage: str
    kind: str
    capacity: float | None
    capacity_unit: str
    holdup_g: float
    times: Times
    settings: MachineSettings

    @property
    def rates_kg_per_h(self) -> dict[str, float]:
        """Of wool, camelid, angora; missing where unknown."""
        return self.times.rates_kg_per_h


@dataclass(frozen=True, slots=True)
class PlanInputs:
    """What `plan_order` needs.

    `spec` is the order's wish as JSON: ``{"batches": [{"name", "lots": [numbers], "wish": {fields of
    planning.spec.Wish}}], "ways": {fields of MillWays to change}}``; empty for lots without an order.
    `batches` are read from it, `ways` are the mill's with those changes.
    """

    order: str
    owner: str
    spec: dict[str, Any]
    lots: tuple[PlanLot, ...]
    machines: tuple[PlanMachine, ...]
    batches: tuple[BatchSpec, ...]
    ways: MillWays
    settings: dict[str, str]
    country_rules: str
    units: str
    tables: Tables

    @property
    def order_spec(self) -> OrderSpec:
        """What `planning.batch.plan_order` takes, with `tables`."""
        return OrderSpec(self.batches, self.ways)

    def ways_for(self, country_rules: str, changes: Mapping[str, Any] | None = None) -> MillWays:
        """The mill's ways for an owner of another country's label rules, with an order's own changes."""
        return with_changes(dataclasses.replace(self.ways, label_basis=basis_of(country_rules)), changes)


def plan_inputs(*, order: str = "", lots: Sequence[str] = ()) -> PlanInputs:
    """Inputs for an order (with its lots, or the lots named instead), or for lots alone.

    Raises
    ------
    NotFoundError
        No such order, or a lot that is not there.
    """
    tables = bridge.current_tables()
    settings = house.everything()
    row = Order.objects.select_related("customer").filter(code=order).first() if order else None
    if order and row is None:
        raise NotFoundError("order", order, "Search the list of orders")
    spec = row.spec if row else {}
    machines = _machines(tables)
    found = _lots(row, lots, tables)
    rules = row.customer.country_rules if row else settings["country_rules"]
    ways = ways_of(settings, machines, rules, tables, spec.get("ways", {}))
    return PlanInputs(
        order=order,
        owner=row.customer.code if row else "",
        spec=spec,
        lots=found,
        machines=machines,
        batches=batches_of(spec, found),
        ways=dataclasses.replace(ways, own_settings=_own_settings(found, tables)),
        settings=settings,
        country_rules=rules,
        units=row.customer.units if row else settings["units"],
        tables=tables,
    )


def ways_here(*, order: str = "") -> MillWays:
    """How this mill works, with the changes and the label rules of an order where one is named."""
    settings = house.everything()
    row = Order.objects.select_related("customer").filter(code=order).first() if order else None
    rules = row.customer.country_rules if row else settings["country_rules"]
    changes = row.spec.get("ways", {}) if row else {}
    tables = bridge.current_tables()
    return ways_of(settings, _machines(tables), rules, tables, changes)


def batches_of(spec: dict[str, Any], lots: Sequence[PlanLot]) -> tuple[BatchSpec, ...]:
    """The batches of a wish in JSON with what is left of their lots.

    A batch whose lots are all used up is left out.

    Raises
    ------
    InputError
        A lot that the order does not use.
    """
    mine = {lot.code: lot for lot in lots}
    batches = []
    for number, batch in enumerate(spec.get("batches", []), start=1):
        missing = [code for code in batch["lots"] if code not in mine]
        if missing:
            raise InputError(
                "lots of the batch", ", ".join(missing), f"among {', '.join(mine)}", batch["name"]
            )
        name = batch.get("name") or f"batch {number}"
        starts = tuple(part_of(mine[code]) for code in batch["lots"] if mine[code].mass_g >= LEAST_MASS_G)
        if starts:
            batches.append(BatchSpec(name, starts, bridge.wish_from(batch["wish"])))
    return tuple(batches)


def part_of(lot: PlanLot, wanted_g: float | None = None) -> LotStart:
    """All of a lot, or the grams its order wants of it."""
    wanted_g = lot.wanted_g if wanted_g is None else wanted_g
    if wanted_g is None or wanted_g >= lot.start.weighed_mass_g:
        return lot.start
    return dataclasses.replace(lot.start, weighed_mass_g=wanted_g)


def basis_of(country_rules: str) -> Basis:
    """On which mass a label counts by the rules of a country."""
    return Basis.US_COMMERCIAL if country_rules in US_RULES else Basis.EU_AGREED


def ways_of(
    settings: Mapping[str, str],
    machines: Sequence[PlanMachine],
    country_rules: str,
    tables: Tables,
    changes: Mapping[str, Any],
) -> MillWays:
    """How this mill works: the one place where its settings, machines and habits become figures.

    The first machine of a stage counts, with the usual conditioner at the picker. What an extractor, a rack,
    a bin or a setting vessel keeps is gathered by hand and goes on with the lot, so it is no loss there.
    """
    uses: dict[str, MachineUse] = {}
    for machine in machines:
        held_g = 0.0 if machine.stage in GATHERED else machine.holdup_g
        takes = capacity_of(machine.capacity, machine.capacity_unit)
        figures, limits = figures_of(machine.settings, machine.times), limits_of(machine.settings)
        uses.setdefault(machine.stage, MachineUse(machine.name, held_g, takes, figures, limits))
    described = [machine.settings for machine in machines]
    frame = next((one for one in described if one.stage == "spin"), None)
    ways = MillWays(
        room_rh_frac=float(settings["card_room_rh_frac"]),
        label_basis=basis_of(country_rules),
        promise_quantile=float(settings["promise_quantile"]),
        machines=uses,
        frame=None if frame is None else spin_machine_of(frame, described),
        conditioner_frac_owf=tables.additives["conditioner/dose"].value / PERCENT,
        conditioner_water_parts=tables.additives["conditioner/water_parts"].value,
    )
    return with_changes(ways, changes)


def with_changes(ways: MillWays, changes: Mapping[str, Any] | None) -> MillWays:
    """The mill's ways with what an order has otherwise, as its wish keeps it."""
    read = {name: tuple(to) if isinstance(to, list) else to for name, to in (changes or {}).items()}
    return dataclasses.replace(ways, **read)


PERCENT = 100


def _own_settings(lots: Sequence[PlanLot], tables: Tables) -> tuple[OwnSetting, ...]:
    """The mill's own good settings with fibre like most of that in these lots."""
    masses_g: dict[str, float] = {}
    for lot in lots:
        masses_g[lot.fibre] = masses_g.get(lot.fibre, 0.0) + lot.mass_g
    if not sum(masses_g.values()) > 0:
        return ()
    fibre = max(masses_g, key=lambda name: masses_g[name])
    like = [lot for lot in lots if lot.fibre == fibre]
    diameter_um = sum(lot.mass_g * lot.start.part.diameter_um for lot in like) / masses_g[fibre]
    return own_settings(tables, fibre=fibre, diameter_um=diameter_um)


def _machines(tables: Tables) -> tuple[PlanMachine, ...]:
    rows = list(Machine.objects.filter(archived_at=None).order_by("pk"))
    return tuple(
        PlanMachine(
            code=m.code,
            name=m.name,
            stage=m.stage,
            kind=m.kind,
            capacity=None if m.capacity_milli is None else m.capacity_milli / 1000,
            capacity_unit=m.capacity_unit,
            holdup_g=bridge.grams(m.holdup_mg),
            times=times_of(m),
            settings=settings,
        )
        for m, settings in zip(rows, settings_now(rows, tables), strict=True)
    )


def _lots(order: Order | None, codes: Sequence[str], tables: Tables) -> tuple[PlanLot, ...]:
    links: dict[str, tuple[str, int | None]] = {}
    if order is not None:
        links = {
            code: (role, wanted)
            for code, role, wanted in OrderLot.objects.filter(order=order).values_list(
                "lot__code", "role", "wanted_mg"
            )
        }
    wanted = list(codes) or list(links)
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=wanted).select_related("customer")}
    missing = [code for code in wanted if code not in lots]
    if missing:
        raise NotFoundError("lot", ", ".join(missing), "Search the list of lots")
    origins = bridge.origins_of(list(lots.values()))
    return tuple(
        _plan_lot(lots[code], origins[lots[code].pk], links.get(code, ("", None)), tables) for code in wanted
    )


def _plan_lot(
    lot: Lot, origins: Sequence[bridge.Origin], link: tuple[str, int | None], tables: Tables
) -> PlanLot:
    return PlanLot(
        code=lot.code,
        owner=lot.customer.code,
        is_own=lot.customer.is_own,
        role=link[0],
        wanted_g=bridge.maybe_grams(link[1]),
        fibre=lot.fibre,
        breed=lot.breed,
        form=lot.now_form,
        place=lot.place,
        location=lot.location,
        mass_g=bridge.grams(lot.now_mass_mg),
        soundness=lot.soundness,
        vm_grade=lot.vm_grade,
        second_cuts=lot.second_cuts,
        colour_name=lot.colour_name,
        lab=lab_of(lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi),
        is_dry_known=lot.now_dry_mg is not None,
        start=bridge.lot_start_of(lot, origins, tables),
    )
