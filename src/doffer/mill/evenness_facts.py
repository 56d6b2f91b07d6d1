"""What a trial of evenness measured and what came of it, as floats and as the whole numbers that are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from doffer.errors import InputError
from doffer.mill.models.evenness import TrialKind

MICRO = 1_000_000
MOST_PIECES = 500
# how the last part of a field's name is kept: its other name, and how many of those make one
KEPT_AS = {
    "mm_per_px": ("nm_per_px", 1_000_000),
    "_g": ("_mg", 1_000),
    "_mm": ("_um", 1_000),
    "_tex": ("_mtex", 1_000),
    "_frac": ("_ppm", 1_000_000),
}


class Signal(StrEnum):
    """Along what the variance was measured, with its unit in words."""

    SHARE = "share"  # percentage points of one component
    LIGHTNESS = "lightness"  # L*
    COLOUR = "colour"  # dE
    MASS = "mass"  # per cent of the mean weight


def _checked(name: str, values: Sequence[float], *, least: int) -> None:
    if not least <= len(values) <= MOST_PIECES:
        raise InputError(f"number of {name}", len(values), f"from {least} to {MOST_PIECES}")
    wrong = [value for value in values if not 0 < value < float("inf")]
    if wrong:
        raise InputError(f"weight of one of the {name}", f"{wrong[0]:g} g", "above zero grams")


def _checked_water(regain_frac: float) -> None:
    if not 0 <= regain_frac < 1:
        raise InputError("water on the fibre", f"{regain_frac * 100:g} %", "from 0 to 99 % of the dry fibre")


def _checked_shares(shares: Sequence[float], masses: Sequence[float]) -> None:
    if len(shares) != len(masses):
        raise InputError("shares", len(shares), f"one for each of the {len(masses)} pieces")
    if any(not 0 <= share <= 1 for share in shares):
        raise InputError("share of a piece", f"{max(shares, key=abs) * 100:g} %", "from 0 to 100 %")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFacts:
    """A photo or scan of a strip: the length that was read [mm], its scale, the strand's count where known.

    `component` is the lot whose share the colour tells, or "".
    """

    length_mm: float
    mm_per_px: float
    strand_tex: float | None = None
    n_strips: int = 1
    component: str = ""

    def __post_init__(self) -> None:
        if not self.length_mm > 0 or not self.mm_per_px > 0:
            raise InputError(
                "length and scale of the photo",
                f"{self.length_mm:g} mm, {self.mm_per_px:g} mm a pixel",
                "above zero: lay a ruler beside the strip",
            )
        if self.strand_tex is not None and not self.strand_tex > 0:
            raise InputError("count of the strip", f"{self.strand_tex:g} tex", "above zero tex")
        if self.n_strips < 1:
            raise InputError("number of strips", self.n_strips, "one or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleFacts:
    """Small pieces weighed [g as weighed]: all of one length [mm], or with a component's share in each.

    `actual_regain_frac` is the water on them, over oven-dry fibre; 0 where they were weighed oven-dry.
    """

    masses_g: tuple[float, ...]
    actual_regain_frac: float = 0.0
    length_mm: float | None = None
    shares_frac: tuple[float, ...] = ()
    component: str = ""

    def __post_init__(self) -> None:
        _checked("pieces", self.masses_g, least=2)
        _checked_water(self.actual_regain_frac)
        if self.length_mm is not None and not self.length_mm > 0:
            raise InputError("length of the pieces", f"{self.length_mm:g} mm", "above zero")
        if self.length_mm is None and not self.shares_frac:
            raise InputError(
                "samples", "weights alone", "all of one length, or with the share of a component"
            )
        if self.shares_frac:
            _checked_shares(self.shares_frac, self.masses_g)
            if not self.component.strip():
                raise InputError("component", "", "the lot whose share was found in the pieces")


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseFacts:
    """A coloured pulse fed into plain fibre [g]; of each piece that came: its weight, its share of colour."""

    pulse_g: float
    masses_g: tuple[float, ...]
    shares_frac: tuple[float, ...]
    actual_regain_frac: float = 0.0

    def __post_init__(self) -> None:
        if not self.pulse_g > 0:
            raise InputError("weight of the pulse", f"{self.pulse_g:g} g", "above zero grams")
        _checked("pieces", self.masses_g, least=3)
        _checked_shares(self.shares_frac, self.masses_g)
        _checked_water(self.actual_regain_frac)


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanDownFacts:
    """What came off a machine after the feed stopped, one weight for each clean-down [g as weighed]."""

    masses_g: tuple[float, ...]
    actual_regain_frac: float = 0.0

    def __post_init__(self) -> None:
        _checked("clean-downs", self.masses_g, least=1)
        _checked_water(self.actual_regain_frac)

    @property
    def mean_dry_g(self) -> float:
        """Oven-dry fibre that came off at one clean-down, the mean [g]."""
        return sum(self.masses_g) / len(self.masses_g) / (1 + self.actual_regain_frac)


@dataclass(frozen=True, slots=True, kw_only=True)
class TuftFacts:
    """Tufts pulled at random and weighed one by one [g as weighed]."""

    masses_g: tuple[float, ...]
    actual_regain_frac: float = 0.0

    def __post_init__(self) -> None:
        _checked("tufts", self.masses_g, least=5)
        _checked_water(self.actual_regain_frac)


Facts = PhotoFacts | SampleFacts | PulseFacts | CleanDownFacts | TuftFacts
FACTS_OF: Mapping[str, type[Facts]] = {
    TrialKind.PHOTO: PhotoFacts,
    TrialKind.SAMPLES: SampleFacts,
    TrialKind.PULSE: PulseFacts,
    TrialKind.CLEAN_DOWN: CleanDownFacts,
    TrialKind.TUFTS: TuftFacts,
}


def kind_of_facts(facts: Facts) -> TrialKind:
    """Which kind of trial these facts are of."""
    return next(TrialKind(kind) for kind, is_of in FACTS_OF.items() if isinstance(facts, is_of))


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceVariance:
    """Variance between pieces of one size [signal^2] with its standard error, from `n_pieces` pieces.

    Below zero where a photo shows no more than its own noise. The size is oven-dry grams, or a length.
    """

    variance: float
    standard_error: float
    n_pieces: int
    piece_g: float | None = None
    length_mm: float | None = None

    def __post_init__(self) -> None:
        if self.standard_error < 0 or self.n_pieces < 1:
            raise InputError(
                "variance", f"{self.variance:g} ± {self.standard_error:g}", "with an error of zero or more"
            )
        if (self.piece_g is None) == (self.length_mm is None):
            raise InputError("size of the pieces", None, "grams or millimetres, one of them")


@dataclass(frozen=True, slots=True)
class FoundFigure:
    """A machine figure that a trial gives, with its ends, in the unit of its row in the tables."""

    key: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialResult:
    """What came of a trial: variances by size of piece, machine figures, and sentences to go with them."""

    signal: str = ""
    pieces: tuple[PieceVariance, ...] = ()
    figures: tuple[FoundFigure, ...] = ()
    words: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.pieces and self.signal not in tuple(Signal):
            raise InputError("what varies", self.signal, f"one of {', '.join(Signal)}")


NO_RESULT = TrialResult()


def kept_facts(facts: Facts) -> dict[str, Any]:
    """Facts as the whole numbers that are kept; what nobody gave is left out."""
    kept: dict[str, Any] = {}
    for name, value in ((one.name, getattr(facts, one.name)) for one in fields(facts)):
        if value is None:
            continue
        other, times = _kept_as(name)
        if isinstance(value, tuple):
            kept[other] = [round(each * times) for each in value]
        else:
            kept[other] = value if isinstance(value, str) else round(value * times)
    return kept


def read_facts(kind: str, kept: Mapping[str, Any]) -> Facts:
    """The facts of a kept trial."""
    read: dict[str, Any] = {}
    for name in (one.name for one in fields(FACTS_OF[kind])):
        other, times = _kept_as(name)
        if other not in kept:
            continue
        value = kept[other]
        if isinstance(value, list):
            read[name] = tuple(each / times for each in value)
        else:
            read[name] = value / times if times > 1 else value
    return FACTS_OF[kind](**read)


def _kept_as(name: str) -> tuple[str, int]:
    for ending, (other, times) in KEPT_AS.items():
        if name.endswith(ending):
            return name.removesuffix(ending) + other, times
    return name, 1


def kept_result(result: TrialResult) -> dict[str, Any]:
    """A result in whole numbers: millionths of the signal squared and of the figures' units."""
    sizes = (
        {"piece_mg": round(one.piece_g * 1_000)}
        if one.piece_g is not None
        else {"length_um": round((one.length_mm or 0) * 1_000)}
        for one in result.pieces
    )
    return {
        "signal": str(result.signal),
        "pieces": [
            {
                "variance_micro": micro(one.variance),
                "se_micro": micro(one.standard_error),
                "n": one.n_pieces,
                **size,
            }
            for one, size in zip(result.pieces, sizes, strict=True)
        ],
        "figures": {one.key: [micro(one.value), micro(one.low), micro(one.high)] for one in result.figures},
        "words": list(result.words),
    }


def read_result(kept: Mapping[str, Any]) -> TrialResult:
    """The result of a kept trial."""
    return TrialResult(
        signal=kept["signal"],
        pieces=tuple(
            PieceVariance(
                variance=one["variance_micro"] / MICRO,
                standard_error=one["se_micro"] / MICRO,
                n_pieces=one["n"],
                piece_g=one["piece_mg"] / 1_000 if "piece_mg" in one else None,
                length_mm=one["length_um"] / 1_000 if "length_um" in one else None,
            )
            for one in kept["pieces"]
        ),
        figures=tuple(
            FoundFigure(key, *(value / MICRO for value in values)) for key, values in kept["figures"].items()
        ),
        words=tuple(kept["words"]),
    )


def micro(value: float) -> int:
    """A figure as whole millionths of its unit."""
    return round(value * MICRO)
