"""`doffer evenness`: stripes forecast, the gentlest way chosen, doublings counted, machines calibrated."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from doffer.cli.evenness_mill import mill_words, read_world
from doffer.cli.evenness_trial import learn, learn_words, trial, trial_words
from doffer.cli.evenness_words import (
    G_PER_KG,
    MM_PER_CM,
    PERCENT,
    TEX_PER_G_PER_M,
    blend_words,
    read_feed,
    read_passage,
    route_words,
    whole,
)
from doffer.cli.output import add_json_option, aligned, emit
from doffer.cli.typed import number

if TYPE_CHECKING:
    from doffer.planning.evenness.answer import Forecast, Likely
    from doffer.planning.evenness.doublings import Doublings
    from doffer.planning.evenness.wish import Choice, Option

EXAMPLE = """\
examples: shares by oven-dry weight; colours as L,a,b under D65/10, for every lot or for none
  doffer evenness forecast --part wool=80 --part alpaca=20 --kg 6 --layers 24 --passes 2 --draw 4 --draw 6
  doffer evenness forecast --part white=80:wool:88,0,9 --part black=20:alpaca:18,1,1 --kg 6 --layers 24
  doffer evenness choose --part white=80:wool:88,0,9 --part black=20:alpaca:18,1,1 --kg 6
  doffer evenness forecast --mill demo --order O207 --layers 24 --passes 2 --draw 4
  doffer evenness choose --mill demo --lot L027=75 --lot L028=25 --kg 6
  doffer evenness doublings --sd 3 --want 0.5 --shared 0.2
  doffer evenness trial --clean-down 58 --clean-down 61
  doffer evenness learn --part wool=80 --part alpaca=20 --kg 6 --layers 24 --no-toss --spread 13 --pieces 40
"""
FROM_HERE_WHOLE = 10
LEAST_TOLD = 0.005
MIN_PER_H = 60


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb and of those below it."""
    words = verbs.add_parser(
        "evenness",
        help="stripes of a blend: forecast, choose layers and passes, calibrate machines",
        description="How evenly a blend mixes, pass by pass. Mind the ranges until your machines are known.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    acts = words.add_subparsers(metavar="ACT", required=True)
    told = _act(acts, "forecast", "what every pass leaves, and whether it is seen", _forecast)
    blend_words(told)
    route_words(told)
    mill_words(told)
    told.add_argument("--row-cm", type=number(1, 10000), metavar="CM", help="yarn in one row of the goods")
    chosen = _act(acts, "choose", "the gentlest layers, passes and drawings that leave no stripe", _choose)
    blend_words(chosen)
    _limit_words(chosen)
    mill_words(chosen)
    counted = _act(acts, "doublings", "doublings that bring a spread of shade down to a wish", _doublings)
    counted.add_argument("--sd", type=number(0.001, 100), required=True, help="spread along the strand now")
    counted.add_argument("--want", type=number(0.001, 100), required=True, help="spread that is wanted")
    counted.add_argument(
        "--shared",
        type=number(0, 1),
        default=0.0,
        metavar="RHO",
        help="part that all ends have in common, 0 to 1",
    )
    counted.add_argument("--most-ends", type=whole(2, 12), default=6, metavar="N", help="ends at once (6)")
    counted.add_argument("--most-passes", type=whole(1, 6), default=3, metavar="N", help="drawings (3)")
    add_json_option(counted)
    trial_words(_act(acts, "trial", "a figure of a machine from what was weighed or read", trial))
    fitted = _act(acts, "learn", "figures of the machines from measured spreads", learn)
    blend_words(fitted)
    route_words(fitted)
    mill_words(fitted)
    learn_words(fitted)


def _act(
    acts: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    text: str,
    act: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    words = acts.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
    words.set_defaults(run=act)
    return words


def _limit_words(words: argparse.ArgumentParser) -> None:
    words.add_argument("--most-passes", type=whole(1, 6), metavar="N", help="through the picker, at most (3)")
    words.add_argument("--most-ends", type=whole(1, 12), default=6, metavar="N", help="ends at once (6)")
    words.add_argument("--tender", action="store_true", help="a lot broke in the snap test: one pass")
    words.add_argument("--loose", action="store_true", help="a faint stripe may be seen by who looks for it")
    words.add_argument("--no-sandwich", action="store_true", help="no whole set goes into the picker at once")
    words.add_argument(
        "--label-pct",
        type=number(0.1, 50),
        default=5.0,
        metavar="PCT",
        help="label tests that may fail, of 100 (5)",
    )
    words.add_argument(
        "--bias-points", type=number(0, 10), default=0.0, metavar="P", help="weighing out may be wrong by (0)"
    )


def _forecast(args: argparse.Namespace) -> int:
    from doffer.planning.evenness.cost import stage_costs
    from doffer.planning.evenness.forecast import forecast
    from doffer.planning.evenness.wish import gentle_limits

    world = read_world(args)
    tables, blend, figures = world.tables, world.blend, world.figures
    passage = read_passage(args, blend, figures, tables)
    answer = forecast(
        passage,
        tables=tables,
        figures=figures,
        slope_lab=blend.slope_lab,
        costs=stage_costs(passage, tables, blend.fibres),
        distance_mm=None if args.distance_cm is None else args.distance_cm * MM_PER_CM,
        yarn_per_row_mm=None if args.row_cm is None else args.row_cm * MM_PER_CM,
        most_passes=gentle_limits(tables, blend.fibres, is_tender=world.is_tender).most_passes,
    )
    data = {
        "verdict": answer.verdict,
        "stages": answer.stages,
        "floor": {"de": answer.floor_de, "sentence": answer.floor_sentence},
        "label": answer.label,
        "curve": {"part": answer.curve_part, "points": answer.curve},
        "figures": answer.figures.figures,
        "figures_sentence": answer.figures_sentence,
        "matters": answer.matters,
        "traps": answer.traps,
    }
    emit(args, data, _forecast_text(answer))
    return 0


def _forecast_text(answer: Forecast) -> Iterator[str]:
    has_colour = answer.floor_de is not None
    part = answer.curve_part
    head = ["stage", f"{part}, points", "low to high", "fibre lost g", "minutes"]
    if has_colour:
        head[1:1] = ["apart", "low to high", ""]
    yield from aligned(head, [_stage_row(answer, stage, has_colour=has_colour) for stage in answer.stages])
    yield f"{answer.verdict[0].upper()}{answer.verdict[1:]}."
    yield answer.floor_sentence
    for risk in answer.label:
        yield (
            f"Label, {risk.name}: a test misses it {_chance(risk.mid.chance)} "
            f"({_chance(risk.low.chance)} to {_chance(risk.high.chance)})."
        )
    if answer.matters:
        yield f"What matters most: {answer.matters[0].figure.words}."
    yield answer.figures_sentence
    for trap in answer.traps:
        yield f"Beware: {trap.sentence} {trap.instead}"


def _stage_row(answer: Forecast, stage: Any, *, has_colour: bool) -> list[object]:
    points = next(one.points for one in stage.parts if one.name == answer.curve_part)
    row: list[object] = [
        stage.name,
        _short(points.mid),
        _range(points),
        None if stage.lost_g is None else f"{stage.lost_g:.0f}",
        None if stage.minutes is None else f"{stage.minutes:.0f}",
    ]
    if has_colour:
        seen = "seen" if stage.is_visible else "may be seen" if stage.may_be_visible else "not seen"
        row[1:1] = [f"{stage.apart_de.mid:.1f}", _range(stage.apart_de), seen]
    return row


def _range(likely: Likely) -> str:
    return f"{_short(likely.low)} to {_short(likely.high)}"


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= FROM_HERE_WHOLE else f"{value:.2g}"


def _chance(chance: float) -> str:
    if chance < 0.001:
        return "less than once in 1000"
    return f"{chance * PERCENT:.1f} times in 100"


def _choose(args: argparse.Namespace) -> int:
    import dataclasses

    from doffer.planning.evenness.choose import choose
    from doffer.planning.evenness.figures import WEIGHING
    from doffer.planning.evenness.wish import Wish, gentle_limits

    world = read_world(args)
    tables, blend, figures = world.tables, world.blend, world.figures
    is_tender = args.tender or world.is_tender
    limits = gentle_limits(tables, blend.fibres, is_tender=is_tender, most_ends=args.most_ends)
    if args.most_passes is not None:
        limits = dataclasses.replace(limits, most_passes=args.most_passes)
    if args.no_sandwich:
        limits = dataclasses.replace(limits, most_sandwich_g=0.0)
    wish = Wish(
        is_strict=not args.loose,
        distance_mm=None if args.distance_cm is None else args.distance_cm * MM_PER_CM,
        most_label_chance=args.label_pct / PERCENT,
        bias_frac=args.bias_points / PERCENT,
    )
    weighing = next(one.value for one in figures if one.key == WEIGHING)
    choice = choose(
        read_feed(args, blend, 1, weighing),
        tables=tables,
        figures=figures,
        fibres=blend.fibres,
        strand_tex=args.g_per_m * TEX_PER_G_PER_M,
        slope_lab=blend.slope_lab,
        limits=limits,
        wish=wish,
    )
    emit(args, choice, _choose_text(choice))
    return 0


def _choose_text(choice: Choice) -> Iterator[str]:
    yield choice.sentence
    if choice.by_passes:
        yield "The gentlest way by passes:"
        yield from aligned(
            ("passes", "sets", "g a set", "drawn", "apart", "low to high", "length left", "kg lost", "hours"),
            [_option_row(one) for one in choice.by_passes],
        )
    extra = choice.extra_pass
    if extra.lost_g is not None and extra.minutes is not None:
        yield f"One more pass costs {extra.lost_g:.0f} g of fibre and {extra.minutes:.0f} minutes."
    if choice.matters:
        yield f"What matters most: {choice.matters[0].figure.words}. {choice.n_tried} ways were tried."


def _option_row(one: Option) -> Sequence[object]:
    drawn = " x ".join(map(str, one.ends)) or "no"
    belt = " in one" if one.sandwich_g else ""
    return (
        one.passes,
        one.layers,
        f"{one.set_g:.0f}{belt}",
        drawn,
        None if one.apart_de is None else f"{one.apart_de.mid:.1f}",
        None if one.apart_de is None else _range(one.apart_de),
        f"{one.length_frac:.0%}",
        None if one.cost.lost_g is None else f"{one.cost.lost_g / G_PER_KG:.2f}",
        None if one.cost.minutes is None else f"{one.cost.minutes / MIN_PER_H:.1f}",
    )


def _doublings(args: argparse.Namespace) -> int:
    from doffer.planning.evenness.doublings import doublings

    answer = doublings(
        sd_de=args.sd,
        want_de=args.want,
        shared_frac=args.shared,
        most_ends=args.most_ends,
        most_passes=args.most_passes,
    )
    emit(args, answer, _doublings_text(answer))
    return 0


def _doublings_text(answer: Doublings) -> Iterator[str]:
    yield f"{answer.sentence[0].upper()}{answer.sentence[1:]}"
    if answer.is_enough and answer.floor_de >= LEAST_TOLD:
        yield f"What all ends have in common leaves {answer.floor_de:.2f} however often it is doubled."
