"""What is asked about a run before it is kept: fibre in the wrong state, weights that rarely are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from doffer.errors import RefusedError
from doffer.fibre.material import Form
from doffer.mill import bridge, house
from doffer.mill.booking import QuestionError
from doffer.mill.clean_fibre import form_in, last_before
from doffer.mill.commands.run_facts import RunDone, RunIn
from doffer.mill.doubt import Doubt, said_all
from doffer.mill.dyed import dyed_apart, dyeings_of
from doffer.mill.models import Lot, Run, RunInput
from doffer.mill.models.weighings import Branch
from doffer.mill.queries.runs import Expected, Part, expected_out
from doffer.mill.riding import finish_in_g, spray_of
from doffer.process.taken import forms_taken, state_of

MORE_THAN_THERE_FRAC = 1.10  # above this share of what the lot weighed last, it is asked about
WET_SLIP = 3.0  # wet weights say little: only a slip of a digit is told from water
# scale, room and water together move a dry weight by about this much; common practice
WEIGHING_SLACK_FRAC = 0.02
# single fleeces stray this far beyond the usual yields of their breed; common practice
YIELD_SLACK_FRAC = 0.20
LIKELY: Final = (
    "Likely: a slip in a number, the wrong empty weight, fibre left in the machine, fibre still wet, or "
    "another lot's tag. Look again, or say why it is right"
)
STATES: Final = {
    Form.GREASY: "in the grease",
    Form.SKIRTED: "in the grease",
    Form.SCOURED: "washed, not carded",
    Form.OPENED: "picked, not carded",
    Form.ROVING: "roving",
    Form.BATT: "batts",
    Form.SINGLE: "singles",
    Form.PLIED: "plied yarn",
    Form.SKEIN: "in skeins",
}
NEEDS_CARDING: Final = frozenset({"draw", "spin", "ply", "set", "skein"})
NEEDS_SPINNING: Final = frozenset({"ply", "set", "skein"})
MIXES: Final = frozenset({"pick", "card"})  # where fibre of another colour is lost among the rest
LOOSE: Final = (Form.SCOURED, Form.OPENED)


class RunQuestionError(QuestionError):
    """What a run is asked about, so that a page can say it in its own units."""

    def __init__(self, doubts: Sequence[Doubt]) -> None:
        self.doubts = tuple(doubts)
        super().__init__("This is asked before it is kept", tuple(d.said() for d in doubts), LIKELY)

    def said(self, say_mass: Callable[[float], str]) -> str:
        """The question with its weights in the words of whoever reads it."""
        return f"{said_all(self.doubts, say_mass)}. {LIKELY}."

    @property
    def marks(self) -> tuple[str, ...]:
        """Signs of what is asked, for the answer to come back with."""
        return tuple(doubt.mark for doubt in self.doubts)


def refuse_empty(lots: Mapping[str, Lot], inputs: Sequence[RunIn]) -> None:
    """A lot that is used up cannot go in: nothing is left of it, and nothing comes of nothing."""
    gone = [code for code, lot in lots.items() if lot.now_mass_mg <= 0]
    gone += [item.lot for item in inputs if item.reading is not None and item.reading.net_g <= 0]
    if gone:
        raise RefusedError(
            "The run does not start",
            tuple(f"nothing is left of {code} to go in" for code in dict.fromkeys(gone)),
            "Check the tag, or weigh the lot first if some of it was found",
        )


def doubts_going_in(stage: str, lots: Mapping[str, Lot], inputs: Sequence[RunIn]) -> list[Doubt]:
    """Fibre in a state that the stage does not take, in two states at once, or more of it than was there."""
    doubts, states = [], {}
    for item in inputs:
        lot = lots[item.lot]
        is_wet = lot.now_form not in bridge.RAW_FORMS and (
            lot.now_regain_ppm is None if item.reading is None else item.reading.branch == Branch.WET
        )
        states[lot.code] = (state_of(Form(lot.now_form)), is_wet)
        doubts += _wrong_state(stage, lot, is_wet=is_wet)
        there_g = bridge.grams(lot.now_mass_mg)
        if item.reading is not None and item.reading.net_g > there_g * MORE_THAN_THERE_FRAC:
            words = f"{lot.code} is heavier than it was: it stood at {{}}, now {{}} go in"
            doubts.append(Doubt(words, (there_g, item.reading.net_g)))
    if len(set(states.values())) > 1:
        doubts.append(Doubt(_two_states(lots, states)))
    return [*doubts, *_dyed_apart(stage, lots, inputs)]


def _dyed_apart(stage: str, lots: Mapping[str, Lot], inputs: Sequence[RunIn]) -> list[Doubt]:
    """More of a lot into a mix than has its colour: the rest of it lies there dyed."""
    if stage not in MIXES:
        return []
    apart = dyed_apart(list(lots.values()), dyeings_of([lot.pk for lot in lots.values()]))
    doubts = []
    for item in inputs:
        lot = lots[item.lot]
        apart_g, there_g = bridge.grams(apart.get(lot.pk, 0)), bridge.grams(lot.now_mass_mg)
        goes_g = there_g if item.reading is None else item.reading.net_g
        if apart_g and goes_g > (there_g - apart_g) * (1 + WEIGHING_SLACK_FRAC):
            words = f"{{}} of {lot.code} was dyed apart: {{}} has its colour, and {{}} go in"
            doubts.append(Doubt(words, (apart_g, there_g - apart_g, goes_g)))
    return doubts


def _wrong_state(stage: str, lot: Lot, *, is_wet: bool) -> list[Doubt]:
    """A lot that the stage does not usually take as it is."""
    taken, form = forms_taken(stage), Form(lot.now_form)
    if form not in taken.forms:
        return [Doubt(f"{lot.code} is {STATES[form]}: {_wrong_form(stage, form)}")]
    if is_wet and not taken.wet:
        return [Doubt(f"{lot.code} is still wet: spin out the water or dry it first")]
    if not is_wet and not taken.dry:
        return [Doubt(f"{lot.code} is dry already: there is no water to spin out")]
    return []


def _wrong_form(stage: str, form: Form) -> str:
    """What was never done to it, or that it is past this stage."""
    never = []
    if form in bridge.RAW_FORMS:
        never.append("washed")
    if stage in NEEDS_CARDING and form in (*bridge.RAW_FORMS, *LOOSE):
        never.append("carded")
    if stage in NEEDS_SPINNING and form not in (Form.SINGLE, Form.PLIED, Form.SKEIN):
        never.append("spun")
    if not never:
        return "it is past this stage" if form != Form.BATT else "this stage takes roving"
    *first, last = never
    return f"it was never {', '.join(first)}{' or ' if first else ''}{last}"


def _two_states(lots: Mapping[str, Lot], states: Mapping[str, tuple[str, bool]]) -> str:
    told = [
        f"{code} is {'wet, ' if is_wet else ''}{STATES[Form(lots[code].now_form)]}"
        for code, (_, is_wet) in states.items()
    ]
    raw = any(lots[code].now_form in bridge.RAW_FORMS for code in states)
    reckoned = "; what is in the grease counts by its usual clean fibre" if raw else ""
    return f"Fibre in two states would go together: {', '.join(told)}{reckoned}"


def expected_of(run: Run, ins: Sequence[RunInput]) -> Expected | None:
    """What a run should give, as its form said; before anything of it came out."""
    before, finish = last_before(run, ins), finish_in_g(run)
    parts = [
        Part(
            row.lot.code,
            bridge.grams(row.mass_mg),
            bridge.maybe_grams(row.dry_mg),
            finish[row.lot.code],
            form_in(row, before),
        )
        for row in ins
    ]
    return expected_out(
        run.stage,
        parts,
        machine=run.machine.code if run.machine else "",
        order=run.order.code if run.order else "",
        spray=spray_of(run),
        run=run,
    )


def doubts_coming_out(
    run: Run, ins: Sequence[RunInput], result: RunDone, expected: Expected | None
) -> list[Doubt]:
    """Fibre out of nothing, or a weight clearly outside of what the form said to expect."""
    made = _made(run, ins, result, stays_raw=expected is not None and expected.stays_raw)
    if made is not None:
        return [made]
    if expected is None:
        return []
    net_g = sum(out.net_g for out in result.outputs)
    slack = YIELD_SLACK_FRAC if expected.is_raw or expected.guessed else WEIGHING_SLACK_FRAC
    low_g, high_g = expected.dry_sure_g[0] * (1 - slack), expected.dry_sure_g[1] * (1 + slack)
    if expected.stays_raw:
        came_g, words = net_g, "{} came out; {} to {} is to be expected at the outside"
        low_g, high_g = expected.weighed_sure_g[0] * (1 - slack), expected.weighed_sure_g[1] * (1 + slack)
    elif result.dry_out_g is not None:
        came_g, words = (
            result.dry_out_g,
            "{} of dry fibre came out; {} to {} is to be expected at the outside",
        )
    else:
        came_g, words = net_g, "{} came out wet; {} to {} is to be expected, dry to dripping"
        high_g = WET_SLIP * max(expected.weighed_high_g, expected.dripping_high_g or 0.0)
    if low_g <= came_g <= high_g:
        return []
    return [Doubt(f"{run.stage.capitalize()}: {words}", (came_g, low_g, high_g))]


def _made(run: Run, ins: Sequence[RunInput], result: RunDone, *, stays_raw: bool) -> Doubt | None:
    """More dry fibre out than there was: no stage makes fibre.

    What nobody weighed dry counts with all that it weighed.
    """
    limit = house.number("ask_above_yield_frac")
    stage = f"{run.stage.capitalize()} cannot make fibre"
    out_g = result.dry_out_g
    if out_g is None and stays_raw:
        net_g, fed_g = sum(out.net_g for out in result.outputs), bridge.grams(sum(row.mass_mg for row in ins))
        return Doubt(f"{stage}: {{}} came out of {{}}", (net_g, fed_g)) if net_g > fed_g * limit else None
    if out_g is None:
        return None
    if result.dry_in_g is not None:
        if out_g <= result.dry_in_g * limit:
            return None
        share = f", {out_g / result.dry_in_g:.1%}" if result.dry_in_g else ""
        return Doubt(f"{stage}: {{}} dry came out of {{}} dry{share}", (out_g, result.dry_in_g))
    most_g = bridge.grams(sum(row.mass_mg if row.dry_mg is None else row.dry_mg for row in ins))
    if out_g > most_g * limit:
        return Doubt(f"{stage}: {{}} dry came out of {{}} as it went in", (out_g, most_g))
    return None
