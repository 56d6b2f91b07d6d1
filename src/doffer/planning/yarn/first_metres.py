"""The first metres of a yarn, weighed, untwisted, washed: what they say, and what to change for the rest.

A few lengths vary by themselves. What they do not prove is not corrected: turning the draft after every
weighing makes a yarn worse.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from doffer.errors import InputError
from doffer.fibre.count import TEX_M, measured_tex
from doffer.planning.yarn.few_lengths import FewLengths, few_lengths
from doffer.planning.yarn.first_found import Corrected, FirstMetres, Found, YarnTest, together
from doffer.planning.yarn.first_words import words_of
from doffer.process.yarn.basis import Basis, State, StrandCount, rebase
from doffer.process.yarn.chain import chain_back, finished_forward, section_of
from doffer.process.yarn.draft import DraftChoice
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.twist import nearest_turns_tpm, roller_tex
from doffer.process.yarn.wish import YarnWish
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

__all__ = ["Corrected", "FirstMetres", "Found", "YarnTest", "correct_from_first_metres"]


def correct_from_first_metres(plan: YarnPlan, first: FirstMetres, tables: Tables) -> Corrected:
    """Plan the rest of a yarn from its first metres.

    The length kept in the wash and the ply-back turns replace the usual figures of the tables as soon as
    they are measured, and figures measured before only where the difference is proven. Count and twist are
    corrected only where the difference is proven: then the roving is taken for what it really is, and the
    draft and the twist are chosen anew.

    Parameters
    ----------
    plan : YarnPlan
        As it was spun.
    first : FirstMetres
        Where it tells every test by itself, only those since the last change that a test told count.
    tables : Tables
        yarn_figures for the usual spread of a single reading.

    Raises
    ------
    InputError
        A reading that cannot be.
    """
    now = _since_change(_Set(plan, first), tables)
    done = _corrected(now, tables)
    if not now.told:
        return done
    return replace(done, sentences=(now.told, *done.sentences))


@dataclass(frozen=True, slots=True)
class _Set:
    """The yarn as it is spun now, the tests of it, and what is said of those before.

    `set_over_wanted` is the twist that is set over the one it is to give: other than 1 where a test told so.
    """

    plan: YarnPlan
    first: FirstMetres
    told: str = ""
    set_over_wanted: float = 1.0


def _since_change(now: _Set, tables: Tables) -> _Set:
    """The yarn with the settings that tests told, and only the tests made since.

    No test keeps the draft it was spun with, but its weight tells: where a test told another draft and the
    next one comes nearer to what that gives than to what ran before, the change was made.
    """
    pool: tuple[FirstMetres, ...] = ()
    for one in now.first.sittings:
        if pool and (one.weighed_g or one.turns_tpm):
            before = replace(now, first=together(pool))
            done = _corrected(before, tables)
            if _is_as_told(done, before, one, tables):
                now, pool = _as_told(done, before), _kept(pool, done)
        pool = (*pool, one)
    return replace(now, first=together(pool)) if pool else now


def _kept(pool: Sequence[FirstMetres], done: Corrected) -> tuple[FirstMetres, ...]:
    """What stays true of a yarn when the draft is changed: its wash, its ply-back, an unchanged twist."""
    kept = ((one.washed, one.ply_back_tpm, () if done.changes_twist else one.turns_tpm) for one in pool)
    return tuple(
        FirstMetres(washed=washed, ply_back_tpm=back, turns_tpm=turns)
        for washed, back, turns in kept
        if washed or back or turns
    )


def _is_as_told(done: Corrected, before: _Set, one: FirstMetres, tables: Tables) -> bool:
    """Whether a later test comes nearer to what was told to set than to what ran before."""
    plan = before.plan
    if one.weighed_g and done.changes_draft and done.draft is not None and plan.to_set is not None:
        ran, later = done.one(YarnTest.COUNT), _count(plan, one, tables)
        ran_at = plan.obtained.tex / plan.finished.tex if ran is None else 1 + ran.difference_frac
        return _is_nearer(later, ran_at, ran_at * plan.to_set.draft / done.draft.draft)
    if one.turns_tpm and done.changes_twist:
        ran, later = done.one(YarnTest.TWIST), _twist(plan, one, tables)
        ran_at = 1.0 if ran is None else 1 + ran.difference_frac
        return _is_nearer(later, ran_at, done.after.single_twist.tpm / plan.single_twist.tpm)
    return False


def _is_nearer(later: Found | None, ran_at: float, told_at: float) -> bool:
    if later is None:
        return False
    is_at = 1 + later.difference_frac
    return abs(math.log(is_at / told_at)) < abs(math.log(is_at / ran_at))


def _as_told(done: Corrected, before: _Set) -> _Set:
    """The yarn set as a test told."""
    draft, was = done.draft, before.plan.to_set
    said = ["Only tests since the last change count"]
    if done.changes_draft and draft is not None and was is not None:
        teeth = f" ({draft.setting})" if draft.setting else ""
        said.append(
            f"they are taken as spun at the draft {draft.draft:.2f}{teeth}, earlier ones at {was.draft:.2f}"
        )
    if done.changes_twist:
        said.append(f"the twist as set to {done.twist_tpm:.0f} turns/m")
    return _Set(
        done.after,
        before.first,
        f"{said[0]}: {', '.join(said[1:])}.",
        done.twist_tpm / done.after.single_twist.tpm,
    )


def _corrected(now: _Set, tables: Tables) -> Corrected:
    """What tests of a yarn that is set one way say."""
    plan, first = now.plan, now.first
    ran = plan.to_set
    wash, ply_back = _wash(plan, first, tables), _ply_back(plan, first, tables)
    relaxation_frac = plan.relaxation_frac if wash is None or not wash.is_used else 1 - wash.measured.mean
    wish = _wish(plan.wish, wash, ply_back, relaxation_frac)
    count, twist = _count(plan, first, tables), _twist(plan, first, tables)
    front_tex = _front_tex(plan, first, count, relaxation_frac, tables)
    roving_tex = None if ran is None else front_tex * ran.draft
    after = _replanned(plan, wish, roving_tex, tables)
    draft = after.draft
    spun = chain_back(plan.wish, plan.fibre, plan.machine, tables)
    washed = replace(spun, usual=replace(spun.usual, relaxation_frac=relaxation_frac))
    twist_tpm = _twist_to_set(after, twist, now.set_over_wanted)
    set_tpm = plan.single_twist.tpm * now.set_over_wanted
    done = Corrected(
        before=plan,
        after=after,
        found=tuple(one for one in (count, twist, wash, ply_back) if one is not None),
        roving_tex=roving_tex,
        draft=draft,
        changes_draft=_settings_of(draft) != _settings_of(ran),
        changes_twist=abs(twist_tpm - set_tpm) > SAME_FRAC * set_tpm,
        changes_ply=abs(after.ply_twist.tpm - plan.ply_twist.tpm) > SAME_FRAC * plan.ply_twist.tpm,
        twist_tpm=twist_tpm,
        left_alone=finished_forward(washed, plan.wish, roller_tex=front_tex),
    )
    return replace(done, sentences=words_of(done, first))


SAME_FRAC = 0.01  # half a tooth of a twist pinion: not worth the change


def _settings_of(draft: DraftChoice | None) -> object:
    """What a person would set: the pinion, or the draft to a tenth of a percent."""
    if draft is None:
        return None
    return draft.setting or round(draft.draft, DRAFT_DIGITS)


DRAFT_DIGITS = 2


def _wish(wish: YarnWish, wash: Found | None, ply_back: Found | None, relaxation_frac: float) -> YarnWish:
    """The wish with what was measured in place of what was supposed."""
    if wash is not None and wash.is_used:
        wish = replace(wish, relaxation_frac=relaxation_frac)
    if ply_back is not None and ply_back.is_used:
        wish = replace(wish, ply_back_tpm=ply_back.measured.mean, ply_ratio=None)
    return wish


def _replanned(plan: YarnPlan, wish: YarnWish, roving_tex: float | None, tables: Tables) -> YarnPlan:
    """The same yarn planned from what the roving really is; the card and the drawings are behind it."""
    if roving_tex is None:
        return plan_yarn(wish, plan.fibre, plan.machine, tables)
    machine = replace(plan.machine, rovings_tex=(roving_tex,), card_tex=None)
    after = plan_yarn(wish, plan.fibre, machine, tables)
    if after.draft is not None or not after.drafts:
        return after
    near = after.drafts[0]  # this roving is on the frame: the nearest draft from it, not another roving
    chain = chain_back(wish, plan.fibre, machine, tables)
    return replace(
        after, draft=near, made=None, obtained=finished_forward(chain, wish, roller_tex=near.out_tex)
    )


def _twist_to_set(after: YarnPlan, twist: Found | None, set_over_wanted: float) -> float:
    """Turns to set: the wanted ones by how far the machine gives others; the nearest the gears can give."""
    set_tpm = after.single_twist.tpm * set_over_wanted
    if twist is None or not twist.is_used:
        return set_tpm
    wanted_tpm = set_tpm / (1 + twist.difference_frac)
    return nearest_turns_tpm(wanted_tpm, after.machine.twist_steps_tpm)


def _front_tex(
    plan: YarnPlan, first: FirstMetres, count: Found | None, relaxation_frac: float, tables: Tables
) -> float:
    """What leaves the front roll [tex]: by the weighing where it proves anything, else as the gears say."""
    if count is None or not count.is_used:
        return plan.roller.tex if plan.to_set is None else plan.to_set.out_tex
    factor = 1 + count.difference_frac
    if first.state is State.FINISHED:  # a washed length weighs more for having shrunk more
        factor *= (1 - relaxation_frac) / (1 - plan.relaxation_frac)
    single_tex = plan.single.tex * factor
    contracted_frac = section_of(plan.fibre, tables).retraction_frac(
        count_tex=single_tex, twist_tpm=plan.single_twist.tpm
    )
    return roller_tex(bobbin_tex=single_tex, retraction_frac=contracted_frac)


def _planned_count(plan: YarnPlan, state: State) -> StrandCount:
    return {State.BOBBIN: plan.single, State.PLIED: plan.greige, State.FINISHED: plan.finished}[state]


def _count(plan: YarnPlan, first: FirstMetres, tables: Tables) -> Found | None:
    """Count by weighing, on the basis of the plan."""
    if not first.weighed_g:
        return None
    planned = _planned_count(plan, first.state)
    room_frac = planned.basis.regain_frac if first.room_regain_frac is None else first.room_regain_frac
    here = Basis(first.state, room_frac, planned.basis.oil_frac, planned.basis.oil_water)
    texs = [
        rebase(
            StrandCount(measured_tex(mass_g=mass_g, length_m=first.reeled_m), here),
            regain_frac=planned.basis.regain_frac,
        ).tex
        for mass_g in first.weighed_g
    ]
    usual = tables.yarn_figures["lengths_cv/any"]
    measured = few_lengths(texs, usual_cv_frac=usual.value)
    working = Working(
        title="Count of the first metres",
        formula="1000 × mean weight ÷ length, at the regain of the plan; ± t × SD ÷ √n",
        inputs=(
            Term("lengths weighed", float(measured.n), "count"),
            Term("each", first.reeled_m, "m"),
            Term("regain where weighed", room_frac, "frac"),
            Term("regain of the plan", planned.basis.regain_frac, "frac"),
            Term("planned", planned.tex, "tex", str(first.state)),
            _spread_term(measured),
        ),
        result=Term("count", measured.mean, "tex", f"95 %: {measured.low:.4g} to {measured.high:.4g}"),
        source="Student's t" if not measured.is_spread_usual else "spread as usual, common practice",
        status=Status.OWN,
    )
    grams = planned.tex * first.reeled_m / TEX_M
    _check_near(f"weight of {first.reeled_m:g} m", measured.mean / planned.tex, f"{grams:.3g} g")
    is_proven = measured.differs_from(planned.tex)
    is_uneven = measured.cv_low is not None and usual.high is not None and measured.cv_low > usual.high
    return _found(YarnTest.COUNT, planned.tex, measured, working, is_used=is_proven, is_uneven=is_uneven)


def _twist(plan: YarnPlan, first: FirstMetres, tables: Tables) -> Found | None:
    if not first.turns_tpm:
        return None
    usual = tables.yarn_figures["twist_cv/any"]
    measured = few_lengths(first.turns_tpm, usual_cv_frac=usual.value)
    planned_tpm = plan.single_twist.tpm
    if not planned_tpm > 0:
        raise InputError("turns by untwisting", first.turns_tpm, "left out for a strand without twist")
    _check_near("turns by untwisting", measured.mean / planned_tpm, f"{planned_tpm:.0f} turns/m")
    working = _mean_working("Twist by untwisting", measured, Term("planned", planned_tpm, "tpm"), unit="tpm")
    is_proven = measured.differs_from(planned_tpm)
    is_uneven = measured.cv_low is not None and usual.high is not None and measured.cv_low > usual.high
    return _found(YarnTest.TWIST, planned_tpm, measured, working, is_used=is_proven, is_uneven=is_uneven)


def _wash(plan: YarnPlan, first: FirstMetres, tables: Tables) -> Found | None:
    """Length kept in the wash over length before; used where the plan only supposed it, or where proven."""
    if not first.washed:
        return None
    for before, after in first.washed:
        if not before > 0 or not after > 0:
            raise InputError("length before and after the wash", (before, after), "above zero, both")
    usual = tables.yarn_figures[f"relaxation/{plan.machine.system}"]
    spread = ((usual.high or usual.value) - (usual.low or usual.value)) / WIDTH_OF_RANGE
    measured = few_lengths([after / before for before, after in first.washed], usual_cv_frac=spread)
    kept = 1 - plan.relaxation_frac
    _check_near("length kept in the wash", measured.mean / kept, f"{kept:.2f} of the length before")
    working = _mean_working("Length kept in the wash", measured, Term("planned", kept, "frac"), unit="frac")
    is_used = plan.wish.relaxation_frac is None or measured.differs_from(kept)
    return _found(YarnTest.WASH, kept, measured, working, is_used=is_used)


WIDTH_OF_RANGE = 4.0  # standard deviations that the usual range of a table row is taken to span


def _ply_back(plan: YarnPlan, first: FirstMetres, tables: Tables) -> Found | None:
    if not first.ply_back_tpm:
        return None
    if plan.wish.plies == 1:
        raise InputError("ply-back test", first.ply_back_tpm, "left out for a single, which is not plied")
    measured = few_lengths(first.ply_back_tpm, usual_cv_frac=tables.yarn_figures["twist_cv/any"].value)
    planned_tpm = plan.ply_twist.tpm
    if not planned_tpm > 0:
        raise InputError("ply-back test", first.ply_back_tpm, "left out for a yarn plied without twist")
    _check_near("ply-back turns", measured.mean / planned_tpm, f"{planned_tpm:.0f} turns/m")
    working = _mean_working(
        "Ply-back test", measured, Term("planned ply twist", planned_tpm, "tpm"), unit="tpm"
    )
    is_used = plan.wish.ply_back_tpm is None or measured.differs_from(plan.wish.ply_back_tpm)
    return _found(YarnTest.PLY_BACK, planned_tpm, measured, working, is_used=is_used)


def _check_near(name: str, times: float, near: str) -> None:
    """Nobody spins twice the wished yarn: such a reading was typed in another unit."""
    if not 1 / MOST_TIMES < times < MOST_TIMES:
        raise InputError(name, f"{times:.3g} times what is planned", f"near {near}: look at the unit")


MOST_TIMES = 2.5


def _found(
    test: YarnTest,
    planned_value: float,
    measured: FewLengths,
    working: Working,
    *,
    is_used: bool,
    is_uneven: bool = False,
) -> Found:
    difference = measured.mean / planned_value - 1
    return Found(
        test=test,
        planned_value=planned_value,
        measured=measured,
        difference_frac=difference,
        is_proven=measured.differs_from(planned_value),
        enough=measured.enough_for(difference),
        is_used=is_used,
        is_uneven=is_uneven,
        working=working,
    )


def _mean_working(title: str, measured: FewLengths, planned: Term, *, unit: str) -> Working:
    return Working(
        title=title,
        formula="mean of the readings; ± t × SD ÷ √n",
        inputs=(Term("readings", float(measured.n), "count"), planned, _spread_term(measured)),
        result=Term("mean", measured.mean, unit, f"95 %: {measured.low:.4g} to {measured.high:.4g}"),
        source="Student's t" if not measured.is_spread_usual else "spread as usual, common practice",
        status=Status.OWN,
    )


def _spread_term(measured: FewLengths) -> Term:
    note = "as usual, not measured" if measured.is_spread_usual else "between the readings"
    return Term("spread", measured.spread_frac, "frac", note)
