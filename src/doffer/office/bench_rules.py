"""Whose lots and which ticks an answer may use: what is not allowed is said at once, with the way out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.mill.colours import unlike
from doffer.mill.queries.bench import Bench, BenchLot
from doffer.office.bench_asked import FIND, Asked
from doffer.office.bench_lots import AGREED, is_allowed, stock_lots
from doffer.office.bench_stock import cannot_go_in
from doffer.pictures.words import say_list


@dataclass(frozen=True, slots=True)
class Stopped:
    """Why there is no answer, in a sentence; then links that lead on, each with its words."""

    problem: str
    ways: tuple[tuple[str, str], ...] = ()


def stopped_by(asked: Asked, bench: Bench) -> Stopped | None:
    """What stands against an answer; None when nothing does."""
    if asked.want == FIND:
        return _ticks(asked, bench)
    out = cannot_go_in(bench, asked.lots)
    if out:
        return Stopped(f"{'; '.join(out)}. Leave it out, or read it dry by the instrument first.")
    used_up = [lot.code for lot in _lots(asked.lots, bench) if lot.free_dry_g <= 0]
    if used_up:
        return Stopped(f"Nothing of {say_list(used_up)} is free: open orders want it. Leave it out.")
    theirs = [lot for lot in _lots(asked.lots, bench) if not is_allowed(lot, asked, bench)]
    return _not_ours(theirs, asked, bench) if theirs else _ticks(asked, bench)


def none_to_use(asked: Asked, bench: Bench) -> Stopped:
    """Why no lot may go in: read in another way than the shade, not free, or not read at all."""
    mine = [
        lot
        for lot in bench.lots
        if is_allowed(lot, asked, bench) and (not asked.only_fibre or lot.fibre == asked.only_fibre)
    ]
    read = [lot for lot in mine if lot.pad is not None and lot.pad.form == bench.pad.form]
    apart = Counter(unlike(bench.pad, lot.pad) for lot in read if lot.pad is not None)
    reasons, n_apart = apart.most_common(1)[0] if apart else ((), 0)
    if reasons and n_apart == len(read):
        shade = next((one for one in bench.standards if one.shade == asked.shade), None)
        name = shade.name if shade else "this colour"
        ways = () if shade is None else ((f"Say how {name} was read", f"/shades/{shade.shade}/restate/"),)
        reason = "; ".join(reasons)
        return Stopped(
            f"No lot may go in, because they were not read in the way {name} was: {reason}. Say how it was "
            "read, or read it again in the way of the lots.",
            ways,
        )
    if any(lot.is_usable for lot in mine):
        return Stopped(
            "No lot may go in: what was read is wanted by orders, ticked as “not”, or none is left."
        )
    return Stopped(
        "No lot may go in: none of this fibre was read dry by an instrument. Read a lot, or allow other "
        "fibre above."
    )


def owners_of_answer(asked: Asked, bench: Bench) -> frozenset[str]:
    """Owners whose fibre the question allows: the mill, the one that was chosen, or those who agreed."""
    return frozenset(lot.owner for lot in bench.lots if is_allowed(lot, asked, bench))


def _lots(codes: Sequence[str], bench: Bench) -> list[BenchLot]:
    by_code = {lot.code: lot for lot in bench.lots}
    return [by_code[code] for code in codes if code in by_code]


def _not_ours(theirs: Sequence[BenchLot], asked: Asked, bench: Bench) -> Stopped:
    """Fibre that may not be used as the question stands, and how it might be asked."""
    whose = "; ".join(
        f"{lot.code} is {'the mill’s own fibre' if lot.is_own else f'fibre of {lot.owner_name}'}"
        for lot in theirs
    )
    chosen = _lots(asked.lots, bench)
    ways = [
        (f"Ask by agreement {one.id}", asked.address(whose=f"{AGREED}{one.id}"))
        for one in bench.agreements
        if {lot.code for lot in chosen} <= set(one.lots)
    ]
    first = chosen[0]
    if len({lot.owner for lot in chosen}) == 1:
        words = (
            "Ask with the mill’s own fibre" if first.is_own else f"Ask with fibre of {first.owner_name} alone"
        )
        ways.append((words, asked.address(whose="" if first.is_own else first.owner)))
    else:
        ways.append(("Put them on the bench together", asked.address(want="")))
    mend = "Ask with that owner’s fibre alone, or record on the bench that the owners agreed"
    return Stopped(f"{whose}, and nobody’s fibre goes with another’s without their yes. {mend}.", tuple(ways))


def _ticks(asked: Asked, bench: Bench) -> Stopped | None:
    """Lots that must, or must not, be in it, held against what may go in."""
    both = sorted(asked.must & asked.never)
    if both:
        return Stopped(f"{say_list(both)} is ticked as “must” and as “not”. Take one of the two ticks away.")
    may = {lot.code for lot in stock_lots(asked, bench)}
    missing = sorted(asked.must - may) if asked.want == FIND else []
    if not missing:
        return None
    out = cannot_go_in(bench, missing)
    here = {lot.code: lot for lot in bench.lots if lot.is_usable}
    told = [*out, *(_why_not(here[code], asked, bench) for code in missing if code in here)]
    return Stopped(
        f"{'; '.join(told)}. Take its tick “must” away, or choose whose fibre and which fibre above."
    )


def _why_not(lot: BenchLot, asked: Asked, bench: Bench) -> str:
    if not is_allowed(lot, asked, bench):
        whose = "the mill’s own" if lot.is_own else f"fibre of {lot.owner_name}"
        return f"{lot.code} must be in it and is {whose}, which may not go in as you ask"
    if lot.free_dry_g <= 0:
        return f"{lot.code} must be in it and nothing of it is free"
    return f"{lot.code} must be in it and is other fibre than you ask for"
