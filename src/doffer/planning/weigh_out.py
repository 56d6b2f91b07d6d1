"""Weigh-out: how much of each fibre goes on the picker so that the finished blend is what was promised.

``m_f = p_f M (1 + R_f) / ((1 + A_f)(1 - l_f))``: p_f wanted share on the label's basis, M finished mass at
agreed regain, A_f agreed and R_f actual regain, l_f share lost from here to the end. Weighing out p_f
itself would be wrong twice: by moisture and by loss. Derived from the definitions of regain and recovery.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.working import Status, Term, Working, percent


@dataclass(frozen=True, slots=True)
class Component:
    """One fibre (or lot) of a blend.

    Parameters
    ----------
    name : str
        What it is called on the sheet.
    share_frac : float
        Wanted share of the finished blend on the label's basis [frac].
    actual_regain_frac, agreed_regain_frac : float
        Water in it now, and the allowance of the label's basis [frac].
    loss_frac : float
        Share lost from here to the finished piece [frac], 0 to below 1.
    available_mass_g : float or None
        What there is, as weighed [g]; None: enough.
    """

    name: str
    share_frac: float
    actual_regain_frac: float
    agreed_regain_frac: float
    loss_frac: float
    available_mass_g: float | None = None


@dataclass(frozen=True, slots=True)
class WeighOutLine:
    """One line of the weigh-out sheet."""

    name: str
    weigh_mass_g: float
    dry_mass_g: float
    weighed_share_frac: float
    label_share_frac: float
    share_if_weighed_as_label_frac: float
    working: Working


@dataclass(frozen=True, slots=True)
class WeighOut:
    """The whole sheet: finished mass at agreed regain, lines, and the component that limits it (or None)."""

    finished_mass_g: float
    lines: tuple[WeighOutLine, ...]
    limited_by: str | None

    @property
    def total_mass_g(self) -> float:
        """All components as weighed [g]."""
        return sum(line.weigh_mass_g for line in self.lines)


def weigh_out(components: Sequence[Component], *, finished_mass_g: float | None = None) -> WeighOut:
    """Weights for the picker, for a finished mass or for as much as the components allow.

    Parameters
    ----------
    components : sequence of Component
        Shares sum to 1.
    finished_mass_g : float or None
        Wanted finished mass at agreed regain [g]; None: as much as the limiting component allows. If a
        component is too short for the wanted mass, the batch shrinks to what it allows and the component is
        named.

    Raises
    ------
    InputError
        Shares that do not sum to 1, nothing to limit an open batch, a loss outside 0..1.
    """
    _check(components)
    per_gram = [_weigh_per_finished_gram(c) for c in components]
    most = [
        (c.available_mass_g / need, c.name)
        for c, need in zip(components, per_gram, strict=True)
        if c.available_mass_g is not None and need > 0
    ]
    limit_g, limit_name = min(most, default=(float("inf"), ""))
    if finished_mass_g is None and not most:
        raise InputError("finished weight", None, "given, or the weight of at least one fibre on hand")
    limited = finished_mass_g is None or limit_g < finished_mass_g
    batch_g = limit_g if limited else float(finished_mass_g or 0.0)
    masses = [batch_g * need for need in per_gram]
    naive = _label_shares_if_weighed(components)
    lines = tuple(
        _line(c, mass, total=sum(masses), naive_share=share, batch_g=batch_g)
        for c, mass, share in zip(components, masses, naive, strict=True)
    )
    return WeighOut(batch_g, lines, limit_name if limited else None)


def _weigh_per_finished_gram(c: Component) -> float:
    """As-weighed grams on the picker per finished gram of the blend."""
    return c.share_frac * (1 + c.actual_regain_frac) / ((1 + c.agreed_regain_frac) * (1 - c.loss_frac))


def _label_shares_if_weighed(components: Sequence[Component]) -> list[float]:
    """What the label would say if the wanted shares were simply weighed out [frac]."""
    out = [
        c.share_frac * (1 + c.agreed_regain_frac) * (1 - c.loss_frac) / (1 + c.actual_regain_frac)
        for c in components
    ]
    return [mass / sum(out) for mass in out]


def _line(c: Component, mass_g: float, *, total: float, naive_share: float, batch_g: float) -> WeighOutLine:
    return WeighOutLine(
        name=c.name,
        weigh_mass_g=mass_g,
        dry_mass_g=mass_g / (1 + c.actual_regain_frac),
        weighed_share_frac=mass_g / total if total > 0 else 0.0,
        label_share_frac=c.share_frac,
        share_if_weighed_as_label_frac=naive_share,
        working=Working(
            title=f"Weigh out {c.name}",
            formula="share × finished × (1 + regain now) ÷ ((1 + agreed regain) × (1 − lost))",
            inputs=(
                Term("share on the label", c.share_frac, "frac"),
                Term("finished weight, agreed", batch_g, "g"),
                Term("regain now", c.actual_regain_frac, "frac"),
                Term("agreed regain", c.agreed_regain_frac, "frac"),
                Term("lost from picker to the end", c.loss_frac, "frac", "oven-dry"),
            ),
            result=Term("weigh out", mass_g, "g"),
            source="from the definitions of regain and recovery",
            status=Status.COMPUTED,
        ),
    )


SHARE_SUM_TOLERANCE = 1e-6  # shares typed as whole percent; thirds are typed as 33.3333


def _check(components: Sequence[Component]) -> None:
    share_sum = sum(c.share_frac for c in components)
    if abs(share_sum - 1) > SHARE_SUM_TOLERANCE:
        raise InputError("shares of the blend", f"{percent(share_sum, digits=1)} together", "100 % together")
    for c in components:
        if not 0 <= c.share_frac <= 1:
            raise InputError(f"share of {c.name}", c.share_frac, "from 0 to 1 (100 %)")
        if not 0 <= c.loss_frac < 1:
            raise InputError(f"loss of {c.name}", c.loss_frac, "from 0 to below 1 (100 %)")
        if c.actual_regain_frac < 0 or c.agreed_regain_frac < 0:
            raise InputError(f"regain of {c.name}", c.actual_regain_frac, "zero or more")
        if c.available_mass_g is not None and c.available_mass_g < 0:
            raise InputError(f"{c.name} on hand", c.available_mass_g, "zero or more grams")
