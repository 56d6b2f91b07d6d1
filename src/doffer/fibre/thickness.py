"""What a yarn of so many metres is called: our own class, and the names under which charts sell it too."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.errors import InputError
from doffer.tables.loader import Tables
from doffer.tables.rows import YarnClass
from doffer.working import Status

OWN_CHART = "default"
LENGTHS = "m_per_100g"


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessClass:
    """The class of a thickness; `also` are other names, each with the chart it is from.

    `status` is that of the cut between our classes: common practice, since no chart is a standard.
    """

    number: int
    key: str
    name: str
    also: tuple[tuple[str, str], ...]
    status: Status


def thickness_class(tables: Tables, *, length_m_per_100g: float) -> ThicknessClass:
    """Primary class by metres in 100 g, and what else it is sold as.

    The primary class is by our own cut (table yarn_classes, chart default: low <= m < high). Other charts
    draw other bounds that overlap and leave gaps; each of their names that holds the length, bounds
    included, is given beside it. Only the gauge of a washed swatch decides.

    Parameters
    ----------
    length_m_per_100g : float
        Metres of the finished yarn in 100 g, > 0.

    Raises
    ------
    InputError
        The length is not above zero.

    References
    ----------
    Table yarn_classes: the cut of chart default is common practice; the others as printed there.

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> found = thickness_class(load_tables(), length_m_per_100g=230.0)
    >>> found.number, found.name, [name for name, chart in found.also]
    (3, 'Light', ['DK'])

    """
    if not length_m_per_100g > 0:
        raise InputError("metres in 100 g", length_m_per_100g, "above zero")
    rows = [row for row in tables.yarn_classes.values() if row.quantity == LENGTHS]
    own = next(row for row in rows if row.chart == OWN_CHART and _is_within(row, length_m_per_100g))
    also: dict[str, str] = {}
    for row in rows:
        low, high = row.low or 0.0, row.high if row.high is not None else float("inf")
        if row.chart != OWN_CHART and low <= length_m_per_100g <= high and row.name != own.name:
            also.setdefault(row.name, row.chart)
    return ThicknessClass(
        number=int(own.class_number),
        key=own.yarn_class,
        name=own.name,
        also=tuple(also.items()),
        status=own.status,
    )


def _is_within(row: YarnClass, length_m_per_100g: float) -> bool:
    """Whether a length falls into a row: low <= length < high; an empty bound is open."""
    is_below = row.high is None or length_m_per_100g < row.high
    return (row.low or 0.0) <= length_m_per_100g and is_below
