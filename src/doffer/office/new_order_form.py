"""What was typed at the counter, read into a wish that can be planned; sentences stay beside their fields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.exchange.count_said import TypedCount
from doffer.exchange.quantities import parse_micron, parse_share
from doffer.fibre.count import from_tex
from doffer.fibre.kinds import find_kind
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.plan_inputs import PlanInputs, part_of
from doffer.office.counts import COUNT, read_count
from doffer.office.order_spec import BatchWish, OrderWish, Planned, same_kind_notes, shares_typed
from doffer.office.readings import MASS_UNIT, Typed
from doffer.planning.batch import plan_order
from doffer.planning.expected import Expected, expected_fibre, start_of_expected
from doffer.planning.spec import MAX_PLIES, MIN_PLIES, BatchSpec, LotStart, MillWays, OrderSpec, Wish
from doffer.tables.loader import Tables

FORMS = (
    ("greasy", "In the grease", "not skirted yet: the mill skirts"),
    ("skirted", "In the grease, skirted", "the owner has skirted it"),
    ("scoured", "Washed", "clean and dry"),
)
PRODUCTS = (
    ("batt", "Batts", "for felting or spinning by hand"),
    ("roving", "Roving", "for felting or spinning by hand"),
    ("singles", "Singles", "yarn of one strand"),
    ("yarn", "Plied yarn", "2-ply, 3-ply, sock"),
)
YARNS = ("yarn", "singles")
CLASS_CHART = "shop_list"
STOCK = "stock_"
SHARE = "share_"
USUAL = {"form": "skirted", "product": "yarn", "plies": "2", "date_kind": "soft"}
PIECE = {"metric": "100 g", "us": "4 oz"}  # what skeins are put up in where nobody says otherwise
PERCENT = 100


@dataclass(frozen=True, slots=True)
class YarnClass:
    """A named thickness with its metres in 100 g, from the table of yarn classes."""

    key: str
    name: str
    low: float
    high: float

    @property
    def middle(self) -> float:
        """The count that is planned when only the name is said."""
        return (self.low + self.high) / 2


@dataclass(frozen=True, slots=True)
class Asked:
    """What the counter asks of the planner, as far as the form is filled."""

    wish: Wish | None
    expected: Expected | None
    lots: tuple[str, ...]
    stock: tuple[tuple[str, float], ...]

    @property
    def all_lots(self) -> tuple[str, ...]:
        """Numbers of the owner's and the mill's lots."""
        return (*self.lots, *(code for code, _ in self.stock))


def usual(system: str) -> dict[str, str]:
    """What a fresh form begins with, in the units that are spoken."""
    return {**USUAL, "piece": PIECE[system]}


def yarn_classes(tables: Tables) -> tuple[YarnClass, ...]:
    """Named thicknesses, thinnest first."""
    rows = [
        YarnClass(row.yarn_class, row.name, row.low, row.high)
        for row in tables.yarn_classes.values()
        if row.chart == CLASS_CHART and row.quantity == "m_per_100g" and row.low and row.high
    ]
    return tuple(sorted(rows, key=lambda row: -row.middle))


def kind_names(tables: Tables) -> tuple[str, ...]:
    """Fibres and breeds to choose from while typing."""
    names = [row.name for row in tables.fibres.values()] + [row.name for row in tables.breeds.values()]
    return tuple(dict.fromkeys(names))


def read_counter(typed: Typed, tables: Tables, stock: Sequence[LotRow], mine: Sequence[LotRow]) -> Asked:
    """Read the form; errors are put beside their fields, empty fields are not errors yet."""
    lots = tuple(lot.code for lot in mine if typed.is_said(f"lot_{lot.code}"))
    expected = None if lots else _expected(typed, tables)
    stock_shares = _stock_shares(typed, stock)
    fibres = [expected.fibre] if expected else [lot.fibre for lot in mine if lot.code in lots]
    shares = _shares(typed, tables, fibres, stock_shares, {lot.code: lot.fibre for lot in stock})
    wish = _wish(typed, tables, shares, {code: share / PERCENT for code, share in stock_shares})
    return Asked(wish, expected, lots, stock_shares)


def labels_of(lots: Sequence[LotRow], tables: Tables) -> tuple[str, ...]:
    """Label names of lots, each once, in their order."""
    return tuple(dict.fromkeys(_label(tables, lot.fibre) for lot in lots))


def _expected(typed: Typed, tables: Tables) -> Expected | None:
    mass_g = typed.mass_g("mass", "weight of the fibre", unit=MASS_UNIT[typed.system])
    if mass_g is not None and mass_g <= 0:
        typed.wrong("mass", "A weight above zero is needed.")
    micron = typed.read("micron", parse_micron, "micron")
    staple = typed.length_mm("staple", "staple")
    if not typed.is_said("fibre"):
        return None
    try:
        kind = find_kind(tables, typed.text("fibre"))
    except NotFoundError as error:
        typed.wrong("fibre", str(error))
        return None
    if mass_g is None or typed.errors:
        return None
    return expected_fibre(
        kind,
        lot=kind.fibre.name.split()[0],
        form=typed.text("form") or USUAL["form"],
        mass_g=mass_g,
        diameter_um=micron,
        staple_mm=staple,
    )


def _stock_shares(typed: Typed, stock: Sequence[LotRow]) -> tuple[tuple[str, float], ...]:
    """Mill lots to blend in, with their share of the label in percent."""
    shares = []
    for lot in stock:
        share = typed.read(f"{STOCK}{lot.code}", parse_share, f"share of {lot.code}")
        if share:
            shares.append((lot.code, share * 100))
    if sum(share for _, share in shares) >= PERCENT:
        typed.wrong(f"{STOCK}{shares[0][0]}", "The mill’s fibre must leave room for the owner’s own.")
    return tuple(shares)


def _shares(
    typed: Typed,
    tables: Tables,
    fibres: Sequence[str],
    stock: Sequence[tuple[str, float]],
    fibre_of: Mapping[str, str],
) -> dict[str, float]:
    """Shares on the label [frac] by label name; empty where the lots go in whole."""
    labels = list(dict.fromkeys(_label(tables, fibre) for fibre in fibres))
    typed_of = {label: typed.read(f"{SHARE}{label}", parse_share, f"share of {label}") for label in labels}
    said = {label: share * PERCENT for label, share in typed_of.items() if share}
    if typed.errors or not labels or not (stock or (said and len(labels) > 1)):
        return {}
    parts = [(fibre_of[code], share) for code, share in stock]
    if len(labels) == 1:
        return shares_typed([*parts, (fibres[0], PERCENT - sum(share for _, share in stock))], tables)
    if set(said) != set(labels):
        missing = next(label for label in labels if label not in said)
        typed.wrong(
            f"{SHARE}{missing}",
            "Lots of several fibres are ticked: type the share of each, "
            "so that they and the mill’s fibre make 100 %.",
        )
        return {}
    by_label = {_label(tables, fibre): fibre for fibre in fibres}
    try:
        return shares_typed([*parts, *((by_label[label], share) for label, share in said.items())], tables)
    except InputError as error:
        typed.wrong(f"{SHARE}{labels[0]}", str(error))
        return {}


def _wish(
    typed: Typed, tables: Tables, shares: Mapping[str, float], lot_shares: Mapping[str, float]
) -> Wish | None:
    product = typed.text("product") or USUAL["product"]
    count = read_count(typed, tables) if product in YARNS else None
    plies = _plies(typed, product, count)
    piece_g = typed.small_mass_g("piece", "weight of a piece")
    finished_g = typed.mass_g("finished", "finished weight")
    length = _length_m_per_100g(typed, tables, count) if product in YARNS else None
    if typed.errors or piece_g is None or plies is None:
        return None
    try:
        return Wish(
            product,
            plies,
            length,
            piece_g,
            finished_g,
            shares,
            lot_shares=lot_shares if shares else {},
        )
    except InputError as error:
        fields = {"plies": "plies", "weight of a piece": "piece", "finished weight": "finished"}
        typed.wrong(fields.get(error.field, "product"), str(error))
        return None


def _label(tables: Tables, fibre: str) -> str:
    """The name under which a fibre stands on a label."""
    return tables.fibres[fibre].label_as


def _plies(typed: Typed, product: str, count: TypedCount | None) -> int | None:
    """Plies as the count says them, which then stand in their field; else as typed there."""
    said = count.plies if count else None
    if product != "yarn":
        if said is not None and said > 1:
            typed.wrong(COUNT, f"“{typed.text(COUNT)}” has {said} strands: choose Plied yarn above.")
        return 1
    if said is None:
        return typed.count("plies", "plies", low=MIN_PLIES, high=MAX_PLIES)
    if said < MIN_PLIES:
        typed.wrong(
            COUNT, f"“{typed.text(COUNT)}” is a single strand: choose Singles above, or say its plies."
        )
    typed.data = {**typed.data, "plies": str(said)}
    return said


def _length_m_per_100g(typed: Typed, tables: Tables, count: TypedCount | None) -> float | None:
    """Metres in 100 g of the yarn as typed, else the middle of the named class, else unknown."""
    if count is not None:
        return from_tex(tables, system="m_per_100g", count_tex=count.yarn_tex)
    if typed.is_said(COUNT):
        return None
    chosen = next((row for row in yarn_classes(tables) if row.key == typed.text("yarn_class")), None)
    return chosen.middle if chosen else None


def batch_wish(asked: Asked, name: str) -> BatchWish:
    """The wish of one batch as the order keeps it."""
    assert asked.wish is not None
    fibre = () if asked.expected is None else (asked.expected,)
    return BatchWish(name, asked.wish, lots=asked.all_lots, fibre=fibre)


def order_wish(asked: Asked, name: str) -> OrderWish:
    """The wish as the order keeps it."""
    batch = batch_wish(asked, name)
    return OrderWish(announced=(batch,)) if batch.fibre else OrderWish(batches=(batch,))


def plan_asked(
    asked: Asked,
    inputs: PlanInputs,
    ways: MillWays,
    name: str,
    *,
    wanted_g: Mapping[str, float | None] | None = None,
) -> Planned:
    """Plan what was asked; a sentence where it cannot be done."""
    wanted = wanted_g or {}
    starts: list[LotStart] = []
    if asked.expected is not None:
        starts.append(start_of_expected(asked.expected, inputs.tables))
    starts += [part_of(lot, wanted.get(lot.code)) for lot in inputs.lots]
    if asked.wish is None or not starts or (asked.stock and len(starts) == len(asked.stock)):
        return Planned(None, None)
    try:
        spec = OrderSpec((BatchSpec(name, tuple(starts), asked.wish),), ways)
        notes = same_kind_notes(spec.batches, inputs)
        return Planned(spec, plan_order(spec, inputs.tables), notes=notes)
    except DofferError as error:
        return Planned(None, None, (str(error),))


def read_date(typed: Typed) -> date | None:
    """The day wanted; None where none was said or it cannot be read."""
    if not typed.is_said("wanted"):
        return None
    try:
        return date.fromisoformat(typed.text("wanted"))
    except ValueError:
        typed.wrong("wanted", "Choose a day, such as 2026-04-24.")
        return None
