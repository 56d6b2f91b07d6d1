"""Which grade or class a lot falls into by its mean diameter, and for US grades by its spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError, NotFoundError
from doffer.tables.loader import Tables
from doffer.tables.rows import AlpacaClass, MohairGrade, WoolGrade
from doffer.working import Status, Term, Working

TABLE_DECIMALS = 2  # grades are printed to 0.01 um; a mean is rounded so before it is looked up


@dataclass(frozen=True, slots=True)
class Grade:
    """A grade with the reason for it; `scheme` says whose."""

    scheme: str
    grade: str
    reason: str
    status: Status
    working: Working


GradeRow = WoolGrade | MohairGrade | AlpacaClass


def wool_grade(tables: Tables, *, diameter_um: float, diameter_sd_um: float | None = None) -> Grade:
    """US wool grade ("64s") by mean diameter [um]; too wide a spread drops it to the next coarser grade.

    The drop is from memory of the standard, unverified. Without an SD the grade is by the mean alone.
    """
    return _graded(tables, "US wool grades", list(tables.wool_grades.values()), diameter_um, diameter_sd_um)


def mohair_grade(
    tables: Tables, *, diameter_um: float, diameter_sd_um: float | None = None, scheme: str = "us_grease"
) -> Grade:
    """Mohair grade of a scheme (us_grease, uk_breed_society) by mean diameter [um]."""
    found = [row for row in tables.mohair_grades.values() if row.scheme == scheme]
    return _graded(tables, scheme, found, diameter_um, diameter_sd_um)


def alpaca_class(tables: Tables, *, diameter_um: float, scheme: str = "north_america_trade_6") -> Grade:
    """Alpaca class of a trade scheme by mean diameter [um]; schemes disagree, none is a standard."""
    found = [row for row in tables.alpaca_classes.values() if row.scheme == scheme]
    return _graded(tables, scheme, found, diameter_um, None)


def _graded(
    tables: Tables, scheme: str, found: Sequence[GradeRow], diameter_um: float, diameter_sd_um: float | None
) -> Grade:
    """Look a mean up in rows ordered from fine to coarse; each row reaches up to the next one's low end."""
    if not found:
        raise NotFoundError("grading scheme", scheme)
    if diameter_um <= 0 or (diameter_sd_um is not None and diameter_sd_um < 0):
        raise InputError(
            "mean diameter", diameter_um, "above zero, with a standard deviation of zero or more"
        )
    mean = round(diameter_um, TABLE_DECIMALS)
    index = _index(found, mean)
    if index is None:
        return _grade(
            tables, scheme, found[0], "outside the scale", mean, diameter_sd_um, "no grade reaches it"
        )
    row, reason = found[index], f"mean {mean:g} µm"
    limit = getattr(row, "diameter_sd_max_um", None)
    if diameter_sd_um is not None and limit is not None and diameter_sd_um > limit and index + 1 < len(found):
        reason += f"; one grade coarser because SD {diameter_sd_um:.2f} is above {limit:g} µm (from memory)"
        row = found[index + 1]
    return _grade(tables, scheme, row, row.grade, mean, diameter_sd_um, reason)


def _index(found: Sequence[GradeRow], mean_um: float) -> int | None:
    """Index of the row that holds a mean, or None outside the scale."""
    reached = [i for i, row in enumerate(found) if (row.diameter_low_um or 0.0) <= mean_um]
    if not reached:
        return None
    last = reached[-1]
    high = found[last].diameter_high_um
    return None if last == len(found) - 1 and high is not None and mean_um > high else last


def _grade(
    tables: Tables, scheme: str, row: GradeRow, grade: str, mean_um: float, sd_um: float | None, reason: str
) -> Grade:
    spread = () if sd_um is None else (Term("standard deviation", sd_um, "um"),)
    working = Working(
        title=f"Grade ({scheme.replace('_', ' ')})",
        formula="the row of the table that holds the mean; next coarser row if the spread is too wide",
        inputs=(Term("mean diameter", mean_um, "um"), *spread),
        result=Term("grade", grade),
        source=tables.sources[row.source].title,
        status=row.status,
        note="; ".join(part for part in (reason, row.note) if part),
    )
    return Grade(scheme, grade, reason, row.status, working)
