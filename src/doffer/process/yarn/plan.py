"""From a wanted finished yarn to what is set on the frame, and forward to what that really gives.

Backward: finished count -> before the wash -> single on the bobbin -> front roll -> roving and draft. Then
forward again with the twist and the gears there are, so that the plan says the count it will give and not the
one that was wished.
"""

from __future__ import annotations

import dataclasses
import math

from doffer.process.yarn.basis import rebase
from doffer.process.yarn.chain import Chain, TwistSet, chain_back, finished_forward
from doffer.process.yarn.limits import (
    YarnFibre,
    effective_staple_mm,
    expected_cv_frac,
    fewest_fibres,
    fibres_across,
    finest_tex,
    length_gate,
    limit_cv_frac,
    plied_cv_frac,
    worse,
)
from doffer.process.yarn.plan_words import warnings_of
from doffer.process.yarn.plan_workings import workings_of
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.roving import rovings_for
from doffer.process.yarn.twist import spin_speed_m_per_min
from doffer.process.yarn.wish import SpinMachine, YarnUse, YarnWish
from doffer.tables.loader import Tables

__all__ = ["SpinMachine", "TwistSet", "YarnPlan", "YarnUse", "YarnWish", "plan_yarn"]


def plan_yarn(wish: YarnWish, fibre: YarnFibre, machine: SpinMachine, tables: Tables) -> YarnPlan:
    """Everything to set for a wanted yarn, with verdict, warnings and workings.

    Parameters
    ----------
    wish : YarnWish
        The finished yarn and what was measured of it; what is left open is filled in from the tables.
    fibre : YarnFibre
        Lots, diameters, lengths, strength (`limits.fibre_of` makes it from a material).
    machine : SpinMachine
        Frame, gears, rovings.
    tables : Tables
        yarn_figures, yarn_limits, yarn_classes.

    Raises
    ------
    InputError
        A figure that cannot be, or a twist at which the yarn would curl up.

    Notes
    -----
    A yarn that cannot be spun is planned all the same: the verdict is "no" and the warnings say why.
    """
    chain = chain_back(wish, fibre, machine, tables)
    rovings = rovings_for(machine, roller_tex=chain.roller.tex, tables=tables)
    fewest = fewest_fibres(tables, system=machine.system, short_fibre_frac=fibre.short_fibre_frac)
    bare_tex = fibre_only_tex(chain, label_regain_frac=wish.label_regain_frac)
    across = fibres_across(fibre, fibre_only_tex=bare_tex)
    limit_frac = limit_cv_frac(fibre, fibre_only_tex=bare_tex)
    single_frac = expected_cv_frac(tables, limit_cv_frac=limit_frac, system=machine.system)
    length = length_gate(tables, system=machine.system, staple_mm=effective_staple_mm(fibre, tables))
    fed = rovings.best or rovings.made
    front_tex = chain.roller.tex if fed is None else fed.out_tex
    plan = YarnPlan(
        wish=wish,
        machine=machine,
        fibre=fibre,
        finished=chain.finished,
        greige=chain.greige,
        single=chain.single,
        roller=chain.roller,
        fibre_only_tex=bare_tex,
        single_twist=chain.single_twist,
        ply_twist=chain.ply_twist,
        balance=chain.balance,
        residual_tpm=chain.plied.residual_tpm,
        retraction_frac=chain.retraction_frac,
        take_up=chain.take_up,
        relaxation_frac=chain.usual.relaxation_frac,
        oil_frac=chain.usual.oil_frac,
        draft=rovings.best,
        made=rovings.made,
        drafts=rovings.choices,
        needed_roving_tex=rovings.needed_tex,
        tooth_error_frac=rovings.tooth_error_frac,
        drawings=rovings.drawings,
        can_be_drawn=rovings.can_be_drawn,
        obtained=finished_forward(chain, wish, roller_tex=front_tex),
        fibres=across,
        fewest=fewest,
        finest_hard_tex=finest_tex(fibre, fibres=fewest.hard),
        finest_comfortable_tex=finest_tex(fibre, fibres=fewest.comfortable),
        limit_cv_frac=limit_frac,
        single_cv_frac=single_frac,
        plied_cv_frac=plied_cv_frac(single_cv_frac=single_frac, plies=wish.plies),
        length=length,
        verdict=worse(fewest.verdict(across), length.verdict),
        speed_m_per_min=_speed_m_per_min(chain, machine, tables),
    )
    return dataclasses.replace(plan, warnings=warnings_of(plan, tables), workings=workings_of(plan, tables))


def fibre_only_tex(chain: Chain, *, label_regain_frac: float) -> float:
    """Front-roll count without oil and at the label's regain [tex]: what fibres are counted in."""
    return rebase(chain.roller, regain_frac=label_regain_frac, oil_frac=0.0).tex


def _speed_m_per_min(chain: Chain, machine: SpinMachine, tables: Tables) -> float | None:
    if machine.spindle_rpm is None:
        return None
    cap = machine.roll_speed_cap_m_per_min
    usual_cap = tables.yarn_figures["roll_speed_cap/any"].value
    speed = spin_speed_m_per_min(
        spindle_rpm=machine.spindle_rpm,
        twist_tpm=chain.single_twist.tpm,
        roll_speed_cap_m_per_min=usual_cap if cap is None else cap,
    )
    return speed if math.isfinite(speed) else None
