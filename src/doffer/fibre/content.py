"""Fibre content: the shares a label may state, by the basis a law or a buyer asks for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.fibre.moisture import BASIS_WORDS, CARDED, agreed_regain, agreed_regain_frac
from doffer.tables.loader import Tables
from doffer.working import STATUS_WORDS, Status, Term, Working

HUNDRED = 100
TIE_DECIMALS = 9  # remainders this near each other are one remainder


class Basis(StrEnum):
    """On which mass a share counts."""

    EU_AGREED = "eu_agreed"
    US_COMMERCIAL = "us_commercial"
    OVEN_DRY = "oven_dry"


def basis_regain_frac(tables: Tables, fibre: str, *, basis: Basis, form: str = CARDED) -> float:
    """Regain that a basis adds to oven-dry fibre [frac]; zero for oven-dry."""
    return 0.0 if basis is Basis.OVEN_DRY else agreed_regain_frac(tables, fibre, form=form, basis=basis)


def content_shares(
    tables: Tables, *, dry_mass_by_fibre_g: Mapping[str, float], basis: Basis, form: str = CARDED
) -> dict[str, float]:
    """Share of each fibre [frac]: ``p_f = d_f (1 + A_f) / sum``, largest first, then by name.

    Parameters
    ----------
    dry_mass_by_fibre_g : mapping
        Oven-dry clean mass d_f [g] by fibre key, >= 0, not all zero; fibres that share a label name are
        merged (suri counts as alpaca), fibres without mass are left out.
    basis : Basis
        EU agreed allowance, US commercial regain, or oven-dry (A_f = 0).
    """
    if any(not (mass >= 0 and math.isfinite(mass)) for mass in dry_mass_by_fibre_g.values()):
        raise InputError("oven-dry weights", dict(dry_mass_by_fibre_g), "zero or more each")
    counted: dict[str, float] = {}
    for fibre, mass in dry_mass_by_fibre_g.items():
        regain = basis_regain_frac(tables, fibre, basis=basis, form=form)
        label = tables.fibres[fibre].label_as
        counted[label] = counted.get(label, 0.0) + mass * (1 + regain)
    total = math.fsum(counted.values())
    if total <= 0:
        raise InputError("oven-dry weights", total, "more than zero together")
    ordered = sorted(
        ((f, m / total) for f, m in counted.items() if m > 0), key=lambda pair: (-pair[1], pair[0])
    )
    return dict(ordered)


def whole_percents(shares: Mapping[str, float]) -> dict[str, int]:
    """Whole percentages that sum to 100, by largest remainder: 33.34 / 33.33 / 33.33 gives 34 / 33 / 33.

    Every share is first rounded down; the points that are missing go to the largest remainders (ties: the
    larger share, then the name). No share moves by a whole point or more, and the order of the input does
    not matter.

    Parameters
    ----------
    shares : mapping
        Name to share [frac], >= 0, summing to 1.

    Examples
    --------
    >>> whole_percents({"wool": 0.749, "polyamide": 0.251})
    {'wool': 75, 'polyamide': 25}

    """
    if (
        any(share < 0 for share in shares.values())
        or abs(math.fsum(shares.values()) - 1) > SHARE_SUM_TOLERANCE
    ):
        raise InputError("shares", dict(shares), "zero or more each, summing to 1")
    exact = {name: round(share * HUNDRED, TIE_DECIMALS) for name, share in shares.items()}
    whole = {name: math.floor(percent) for name, percent in exact.items()}
    missing = HUNDRED - sum(whole.values())
    by_remainder = sorted(exact, key=lambda n: (-round(exact[n] - whole[n], TIE_DECIMALS), -exact[n], n))
    for name in by_remainder[:missing]:
        whole[name] += 1
    return whole


SHARE_SUM_TOLERANCE = 1e-9  # shares come from a division


def share_sd_frac(*, share: float, cv_frac: float, rest_cv_frac: float) -> float:
    """Standard deviation of a share [frac]: ``p (1 - p) sqrt(cv^2 + cv_r^2)``.

    cv and cv_r say how well the mass of the fibre and of the rest are known. First order; good while the
    CVs stay below about 0.2.
    """
    if not 0 <= share <= 1:
        raise InputError("share", share, "from 0 to 1")
    return share * (1 - share) * math.hypot(cv_frac, rest_cv_frac)


@dataclass(frozen=True, slots=True)
class LabelPart:
    """One fibre on a label: its exact share [frac] and the whole percentage printed."""

    fibre: str
    name: str
    share: float
    percent: int


@dataclass(frozen=True, slots=True)
class LabelShares:
    """Fibre content in falling order on one basis, with its working."""

    basis: Basis
    parts: tuple[LabelPart, ...]
    words: str
    working: Working


def label_shares(
    tables: Tables, *, dry_mass_by_fibre_g: Mapping[str, float], basis: Basis, form: str = CARDED
) -> LabelShares:
    """Fibre content in whole percent, in falling order, with its working.

    A calculation, not a permission: names, thresholds and tolerances of a law are checked elsewhere.
    """
    shares = content_shares(tables, dry_mass_by_fibre_g=dry_mass_by_fibre_g, basis=basis, form=form)
    percents = whole_percents(shares)
    parts = tuple(LabelPart(f, tables.fibres[f].name, share, percents[f]) for f, share in shares.items())
    shown = sorted(parts, key=lambda part: (-part.percent, -part.share, part.name))
    words = ", ".join(f"{part.percent} % {part.name}" for part in shown if part.percent > 0)
    rows = (
        [] if basis is Basis.OVEN_DRY else [agreed_regain(tables, f, form=form, basis=basis) for f in shares]
    )
    inputs = tuple(
        Term(f"{tables.fibres[f].name}, oven-dry", mass, "g", _regain_words(tables, f, basis, form))
        for f, mass in dry_mass_by_fibre_g.items()
        if mass > 0
    )
    working = Working(
        title=f"Fibre content ({BASIS_WORDS[basis]})",
        formula="share = oven-dry weight × (1 + regain of the basis) ÷ sum; rounded by largest remainder",
        inputs=inputs,
        result=Term("content", words),
        source="; ".join(dict.fromkeys(tables.sources[row.source].title for row in rows)) or "arithmetic",
        status=_weakest(row.status for row in rows),
    )
    return LabelShares(basis, tuple(shown), words, working)


def _regain_words(tables: Tables, fibre: str, basis: Basis, form: str) -> str:
    """The regain a fibre gets on a basis, and how far it can be trusted."""
    if basis is Basis.OVEN_DRY:
        return "no water added"
    row = agreed_regain(tables, fibre, form=form, basis=basis)
    return f"regain {row.regain_pct:g} %, {STATUS_WORDS[row.status]}"


TRUST = (Status.PRACTICE, Status.MEMORY, Status.OWN, Status.SOURCE, Status.COMPUTED)


def _weakest(statuses: Iterable[Status]) -> Status:
    """The least trustworthy status of several; computed when there is none."""
    return min((*statuses, Status.COMPUTED), key=TRUST.index)
