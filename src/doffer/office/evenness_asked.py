"""How a blend is to be mixed, as it stands in the address: layers, passes, drawing, viewing distance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from doffer.errors import InputError
from doffer.exchange.numbers import parse_number
from doffer.office.readings import Typed
from doffer.process.evenness.passage import Laying

MOST_LAYERS, MOST_PASSES = 120, 6  # of a large lot as many sets as the search would lay
LEAST_G_PER_M, MOST_G_PER_M = 0.5, 100.0
LEAST_ROW_MM, MOST_ROW_MM = 50.0, 20_000.0
TEX_PER_G_PER_M = 1000.0
POINTS, MOST_BIAS_POINTS = 100.0, 10.0
ROW_UNITS = {"metric": ("cm", 10.0), "us": ("in", 25.4)}
DRAWINGS = (
    ("", "not drawn"),
    ("4", "once, 4 ends"),
    ("6", "once, 6 ends"),
    ("4x4", "twice, 4 ends each"),
    ("4x6", "4 ends, then 6"),
    ("6x6", "twice, 6 ends each"),
    ("4x4x4", "three times, 4 ends each"),
    ("4x4x6", "4 ends, 4 ends, then 6"),
    ("4x6x6", "4 ends, 6 ends, then 6"),
    ("6x6x6", "three times, 6 ends each"),
)
LAYINGS = (("layers", "in layers, lot on lot"), ("handfuls", "in handfuls of one lot, as they come"))
SEEN_FROM = (("400", "in the hand, 40 cm"), ("1000", "across the table, 1 m"))
NAMES = (
    "layers",
    "laying",
    "whole",
    "sandwich",
    "passes",
    "toss",
    "drawn",
    "roving",
    "row",
    "far",
    "bias",
    "set",
)
SET = "set"  # says that the form of mixing was sent: an unticked box then means no


@dataclass(frozen=True, slots=True)
class Usual:
    """What stands in the form before anybody has moved anything."""

    layers: int = 6
    passes: int = 1
    drawn: str = "4"
    strand_tex: float = 3000.0
    row_mm: float | None = None
    is_tossed: bool | None = None  # None: nobody said, and what is picked again is tossed between
    most_layers: int = MOST_LAYERS


@dataclass(frozen=True, slots=True)
class Mixed:
    """How it is mixed, as asked.

    Parameters
    ----------
    layers, passes : int
        Sets of layers, passes through the picker.
    has_half_ends, is_sandwich, is_tossed : bool
        Half layers at both ends; a whole set goes into the picker at once; what is picked is tossed.
    drawn : str
        One of DRAWINGS.
    strand_tex : float
        Count of the roving.
    row_mm : float or None
        Yarn in one row of what it is knitted into.
    distance_mm : float
        From how far it is looked at.
    bias_frac : float
        What weighing out may be wrong by, for the label.
    """

    layers: int
    laying: Laying
    has_half_ends: bool
    is_sandwich: bool
    passes: int
    is_tossed: bool
    drawn: str
    strand_tex: float
    row_mm: float | None
    distance_mm: float
    bias_frac: float
    typed: Typed

    @property
    def ends(self) -> tuple[int, ...]:
        """Ends fed together at each drawing."""
        return tuple(int(each) for each in self.drawn.split("x") if each)

    @property
    def errors(self) -> dict[str, str]:
        """Sentences beside the fields."""
        return {name: said for name, said in self.typed.errors.items() if name in NAMES}

    def pairs(self) -> list[tuple[str, str]]:
        """The same as fields of an address."""
        kept = {
            "layers": str(self.layers),
            "laying": "" if self.laying is Laying.LAYERS else str(self.laying),
            "whole": "" if self.has_half_ends else "yes",
            "sandwich": "yes" if self.is_sandwich else "",
            "passes": str(self.passes),
            "toss": "yes" if self.is_tossed else "",
            "drawn": self.drawn,
            "roving": f"{self.strand_tex / TEX_PER_G_PER_M:g}",
            "row": self.typed.text("row"),
            "far": "" if self.distance_mm == float(SEEN_FROM[0][0]) else f"{self.distance_mm:g}",
            "bias": f"{self.bias_frac * POINTS:g}" if self.bias_frac else "",
            SET: "yes",
        }
        return [(name, value) for name, value in kept.items() if value]

    def query(self) -> str:
        """The same as the end of an address."""
        return urlencode(self.pairs())

    def with_these(self, *, layers: int, passes: int, ends: tuple[int, ...], sandwich_g: float) -> Mixed:
        """Laid in turn with half ends, tossed after each pass, with other layers, passes and drawings."""
        return replace(
            self,
            layers=layers,
            laying=Laying.LAYERS,
            has_half_ends=True,
            is_sandwich=sandwich_g > 0,
            passes=passes,
            is_tossed=True,
            drawn="x".join(str(each) for each in ends),
        )


def read_mixed(data: Mapping[str, str], system: str, usual: Usual) -> Mixed:
    """Read how it is to be mixed; what cannot be read keeps its sentence and counts as usual."""
    typed = Typed(data, system)
    is_sent = typed.is_said(SET)
    drawn = typed.text("drawn") if is_sent or typed.is_said("drawn") else usual.drawn
    layers = typed.count("layers", "sets of layers", low=1, high=usual.most_layers)
    passes = typed.count("passes", "passes through the picker", low=0, high=MOST_PASSES)
    far = typed.text("far")
    return Mixed(
        layers=usual.layers if layers is None else layers,
        laying=Laying.HANDFULS if typed.text("laying") == Laying.HANDFULS else Laying.LAYERS,
        has_half_ends=typed.text("whole") != "yes",
        is_sandwich=typed.text("sandwich") == "yes",
        passes=usual.passes if passes is None else passes,
        is_tossed=typed.text("toss") == "yes" if is_sent else _is_usually_tossed(usual),
        drawn=drawn if drawn in dict(DRAWINGS) else usual.drawn,
        strand_tex=_strand_tex(typed) or usual.strand_tex,
        row_mm=_row_mm(typed) or usual.row_mm,
        distance_mm=float(far if far in dict(SEEN_FROM) else SEEN_FROM[0][0]),
        bias_frac=_bias_frac(typed),
        typed=typed,
    )


def _is_usually_tossed(usual: Usual) -> bool:
    return usual.passes > 1 if usual.is_tossed is None else usual.is_tossed


def _strand_tex(typed: Typed) -> float | None:
    allowed = f"grams in a metre, from {LEAST_G_PER_M:g} to {MOST_G_PER_M:g}"
    value = typed.read("roving", parse_number, "roving", allowed=allowed)
    if value is None:
        return None
    if not LEAST_G_PER_M <= value <= MOST_G_PER_M:
        typed.wrong("roving", str(InputError("roving", typed.text("roving"), allowed)))
        return None
    return float(value) * TEX_PER_G_PER_M


def _bias_frac(typed: Typed) -> float:
    allowed = f"points of 100, from 0 to {MOST_BIAS_POINTS:g}"
    value = typed.read("bias", parse_number, "error of weighing out", allowed=allowed)
    if value is None:
        return 0.0
    if not 0 <= value <= MOST_BIAS_POINTS:
        typed.wrong("bias", str(InputError("error of weighing out", typed.text("bias"), allowed)))
        return 0.0
    return float(value) / POINTS


def _row_mm(typed: Typed) -> float | None:
    word, unit_mm = ROW_UNITS[typed.system]
    allowed = f"from {LEAST_ROW_MM / unit_mm:.0f} to {MOST_ROW_MM / unit_mm:.0f} {word}"
    value = typed.read("row", parse_number, "yarn in a row", allowed=allowed)
    if value is None:
        return None
    row_mm = float(value) * unit_mm
    if not LEAST_ROW_MM <= row_mm <= MOST_ROW_MM:
        typed.wrong("row", str(InputError("yarn in a row", typed.text("row"), allowed)))
        return None
    return row_mm
