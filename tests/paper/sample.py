"""Papers of the invented mill Quillfern Hollow, for tests and for looking at."""

import dataclasses
from datetime import UTC, date, datetime
from functools import cache

from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.paper.papers import (
    BagLine,
    BagTag,
    Imprint,
    LotFace,
    LotSheet,
    RunCard,
    WeighingLine,
    WeighOutSheet,
    WorkOrder,
)
from doffer.planning.batch import plan_order
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.planning.spread import Spread
from doffer.tables.loader import load_tables

TABLES = load_tables()
MACHINES = {
    "wash": MachineUse("wash tub 1", 20),
    "pick": MachineUse("picker", 40),
    "card": MachineUse("card", 60),
    "draw": MachineUse("drafter", 15),
    "spin": MachineUse("spinner", 64),
    "ply": MachineUse("plyer", 24),
    "skein": MachineUse("skein winder", 4),
}
WAYS = MillWays(
    room_rh_frac=0.65,
    label_basis=Basis.EU_AGREED,
    promise_quantile=0.15,
    machines=MACHINES,
    conditioner_frac_owf=0.02,
    conditioner_water_parts=4.0,
    draw_passes=2,
    n_samples=400,
)
IMPRINT = Imprint(
    mill="Quillfern Hollow",
    printed_at=datetime(2026, 3, 2, 8, 15, tzinfo=UTC),
    version="plan 2",
    tables_sha256="4f1d9a07c2e58b36",
)
FAWN = LotFace("L001", "Moonbucket Farm", "huacaya alpaca", "fawn", "#b79a79")
WHITE_WOOL = LotFace("L036", "Quillfern Hollow", "superwash wool", "white", "#ece6dc")
BROWN = LotFace("L010", "Three Teapots Alpacas", "alpaca", "brown", "#5a4636")
NYLON = LotFace("L034", "Quillfern Hollow", "polyamide", "white", "#f4f3ef")


def start(code, fibre, grams, *, form=Form.SCOURED, regain=0.15, yields_as="mixed_wool"):
    part = Constituent(code, fibre, 24.0, 0.22, 95.0, 0.2)
    return LotStart(part, form, float(grams), regain, yields_as)


@cache
def own_fleece():
    lots = (start("L001", "alpaca", 2700, form=Form.GREASY, yields_as="alpaca_huacaya"),)
    wish = Wish("yarn", plies=2, length_m_per_100g=250, piece_mass_g=100)
    return plan_order(OrderSpec((BatchSpec("fawn", lots, wish),), WAYS), TABLES).batches[0]


@cache
def sock_blend():
    lots = (
        start("L010", "alpaca", 5000, regain=0.097),
        start("L036", "wool", 4000, regain=0.147),
        start("L034", "polyamide", 4000, regain=0.04),
    )
    shares = {"alpaca": 0.6, "wool": 0.2, "polyamide": 0.2}
    wish = Wish("yarn", plies=3, length_m_per_100g=425, finished_mass_g=6000, shares=shares)
    return plan_order(OrderSpec((BatchSpec("sock", lots, wish),), WAYS), TABLES).batches[0]


def run_card(**changed):
    card = RunCard(
        order="O201",
        owner="Moonbucket Farm",
        product="2-ply yarn, DK, 250 m/100 g, in 100 g skeins",
        lots=(FAWN,),
        batch=own_fleece(),
        promised_on=date(2026, 3, 13),
    )
    return dataclasses.replace(card, **changed)


def weigh_out_sheet(**changed):
    sheet = WeighOutSheet(
        order="O203",
        owner="Three Teapots Alpacas",
        product="3-ply sock yarn, 425 m/100 g",
        lots=(BROWN, WHITE_WOOL, NYLON),
        batch=sock_blend(),
    )
    return dataclasses.replace(sheet, **changed)


def bag_tag(**changed):
    tag = BagTag(
        lot=FAWN,
        tag="7Q4K2Y",
        place=2,
        of_places=3,
        received_on=date(2026, 1, 12),
        gross_mass_g=2950,
        tare_mass_g=250,
        form="greasy",
        note="one fleece, “Biscuit”",
    )
    return dataclasses.replace(tag, **changed)


def work_order(**changed):
    order = WorkOrder(
        order="O201",
        owner="Moonbucket Farm",
        contact="Juno, by e-mail",
        taken_on=date(2026, 1, 12),
        taken_by="Wrenna",
        bags=(
            BagLine("7Q4K2Y", "L001", "huacaya alpaca, fawn", 2950, 250, "one fleece, “Biscuit”"),
            BagLine("3M8XD2", "L002", "huacaya alpaca, white", 3100, 250),
            BagLine("9T0RA5", "L003", "huacaya alpaca, bay black", 2600, 250, "two straw bands in it"),
        ),
        wish="2-ply yarn, fleece by fleece, DK, 250 m/100 g, in 100 g skeins",
        expected=Spread(4510, 4120, 4890, 4290),
        grade_notes=("staple 85 to 95 mm, sound", "some hay in the black fleece"),
        price_words=("by incoming weight, price list 2026-1",),
        wants_waste_back=True,
        may_blend=False,
        promised_on=date(2026, 3, 13),
    )
    return dataclasses.replace(order, **changed)


def lot_sheet(**changed):
    sheet = LotSheet(
        lot=FAWN,
        facts=(
            ("received", "Monday 12 January 2026"),
            ("fineness", "23.1 micron, laboratory"),
            ("staple", "95 mm, sound"),
            ("where", "can 4"),
        ),
        weighings=(
            WeighingLine(date(2026, 1, 12), "in the grease", 2700, None, 0.58, "Wrenna"),
            WeighingLine(date(2026, 1, 20), "scoured", 2010, 1720, 0.62, "Figgo"),
        ),
        working=own_fleece().finished_working,
    )
    return dataclasses.replace(sheet, **changed)
