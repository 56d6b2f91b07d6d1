"""What each paper needs to be told: plain values, no records, no wording of figures."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from doffer.errors import InputError
from doffer.planning.layers import Layer
from doffer.planning.order_plan import BatchPlan
from doffer.planning.spread import Spread
from doffer.working import Working

HEX_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


class PaperSize(StrEnum):
    """What lies in the printer; LABEL is a tag of 150 x 100 mm, lying, for a roll of 100 mm."""

    A4 = "a4"
    A5 = "a5"
    LETTER = "us-letter"
    LABEL = "label"


@dataclass(frozen=True, slots=True)
class Imprint:
    """What every paper of one printing says of itself.

    Parameters
    ----------
    mill : str
        Name of the mill.
    printed_at : datetime
        When; also the date inside the file, so that the same paper is the same bytes.
    version : str
        Which version of what is printed, such as "plan 2".
    tables_sha256 : str
        Fingerprint of the tables the figures rest on; its first eight signs are printed.
    system, country : str
        "metric" or "us" units; "US" for US words and spellings.
    address : str
        Where other screens find the mill's pages; square codes lead there. Empty: they hold numbers alone.
    """

    mill: str
    printed_at: datetime
    version: str
    tables_sha256: str = ""
    system: str = "metric"
    country: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True)
class LotFace:
    """How a lot is told apart on paper: number, owner, what it is, its colour in words and as #rrggbb."""

    code: str
    owner: str
    fibre: str
    colour: str = ""
    colour_hex: str = ""

    def __post_init__(self) -> None:
        _check_colour(self.colour_hex, self.code)


@dataclass(frozen=True, slots=True)
class RunCard:
    """One batch of an order on its way through the mill, stage by stage."""

    order: str
    owner: str
    product: str
    lots: tuple[LotFace, ...]
    batch: BatchPlan
    promised_on: date | None = None
    is_hard_date: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class WeighOutSheet:
    """What to weigh out for one batch, and the order in which to lay it.

    Raises
    ------
    InputError
        The batch is not a blend: its lots go in whole.
    """

    order: str
    owner: str
    product: str
    lots: tuple[LotFace, ...]
    batch: BatchPlan
    note: str = ""

    def __post_init__(self) -> None:
        if self.batch.weigh_out is None:
            raise InputError(
                "weigh-out sheet", self.batch.name, "a blend; these lots go in whole", self.order
            )


@dataclass(frozen=True, slots=True)
class BlendPortion:
    """A lot of a blend recipe: what goes on the scale now [g], oven-dry share, trial card [g]."""

    lot: LotFace
    weigh_mass_g: float
    share_frac: float
    trial_mass_g: float


@dataclass(frozen=True, slots=True)
class BlendSheet:
    """The weigh-out sheet of a blend recipe, for the full mix or for its trial card, which has no layers."""

    recipe: str
    version: int
    shade: str
    portions: tuple[BlendPortion, ...]
    layers: tuple[Layer, ...] = ()
    is_trial: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if not self.portions:
            raise InputError("lots of the blend", 0, "one or more", self.recipe)


@dataclass(frozen=True, slots=True)
class DyeCardLine:
    """One line of the order of adding: what, how much in words, and how."""

    what: str
    amount: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class DyeCardLoad:
    """Loads that are alike: kettle, fibre [g], bath [L], mark on its stick ("" when unknown), the adding."""

    name: str
    n_alike: int
    kettle: str
    fibre_mass_g: float
    liquor_volume_l: float
    dip: str
    lines: tuple[DyeCardLine, ...]


@dataclass(frozen=True, slots=True)
class DyeCardStep:
    """One step at the kettle in words: what, how long, which temperature."""

    what: str
    minutes: str
    heat: str


@dataclass(frozen=True, slots=True)
class DyeCard:
    """A dye recipe worked out for an amount of fibre, for the wall above the kettle.

    `course_svg` is the picture of temperature over time, made by us.
    """

    shade: str
    shade_name: str
    version: int
    fibre_mass_g: float
    basis: str
    loads: tuple[DyeCardLoad, ...]
    lot: LotFace | None = None
    steps: tuple[DyeCardStep, ...] = ()
    course_svg: str = ""
    ph: str = ""
    cautions: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if not self.loads:
            raise InputError("loads of the dye card", 0, "one or more", self.shade_name)


@dataclass(frozen=True, slots=True)
class BagTag:
    """The tag of one bag. `place` is its number among `of_places` bags of the lot."""

    lot: LotFace
    tag: str
    place: int
    of_places: int
    received_on: date
    gross_mass_g: float
    tare_mass_g: float
    form: str = ""
    note: str = ""

    @property
    def net_mass_g(self) -> float:
        """What is in the bag [g]."""
        return self.gross_mass_g - self.tare_mass_g

    def __post_init__(self) -> None:
        _check_bag(self.tag, gross_mass_g=self.gross_mass_g, tare_mass_g=self.tare_mass_g)


@dataclass(frozen=True, slots=True)
class BagLine:
    """One bag on a work order."""

    tag: str
    lot: str
    fibre: str
    gross_mass_g: float
    tare_mass_g: float
    note: str = ""

    @property
    def net_mass_g(self) -> float:
        """What is in the bag [g]."""
        return self.gross_mass_g - self.tare_mass_g

    def __post_init__(self) -> None:
        _check_bag(self.tag, gross_mass_g=self.gross_mass_g, tare_mass_g=self.tare_mass_g)


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """What the owner and the mill agree at the door, to be signed by both.

    Questions left None are printed with empty boxes, to be ticked by pen. `promised_on` is a target date
    unless `is_hard_date`.
    """

    order: str
    owner: str
    taken_on: date
    taken_by: str
    bags: tuple[BagLine, ...]
    wish: str
    contact: str = ""
    expected: Spread | None = None
    grade_notes: tuple[str, ...] = ()
    price_words: tuple[str, ...] = ()
    wants_waste_back: bool | None = None
    may_blend: bool | None = None
    promised_on: date | None = None
    is_hard_date: bool | None = None
    terms: str = "The mill’s own terms apply; ask for them if they are not attached."


@dataclass(frozen=True, slots=True)
class WeighingLine:
    """One weighing on a lot sheet; dry mass None where it is not known."""

    on: date
    what: str
    net_mass_g: float
    dry_mass_g: float | None = None
    rh_frac: float | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class LotSheet:
    """One lot on one page: facts as (name, words), its weighings, and the working of its latest figure."""

    lot: LotFace
    facts: tuple[tuple[str, str], ...]
    weighings: tuple[WeighingLine, ...]
    working: Working | None = None
    note: str = ""


def _check_colour(colour_hex: str, where: str) -> None:
    if colour_hex and not HEX_COLOUR.fullmatch(colour_hex):
        raise InputError("colour patch", colour_hex, "six hex signs such as #a8845c, or empty", where)


def _check_bag(tag: str, *, gross_mass_g: float, tare_mass_g: float) -> None:
    if not 0 <= tare_mass_g <= gross_mass_g:
        raise InputError("tare", tare_mass_g, f"from 0 to the gross weight of {gross_mass_g:g} g", tag)
