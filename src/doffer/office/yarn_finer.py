"""What would lift a lot to yarns it cannot become, or not well: other lots that may be added to it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from doffer.errors import DofferError
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.own_stock import own_stock, unpromised_lots
from doffer.mill.queries.yarn_inputs import YarnInputs
from doffer.mill.queries.yarn_partners import clean_dry_g, yarn_partners
from doffer.pictures.words import say_list
from doffer.planning.yarn.become import Becoming, one_each
from doffer.planning.yarn.reach import Partner, Reach, lots_that_reach, reach_words
from doffer.process.yarn.limits import Verdict

MOST_YARNS: Final = 4  # of those it cannot become, the nearest; and of those that do not run well
MOST_LOTS: Final = 2
ASKED_PLIES: Final = 2
OTHER_COLOUR: Final = 12.0  # Lab units between two lots that nobody calls the same colour


@dataclass(frozen=True, slots=True)
class Finer:
    """A yarn that is out of reach or near the limit: why, and which lots to add, a sentence each."""

    name: str
    is_possible: bool
    reasons: tuple[str, ...]
    lots: tuple[str, ...]


def finer_yarns(rows: Sequence[Becoming], inputs: YarnInputs, lot: LotRow) -> tuple[Finer, ...]:
    """For yarns out of reach, nearest first, then for those near the limit: what to add, or that none helps.

    Yarns are asked for in two plies, as they are usually wished: a single of the same count has twice the
    fibres across and may well be possible. Lots that may be added are the mill's own and the owner's that
    no order wants, as `yarn_partners` has it.
    """
    asked = one_each([row for row in rows if row.plies == ASKED_PLIES])
    out = sorted((row for row in asked if not row.is_possible), key=lambda row: row.product.length_m_per_100g)
    near = [row for row in asked if row.is_possible and row.fibres < row.fewest_comfortable]
    wanted = [*out[:MOST_YARNS], *near[:MOST_YARNS]]
    if not wanted:
        return ()
    try:
        partners = yarn_partners(inputs)
    except DofferError:
        partners = ()
    there = {row.code: row for row in (*own_stock(), *unpromised_lots(lot.owner))} if partners else {}
    dry_g = clean_dry_g(inputs)
    found = [_finer(row, inputs, partners, _Colours(lot, there), dry_g) for row in wanted]
    return _together(found)


def _together(found: Sequence[Finer]) -> tuple[Finer, ...]:
    """Yarns of which the very same is said, in one line."""
    names: dict[Finer, list[str]] = {}
    for one in found:
        names.setdefault(replace(one, name=""), []).append(one.name)
    return tuple(replace(one, name=say_list(each)) for one, each in names.items())


@dataclass(frozen=True, slots=True)
class _Colours:
    """Colours of the lot and of those that may be added."""

    lot: LotRow
    there: Mapping[str, LotRow]

    def other(self, code: str) -> str:
        """Name of the colour of a lot that is not of this lot's colour; "" where it is, or nobody knows."""
        row = self.there.get(code)
        if row is None or row.lab is None or self.lot.lab is None:
            return ""
        return row.colour_name if math.dist(row.lab, self.lot.lab) > OTHER_COLOUR else ""


def _finer(
    row: Becoming, inputs: YarnInputs, partners: Sequence[Partner], colours: _Colours, dry_g: float
) -> Finer:
    found = lots_that_reach(
        row.wish,
        inputs.fibre,
        partners,
        owners=frozenset(one.owner for one in partners),
        machine=row.frame.machine,
        dry_mass_g=max(1.0, dry_g),
        tables=inputs.tables,
    )
    helping = [one for one in found if one.best is not None and one.best.plan.verdict is not Verdict.NO]
    if row.is_possible:
        helping = [one for one in helping if one.best and one.best.plan.verdict is Verdict.OK]
    helping.sort(key=lambda one: bool(colours.other(one.partner.name)))
    return Finer(
        name=row.product.name,
        is_possible=row.is_possible,
        reasons=row.risk.reasons,
        lots=tuple(_words(one, colours) for one in helping[:MOST_LOTS]),
    )


def _words(one: Reach, colours: _Colours) -> str:
    """A lot to add, how much of it, what comes of it, and what speaks against it."""
    colour = colours.other(one.partner.name)
    changes = (f"It is {colour}: the yarn gets another colour.",) if colour else ()
    return " ".join((f"Add {reach_words(one)}", *changes, *one.flags))
