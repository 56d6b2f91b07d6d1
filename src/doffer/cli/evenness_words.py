"""What the evenness verbs are given: lots with shares, fibres and colours, the route, own figures."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doffer.cli.output import add_json_option
from doffer.cli.typed import number

if TYPE_CHECKING:
    from doffer.planning.evenness.figures import Figure
    from doffer.process.evenness.passage import Feed, Passage
    from doffer.tables.loader import Tables

G_PER_KG = 1000
PERCENT = 100
TEX_PER_G_PER_M = 1000
MM_PER_CM = 10
SHAPE = "wool=80, black=20:alpaca or black=20:alpaca:24,1,3"
OWN_SHAPE = "card_hold_up=58 or card_hold_up=58:52:64"
MOST_PASSES, MOST_ENDS, MOST_LAYERS = 6, 12, 1000


@dataclass(frozen=True, eq=False, slots=True)
class Blend:
    """Parts with their fibres, and the slope of their colour (None: colours not given for all)."""

    parts: tuple[Any, ...]
    fibres: tuple[str, ...]
    slope_lab: Any


def blend_words(words: argparse.ArgumentParser) -> None:
    """Lots, weight, count and figures: alike in every verb that reckons a route."""
    words.add_argument(
        "--part",
        action="append",
        default=[],
        metavar="NAME=PCT[:FIBRE][:L,a,b]",
        help="a lot, its share of the oven-dry weight; its fibre, unless the name says it; its colour",
    )
    words.add_argument("--kg", type=number(0.05, 1000), help="oven-dry weight of the lot, kg")
    words.add_argument(
        "--g-per-m", type=number(0.02, 50), default=3.0, metavar="G", help="weight of the strand (3)"
    )
    words.add_argument(
        "--own",
        action="append",
        default=[],
        metavar="FIGURE=VALUE[:LOW:HIGH]",
        help="figure of your own machine, as in table evenness_figures",
    )
    words.add_argument("--m", type=number(0.01, 0.95), help="mixing constant M of colours, if you know yours")
    words.add_argument(
        "--distance-cm", type=number(5, 1000), metavar="CM", help="from where it is looked at (40)"
    )
    add_json_option(words)


def route_words(words: argparse.ArgumentParser) -> None:
    """How the lot is laid and what it goes through."""
    words.add_argument(
        "--layers", type=whole(1, MOST_LAYERS), required=True, metavar="N", help="sets of layers"
    )
    words.add_argument(
        "--passes", type=whole(0, MOST_PASSES), default=1, metavar="N", help="through the picker (1)"
    )
    words.add_argument(
        "--draw",
        action="append",
        default=[],
        type=whole(1, MOST_ENDS),
        metavar="ENDS",
        help="a drawing of so many ends; again for the next",
    )
    words.add_argument(
        "--shared", type=number(0, 1), metavar="RHO", help="part of the unevenness all ends share"
    )
    words.add_argument(
        "--sandwich-g",
        type=number(0, 2000),
        default=0.0,
        metavar="G",
        help="a sandwich as laid, of a set at most",
    )
    words.add_argument("--handfuls", action="store_true", help="pure handfuls in any order, not in turn")
    words.add_argument("--whole-ends", action="store_true", help="begin and end with whole layers, not half")
    words.add_argument("--in-step", action="store_true", help="cans are changed at the end of a set")
    words.add_argument("--no-toss", action="store_true", help="what is picked is not tossed in the bin")
    words.add_argument("--no-card", action="store_true", help="stop before the card")


def whole(low: int, high: int) -> Any:
    """A whole number in a range."""
    read = number(low, high)

    def whole_number(text: str) -> int:
        value = read(text)
        if value != int(value):
            raise argparse.ArgumentTypeError(f"“{text}” must be a whole number")
        return int(value)

    return whole_number


def read_blend(args: argparse.Namespace, tables: Tables) -> Blend:
    """Parts from words such as `black=20:alpaca:24,1,3`.

    Raises
    ------
    InputError
        No part, a part twice, shares that do not make 100, a colour for some parts only.
    """
    from doffer.errors import InputError

    read = [_read_part(text, tables) for text in args.part]
    if not read:
        raise InputError("--part", None, f"given once for each lot, such as {SHAPE}")
    names = [part.name for part, _, _ in read]
    if len(set(names)) < len(names):
        raise InputError("--part", ", ".join(names), "each lot once")
    total = sum(part.share_frac for part, _, _ in read)
    if abs(total - 1) > 1e-6:
        raise InputError("shares of the parts", f"{total * PERCENT:g} %", "100 % together")
    labs = [lab for _, _, lab in read]
    if any(lab is None for lab in labs) and any(lab is not None for lab in labs):
        raise InputError("--part", "a colour for some lots only", "with a colour for every lot, or for none")
    parts = tuple(part for part, _, _ in read)
    slope = None if labs[0] is None else _slope(args, tables, labs, parts)
    return Blend(parts, tuple(fibre for _, fibre, _ in read), slope)


def _read_part(text: str, tables: Tables) -> tuple[Any, str, Any]:
    from doffer.errors import InputError
    from doffer.exchange.lab import parse_lab
    from doffer.exchange.numbers import parse_number
    from doffer.fibre.kinds import find_fibre
    from doffer.process.evenness.passage import Part

    head, *more = (piece.strip() for piece in text.split(":"))
    name, sign, share = (piece.strip() for piece in head.partition("="))
    if not (name and sign and share) or len(more) > 2:
        raise InputError("--part", text, f"a lot such as {SHAPE}")
    colour = more.pop() if more and "," in more[-1] else ""
    fibre = find_fibre(tables, more[0] if more else name)
    share_frac = float(parse_number(share.rstrip("% "), f"share of {name}")) / PERCENT
    if share_frac <= 0:
        raise InputError(f"share of {name}", share, "above 0 %")
    part = Part(
        name,
        share_frac,
        fibre.diameter_um,
        fibre.diameter_cv_pct / PERCENT,
        fibre.staple_mm,
        fibre.staple_cv_pct / PERCENT,
        fibre.density_g_cm3,
        fibre.fibre,
    )
    return part, fibre.fibre, parse_lab(colour, f"colour of {name}") if colour else None


def _slope(args: argparse.Namespace, tables: Tables, labs: Sequence[Any], parts: Sequence[Any]) -> Any:
    import numpy as np

    from doffer.fibre.colour.blend import default_mixing, stearns_noechel
    from doffer.fibre.colour.spectrum import light
    from doffer.planning.evenness.slope import slope_lab, spectra_of_labs

    seen_in = light(tables)
    mixing = default_mixing(tables) if args.m is None else stearns_noechel(args.m)
    shares = np.array([part.share_frac for part in parts])
    return slope_lab(spectra_of_labs(np.array(labs), seen_in), shares, seen_in, mixing=mixing)


def read_figures(words: Iterable[str], tables: Tables) -> tuple[Figure, ...]:
    """Usual figures with the typed ones in their place.

    Raises
    ------
    InputError
        A word that is no figure, or a figure nobody knows.
    """
    import dataclasses

    from doffer.errors import InputError
    from doffer.exchange.numbers import parse_number
    from doffer.planning.evenness.figures import WORDS, usual_figures
    from doffer.working import Status

    usual = {one.key: one for one in usual_figures(tables)}
    for text in words:
        key, sign, numbers = (piece.strip() for piece in text.partition("="))
        if not sign or key not in WORDS:
            raise InputError("--own", text, f"such as {OWN_SHAPE}; figures are {', '.join(WORDS)}")
        values = [float(parse_number(piece, WORDS[key])) for piece in numbers.split(":")]
        if len(values) not in (1, 3):
            raise InputError("--own", text, f"a value, or a value with both ends, such as {OWN_SHAPE}")
        value, low, high = values if len(values) == 3 else values * 3
        usual[key] = dataclasses.replace(
            usual[key], value=value, low=low, high=high, status=Status.OWN, source="typed", note=""
        )
    return tuple(usual.values())


def read_feed(args: argparse.Namespace, blend: Blend, layers: int, weighing_sd_g: float) -> Feed:
    """What is laid on the belt."""
    from doffer.process.evenness.passage import Feed, Laying

    return Feed(
        args.kg * G_PER_KG,
        blend.parts,
        layers,
        Laying.HANDFULS if getattr(args, "handfuls", False) else Laying.LAYERS,
        has_half_layer_ends=not getattr(args, "whole_ends", False),
        weighing_sd_g=weighing_sd_g,
    )


def read_passage(
    args: argparse.Namespace, blend: Blend, figures: Sequence[Figure], tables: Tables
) -> Passage:
    """The route as typed, with likely figures."""
    from doffer.planning.evenness.figures import SHARED, WEIGHING, sandwich_enters_g, usual_steps
    from doffer.process.evenness.passage import Cans, Card, Draw, Passage, Toss

    value = {one.key: one.value for one in figures}
    cans = Cans.IN_STEP if args.in_step else Cans.APART
    shared = value[SHARED] if args.shared is None else args.shared
    draws = tuple(Draw(ends, float(ends), shared, cans) for ends in args.draw)
    feed = read_feed(args, blend, args.layers, value[WEIGHING])
    laid_g = min(args.sandwich_g, feed.set_mass_g)
    sandwich_g = sandwich_enters_g(figures, tables, laid_g=laid_g)
    steps = usual_steps(figures, passes=args.passes, draws=draws, sandwich_g=sandwich_g)
    kept = [
        step
        for step in steps
        if not (args.no_toss and isinstance(step, Toss))
        and not (args.no_card and isinstance(step, Card | Draw))
    ]
    return Passage(feed, tuple(kept), args.g_per_m * TEX_PER_G_PER_M)
