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

    Several lots of one fibre share its part in proportion to what there is of them, except those with a
    share of their own.

    Parameters
    ----------
    batch : BatchSpec
        With ``wish.shares``, or with a wanted finished weight of lots as they lie there.
    materials : mapping
        Whole lots; means of their samples are used.
    route, losses
        As for `planning.route.backward`; losses must be expected ones, of shape (1,).
    """
    have = {lot: float(material.total_dry_mass_g.mean()) for lot, material in materials.items()}
    share = lot_shares(batch, have, tables) if batch.wish.shares else whole_shares(batch, have, tables, basis)
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


def whole_shares(
    batch: BatchSpec, have_dry_g: Mapping[str, float], tables: Tables, basis: Basis
) -> dict[str, float]:
    """Share of every lot [frac] where no shares are wished: by what there is of it at agreed regain.

    Raises
    ------
    InputError
        A lot that was joined before beside others, or nothing on hand.
    """
    _refuse_joined(batch)
    agreed_g = {
        start.lot: have_dry_g[start.lot] * (1 + basis_regain_frac(tables, start.fibre, basis=basis))
        for start in batch.lots
    }
    total_g = sum(agreed_g.values())
    if total_g <= 0:
        raise InputError("fibre on hand", 0, "more than zero", batch.name)
    return {lot: mass_g / total_g for lot, mass_g in agreed_g.items()}


def _refuse_joined(batch: BatchSpec) -> None:
    joined = [start.lot for start in batch.lots if start.blend]
    if joined:
        raise InputError("blend", ", ".join(joined), "planned as it is: it was joined before", batch.name)


def lot_shares(batch: BatchSpec, have_dry_g: Mapping[str, float], tables: Tables) -> dict[str, float]:
    """Share of every lot on the label [frac]: its own, else its fibre's, split by what there is of each lot.

    Raises
    ------
    InputError
        Shares of fibre that no lot brings, or that do not sum to 100 %, or a fibre with nothing on hand, or
        lots whose own shares are more or less than their fibre's.
    """
    wanted = batch.wish.shares
    _refuse_joined(batch)
    label_of = {start.lot: tables.fibres[start.fibre].label_as for start in batch.lots}
    if abs(sum(wanted.values()) - 1) > SHARE_SUM_TOLERANCE:
        raise InputError(
            "blend", f"{percent(sum(wanted.values()), digits=1)} together", "100 % together", batch.name
        )
    missing = [label for label, part in wanted.items() if part > 0 and label not in label_of.values()]
    if missing:
        raise InputError("blend", ", ".join(missing), "fibre of the lots that are given", batch.name)
    shares = dict.fromkeys(label_of, 0.0)
    for label, part in wanted.items():
        lots = [lot for lot in label_of if label_of[lot] == label]
        if part > 0 and sum(have_dry_g[lot] for lot in lots) <= 0:
            raise InputError("fibre on hand", label, "more than zero", batch.name)
        shares.update(_split(batch, label, lots, have_dry_g))
    return shares


def _split(
    batch: BatchSpec, label: str, lots: list[str], have_dry_g: Mapping[str, float]
) -> dict[str, float]:
    """The part of one fibre [frac] split over its lots."""
    part = batch.wish.shares[label]
    own = {lot: batch.wish.lot_shares[lot] for lot in lots if lot in batch.wish.lot_shares}
    others = [lot for lot in lots if lot not in own and have_dry_g[lot] > 0]
    left = part - sum(own.values())
    if left < -SHARE_SUM_TOLERANCE or (not others and left > SHARE_SUM_TOLERANCE):
        told = f"{percent(sum(own.values()), digits=1)} of {', '.join(own)}"
        raise InputError(f"shares of {label}", told, f"{percent(part, digits=1)} together", batch.name)
    on_hand_g = sum(have_dry_g[lot] for lot in others)
    rest = {lot: max(0.0, left) * have_dry_g[lot] / on_hand_g for lot in others}
    return {**own, **rest}


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
