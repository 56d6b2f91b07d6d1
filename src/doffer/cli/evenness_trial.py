"""`doffer evenness trial` and `learn`: figures of one's own machines from typed numbers."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from doffer.cli.evenness_mill import read_world
from doffer.cli.evenness_words import PERCENT, read_passage, whole
from doffer.cli.output import add_json_option, aligned, emit
from doffer.cli.typed import number

if TYPE_CHECKING:
    from doffer.planning.evenness.learn import Learned

MOST_G = 5000


def trial_words(words: argparse.ArgumentParser) -> None:
    """One kind of trial at a time."""
    words.add_argument(
        "--clean-down",
        action="append",
        type=number(0.1, MOST_G),
        metavar="G",
        help="grams that came off the card after the feed stopped; again for the next time",
    )
    words.add_argument(
        "--tuft",
        action="append",
        type=number(0.0001, MOST_G),
        metavar="G",
        help="weight of a tuft pulled at random; 20 are good",
    )
    words.add_argument("--red-pct", metavar="PCT;PCT;...", help="share of red in piece after piece")
    words.add_argument(
        "--piece-g", type=number(0.01, 100), default=2.0, metavar="G", help="weight of a piece (2)"
    )
    words.add_argument(
        "--can",
        action="append",
        metavar="L;L;...",
        help="shade of one can at the same places as the others; again for the next can",
    )
    words.add_argument(
        "--sd", type=number(0, 1000), help="spread of samples: between which ends the truth lies"
    )
    words.add_argument("--pieces", type=whole(2, 10000), metavar="N", help="samples behind --sd")
    words.add_argument(
        "--length-mm",
        nargs=3,
        type=number(1, 1000),
        metavar=("BEFORE", "SD", "AFTER"),
        help="mean fibre length before a pass, its standard deviation, mean after: what a pass breaks",
    )
    words.add_argument(
        "--fibres", type=whole(2, 100000), default=200, metavar="N", help="fibres measured each time (200)"
    )
    words.add_argument(
        "--hand-cards",
        nargs=2,
        metavar="L,a,b",
        help="colour of two hand cards, the second with one share raised: how colour follows shares",
    )
    words.add_argument(
        "--moved-pct", type=number(0.5, 50), default=5.0, metavar="PCT", help="the share was raised by (5)"
    )
    add_json_option(words)


def learn_words(words: argparse.ArgumentParser) -> None:
    """What was measured after the route."""
    words.add_argument(
        "--spread",
        type=number(0.001, 50),
        required=True,
        metavar="POINTS",
        help="measured spread of the first part's share, points of 100",
    )
    words.add_argument("--pieces", type=whole(2, 10000), required=True, metavar="N", help="pieces measured")
    words.add_argument(
        "--piece-g", type=number(0.001, 1000), default=1.0, metavar="G", help="weight of a piece (1)"
    )
    words.add_argument(
        "--strip-g",
        type=number(0.01, 1000),
        metavar="G",
        help="the pieces are of strips of this weight, each judged by itself; else from all over the lot",
    )
    words.add_argument("--strips", type=whole(1, 1000), default=1, metavar="N", help="strips (1)")


def trial(args: argparse.Namespace) -> int:
    """Reckon the one trial that was typed."""
    from doffer.errors import InputError

    kinds = {
        "--clean-down": (args.clean_down, _clean_down),
        "--tuft": (args.tuft, _tufts),
        "--red-pct": (args.red_pct, _pulse),
        "--can": (args.can, _cans),
        "--sd": (args.sd, _samples),
        "--length-mm": (args.length_mm, _lengths),
        "--hand-cards": (args.hand_cards, _slope),
    }
    given = {flag: act for flag, (value, act) in kinds.items() if value is not None}
    if len(given) != 1:
        raise InputError("trial", ", ".join(given) or None, f"one of {', '.join(kinds)}")
    data, lines = next(iter(given.values()))(args)
    emit(args, data, lines)
    return 0


def _numbers(text: str, field: str) -> Any:
    import numpy as np

    from doffer.exchange.numbers import parse_number

    return np.array([float(parse_number(piece, field)) for piece in text.split(";") if piece.strip()])


def _clean_down(args: argparse.Namespace) -> tuple[Any, list[str]]:
    import numpy as np

    from doffer.planning.evenness.calibrate import hold_up_from_clean_down

    found = hold_up_from_clean_down(np.array(args.clean_down))
    return found, [_found_text("The card holds", found, "g", figure="card_hold_up")]


def _tufts(args: argparse.Namespace) -> tuple[Any, list[str]]:
    import numpy as np

    from doffer.planning.evenness.calibrate import clump_from_tufts

    found = clump_from_tufts(np.array(args.tuft))
    return found, [_found_text("The clumps weigh", found, "g")]


def _pulse(args: argparse.Namespace) -> tuple[Any, list[str]]:
    import numpy as np

    from doffer.planning.evenness.calibrate import hold_up_from_pulse

    shares = _numbers(args.red_pct, "share of red") / PERCENT
    middles_g = (np.arange(shares.size) + 0.5) * args.piece_g
    found = hold_up_from_pulse(middles_g, shares)
    lines = [_found_text("The card holds", found, "g", figure="card_hold_up")]
    return found, lines + ([f"{found.note[0].upper()}{found.note[1:]}."] if found.note else [])


def _cans(args: argparse.Namespace) -> tuple[Any, list[str]]:
    import numpy as np

    from doffer.errors import InputError
    from doffer.planning.evenness.calibrate import correlation_of_cans

    rows = [_numbers(text, "shade of a can") for text in args.can]
    if len({row.size for row in rows}) != 1:
        raise InputError("--can", ", ".join(str(row.size) for row in rows), "as many places in every can")
    found = correlation_of_cans(np.stack(rows))
    return found, [_found_text("The ends have in common", found, "", figure="end_correlation")]


def _samples(args: argparse.Namespace) -> tuple[Any, list[str]]:
    from doffer.errors import InputError
    from doffer.planning.evenness.chi_square import sd_interval

    if args.pieces is None:
        raise InputError("--pieces", None, "given beside --sd: how many samples it comes from")
    low, high = sd_interval(args.sd, n=args.pieces)
    data = {"value": args.sd, "low": low, "high": high, "n": args.pieces}
    return data, [
        f"A spread of {args.sd:g} from {args.pieces} samples: the truth lies between {low:.3g} and "
        f"{high:.3g} in 95 of 100 cases."
    ]


def _lengths(args: argparse.Namespace) -> tuple[Any, list[str]]:
    from doffer.planning.evenness.breakage import fit_breakage, length_after, normal_lengths

    before_mm, sd_mm, after_mm = args.length_mm
    before = normal_lengths(mean_mm=before_mm, sd_mm=sd_mm)
    rate = fit_breakage(
        before, after_mean_mm=after_mm, before_sd_mm=sd_mm, n_before=args.fibres, n_after=args.fibres
    )
    later = {passes: length_after(before, rate_k=rate.k, passes=passes).mean_mm for passes in (2, 3)}
    text = (
        f"One pass breaks at a rate of {rate.k:.3f} ({rate.low:.3f} to {rate.high:.3f}). If every pass "
        f"breaks alike, two would leave {later[2]:.0f} mm and three {later[3]:.0f} mm."
    )
    if not rate.is_proven:
        text += (
            " But the two lengths differ by less than their error: nothing is proven. Measure more fibres."
        )
    return {"rate": rate, "mean_mm_after": later}, [text]


def _slope(args: argparse.Namespace) -> tuple[Any, list[str]]:
    import numpy as np

    from doffer.exchange.lab import parse_lab
    from doffer.planning.evenness.slope import measured_slope

    first, second = (np.array(parse_lab(text, "colour of a hand card")) for text in args.hand_cards)
    slope = measured_slope(first, second, moved_share_frac=args.moved_pct / PERCENT)
    return {"slope_de_per_point": slope / PERCENT}, [
        f"One point of the share moves the colour by {slope / PERCENT:.2f}."
    ]


def _found_text(what: str, found: Any, unit: str, *, figure: str = "") -> str:
    def said(value: float) -> str:
        return f"{value:.3g}"

    ends = f"{said(found.low)} to {said(found.high)}"
    text = f"{what} {said(found.value)}{' ' + unit if unit else ''} ({ends}), from {found.n} readings."
    if figure and found.low >= 0 <= found.value:
        text += f" Say it as --own {figure}={said(found.value)}:{said(found.low)}:{said(found.high)}."
    return text


def learn(args: argparse.Namespace) -> int:
    """Bring hold-ups and grab up to date by one measured spread."""
    import numpy as np

    from doffer.fibre.variation import Signals
    from doffer.planning.evenness.label_risk import specimen_sampling_variance
    from doffer.planning.evenness.learn import Measured
    from doffer.planning.evenness.learn import learn as learned_from

    world = read_world(args)
    tables, blend, figures = world.tables, world.blend, world.figures
    passage = read_passage(args, blend, figures, tables)
    first = Signals((blend.parts[0].name,), np.eye(len(blend.parts))[:1])
    floor = float(specimen_sampling_variance(blend.parts, specimen_g=args.piece_g)[0]) ** 0.5
    measured = Measured(
        passage,
        first,
        args.piece_g,
        args.spread / PERCENT,
        args.pieces,
        floor_sd=floor,
        within_g=args.strip_g or 0.0,
        n_strips=args.strips,
    )
    answer = learned_from(figures, [measured])
    emit(args, answer, _learned_text(answer, {one.key: one for one in figures}))
    return 0


def _learned_text(answer: Learned, before: dict[str, Any]) -> Iterator[str]:
    moved = [one for one in answer.figures if one != before[one.key]]
    if not moved:
        yield "This spread tells nothing new of these machines: take more pieces, or another route."
        return
    yield from aligned(
        ("figure", "was", "now", "from", "to", "whose"),
        [
            (
                one.words,
                f"{before[one.key].value:.3g}",
                f"{one.value:.3g}",
                f"{one.low:.3g}",
                f"{one.high:.3g}",
                "own" if one.is_own else "still a guess, narrower",
            )
            for one in moved
        ],
    )
    ratio = answer.grab_to_hold_up
    if ratio is not None:
        yield f"Grab over what the picker holds: {ratio.value:.2g} ({ratio.low:.2g} to {ratio.high:.2g})."
    if answer.sentence:
        yield answer.sentence
