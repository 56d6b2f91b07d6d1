"""What the first metres of a yarn say, in sentences: what is proven, and what to set for the rest."""

from __future__ import annotations

from doffer.planning.put_up import M_PER_100G_TEX
from doffer.planning.yarn.first_found import Corrected, FirstMetres, Found, YarnTest
from doffer.process.yarn.limits import Verdict
from doffer.working import percent

NOTHING_FRAC = 0.0005  # a difference that rounds to nothing is none


def words_of(done: Corrected, first: FirstMetres) -> tuple[str, ...]:
    """Everything in the order in which a person works: what was found, then what to set."""
    said = [_found_words(one, first) for one in done.found]
    said += [
        f"The {one.test} differs from length to length by {_pct(one.measured.spread_frac)}, more than is "
        "usual: look for the cause in the roving and the rolls before turning gears."
        for one in done.found
        if one.is_uneven
    ]
    said += [_left_words(done), *_settings_words(done)]
    if done.after.verdict is not Verdict.OK and done.before.verdict is Verdict.OK:
        said += done.after.warnings
    return tuple(said)


def _found_words(one: Found, first: FirstMetres) -> str:
    """One test: figure, difference, and whether it is proven."""
    what, many, few, unit, digits = {
        "count": (f"{_lengths(one.measured.n)} of {first.reeled_m:g} m", "heavier", "lighter", " tex", 4),
        "twist": (f"{_readings(one.measured.n)} by untwisting", "more", "less", " turns/m", 3),
        "length kept in the wash": (f"{_readings(one.measured.n)} of washing", "more", "less", "", 3),
        "ply-back": (f"{_readings(one.measured.n)} of ply-back", "more", "less", " turns/m", 3),
    }[one.test]
    share = one.test == "length kept in the wash"
    measured, planned = (
        _pct(value) + " of the length kept" if share else f"{value:.{digits}g}{unit}"
        for value in (one.measured.mean, one.planned_value)
    )
    head = f"{what}: {measured}, planned {planned}"
    if abs(one.difference_frac) < NOTHING_FRAC:
        return f"{head}: as planned."
    way = many if one.difference_frac > 0 else few
    low, high = (end / one.planned_value - 1 for end in (one.measured.low, one.measured.high))
    if one.is_proven:
        return f"{head}: {_pct(abs(one.difference_frac))} {way}, and that is proven."
    needed = "" if one.enough is None else f"; about {one.enough} would prove it"
    basis = ", the spread being taken as usual" if one.measured.is_spread_usual else ""
    taken = " It is taken all the same: what it replaces was only supposed." if one.is_used else ""
    return (
        f"{head}: {_pct(abs(one.difference_frac))} {way}, which so few do not prove "
        f"(95 %: {_signed(low)} to {_signed(high)}{basis}{needed}).{taken}"
    )


def _left_words(done: Corrected) -> str:
    left_m = M_PER_100G_TEX / done.left_alone.tex
    wished_m = M_PER_100G_TEX / done.before.finished.tex
    if abs(done.kept_frac - 1) < NOTHING_FRAC:
        return f"As it runs it comes out at {left_m:.0f} m in 100 g, as wished."
    way = "more" if done.kept_frac > 1 else "less"
    count = done.one(YarnTest.COUNT)
    by = ", by roving and draft alone," if count is not None and not count.is_used else ""
    return (
        f"Left as it is{by} it comes out at {left_m:.0f} m in 100 g where {wished_m:.0f} are wished: "
        f"{_pct(abs(done.kept_frac - 1))} {way} of the same weight."
    )


def _settings_words(done: Corrected) -> list[str]:
    said = []
    if done.draft is None:
        said.append("No draft the frame can be set to brings this roving to the count: draw it anew.")
    elif done.changes_draft:
        set_to = f" ({done.draft.setting})" if done.draft.setting else ""
        ran = done.before.to_set
        was = "" if ran is None else f" instead of {ran.draft:.2f}"
        after_m = M_PER_100G_TEX / done.after.obtained.tex if done.after.draft else None
        gives = "" if after_m is None else f"; then {after_m:.0f} m in 100 g"
        said.append(f"Set the draft to {done.draft.draft:.2f}{set_to}{was}{gives}.")
    else:
        said.append("Leave the draft as it is.")
    if done.changes_twist:
        is_tested = any(one.test == "twist" and one.is_used for one in done.found)
        comes = f", so that {done.after.single_twist.tpm:.0f} come out" if is_tested else ""
        said.append(f"Set the twist to {done.twist_tpm:.0f} turns/m{comes}.")
    if done.changes_ply:
        said.append(f"Ply with {done.after.ply_twist.tpm:.0f} turns/m {done.after.ply_twist.direction}.")
    return said


def _lengths(n: int) -> str:
    return "1 length" if n == 1 else f"{n} lengths"


def _readings(n: int) -> str:
    return "1 reading" if n == 1 else f"{n} readings"


def _pct(share: float) -> str:
    return percent(share, digits=1)


def _signed(share: float) -> str:
    return ("+" if share > 0 else "−" if share < 0 else "") + _pct(abs(share))
