"""What an owner can do so that more comes of the fibre, found by planning it that way.

Two things are in the owner's hands at the counter. Skirting: a kilogram that was skirted hard at home holds
more fibre than one that the mill must skirt. Bringing it together: what the machines keep is the same from
a small lot as from one of twice the size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from doffer.fibre.material import Form
from doffer.planning.batch import plan_order
from doffer.planning.order_plan import BatchPlan
from doffer.planning.spec import BatchSpec, MillWays, OrderSpec
from doffer.tables.loader import Tables

TIMES = 2  # the lot beside which one of this size is seen


@dataclass(frozen=True, slots=True)
class Raised:
    """The same wish on other fibre: its weight as it lies there [g], whole pieces safe now and that way."""

    weighed_mass_g: float
    safe_now: int
    safe_then: int

    @property
    def more(self) -> int:
        """Pieces more."""
        return self.safe_then - self.safe_now


@dataclass(frozen=True, slots=True)
class WaysToRaise:
    """What was found; None where it would not give one piece more.

    `skirted`: as heavy, but skirted by the owner. `together`: twice as much in one lot, beside two lots of
    this size run apart.
    """

    skirted: Raised | None = None
    together: Raised | None = None


def ways_to_raise(batch: BatchSpec, plan: BatchPlan, ways: MillWays, tables: Tables) -> WaysToRaise:
    """Plan a batch as if its owner had skirted it, and as if there were twice as much of it.

    ``skirted``: safe pieces of the same weight in skirted form - safe pieces now.
    ``together``: safe pieces of twice the weight - 2 x safe pieces now.
    A batch with a wanted finished weight, or of a blend that a single lot limits, is not made larger by more
    of all its lots alone, so nothing is said of it.
    """
    if batch.wish.finished_mass_g is not None or batch.wish.shares:
        return WaysToRaise()
    weighed_g = sum(start.weighed_mass_g for start in batch.lots)
    skirted = None
    if ways.skirts and any(start.form is Form.GREASY for start in batch.lots):
        by_owner = tuple(
            replace(start, form=Form.SKIRTED) if start.form is Form.GREASY else start for start in batch.lots
        )
        skirted = _raised(weighed_g, plan.pieces.safe, _safe(replace(batch, lots=by_owner), ways, tables))
    if plan.fixed_mass_g <= 0:
        return WaysToRaise(skirted)
    double = tuple(
        replace(start, weighed_mass_g=start.weighed_mass_g * TIMES, finish_mass_g=start.finish_mass_g * TIMES)
        for start in batch.lots
    )
    together = _raised(
        weighed_g * TIMES, plan.pieces.safe * TIMES, _safe(replace(batch, lots=double), ways, tables)
    )
    return WaysToRaise(skirted, together)


def _safe(batch: BatchSpec, ways: MillWays, tables: Tables) -> int:
    return plan_order(OrderSpec((batch,), ways), tables).batches[0].pieces.safe


def _raised(weighed_mass_g: float, now: int, then: int) -> Raised | None:
    return Raised(weighed_mass_g, now, then) if then > now else None
