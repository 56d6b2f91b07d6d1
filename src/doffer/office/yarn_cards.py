"""A card for every machine a yarn goes through: what to set, in figures that are read from the machine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from doffer.mill.machine_values import MachineSettings
from doffer.mill.queries.yarn_inputs import YarnInputs
from doffer.office.yarn_view import TEST_LENGTH_M, TEX_PER_G_PER_M
from doffer.pictures.wording import NOTHING, THIN, say
from doffer.pictures.words import say_many
from doffer.process.yarn.basis import StrandCount
from doffer.process.yarn.chain import TwistSet
from doffer.process.yarn.plan import YarnPlan

CARD_TITLES: Final = {
    "draw": "Draw",
    "spin": "Spin",
    "ply": "Ply",
    "skein": "Skein",
}
WAY_WORDS: Final = "leans like the middle of this letter"


@dataclass(frozen=True, slots=True)
class CardFigure:
    """One thing to set: its name, the figure, and a word about it."""

    name: str
    value: str
    note: str = ""

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
class SettingsCard:
    """What one machine is set to for this yarn."""

    stage: str
    title: str
    machine: str
    code: str
    figures: tuple[CardFigure, ...]
    notes: tuple[str, ...] = ()
    is_guessed: bool = False


def cards_of(
    plan: YarnPlan, inputs: YarnInputs, *, system: str, piece_mass_g: float | None = None
) -> tuple[SettingsCard, ...]:
    """Cards of the machines in the order the fibre meets them."""
    made: list[SettingsCard] = []
    makers: dict[str, Callable[[], tuple[CardFigure, ...]]] = {
        "draw": lambda: _draw(plan, system),
        "spin": lambda: _spin(plan, inputs.machine("spin"), system),
        "ply": lambda: _ply(plan, inputs.machine("ply"), system),
        "skein": lambda: _skein(plan, inputs.machine("skein"), system, piece_mass_g),
    }
    for stage, make in makers.items():
        figures = make()
        if figures:
            made.append(_card(stage, inputs.machine(stage), figures, _notes(stage, plan)))
    return tuple(made)


def _card(
    stage: str, machine: MachineSettings | None, figures: tuple[CardFigure, ...], notes: tuple[str, ...]
) -> SettingsCard:
    return SettingsCard(
        stage=stage,
        title=CARD_TITLES[stage],
        machine=machine.name if machine else "",
        code=machine.code if machine else "",
        figures=figures,
        notes=notes,
        is_guessed=machine is not None and machine.n_own == 0,
    )


def _draw(plan: YarnPlan, system: str) -> tuple[CardFigure, ...]:
    """Ends, draft and roving of every drawing."""
    many = len(plan.drawings) > 1
    figures: list[CardFigure] = []
    for number, drawing in enumerate(plan.drawings, start=1):
        which = f" {number}" if many else ""
        figures += [
            CardFigure(f"Ends in{which}", f"{drawing.doublings}", f"of {_g_per_m(drawing.in_tex, system)}"),
            CardFigure(f"Draft{which}", f"{drawing.draft:.2f}"),
            CardFigure(
                f"Roving out{which}", _g_per_m(drawing.out_tex, system), _weighs(drawing.out_tex, length_m=1)
            ),
        ]
    return tuple(figures)


def _spin(plan: YarnPlan, frame: MachineSettings | None, system: str) -> tuple[CardFigure, ...]:
    draft = plan.draft
    low, sweet, high = plan.needed_roving_tex
    figures = [
        CardFigure("Roving in", _g_per_m(draft.roving_tex, system), _weighs(draft.roving_tex, length_m=1))
        if draft
        else CardFigure(
            "Roving in",
            _g_per_m(sweet, system),
            f"make it: {_g_per_m(low, system)} to {_g_per_m(high, system)}",
        ),
    ]
    if draft:
        figures.append(CardFigure("Draft", f"{draft.draft:.2f}", draft.setting))
    figures += _twist("Twist", plan.single_twist, frame, system)
    if plan.machine.spindle_rpm:
        figures.append(CardFigure("Spindles", say(plan.machine.spindle_rpm, "rpm")))
    if plan.speed_m_per_min:
        figures.append(CardFigure("Yarn comes", say(plan.speed_m_per_min, "m_per_min", system)))
    figures.append(CardFigure("Ten metres weigh", _test(plan.single), "single off the bobbin"))
    return tuple(figures)


def _ply(plan: YarnPlan, plyer: MachineSettings | None, system: str) -> tuple[CardFigure, ...]:
    if plan.wish.plies == 1:
        return ()
    return (
        CardFigure("Singles together", f"{plan.wish.plies}"),
        *_twist("Twist", plan.ply_twist, plyer, system),
        CardFigure("Ten metres weigh", _test(plan.greige), "plied, before the wash"),
    )


def _skein(
    plan: YarnPlan, reel: MachineSettings | None, system: str, piece_mass_g: float | None
) -> tuple[CardFigure, ...]:
    """Turns of the reel for a skein, where the reel was measured."""
    if piece_mass_g is None:
        return ()
    length_m = piece_mass_g * TEX_PER_G_PER_M / plan.finished.tex
    circumference = reel.value("reel_circumference") if reel else None
    figures = [
        CardFigure("A skein", say(length_m, "m", system), f"{say(piece_mass_g, 'g', system)} when washed")
    ]
    if circumference:
        unwashed_m = length_m / (1 - plan.relaxation_frac)
        figures.append(
            CardFigure(
                "Turns of the reel",
                f"{unwashed_m / circumference:.0f}",
                f"before the wash; the reel is {circumference:g} m round",
            )
        )
    return tuple(figures)


def _twist(name: str, twist: TwistSet, machine: MachineSettings | None, system: str) -> list[CardFigure]:
    constant = machine.value("twist_constant") if machine and machine.has("twist_constant") else None
    pinion = f"pinion of {constant / twist.tpm:.0f} teeth" if constant and twist.tpm > 0 else ""
    return [
        CardFigure(name, say(twist.tpm, "tpm", system), pinion),
        CardFigure("Way", str(twist.direction), WAY_WORDS),
    ]


def _notes(stage: str, plan: YarnPlan) -> tuple[str, ...]:
    if stage == "spin" and plan.draft is not None and plan.tooth_error_frac > 0:
        error = plan.draft.error_frac
        heavy = "heavier" if error > 0 else "finer"
        return (
            f"This comes {say(abs(error), 'frac', digits=1)} {heavy} than wished; "
            f"one tooth is about {say(2 * plan.tooth_error_frac, 'frac', digits=1)}.",
        )
    if stage == "draw" and plan.drawings:
        return (f"{say_many(len(plan.drawings), 'drawing').capitalize()} before the frame.",)
    return ()


def _g_per_m(count_tex: float, system: str) -> str:
    return say(count_tex / TEX_PER_G_PER_M, "g_per_m", system, 2) if count_tex > 0 else NOTHING


def _weighs(count_tex: float, *, length_m: float) -> str:
    return f"{length_m:g} m weighs {say(count_tex * length_m / TEX_PER_G_PER_M, 'g', 'metric', 2)}"


def _test(count: StrandCount) -> str:
    return say(count.tex * TEST_LENGTH_M / TEX_PER_G_PER_M, "g", "metric", 2)
