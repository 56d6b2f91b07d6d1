"""How far apart the rolls of a drafting zone stand, against the longest fibre."""

from __future__ import annotations

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.process.settings.facts import FibreFacts, FibrePart, MachineLimits
from doffer.process.settings.rules import within
from doffer.process.settings.suggestion import Suggestion
from doffer.tables.loader import Tables
from doffer.tables.rows import Setting
from doffer.working import Status


def ratch_mm(
    *,
    staple_mm: float,
    staple_cv_frac: float,
    fibre_length_ratio: float,
    margin_ratio: float,
    longest_sd: float,
) -> float:
    """Nip to nip [mm]: ``staple x ratio x (1 + k CV) x margin``.

    Ratio 1.17 (1.0 to 1.35) of fibre over staple length was measured on Merino (teaching text after Mahar);
    the rest is common practice.

    >>> round(ratch_mm(
    ...     staple_mm=95, staple_cv_frac=0.2, fibre_length_ratio=1.17, margin_ratio=1.05, longest_sd=2
    ... ))
    163
    """
    if not staple_mm > 0 or not staple_cv_frac >= 0:
        raise InputError("staple", (staple_mm, staple_cv_frac), "above zero mm, its spread not below zero")
    return staple_mm * fibre_length_ratio * (1 + longest_sd * staple_cv_frac) * margin_ratio


def ratch_suggestion(facts: FibreFacts, machine: MachineLimits, tables: Tables) -> Suggestion:
    """The ratch for the longest fibres of all lots, with what happens if it is closer or wider."""
    low, value, high = (
        max(_of_part(part, tables, end) for part in facts.parts) for end in ("low", "value", "high")
    )
    said = [
        f"a little more than the longest fibre of a {_longest(facts, tables).staple_mm:.0f} mm staple: "
        "closer, both nips hold it and it breaks or drags; wider, fibres float and the strand waves"
    ]
    reach = within(value, low=machine.ratch_low_mm, high=machine.ratch_high_mm)
    if reach != value:
        closest = "widest" if reach < value else "closest"
        said.append(f"{value:.0f} mm would suit, but {reach:.0f} mm is the {closest} this machine stands")
    merino = tables.settings["any/fibre_length_ratio/usual"]
    return Suggestion(
        setting="ratch",
        low=within(low, low=machine.ratch_low_mm, high=machine.ratch_high_mm),
        value=reach,
        high=within(high, low=machine.ratch_low_mm, high=machine.ratch_high_mm),
        unit="mm",
        reason="; ".join(said),
        source=f"{tables.sources[merino.source].title} for the length of crimped fibre; else common practice",
        status=Status.PRACTICE,
    )


def _of_part(part: FibrePart, tables: Tables, end: str) -> float:
    ratio = ratio_row(part, tables)
    margin = tables.settings["any/ratch_margin/usual"]
    figures = {"low": (ratio.low, margin.low), "high": (ratio.high, margin.high)}
    length, more = figures.get(end, (ratio.value, margin.value))
    return ratch_mm(
        staple_mm=part.lot.staple_mm,
        staple_cv_frac=part.lot.staple_cv_frac,
        fibre_length_ratio=length or 1.0,
        margin_ratio=more or 1.0,
        longest_sd=tables.settings["any/longest_fibre/usual"].value or 0.0,
    )


def ratio_row(part: FibrePart, tables: Tables) -> Setting:
    """Fibre over staple length for a lot: crimped, or of a kind with little crimp."""
    low_crimp = tables.settings["any/low_crimp/usual"].words.split(";")
    is_low = tables.fibres[part.lot.fibre].losses_as in low_crimp
    return tables.settings[f"any/fibre_length_ratio/{'low_crimp' if is_low else 'usual'}"]


def _longest(facts: FibreFacts, tables: Tables) -> Constituent:
    return max(facts.parts, key=lambda part: _of_part(part, tables, "value")).lot
