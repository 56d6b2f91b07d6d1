"""A card for every machine a yarn goes through: what to set, why, and in figures read from the machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from doffer.mill.machine_values import MachineSettings
from doffer.mill.queries.yarn_inputs import YarnInputs
from doffer.pictures.settings_words import name_of, say_between, say_roving, say_setting, say_test_length
from doffer.pictures.wording import THIN, say
from doffer.planning.order_plan import BatchPlan, StagePlan
from doffer.process.durations import StageMinutes
from doffer.process.settings.suggestion import Suggestion
from doffer.process.stage import Caution
from doffer.process.yarn.basis import StrandCount
from doffer.process.yarn.plan import YarnPlan
from doffer.working import Status

TITLES: Final = {
    "pick": "Pick",
    "card": "Card",
    "draw": "Draw",
    "spin": "Spin",
    "ply": "Ply",
    "set": "Set",
    "skein": "Skein",
}
BIG_FIRST: Final = ("roving", "draft", "twist", "twist_way", "ends", "plies", "beater", "turns")
WAY_WORDS: Final = "leans like the middle of this letter"


@dataclass(frozen=True, slots=True)
class CardFigure:
    """One thing to set: its name, the figure, the usual range, why, and on whose word."""

    setting: str
    name: str
    value: str
    note: str = ""
    between: str = ""
    reason: str = ""
    source: str = ""
    status: Status = Status.COMPUTED
    run: str = ""

    @property
    def number(self) -> str:
        """The figure alone."""
        return self.value.rpartition(THIN)[0] or self.value

    @property
    def unit(self) -> str:
        """Its unit, shown smaller; empty where it has none."""
        head, _, word = self.value.rpartition(THIN)
        return word if head else ""


@dataclass(frozen=True, slots=True)
class MachineCard:
    """What one machine is set to for this yarn: figures large, words beside them."""

    stage: str
    name: str
    title: str
    machine: str
    code: str
    figures: tuple[CardFigure, ...]
    words: tuple[CardFigure, ...]
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    past: tuple[tuple[str, str], ...] = ()  # number of an own run, and what made it good
    is_guessed: bool = False
    minutes: StageMinutes | None = None

    @property
    def reasons(self) -> tuple[CardFigure, ...]:
        """Everything that has a reason."""
        return tuple(one for one in (*self.figures, *self.words) if one.reason)


def cards_of(plan: YarnPlan, batch: BatchPlan, inputs: YarnInputs, *, system: str) -> tuple[MachineCard, ...]:
    """Cards of the machines in the order the fibre meets them, by what the plan suggests for each stage."""
    codes = {one.name: one for one in inputs.machines}
    cards = [_card(stage, plan, codes, system) for stage in batch.stages if stage.stage in TITLES]
    return tuple(card for card in cards if card.figures or card.words)


def _card(
    stage: StagePlan, plan: YarnPlan, machines: Mapping[str, MachineSettings], system: str
) -> MachineCard:
    figures = [
        *(_figure(one, stage.stage, system) for one in stage.suggestions),
        *_tests(stage.stage, plan, system),
    ]
    machine = machines.get(stage.machine)
    large = [one for one in figures if one.number]
    return MachineCard(
        stage=stage.stage,
        name=stage.name,
        title=TITLES[stage.stage] + stage.name.removeprefix(stage.stage),
        machine=stage.machine,
        code=machine.code if machine else "",
        figures=tuple(sorted(large, key=_place)),
        words=tuple(one for one in figures if not one.number),
        notes=_notes(stage.stage, plan, system),
        cautions=stage.cautions,
        past=tuple(dict.fromkeys((one.run, one.reason) for one in stage.suggestions if one.run)),
        is_guessed=machine is not None and machine.n_own == 0,
        minutes=stage.minutes,
    )


def _place(figure: CardFigure) -> int:
    """What is set first stands first."""
    return BIG_FIRST.index(figure.setting) if figure.setting in BIG_FIRST else len(BIG_FIRST)


def _figure(one: Suggestion, stage: str, system: str) -> CardFigure:
    return CardFigure(
        setting=one.setting,
        name=name_of(one.setting, stage),
        value=say_setting(one, system),
        note=WAY_WORDS if one.setting == "twist_way" else one.words,
        between=say_between(one, system),
        reason=one.reason,
        source=one.source,
        status=one.status,
        run=one.run,
    )


def _tests(stage: str, plan: YarnPlan, system: str) -> list[CardFigure]:
    """What the first ten metres should weigh."""
    strand: StrandCount | None = {"spin": plan.single, "ply": plan.greige}.get(stage)
    if strand is None:
        return []
    where = "single off the bobbin" if stage == "spin" else "plied, before the wash"
    name, grams = say_test_length(strand.tex, system)
    return [CardFigure("test", name.capitalize(), grams, where)]


def _notes(stage: str, plan: YarnPlan, system: str) -> tuple[str, ...]:
    if stage != "spin":
        return ()
    if plan.draft is None:
        low, sweet, high = (say_roving(tex, system) for tex in plan.needed_roving_tex)
        return (f"No roving fits yet: make one of {sweet} ({low} to {high} can be drawn).",)
    if plan.tooth_error_frac <= 0:
        return ()
    error = plan.draft.error_frac
    heavy = "heavier" if error > 0 else "finer"
    return (
        f"This comes {say(abs(error), 'frac', digits=1)} {heavy} than wished; "
        f"one tooth is about {say(2 * plan.tooth_error_frac, 'frac', digits=1)}.",
    )
