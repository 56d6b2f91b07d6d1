"""Counts, settings and minutes of a stage: what it makes, what to set for it, how long it takes."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doffer.errors import InfeasibleError, InputError
from doffer.fibre.material import Material
from doffer.planning.loads import Loads
from doffer.planning.order_plan import StageCount
from doffer.planning.put_up import M_PER_100G_TEX
from doffer.planning.route import Route, Step
from doffer.planning.spec import BatchSpec, MachineUse, MillWays, Wish
from doffer.process.durations import CleanDown, StageMinutes, StageWork, stage_minutes
from doffer.process.rates import MachineFigures, fibre_groups
from doffer.process.settings.card import SET_STAGES, settings_card
from doffer.process.settings.facts import Soundness, facts_of
from doffer.process.settings.planned_yarn import card_roving_tex, roving_for_spinning_tex
from doffer.process.settings.suggestion import Suggestion
from doffer.process.yarn.basis import StrandCount
from doffer.process.yarn.limits import fibre_of
from doffer.process.yarn.plan import SpinMachine, YarnPlan, YarnWish, plan_yarn
from doffer.tables.loader import Tables

NO_MACHINE = MachineUse("", 0.0)


@dataclass(frozen=True, slots=True)
class Making:
    """What the stages of a batch make together.

    Parameters
    ----------
    yarn : YarnPlan or None
        None: no count is wished, or none can be planned; `refused` says why.
    refused : str
    soundness : Soundness
        Of the weakest lot.
    piece_mass_g : float
        Weight of a skein [g].
    last_of : mapping
        The last step of each stage, after which its machine is cleaned.
    """

    yarn: YarnPlan | None
    refused: str
    soundness: Soundness
    piece_mass_g: float
    last_of: Mapping[str, str]


def making(
    batch: BatchSpec, route: Route, out: Material, ways: MillWays, tables: Tables, *, agreed_frac: float
) -> Making:
    """The yarn a batch is spun to, planned on the mill's frame, and what else its stages share."""
    yarn, refused = None, ""
    length_m_per_100g = batch.wish.length_m_per_100g
    if (
        length_m_per_100g is not None
        and batch.wish.product in YARNS
        and float(out.total_dry_mass_g.mean()) > 0
    ):
        try:
            yarn = _planned(batch.wish, length_m_per_100g, out, ways, tables, agreed_frac)
        except (InputError, InfeasibleError) as problem:
            refused = str(problem)
    words = list(Soundness)
    return Making(
        yarn=yarn,
        refused=refused,
        soundness=max((start.soundness for start in batch.lots), key=words.index),
        piece_mass_g=batch.wish.piece_mass_g,
        last_of={step.stage: step.name for step in route},
    )


YARNS = frozenset({"singles", "yarn"})


def _planned(
    wish: Wish, length_m_per_100g: float, out: Material, ways: MillWays, tables: Tables, agreed_frac: float
) -> YarnPlan:
    yarn_wish = YarnWish(
        finished_tex=M_PER_100G_TEX / length_m_per_100g, plies=wish.plies, label_regain_frac=agreed_frac
    )
    use = ways.machines.get("spin", NO_MACHINE)
    frame = ways.frame or SpinMachine(use.name or "spinning frame")
    return plan_yarn(yarn_wish, fibre_of(out, tables), frame, tables)


def stage_counts(step: Step, made: Making, tables: Tables) -> tuple[StageCount, ...]:
    """Counts of the strand a stage makes, as stages go: roving, front roll, bobbin, plied, finished."""
    yarn = made.yarn
    if yarn is None:
        return ()
    if step.stage == "card":
        return (_roving(card_roving_tex(yarn, tables), yarn),)
    if step.stage == "draw":
        return (_roving(roving_for_spinning_tex(yarn), yarn),)
    counts: Mapping[str, Sequence[tuple[str, StrandCount]]] = {
        "spin": (("front roll", yarn.roller), ("bobbin", yarn.single)),
        "ply": (("plied", yarn.greige),),
        "set": (("finished", yarn.obtained),),
        "skein": (("finished", yarn.obtained),),
    }
    return tuple(
        StageCount(what, one.tex, one.basis.regain_frac, one.basis.oil_frac)
        for what, one in counts.get(step.stage, ())
    )


def _roving(roving_tex: float, yarn: YarnPlan) -> StageCount:
    """Roving is told on the basis of the front roll, which it is drafted to."""
    basis = yarn.roller.basis
    return StageCount("roving", roving_tex, basis.regain_frac, basis.oil_frac)


def stage_suggestions(
    step: Step, fed: Material, made: Making, ways: MillWays, tables: Tables
) -> tuple[Suggestion, ...]:
    """What to set for a stage; nothing where there is no fibre or nothing to set."""
    if step.stage not in SET_STAGES or not float(fed.total_dry_mass_g.mean()) > 0:
        return ()
    card = settings_card(
        step.stage,
        facts_of(fed, soundness=made.soundness),
        ways.machines.get(step.stage, NO_MACHINE).limits,
        tables,
        yarn=made.yarn,
        own=ways.own_settings,
        piece_mass_g=made.piece_mass_g,
    )
    return card.suggestions


def minutes_of(
    step: Step,
    fed: Material,
    loads: Loads | None,
    made: Making,
    ways: MillWays,
    tables: Tables,
    *,
    weighed_in_g: float,
    suggestions: Sequence[Suggestion] = (),
) -> StageMinutes:
    """How long a stage takes with what comes to it, at the speed that is suggested for it.

    The machine is cleaned after the last lot.
    """
    use = ways.machines.get(step.stage, NO_MACHINE)
    count, twist_tpm = _strand(step.stage, made.yarn)
    passes = step.settings.passes
    if step.stage == "draw" and made.yarn is not None:
        passes = max(passes, len(made.yarn.drawings))
    work = StageWork(
        stage=step.stage,
        mass_g=weighed_in_g if count is None else _on_basis_g(fed, count),
        groups=fibre_groups([part.fibre for part in fed.constituents], tables),
        passes=passes,
        held_mass_g=use.held_mass_g,
        charges=loads.count if loads else 1 if use.capacity else None,
        count_tex=None if count is None else count.tex,
        twist_tpm=twist_tpm,
        clean=CleanDown.NEW_OWNER if made.last_of[step.stage] == step.name else CleanDown.NONE,
    )
    return stage_minutes(work, _as_run(use, suggestions), tables)


def _as_run(use: MachineUse, suggestions: Sequence[Suggestion]) -> MachineFigures:
    """Figures of a machine with what it takes at once, and the spindle speed that is suggested."""
    figures = use.figures
    if use.capacity is not None and figures.charge_mass_g is None:
        figures = dataclasses.replace(figures, charge_mass_g=use.capacity.mass_g)
    rpm = next((one.value for one in suggestions if one.setting == "spindle_rpm"), None)
    return figures if rpm is None else dataclasses.replace(figures, spindle_rpm=rpm)


def _on_basis_g(fed: Material, count: StrandCount) -> float:
    """Fibre fed with the water and oil that its count is told with [g]."""
    return float(fed.total_dry_mass_g.mean()) * count.tex / count.fibre_dry_tex


def _strand(stage: str, yarn: YarnPlan | None) -> tuple[StrandCount | None, float | None]:
    """What a frame winds onto its bobbins and with which twist; nothing for other stages."""
    if yarn is None:
        return None, None
    if stage == "spin":
        return yarn.single, yarn.single_twist.tpm
    return (yarn.greige, yarn.ply_twist.tpm) if stage == "ply" else (None, None)
