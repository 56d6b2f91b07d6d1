"""What is found of a lot's fibre beyond what the door writes down, as floats and as kept whole numbers."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.errors import InputError
from doffer.mill import bridge
from doffer.mill.models import LotFibre
from doffer.mill.models.yarn import BreaksAt, FoundBy

MILLI = 1_000
CM_PER_M = 100
# asked about above these
STRONGEST_N_PER_KTEX = 250.0  # a bundle of single wool fibres has about 200
MOST_CRIMPS_PER_CM = 15.0
MOST_STAPLE_CV_FRAC = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFibreFacts:
    """What was found of a lot's fibre; what is left out stays as it was found before.

    Parameters
    ----------
    found_by : str
        One of `models.yarn.FoundBy`.
    staple_cv_frac, short_fibre_frac, medullated_frac : float or None
        Spread of staple length; share of fibre under 25 to 30 mm; share of hollow fibre [frac].
    strength_n_per_ktex : float or None
        Staple strength.
    breaks_at : str
        One of `models.yarn.BreaksAt`; "" as before.
    break_frac : float or None
        Share of staples that break there [frac].
    crimps_per_cm, curvature_deg_per_mm : float or None
        Waves in a centimetre of staple, or the curvature a laboratory gives.
    forget : tuple of str
        Names of the fields above that turned out wrong and are unknown again.
    """

    found_by: str = FoundBy.HAND
    staple_cv_frac: float | None = None
    strength_n_per_ktex: float | None = None
    breaks_at: str = ""
    break_frac: float | None = None
    short_fibre_frac: float | None = None
    crimps_per_cm: float | None = None
    curvature_deg_per_mm: float | None = None
    medullated_frac: float | None = None
    forget: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if self.found_by not in FoundBy.values:
            raise InputError("who found it", self.found_by, f"one of {', '.join(FoundBy.values)}")
        if self.breaks_at and self.breaks_at not in BreaksAt.values:
            raise InputError("where it breaks", self.breaks_at, f"one of {', '.join(BreaksAt.values)}")
        for name in ("break_frac", "short_fibre_frac", "medullated_frac"):
            value = getattr(self, name)
            if value is not None and not 0 <= value <= 1:
                raise InputError(_said(name), f"{value * 100:g} %", "from 0 to 100 %")
        for name in ("staple_cv_frac", "strength_n_per_ktex", "crimps_per_cm", "curvature_deg_per_mm"):
            value = getattr(self, name)
            if value is not None and not 0 < value < float("inf"):
                raise InputError(_said(name), f"{value:g}", "above zero")
        unknown = set(self.forget) - {*_COLUMNS, "breaks_at"}
        if unknown:
            raise InputError(
                "what is unknown again", ", ".join(sorted(unknown)), f"among {', '.join(_COLUMNS)}"
            )


# field of the facts -> its column, and how many of the column's unit make one
_COLUMNS = {
    "staple_cv_frac": ("staple_cv_ppm", bridge.PPM),
    "strength_n_per_ktex": ("strength_milli_n_per_ktex", MILLI),
    "break_frac": ("break_ppm", bridge.PPM),
    "short_fibre_frac": ("short_fibre_ppm", bridge.PPM),
    "crimps_per_cm": ("crimps_per_m", CM_PER_M),
    "curvature_deg_per_mm": ("curvature_mdeg_per_mm", MILLI),
    "medullated_frac": ("medullated_ppm", bridge.PPM),
}


def _said(name: str) -> str:
    return name.replace("_frac", "").replace("_", " ")


def fibre_found(row: LotFibre | None, name: str) -> float | None:
    """A figure of `LotFibreFacts` as it is kept; None where nobody found it."""
    column, times = _COLUMNS[name]
    value = getattr(row, column, None)
    return None if value is None else value / times


def columns_over(facts: LotFibreFacts, before: LotFibre | None) -> dict[str, object]:
    """Columns of a new row: what is told now, and what was known before where nothing is told."""
    columns: dict[str, object] = {
        column: _kept(facts, before, name) for name, (column, _) in _COLUMNS.items()
    }
    return columns | {"breaks_at": _breaks_at(facts, before)}


def _kept(facts: LotFibreFacts, before: LotFibre | None, name: str) -> int | None:
    column, times = _COLUMNS[name]
    value = getattr(facts, name)
    if value is not None:
        return round(value * times)
    return None if name in facts.forget else getattr(before, column, None)


def _breaks_at(facts: LotFibreFacts, before: LotFibre | None) -> str:
    if facts.breaks_at or before is None or "breaks_at" in facts.forget:
        return facts.breaks_at or BreaksAt.UNKNOWN
    return before.breaks_at


def fibre_doubts(facts: LotFibreFacts) -> tuple[str, ...]:
    """What can hardly be, in words."""
    limits = (
        ("strength_n_per_ktex", STRONGEST_N_PER_KTEX, "N/ktex"),
        ("crimps_per_cm", MOST_CRIMPS_PER_CM, "waves per cm"),
        ("staple_cv_frac", MOST_STAPLE_CV_FRAC, "of the mean length"),
    )
    return tuple(
        f"{_said(name)} is {getattr(facts, name):g} {unit}, and up to {most:g} is possible"
        for name, most, unit in limits
        if getattr(facts, name) is not None and getattr(facts, name) > most
    )
