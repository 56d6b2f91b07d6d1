"""What is said of a run: what goes in, what comes out, how it was made, and what is kept of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from doffer.fibre.material import Form
from doffer.mill.booking import Reading
from doffer.mill.models.lots import Place
from doffer.mill.numbering import BLEND, LOT, ROVING, YARN

STAGES = (
    "skirt",
    "tumble",
    "wash",
    "extract",
    "dry",
    "dye",
    "pick",
    "rest",
    "dehair",
    "card",
    "draw",
    "spin",
    "ply",
    "set",
    "skein",
)
PLACE_AFTER = {
    "skirt": Place.DOOR,
    "tumble": Place.DOOR,
    "extract": Place.WASH,
    "dehair": Place.PICK,
} | {
    name: name
    for name in ("wash", "dry", "dye", "pick", "rest", "card", "draw", "spin", "ply", "set", "skein")
}
FORM_AFTER = {
    "skirt": Form.SKIRTED,
    "wash": Form.SCOURED,
    "pick": Form.OPENED,
    "dehair": Form.OPENED,
    "card": Form.ROVING,
    "draw": Form.ROVING,
    "spin": Form.SINGLE,
    "ply": Form.PLIED,
    "skein": Form.SKEIN,
}
SERIES_OF = {
    Form.GREASY: LOT,
    Form.SKIRTED: LOT,
    Form.SCOURED: BLEND,
    Form.OPENED: BLEND,
    Form.ROVING: ROVING,
    Form.BATT: ROVING,
    Form.SINGLE: YARN,
    Form.PLIED: YARN,
    Form.SKEIN: YARN,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunIn:
    """A lot that goes in, as weighed; `rest_g` is what stays behind (None: judged from its last weight).

    Without a reading the lot goes in whole at its last weight, and no weighing is made of it.
    """

    lot: str
    reading: Reading | None = None
    rest_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOut:
    """What comes out, as weighed.

    A single lot taken whole into a single output keeps its number, else a new number is given (or
    `code`). `is_product` gives a new number in any case, `form` defaults to what the stage makes. `tag`
    names an existing container; otherwise a fresh one of `kind` is tagged. `customer` is needed when
    owners were joined and none of them is clearly the owner of the outcome.
    """

    reading: Reading
    form: str = ""
    is_product: bool = False
    code: str = ""
    name: str = ""
    note: str = ""
    tag: str = ""
    kind: str = "bin"
    location: str = ""
    customer: str = ""
    colour_name: str = ""
    lab: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunWasteRow:
    """A stream that was swept up and weighed [g], by its name in mill words."""

    kind: str
    mass_g: float
    measured_regain_frac: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """How a run was made."""

    stage: str
    machine: str = ""
    order: str = ""
    started_at: datetime | None = None
    ended_at: datetime | None = None
    settings: dict[str, float | str] = field(default_factory=dict)
    cleaned_before: str = ""
    join_decision: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class OutLot:
    """One lot that came out; `is_new` when it got a number of its own."""

    lot: str
    tag: str
    weighing_id: int
    net_g: float
    dry_g: float | None
    is_new: bool


@dataclass(frozen=True, slots=True)
class RunDone:
    """A run as it is kept; `recovery_frac` is dry fibre out over dry fibre in, None where one is unknown."""

    run: str
    outputs: tuple[OutLot, ...]
    dry_in_g: float | None
    dry_out_g: float | None
    recovery_frac: float | None
