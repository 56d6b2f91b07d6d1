"""`doffer yarn`: plan a yarn, what a lot can become, what would lift it, the first metres, skeins."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from doffer.cli.output import add_json_option, emit, working_lines
from doffer.cli.typed import number
from doffer.cli.yarn_text import (
    become_text,
    fibre_text,
    first_text,
    frame_hours,
    instead_text,
    plan_text,
    put_up_text,
    reach_text,
    usual_frame_words,
)
from doffer.cli.yarn_words import (
    G_PER_KG,
    PERCENT,
    fibre_words,
    find_outfit,
    frame_words,
    read_partner,
    read_wish,
    yarn_words,
)

if TYPE_CHECKING:
    from doffer.planning.yarn.first_metres import FirstMetres
    from doffer.process.yarn.planned import YarnPlan

EXAMPLE = """\
examples:
  doffer yarn plan "3-ply 425 m/100g" --sock --fibre wool --um 22 --cv-pct 25 --roving-g-per-m 3
  doffer yarn plan "2-ply 250 m/100g" --fibre wool --keep-m 4750 --finished-kg 1.534
  doffer yarn become --fibre alpaca --um 24.5 --finished-kg 8 --spindles 8 --rpm 3000 --efficiency-pct 75
  doffer yarn become --mill demo --lot L001
  doffer yarn reach "2-ply 800 m/100g" --fibre wool --um 34 --staple-mm 60 --dry-kg 2 --add merino:19.5:0.8kg
  doffer yarn test "2-ply 230 m/100g" --fibre wool --weighed 2.2 2.25 2.21 2.19 2.24 --washed 10:9.7
  doffer yarn put-up "425 m/100g" --kg 7.86 --test-g 40
"""
STATES = ("bobbin", "plied", "finished")


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb and of those below it."""
    words = verbs.add_parser(
        "yarn",
        help="plan a yarn: draft, twist, limits, skeins; what a lot can become",
        description=(
            "Plan a yarn from its finished count back to roving and twist, and say what fibre can become. "
            "Limits of spinning are common practice until a mill's own end breaks say better."
        ),
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    acts = words.add_subparsers(metavar="ACT", required=True)
    _plan_words(
        _act(acts, "plan", "draft, twist and verdict for a wished yarn, and what comes nearest", _plan)
    )
    _become_words(
        _act(acts, "become", "yarns that fibre can become, the finest that runs well first", _become)
    )
    _reach_words(_act(acts, "reach", "which other lot lifts fibre to a finer count", _reach))
    _test_words(_act(acts, "test", "what the first metres say, and what to set for the rest", _test))
    _put_up_words(_act(acts, "put-up", "skeins of a promise out of a finished weight", _put_up))


def _act(
    acts: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    text: str,
    act: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    words = acts.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
    words.set_defaults(run=act)
    return words


def _plan_words(words: argparse.ArgumentParser) -> None:
    yarn_words(words)
    fibre_words(words)
    frame_words(words)
    words.add_argument("--finished-kg", type=number(0.01, 5000), help="finished yarn there will be")
    words.add_argument(
        "--keep-m",
        type=number(1, 1e7),
        metavar="M",
        help="metres to keep: how fine --finished-kg must be spun",
    )


def _become_words(words: argparse.ArgumentParser) -> None:
    fibre_words(words)
    frame_words(words, many=True)
    words.add_argument("--finished-kg", type=number(0.01, 5000), help="finished yarn there will be")
    words.add_argument("--skein-g", type=number(1, 5000), default=100.0, help="weight of a skein (100)")
    words.add_argument(
        "--rank",
        choices=("finest", "softest", "evenest", "quickest"),
        default="finest",
        help="order (finest)",
    )
    words.add_argument("--all", action="store_true", help="every number of plies, and what cannot be spun")
    words.add_argument(
        "--working", action="store_true", help="show how the figures of the first yarn came about"
    )
    add_json_option(words)


def _reach_words(words: argparse.ArgumentParser) -> None:
    yarn_words(words)
    fibre_words(words)
    frame_words(words)
    words.add_argument("--dry-kg", type=number(0.01, 5000), help="oven-dry fibre of the lot")
    words.add_argument(
        "--add",
        action="append",
        default=[],
        metavar="FIBRE:UM[:MM]:KG",
        help="fibre that may be added, with diameter, staple and what is free (with --lot: the mill's stock)",
    )


def _test_words(words: argparse.ArgumentParser) -> None:
    yarn_words(words)
    fibre_words(words)
    frame_words(words)
    words.add_argument(
        "--weighed",
        nargs="+",
        type=number(0.001, 10000),
        default=[],
        metavar="G",
        help="weight of each length",
    )
    words.add_argument("--each-m", type=number(0.5, 1000), default=10.0, metavar="M", help="its length (10)")
    words.add_argument("--state", choices=STATES, default=STATES[0], help="what was weighed (bobbin)")
    words.add_argument(
        "--regain-pct",
        type=number(0, 40),
        metavar="PCT",
        help="regain where it was weighed (as on the label)",
    )
    words.add_argument(
        "--turns", nargs="+", type=number(1, 3000), default=[], metavar="T", help="turns/m by untwisting"
    )
    words.add_argument(
        "--washed", nargs="+", type=_before_after, default=[], metavar="BEFORE:AFTER", help="lengths of loops"
    )
    words.add_argument(
        "--plied-back", nargs="+", type=number(1, 2000), default=[], metavar="T", help="ply-back turns/m"
    )
    words.add_argument("--finished-kg", type=number(0.01, 5000), help="finished yarn there will be")


def _put_up_words(words: argparse.ArgumentParser) -> None:
    words.add_argument("yarn", metavar="YARN", help='as it is said, such as "425 m/100g"')
    words.add_argument("--kg", type=number(0.001, 5000), required=True, help="finished yarn")
    words.add_argument("--skein-g", type=number(1, 5000), default=100.0, help="weight of a skein (100)")
    words.add_argument("--test-g", type=number(0, 5000), default=0.0, help="taken as a test skein first")
    words.add_argument("--ends-g", type=number(0, 5000), default=0.0, help="left on bobbins")
    words.add_argument("--tie-m", type=number(0, 20), default=0.0, help="spent on the ties of a skein")
    words.add_argument(
        "--promise", choices=("metres", "grams", "both"), default="metres", help="what the label promises"
    )
    words.add_argument("--skein-cv-pct", type=number(0, 50), metavar="PCT", help="skeins differ in weight by")
    add_json_option(words)


def _before_after(text: str) -> tuple[float, float]:
    from doffer.errors import InputError
    from doffer.exchange.numbers import parse_number

    before, _, after = text.partition(":")
    try:
        return float(parse_number(before, "before")), float(parse_number(after, "after"))
    except InputError:
        raise argparse.ArgumentTypeError(f"“{text}” must look like 10:9.7, before and after") from None


def _plan(args: argparse.Namespace) -> int:
    from doffer.errors import InputError
    from doffer.planning.yarn.keep_metres import spin_finer
    from doffer.planning.yarn.nearest import nearest_yarns

    outfit = find_outfit(args)
    frame = outfit.frames[0]
    wish = read_wish(args, outfit, frame)
    finer = None
    if args.keep_m is not None:
        if args.finished_kg is None:
            raise InputError("--finished-kg", None, "given with --keep-m")
        finer = spin_finer(
            wish,
            outfit.fibre,
            frame.machine,
            outfit.tables,
            wanted_length_m=args.keep_m,
            finished_mass_g=args.finished_kg * G_PER_KG,
        )
        if finer.is_finer:
            wish = finer.plan.wish
    partners, owners = outfit.partners()
    found = nearest_yarns(
        wish,
        outfit.fibre,
        [one.machine for one in outfit.frames],
        outfit.tables,
        dry_mass_g=outfit.dry_g(),
        partners=partners,
        owners=owners,
    )
    hours = frame_hours(found.plan, frame, args.finished_kg)
    lines = [finer.sentence, ""] if finer is not None else []
    lines += [fibre_text(outfit.fibre, outfit.usual), ""]
    lines += [*plan_text(found.plan, hours, outfit.tables), *instead_text(found)]
    if hours is not None and outfit.is_frame_usual:
        lines.append(usual_frame_words(frame))
    data = {
        **_plan_data(found.plan),
        "possible": found.is_possible,
        "reason": found.reason,
        "instead": [_instead_data(one) for one in found.instead],
        "frame_hours": hours,
        "frame_is_usual": outfit.is_frame_usual,
        "fibre_is_usual": outfit.usual,
        "keep_metres": None
        if finer is None
        else {"length_m_per_100g": finer.length_m_per_100g, "possible": finer.is_possible},
    }
    emit(args, data, lines + _workings(args, found.plan.workings))
    return 0


def _plan_data(plan: YarnPlan) -> dict[str, Any]:
    """A plan in figures, each count with its basis; the machine and the fibre as asked are left out."""
    names = (
        *(
            "finished",
            "greige",
            "single",
            "roller",
            "obtained",
            "fibre_only_tex",
            "single_twist",
            "ply_twist",
        ),
        *("retraction_frac", "take_up", "relaxation_frac", "oil_frac", "draft", "needed_roving_tex"),
        *("fibres", "fewest", "finest_hard_tex", "finest_comfortable_tex", "limit_cv_frac", "single_cv_frac"),
        *("plied_cv_frac", "length", "verdict", "speed_m_per_min", "warnings", "workings"),
    )
    return {name: getattr(plan, name) for name in names}


def _instead_data(one: Any) -> dict[str, Any]:
    return {
        "way": one.way,
        "sentence": one.sentence,
        "length_m_per_100g": one.length_m_per_100g,
        "plies": None if one.plan is None else one.plan.wish.plies,
        "system": None if one.plan is None else one.plan.machine.system,
        "verdict": None if one.plan is None else one.plan.verdict,
        "add": None if one.reach is None else one.reach.partner.name,
        "share_frac": None if one.reach is None or one.reach.best is None else one.reach.best.share_frac,
    }


def _workings(args: argparse.Namespace, workings: Any) -> list[str]:
    if not args.working:
        return []
    return ["", "How it came about:", *(line for one in workings for line in working_lines(one))]


def _become(args: argparse.Namespace) -> int:
    from doffer.planning.yarn.become import RankBy, becomings
    from doffer.planning.yarn.become_workings import becoming_workings

    outfit = find_outfit(args)
    lot = outfit.spin_lot(args.finished_kg and args.finished_kg * G_PER_KG)
    rows = becomings(lot, outfit.frames, outfit.tables, skein_mass_g=args.skein_g, rank_by=RankBy(args.rank))
    data = {
        "finished": {"single": lot.single, "plied": lot.plied, "regain_frac": lot.label_regain_frac},
        "diameter_um": lot.fibre.diameter_um,
        "staple_mm": lot.fibre.staple_mm,
        "frame_is_usual": outfit.is_frame_usual,
        "fibre_is_usual": outfit.usual,
        "yarns": [_row_data(row) for row in rows],
    }
    lines = [fibre_text(outfit.fibre, outfit.usual), *become_text(lot, rows, everything=args.all)]
    if outfit.is_frame_usual:
        lines.append(usual_frame_words(outfit.frames[0]))
    workings = becoming_workings(rows[0], lot, outfit.tables) if args.working else ()
    emit(args, data, lines + _workings(args, workings))
    return 0


def _row_data(row: Any) -> dict[str, Any]:
    names = (
        *("plies", "finished", "single", "fibre_only_tex", "single_twist_tpm", "ply_twist_tpm", "fibres"),
        *("fewest_hard", "fewest_comfortable", "single_cv_frac", "plied_cv_frac", "length", "skeins"),
        *("softness", "verdict", "risk", "frame_h"),
    )
    return {
        "product": row.product.name,
        "length_m_per_100g": row.product.length_m_per_100g,
        "thickness_class": row.thickness.name,
        "system": row.frame.machine.system,
        "frame": row.frame.machine.name,
        **{name: getattr(row, name) for name in names},
    }


def _reach(args: argparse.Namespace) -> int:
    from doffer.errors import InputError
    from doffer.planning.yarn.reach import OWN, lots_that_reach
    from doffer.process.yarn.plan import plan_yarn

    outfit = find_outfit(args)
    frame = outfit.frames[0]
    wish = read_wish(args, outfit, frame)
    partners, owners = outfit.partners()
    typed = tuple(read_partner(text, outfit.tables) for text in args.add)
    if not typed and outfit.inputs is None:
        raise InputError("--add", None, "the fibre that may be added, or lots of a mill with --lot")
    dry_g = outfit.dry_g() if args.dry_kg is None else args.dry_kg * G_PER_KG
    plan = plan_yarn(wish, outfit.fibre, frame.machine, outfit.tables)
    found = lots_that_reach(
        wish,
        outfit.fibre,
        (*partners, *typed),
        owners=owners | {OWN},
        machine=frame.machine,
        dry_mass_g=dry_g,
        tables=outfit.tables,
    )
    data = {"fibres": plan.fibres, "fewest": plan.fewest, "lots": [_reach_data(one) for one in found]}
    workings = [lift.working for one in found for lift in (one.holds, one.runs_well) if lift is not None]
    emit(args, data, reach_text(plan, found) + _workings(args, workings))
    return 0


def _reach_data(one: Any) -> dict[str, Any]:
    return {
        "lot": one.partner.name,
        "owner": one.partner.owner,
        "holds": _lift_data(one.holds),
        "runs_well": _lift_data(one.runs_well),
        "flags": one.flags,
    }


def _lift_data(lift: Any) -> dict[str, Any] | None:
    if lift is None:
        return None
    return {
        "share_frac": lift.share_frac,
        "dry_mass_g": lift.dry_mass_g,
        "enough": lift.is_enough,
        "fibres": lift.plan.fibres,
        "verdict": lift.plan.verdict,
    }


def _test(args: argparse.Namespace) -> int:
    from doffer.planning.yarn.first_metres import correct_from_first_metres
    from doffer.process.yarn.plan import plan_yarn

    outfit = find_outfit(args)
    frame = outfit.frames[0]
    plan = plan_yarn(read_wish(args, outfit, frame), outfit.fibre, frame.machine, outfit.tables)
    done = correct_from_first_metres(plan, _first(args), outfit.tables)
    promise = done.length_m(finished_mass_g=args.finished_kg * G_PER_KG) if args.finished_kg else None
    data = {
        "found": done.found,
        "roving_tex": done.roving_tex,
        "draft": done.draft,
        "changes": {"draft": done.changes_draft, "twist": done.changes_twist, "ply": done.changes_ply},
        "twist_tpm": done.twist_tpm,
        "left_alone": done.left_alone,
        "length_m": None if promise is None else {"left_alone": promise[0], "corrected": promise[1]},
        "sentences": done.sentences,
        "plan": _plan_data(done.after),
    }
    workings = (*(one.working for one in done.found), *done.after.workings)
    emit(args, data, first_text(done, promise) + _workings(args, workings))
    return 0


def _first(args: argparse.Namespace) -> FirstMetres:
    from doffer.planning.yarn.first_metres import FirstMetres
    from doffer.process.yarn.basis import State

    return FirstMetres(
        weighed_g=tuple(args.weighed),
        reeled_m=args.each_m,
        state=State(args.state),
        room_regain_frac=None if args.regain_pct is None else args.regain_pct / PERCENT,
        turns_tpm=tuple(args.turns),
        washed=tuple(args.washed),
        ply_back_tpm=tuple(args.plied_back),
    )


def _put_up(args: argparse.Namespace) -> int:
    from doffer.exchange.counts import parse_count
    from doffer.fibre.count import all_counts
    from doffer.planning.put_up import M_PER_100G_TEX
    from doffer.process.yarn.put_up import Promise, SkeinWish, skeins, usual_skein_spread
    from doffer.tables.loader import load_tables

    tables = load_tables()
    tex = parse_count(args.yarn, tables).yarn_tex
    usual_cv, short_chance = usual_skein_spread(tables)
    wish = SkeinWish(args.skein_g / 100 * M_PER_100G_TEX / tex, args.skein_g, Promise(args.promise))
    found = skeins(
        wish,
        lot_mass_g=args.kg * G_PER_KG,
        count_tex=tex,
        ends_mass_g=args.ends_g,
        test_mass_g=args.test_g,
        tie_length_m=args.tie_m,
        skein_cv_frac=usual_cv if args.skein_cv_pct is None else args.skein_cv_pct / PERCENT,
        short_chance_frac=short_chance,
    )
    counts = all_counts(tables, count_tex=tex)
    emit(args, {"skeins": found, "wish": wish, "counts": counts}, put_up_text(found, wish, counts))
    return 0
