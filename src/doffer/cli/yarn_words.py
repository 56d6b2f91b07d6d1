"""What the yarn verbs are given: fibre or lots, a frame, a yarn as it is said."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from doffer.cli.evenness_words import whole
from doffer.cli.mills import open_records
from doffer.cli.output import add_json_option
from doffer.cli.typed import number

if TYPE_CHECKING:
    from doffer.planning.yarn.reach import Partner
    from doffer.planning.yarn.spin_lot import Frame, SpinLot
    from doffer.process.yarn.draft import Gears
    from doffer.process.yarn.limits import YarnFibre
    from doffer.process.yarn.wish import YarnWish
    from doffer.tables.loader import Tables

G_PER_KG = 1000
PERCENT = 100
TEX_PER_G_PER_M = 1000
SYSTEMS = ("semi_worsted", "woollen", "worsted")


def fibre_words(words: argparse.ArgumentParser) -> None:
    """Fibre by name and figures, or lots of a mill."""
    words.add_argument("--lot", action="append", default=[], metavar="NUMBER", help="a lot of --mill")
    words.add_argument("--mill", metavar="NAME", help="whose lots, frames and figures: demo or mill")
    words.add_argument(
        "--fibre", action="append", default=[], metavar="NAME", help="fibre or breed; may be repeated"
    )
    for flag, low, high, text in (
        ("--share", 0.1, 100, "its share of the oven-dry blend, %%; once for each fibre"),
        ("--um", 8, 60, "its mean diameter; once for each fibre, else as is usual"),
        ("--cv-pct", 0, 60, "spread of its diameter, %%; once for each fibre, else as is usual"),
        ("--staple-mm", 5, 400, "its staple; once for each fibre, else as is usual"),
    ):
        words.add_argument(flag, action="append", type=number(low, high), default=[], metavar="N", help=text)
    words.add_argument("--strength", type=number(1, 200), metavar="N", help="staple strength, N/ktex")
    words.add_argument(
        "--mid-break-pct", type=number(0, 100), metavar="PCT", help="tender staples that break in the middle"
    )
    words.add_argument(
        "--short-pct", type=number(0, 90), metavar="PCT", help="fibre under 25 to 30 mm, where known"
    )


def frame_words(words: argparse.ArgumentParser, *, many: bool = False) -> None:
    """The spinning frame; with a mill its own, unless said otherwise."""
    words.add_argument(
        "--system",
        action="append",
        default=[],
        choices=SYSTEMS,
        help="way of spinning (semi_worsted)" + ("; may be repeated" if many else ""),
    )
    words.add_argument("--spindles", type=whole(1, 1000), metavar="N", help="spindles of the frame")
    words.add_argument("--rpm", type=number(100, 20000), help="speed of its spindles")
    words.add_argument("--efficiency-pct", type=number(1, 100), metavar="PCT", help="time it runs, of 100")
    words.add_argument(
        "--roving-g-per-m",
        action="append",
        type=number(0.1, 50),
        default=[],
        metavar="G",
        help="roving that stands ready; may be repeated (made to fit)",
    )
    words.add_argument("--low-draft", type=number(1, 100), metavar="N", help="least draft of the frame")
    words.add_argument("--high-draft", type=number(1, 200), metavar="N", help="most draft of the frame")
    words.add_argument(
        "--draft-constant", type=number(1, 100000), metavar="N", help="draft = constant / teeth"
    )
    words.add_argument(
        "--teeth", type=_teeth, default=(), metavar="A-B", help="change pinions, such as 24-60"
    )
    words.add_argument("--relax-pct", type=number(-10, 45), metavar="PCT", help="length lost in the wash")
    words.add_argument("--oil-pct", type=number(0, 20), metavar="PCT", help="oil in the yarn off the frame")


def yarn_words(words: argparse.ArgumentParser) -> None:
    """The yarn that is wished and its twist."""
    words.add_argument("yarn", metavar="YARN", help='as it is said, such as "3-ply 425 m/100g" or "2/8 Nm"')
    twist_words(words)
    words.add_argument("--working", action="store_true", help="show how the figures came about")
    add_json_option(words)


def twist_words(words: argparse.ArgumentParser) -> None:
    """Twist of the singles and of the plies, where it is not the usual."""
    words.add_argument("--sock", action="store_true", help="sock yarn: firmer twist")
    words.add_argument(
        "--alpha-m", type=number(5, 300), metavar="F", help="metric twist factor of the singles"
    )
    words.add_argument(
        "--twist-k",
        type=number(1, 100),
        metavar="K",
        help="twist factor as turns/cm x sqrt(tex), instead of --alpha-m",
    )
    words.add_argument("--ply-ratio", type=number(0, 2), metavar="R", help="ply over singles twist")
    words.add_argument("--ply-back", type=number(1, 2000), metavar="T", help="turns of a ply-back test")
    words.add_argument(
        "--contraction-pct", type=number(-10, 40), metavar="PCT", help="length lost in plying, as measured"
    )


def _teeth(text: str) -> tuple[int, ...]:
    low, dash, high = text.partition("-")
    try:
        first, last = int(low), int(high if dash else low)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” must look like 24-60") from None
    if not 0 < first <= last < MOST_TEETH:
        raise argparse.ArgumentTypeError(f"“{text}” must rise, from 1 to {MOST_TEETH}")
    return tuple(range(first, last + 1))


MOST_TEETH = 400


@dataclass(frozen=True, slots=True)
class Outfit:
    """Tables, fibre, frames as the words say; `inputs` of a mill's lots, None without one.

    `is_frame_usual`: nobody said how fast or how wide the frame is, so that of a small mill is taken.
    `usual`: figures of the fibre that nobody measured or said.
    """

    tables: Tables
    fibre: YarnFibre
    frames: tuple[Frame, ...]
    label_regain_frac: float
    inputs: Any = None
    is_frame_usual: bool = False
    usual: tuple[str, ...] = ()

    def partners(self) -> tuple[tuple[Partner, ...], frozenset[str]]:
        """Lots of the mill that may be added, and whose they are; none without a mill."""
        if self.inputs is None:
            return (), frozenset()
        from doffer.mill.queries.yarn_partners import yarn_partners

        found = yarn_partners(self.inputs)
        return found, frozenset(one.owner for one in found)

    def dry_g(self) -> float:
        """Oven-dry fibre of the mill's lots [g]; a kilogram where nothing was weighed."""
        if self.inputs is None:
            return float(G_PER_KG)
        from doffer.mill.queries.yarn_partners import clean_dry_g

        return clean_dry_g(self.inputs)

    def spin_lot(self, finished_mass_g: float | None) -> SpinLot:
        """What is spun: of a finished weight that is known, else as the mill's yields say."""
        from doffer.errors import InputError
        from doffer.planning.yarn.spin_lot import SpinLot, known_mass
        from doffer.process.yarn.limits import is_tender

        if self.inputs is not None and finished_mass_g is None:
            from doffer.mill.queries.yarn_partners import spin_lot_of

            return spin_lot_of(self.inputs)
        if finished_mass_g is None:
            raise InputError("--finished-kg", None, "the yarn there will be, or lots of a mill with --lot")
        mass = known_mass(finished_mass_g)
        return SpinLot(
            name="fibre",
            fibre=self.fibre,
            single=mass,
            plied=mass,
            label_regain_frac=self.label_regain_frac,
            is_tender=is_tender(self.fibre, self.tables),
        )


def find_outfit(args: argparse.Namespace) -> Outfit:
    """Fibre and frames of a mill's lots, or as they were typed.

    Raises
    ------
    InputError
        No fibre and no lot, or figures that are not once for each fibre.
    """
    from doffer.errors import InputError
    from doffer.tables.loader import load_tables

    if args.lot and args.fibre:
        raise InputError("--lot and --fibre", (*args.lot, *args.fibre), "one or the other")
    if args.lot:
        return _of_mill(args)
    if not args.fibre:
        raise InputError("--fibre", None, "the fibre or breed; or lots of a mill with --lot")
    tables = load_tables()
    fibre, regain_frac = _typed_fibre(args, tables)
    systems = args.system or [SYSTEMS[0]]
    frames = tuple(_typed_frame(args, system, tables) for system in dict.fromkeys(systems))
    is_usual = None in (args.spindles, args.rpm, args.efficiency_pct)
    said = (("diameter", args.um), ("diameter spread", args.cv_pct), ("staple", args.staple_mm))
    usual = tuple(name for name, given in said if not given)
    return Outfit(tables, fibre, frames, regain_frac, is_frame_usual=is_usual, usual=usual)


def _of_mill(args: argparse.Namespace) -> Outfit:
    from doffer.errors import InputError

    open_records(args)
    from doffer.mill.queries.yarn_inputs import yarn_inputs
    from doffer.mill.queries.yarn_partners import frames_of, owner_of, spin_lot_of

    inputs = yarn_inputs(lots=args.lot)
    owner_of(inputs)
    frames = frames_of(inputs)
    if args.system or not frames:
        systems = dict.fromkeys(args.system or SYSTEMS[:1])
        frames = tuple(_typed_frame(args, system, inputs.tables) for system in systems)
    else:
        frames = tuple(_said_over(args, frame) for frame in frames)
    lot = spin_lot_of(inputs)
    for flag in ("um", "cv_pct", "staple_mm", "share"):
        if getattr(args, flag):
            raise InputError(f"--{flag.replace('_', '-')}", getattr(args, flag), "left out with --lot")
    guessed = {name for part in inputs.parts for name in part.guessed}
    return Outfit(
        inputs.tables,
        _with_tests(args, inputs.fibre),
        frames,
        lot.label_regain_frac,
        inputs=inputs,
        usual=tuple(sorted(guessed - {"staple spread"})),
    )


def _typed_fibre(args: argparse.Namespace, tables: Tables) -> tuple[YarnFibre, float]:
    """Fibre of the names and figures, and its agreed regain."""
    from doffer.errors import InputError
    from doffer.fibre.kinds import find_kind
    from doffer.fibre.moisture import agreed_regain_frac
    from doffer.process.evenness.passage import Part
    from doffer.process.yarn.limits import YarnFibre

    n_fibres = len(args.fibre)
    shares = _once_each(args.share, "--share", n_fibres) or [PERCENT / n_fibres] * n_fibres
    total = sum(shares)
    if abs(total - PERCENT) > SHARE_DUST:
        raise InputError("--share", total, "100 together")
    given = {
        flag: _once_each(getattr(args, flag), f"--{flag.replace('_', '-')}", n_fibres)
        for flag in ("um", "cv_pct", "staple_mm")
    }
    parts, regain_frac, slippery_frac = [], 0.0, 0.0
    for place, name in enumerate(args.fibre):
        kind = find_kind(tables, name)
        row, breed = kind.fibre, kind.breed
        share_frac = shares[place] / total
        usual_cv = breed.diameter_sd_um / breed.diameter_um if breed else row.diameter_cv_pct / PERCENT
        parts.append(
            Part(
                name=name if args.fibre.count(name) == 1 else f"{place + 1}:{name}",
                share_frac=share_frac,
                diameter_um=_given(given["um"], place, breed.diameter_um if breed else row.diameter_um),
                diameter_cv_frac=_given(given["cv_pct"], place, usual_cv * PERCENT) / PERCENT,
                staple_mm=float(
                    _given(given["staple_mm"], place, breed.staple_mm if breed else row.staple_mm)
                ),
                staple_cv_frac=row.staple_cv_pct / PERCENT,
                density_g_cm3=row.density_g_cm3,
            )
        )
        regain_frac += share_frac * agreed_regain_frac(tables, row.fibre)
        slippery_frac += share_frac if row.slippery else 0.0
    fibre = YarnFibre(tuple(parts), slippery_frac=min(1.0, slippery_frac))
    return _with_tests(args, fibre), regain_frac


SHARE_DUST = 1e-6


def _with_tests(args: argparse.Namespace, fibre: YarnFibre) -> YarnFibre:
    """Strength and short fibre as they were typed."""
    from doffer.process.yarn.limits import BreakPoint

    if args.strength is not None:
        fibre = replace(fibre, strength_n_per_ktex=args.strength)
    if args.mid_break_pct is not None:
        fibre = replace(fibre, break_point=BreakPoint.MIDDLE, break_frac=args.mid_break_pct / PERCENT)
    if args.short_pct is not None:
        fibre = replace(fibre, short_fibre_frac=args.short_pct / PERCENT)
    return fibre


def _once_each(given: Sequence[float], flag: str, n_fibres: int) -> list[float]:
    from doffer.errors import InputError

    if given and len(given) != n_fibres:
        raise InputError(flag, len(given), f"given once for each of the {n_fibres} fibres, or not at all")
    return list(given)


def _given(given: Sequence[float], place: int, usual: float) -> float:
    return given[place] if given else usual


def _typed_frame(args: argparse.Namespace, system: str, tables: Tables) -> Frame:
    """A frame of the words; what they leave open is usual in a small mill (table machine_settings)."""
    from doffer.planning.yarn.spin_lot import Frame
    from doffer.process.yarn.limits import System
    from doffer.process.yarn.wish import SpinMachine

    rpm, spindles, efficiency = (
        tables.machine_settings[f"{key}/spin"].value for key in ("spindle_rpm", "spindles", "efficiency")
    )
    machine = SpinMachine(f"{system.replace('_', '-')} frame", system=System(system), spindle_rpm=rpm)
    frame = Frame(
        machine, n_spindles=None if spindles is None else round(spindles), efficiency_frac=efficiency
    )
    return _said_over(args, frame)


def _said_over(args: argparse.Namespace, frame: Frame) -> Frame:
    """A frame with what the words say of it in place of what was known."""
    machine = frame.machine
    gears = _gears(args)
    return replace(
        frame,
        machine=replace(
            machine,
            gears=machine.gears if gears is None else gears,
            rovings_tex=tuple(grams * TEX_PER_G_PER_M for grams in args.roving_g_per_m)
            or machine.rovings_tex,
            spindle_rpm=machine.spindle_rpm if args.rpm is None else args.rpm,
        ),
        n_spindles=frame.n_spindles if args.spindles is None else args.spindles,
        efficiency_frac=frame.efficiency_frac
        if args.efficiency_pct is None
        else args.efficiency_pct / PERCENT,
        relaxation_frac=frame.relaxation_frac if args.relax_pct is None else args.relax_pct / PERCENT,
        oil_frac=frame.oil_frac if args.oil_pct is None else args.oil_pct / PERCENT,
    )


def _gears(args: argparse.Namespace) -> Gears | None:
    from doffer.errors import InputError
    from doffer.process.yarn.draft import Gears

    said = (args.low_draft, args.high_draft, args.draft_constant)
    if said == (None, None, None) and not args.teeth:
        return None
    if args.low_draft is None or args.high_draft is None:
        raise InputError("--low-draft and --high-draft", None, "given both, with pinions or without")
    return Gears(args.low_draft, args.high_draft, constant=args.draft_constant, teeth=args.teeth)


def read_wish(args: argparse.Namespace, outfit: Outfit, frame: Frame) -> YarnWish:
    """The yarn of the words, on a frame.

    Raises
    ------
    InputError
        A yarn whose plies nobody said.
    """
    from doffer.errors import InputError
    from doffer.exchange.counts import parse_count
    from doffer.process.yarn.wish import YarnUse, YarnWish

    count = parse_count(args.yarn, outfit.tables)
    if count.plies is None:
        raise InputError("yarn", args.yarn, f"said with its plies, such as 2-ply {args.yarn}")
    return YarnWish(
        finished_tex=count.yarn_tex,
        plies=count.plies,
        label_regain_frac=outfit.label_regain_frac,
        use=YarnUse.SOCK if args.sock else YarnUse.KNITTING,
        twist_factor=_factor(args, outfit.tables),
        ply_ratio=args.ply_ratio,
        ply_back_tpm=args.ply_back,
        take_up=None if args.contraction_pct is None else 1 - args.contraction_pct / PERCENT,
        relaxation_frac=frame.relaxation_frac,
        oil_frac=frame.oil_frac,
    )


def _factor(args: argparse.Namespace, tables: Tables) -> float | None:
    """Metric twist factor, however it was said."""
    from doffer.errors import InputError
    from doffer.process.yarn.twist import FactorKind, convert_factor

    if args.twist_k is None:
        return None if args.alpha_m is None else float(args.alpha_m)
    if args.alpha_m is not None:
        raise InputError("--alpha-m and --twist-k", (args.alpha_m, args.twist_k), "one of them")
    return convert_factor(
        tables,
        factor=args.twist_k * CM_PER_M,
        given=FactorKind.ALPHA_TEX,
        wanted=FactorKind.ALPHA_METRIC,
    )


CM_PER_M = 100


MASS_AT = 2  # behind name, diameter and, if it is said, staple


def read_partner(text: str, tables: Tables) -> Partner:
    """A lot to add, from words such as `merino:19.5:0.8kg` or `merino:19.5:80:0.8kg` with its staple.

    Raises
    ------
    InputError
        Words that lack its diameter or weight.
    """
    from doffer.errors import InputError
    from doffer.exchange.numbers import parse_number
    from doffer.exchange.quantities import parse_mass_g
    from doffer.fibre.kinds import find_kind
    from doffer.planning.yarn.reach import OWN, Partner
    from doffer.process.yarn.limits import one_fibre

    name, *figures = (piece.strip() for piece in text.split(":"))
    if not name or len(figures) not in (2, 3):
        raise InputError("--add", text, "a fibre with diameter and weight, such as merino:19.5:0.8kg")
    row = find_kind(tables, name).fibre
    staple_mm = float(parse_number(figures[1], f"staple of {name}")) if len(figures) > MASS_AT else None
    fibre = one_fibre(
        diameter_um=float(parse_number(figures[0], f"diameter of {name}")),
        diameter_cv_frac=row.diameter_cv_pct / PERCENT,
        density_g_cm3=row.density_g_cm3,
        staple_mm=float(row.staple_mm) if staple_mm is None else staple_mm,
        name=name,
    )
    slippery_frac = 1.0 if row.slippery else 0.0
    mass_g = parse_mass_g(figures[-1], f"weight of {name}", unit="kg")
    return Partner(name, OWN, replace(fibre, slippery_frac=slippery_frac), mass_g)
