"""Too little fibre for the metres promised: how fine it must be spun to keep them, and whether it can."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from doffer.errors import InputError
from doffer.planning.put_up import M_PER_100G_TEX
from doffer.process.yarn.limits import Verdict, YarnFibre
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.wish import SpinMachine, YarnWish
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working


@dataclass(frozen=True, slots=True)
class Finer:
    """The count that keeps the metres [m in 100 g, whole metres up], its plan, and how it came about.

    `is_finer` is False where there is enough without.
    """

    length_m_per_100g: float
    plan: YarnPlan
    sentence: str
    working: Working
    is_finer: bool

    @property
    def is_possible(self) -> bool:
        """Whether it can be spun so fine."""
        return self.plan.verdict is not Verdict.NO


def spin_finer(
    wish: YarnWish,
    fibre: YarnFibre,
    machine: SpinMachine,
    tables: Tables,
    *,
    wanted_length_m: float,
    finished_mass_g: float,
) -> Finer:
    """The count at which what is left still gives the wanted metres: ``100 L / m``, rounded up.

    Parameters
    ----------
    wish : YarnWish
        As agreed so far; plies and twist stay.
    fibre, machine, tables
        See `plan_yarn`.
    wanted_length_m : float
        Metres that were agreed [m], > 0.
    finished_mass_g : float
        Finished weight there will be [g], > 0, on the same basis as the count (agreed regain).

    Notes
    -----
    A finer yarn is another yarn: nothing changes without the owner's recorded yes.
    """
    if not wanted_length_m > 0 or not finished_mass_g > 0:
        raise InputError("metres and finished weight", (wanted_length_m, finished_mass_g), "above zero, both")
    exact_m = wanted_length_m / finished_mass_g * 100
    length_m = math.ceil(exact_m - WHOLE_DUST)
    plan = plan_yarn(replace(wish, finished_tex=M_PER_100G_TEX / length_m), fibre, machine, tables)
    return Finer(
        length_m,
        plan,
        _sentence(wish, plan, length_m, wanted_length_m),
        _working(wanted_length_m, finished_mass_g, exact_m),
        is_finer=length_m > M_PER_100G_TEX / wish.finished_tex,
    )


WHOLE_DUST = 1e-9  # 310.0000000001 is 310


def _sentence(wish: YarnWish, plan: YarnPlan, length_m: int, wanted_length_m: float) -> str:
    agreed_m = M_PER_100G_TEX / wish.finished_tex
    if length_m <= agreed_m:
        return f"There is enough: at {agreed_m:.0f} m in 100 g it gives {wanted_length_m:.0f} m and more."
    runs = {
        Verdict.OK: f"it runs well, about {plan.fibres:.0f} fibres across",
        Verdict.MARGINAL: f"near the limit, about {plan.fibres:.0f} fibres across: expect end breaks",
        Verdict.NO: f"but that cannot be spun from this fibre, about {plan.fibres:.0f} fibres across",
    }[plan.verdict]
    return (
        f"Spun at {length_m} m in 100 g instead of {agreed_m:.0f} it keeps {wanted_length_m:.0f} m: {runs}. "
        "It is a finer yarn: ask the owner first, and write the yes down."
    )


def _working(wanted_length_m: float, finished_mass_g: float, exact_m: float) -> Working:
    return Working(
        title="Count that keeps the metres",
        formula="metres ÷ finished weight × 100 g, rounded up",
        inputs=(
            Term("metres wanted", wanted_length_m, "m"),
            Term("finished weight", finished_mass_g, "g", "on the basis of the count"),
        ),
        result=Term("count", exact_m, "m_per_100g"),
        source="arithmetic",
        status=Status.COMPUTED,
    )
