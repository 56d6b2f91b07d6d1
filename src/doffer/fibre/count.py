"""Yarn count: how fine a strand is, from any system to tex and back, and the lengths and masses that follow.

Direct systems say mass per length (``tex = K c``), indirect ones length per mass (``tex = K / c``); K in
table counts comes from the exact yard and pound. A count belongs to one state of the yarn (on the bobbin,
plied, finished) and to one regain: never compare two of different basis.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from doffer.errors import InputError, NotFoundError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables
from doffer.tables.rows import CountSystem
from doffer.working import Term, Working

YARD_M = 0.9144  # exact, by definition
POUND_G = 453.59237  # exact, by definition
TEX_M = 1000.0  # tex is grams per this many metres

N = TypeVar("N", float, Floats)


def to_tex(tables: Tables, *, system: str, count: N) -> N:
    """Count in a system to tex [g/km].

    Parameters
    ----------
    system : str
        Key of table counts: tex, dtex, ktex, denier, g_per_m, grains_per_yd, oz_per_yd (direct); nm,
        ne_cotton, new_worsted, woollen_run, woollen_cut, yorkshire_skein, yd_per_lb, yd_per_oz,
        yd_per_4oz, m_per_100g, yd_per_100g, m_per_kg (indirect).
    count : float or ndarray
        The number in that system, > 0.

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> to_tex(load_tables(), system="nm", count=8.0)
    125.0

    """
    row = _system(tables, system)
    _check_positive(row.name, count)
    return count * row.factor if row.kind == "direct" else row.factor / count


def from_tex(tables: Tables, *, system: str, count_tex: N) -> N:
    """Tex to the count of a system; the inverse of `to_tex`."""
    row = _system(tables, system)
    _check_positive("tex", count_tex)
    return count_tex / row.factor if row.kind == "direct" else row.factor / count_tex


def all_counts(tables: Tables, *, count_tex: float) -> dict[str, float]:
    """One strand in every system of table counts, by the system's key."""
    return {system: from_tex(tables, system=system, count_tex=count_tex) for system in tables.counts}


def resultant_tex(counts_tex: Sequence[float]) -> float:
    """Count of strands laid together [tex], without take-up: ``R = sum tex_i`` (``1/N_R = sum 1/N_i``)."""
    if not counts_tex:
        raise InputError("strands", "none", "at least one")
    for count_tex in counts_tex:
        _check_positive("tex", count_tex)
    return float(sum(counts_tex))


def length_m(*, mass_g: N, count_tex: float) -> N:
    """Length of a strand [m]: ``1000 m / tex``; mass and count on the same basis."""
    _check_positive("tex", count_tex)
    return mass_g * (TEX_M / count_tex)


def strand_mass_g(*, length_m: N, count_tex: float) -> N:
    """Mass of a strand [g]: ``length x tex / 1000``."""
    _check_positive("tex", count_tex)
    return length_m * (count_tex / TEX_M)


def measured_tex(*, mass_g: float, length_m: float) -> float:
    """Count from a reeled length [tex]: ``1000 m / L``."""
    _check_positive("length in metres", length_m)
    _check_positive("weight in grams", mass_g)
    return TEX_M * mass_g / length_m


def yards(length_m: N) -> N:
    """Metres to yards (exact)."""
    return length_m / YARD_M


def count_working(tables: Tables, *, system: str, count: float) -> Working:
    """A count in tex with its working."""
    row = _system(tables, system)
    return Working(
        title=f"{row.name} to tex",
        formula="tex = factor × count" if row.kind == "direct" else "tex = factor ÷ count",
        inputs=(Term(row.name, count, "", row.definition), Term("factor", row.factor)),
        result=Term("count", to_tex(tables, system=system, count=count), "tex"),
        source=tables.sources[row.source].title,
        status=row.status,
        note=row.note,
    )


def _system(tables: Tables, system: str) -> CountSystem:
    row = tables.counts.get(system)
    if row is None:
        raise NotFoundError("count system", system, f"Known are {', '.join(tables.counts)}")
    return row


def _check_positive(name: str, value: Floats | float) -> None:
    given = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(given)) or np.any(given <= 0):
        raise InputError(name, value, "above zero")
