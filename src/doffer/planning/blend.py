"""How much of each lot a blend takes, so that the finished piece carries the wanted shares.

What must be fed is an affine function of the finished mass (shares lost are proportional, hold-ups are
fixed), so the largest batch the fibre allows follows from two backward runs; nothing is searched.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.content import Basis, basis_regain_frac
from doffer.fibre.material import Material
from doffer.planning.route import Needs, Route, StepLosses, backward
from doffer.planning.spec import BatchSpec
from doffer.planning.weigh_out import SHARE_SUM_TOLERANCE
from doffer.tables.loader import Tables
from doffer.working import percent


@dataclass(frozen=True, slots=True)
class BlendTakes:
    """Finished mass at agreed regain [g], share taken of each lot, the limiting lot, needs at each step."""

    finished_mass_g: float
    taken_frac: Mapping[str, float]
    label_share_frac: Mapping[str, float]
    limited_by: str | None
    needs: Needs


def blend_takes(
    batch: BatchSpec,
    materials: Mapping[str, Material],
    route: Route,
    losses: StepLosses,
    tables: Tables,
    basis: Basis,
) -> BlendTakes:
    """Solve a blend by label shares at expected losses.

    Several lots of one fibre share its part in proportion to what there is of them.

    Parameters
    ----------
    batch : BatchSpec
        With ``wish.shares``.
    materials : mapping
        Whole lots; means of their samples are used.
    route, losses
        As for `planning.route.backward`; losses must be expected ones, of shape (1,).
    """
    have = {lot: float(material.total_dry_mass_g.mean()) for lot, material in materials.items()}
    share = lot_shares(batch, have, tables)
    fibres = {start.lot: start.fibre for start in batch.lots}
    sink = route[-1].name

    def needs_for(finished_mass_g: float) -> Needs:
        wanted: dict[str, Floats] = {
            lot: np.array([p * finished_mass_g / (1 + basis_regain_frac(tables, fibres[lot], basis=basis))])
            for lot, p in share.items()
            if p > 0
        }
        return backward(route, sink=sink, wanted_dry_mass_g=wanted, fibres=fibres, losses=losses)

    most_g, limiting = _largest_batch(needs_for, have)
    wish_g = batch.wish.finished_mass_g
    is_limited = wish_g is None or most_g < wish_g
    finished_g = most_g if is_limited else float(wish_g or 0.0)
    needs = needs_for(finished_g)
    return BlendTakes(
        finished_mass_g=finished_g,
        taken_frac={lot: min(1.0, _need(needs, lot) / have[lot]) if have[lot] > 0 else 0.0 for lot in have},
        label_share_frac=share,
        limited_by=limiting if is_limited else None,
        needs=needs,
    )


def lot_shares(batch: BatchSpec, have_dry_g: Mapping[str, float], tables: Tables) -> dict[str, float]:
    """Share of every lot on the label [frac]: its fibre's share, split by what there is of each lot.

    Raises
    ------
    InputError
        Shares of fibre that no lot brings, or that do not sum to 100 %, or a fibre with nothing on hand.
    """
    wanted = batch.wish.shares
    joined = [start.lot for start in batch.lots if start.blend]
    if joined:
        raise InputError("blend", ", ".join(joined), "planned as it is: it was joined before", batch.name)
    label_of = {start.lot: tables.fibres[start.fibre].label_as for start in batch.lots}
    if abs(sum(wanted.values()) - 1) > SHARE_SUM_TOLERANCE:
        raise InputError(
            "blend", f"{percent(sum(wanted.values()), digits=1)} together", "100 % together", batch.name
        )
    missing = [label for label, part in wanted.items() if part > 0 and label not in label_of.values()]
    if missing:
        raise InputError("blend", ", ".join(missing), "fibre of the lots that are given", batch.name)
    on_hand = {label: sum(have_dry_g[lot] for lot in label_of if label_of[lot] == label) for label in wanted}
    empty = [label for label, mass in on_hand.items() if mass <= 0 and wanted[label] > 0]
    if empty:
        raise InputError("fibre on hand", ", ".join(empty), "more than zero", batch.name)
    return {
        lot: wanted.get(label, 0.0) * have_dry_g[lot] / on_hand[label] if wanted.get(label) else 0.0
        for lot, label in label_of.items()
    }


def _largest_batch(needs_for: Callable[[float], Needs], have_dry_g: Mapping[str, float]) -> tuple[float, str]:
    """Finished mass [g] at which the first lot runs out, and which lot that is."""
    one, two = needs_for(PROBE_G), needs_for(2 * PROBE_G)
    most: list[tuple[float, str]] = []
    for lot in one.lots:
        slope = (_need(two, lot) - _need(one, lot)) / PROBE_G
        fixed = _need(one, lot) - slope * PROBE_G
        most.append((max(0.0, (have_dry_g[lot] - fixed) / slope), lot))
    return min(most)


def _need(needs: Needs, lot: str) -> float:
    """What is needed of a lot [g oven-dry]; nothing when it has no share."""
    return float(needs.lots[lot].mean()) if lot in needs.lots else 0.0


PROBE_G = 1000.0  # any batch will do to find a straight line
