"""Whether the stock gives the blend that is asked for, and the most it gives of it in the same shares."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.errors import RefusedError
from doffer.mill.queries.bench import Bench
from doffer.office.bench_asked import Asked
from doffer.office.bench_blend import SHORT_G, Blend, Portion
from doffer.pictures.wording import say
from doffer.process.portions import apportion

NOT_WRITTEN = "This blend is not written down"
SMALL_FRAC = 0.01  # a scale may round a lot up by a hundredth of what there is, not more
TRIES = 60


def _there_g(portion: Portion) -> float:
    """All there is of a lot in its colour, as it lies on the scale now [g]; what was dyed apart is none."""
    return _there_dry_g(portion) * (1 + portion.lot.actual_regain_frac)


def _there_dry_g(portion: Portion) -> float:
    return portion.lot.dry_mass_g - portion.lot.dyed_apart_dry_g


def _slack_g(portion: Portion) -> float:
    """What the scale may round beyond what there is [g]."""
    return max(SHORT_G, min(portion.step_g, SMALL_FRAC * _there_g(portion)))


def lacking(blend: Blend) -> tuple[Portion, ...]:
    """Lots of which the blend takes more than there is."""
    return tuple(one for one in blend.portions if one.weighed_g > _there_g(one) + _slack_g(one))


def most_g(blend: Blend) -> float | None:
    """The most of this very blend that what is free gives, in steps of the scale [g]; None: none at all."""
    step_g = blend.portions[0].step_g
    shares = [one.weighed_g / blend.total_g for one in blend.portions]
    limits = [max(0.0, one.free_g) / share for one, share in zip(blend.portions, shares, strict=True)]
    most = int(min(limits) / step_g)
    for steps in range(most, max(0, most - TRIES), -1):
        grams = [count * step_g for count in apportion(steps, shares)]
        pairs = zip(grams, blend.portions, strict=True)
        if min(grams) > 0 and all(mass_g <= one.free_g + SHORT_G for mass_g, one in pairs):
            return steps * step_g
    return None


def less_of_it(asked: Asked, blend: Blend | None, system: str) -> tuple[str, str] | None:
    """The offer of the same blend in a smaller weight: its words and address; None where enough is there."""
    if blend is None or not (lacking(blend) or any(one.is_short for one in blend.portions)):
        return None
    found_g = most_g(blend)
    if found_g is None:
        return None
    words = f"The most this stock gives of this blend: {say(found_g, 'g', system)}"
    return words, asked.address(mass=f"{round(found_g, 1):g} g")


def check_kept(asked: Asked, bench: Bench, blend: Blend, system: str) -> None:
    """Leave to write down the blend that stands on the screen, and no other.

    Raises
    ------
    RefusedError
        Something typed could not be read, a lot cannot go in, or there is too little of one.
    """
    if asked.errors:
        raise RefusedError(NOT_WRITTEN, tuple(asked.errors.values()), "Mend what is marked, then keep it")
    out = cannot_go_in(bench, asked.lots)
    if out:
        raise RefusedError(NOT_WRITTEN, out, "Leave it out first, so that you see the blend without it")
    short = lacking(blend)
    if short:
        found_g = most_g(blend)
        mend = (
            "None of this blend can be made: take another lot"
            if found_g is None
            else f"The most this stock gives of this blend is {say(found_g, 'g', system)}"
        )
        raise RefusedError(NOT_WRITTEN, tuple(_too_little(one, system) for one in short), mend)


def _too_little(one: Portion, system: str) -> str:
    there, takes = say(_there_g(one), "g", system), say(one.weighed_g, "g", system)
    lacks = say(one.weighed_g - _there_g(one), "g", system)
    apart_g = one.lot.dyed_apart_dry_g * (1 + one.lot.actual_regain_frac)
    apart = f" in its colour ({say(apart_g, 'g', system)} more was dyed apart)" if apart_g else ""
    return f"{one.lot.code} has {there}{apart} and the blend takes {takes}, {lacks} too little"


def cannot_go_in(bench: Bench, codes: Sequence[str]) -> tuple[str, ...]:
    """Why lots that were asked for cannot go in, a few words each."""
    here = {lot.code: lot for lot in bench.lots}
    told = []
    for code in codes:
        lot = here.get(code)
        if lot is None:
            told.append(f"{code} is not on the bench: it is used up, raw, or there is no such lot")
        elif not lot.is_usable:
            told.append(f"{code} cannot go in: {', '.join(lot.why_not)}")
    return tuple(told)


def whole_scaled(blend: Blend) -> tuple[dict[str, float], float]:
    """Shares of the blend on the screen, and its oven-dry weight [g]; all lots by the same factor.

    The scale may have rounded a lot up to a gram more than there is: then the whole mix is that much smaller.
    """
    total_g = sum(one.dry_g for one in blend.portions)
    factor = min(1.0, *(_there_dry_g(one) / one.dry_g for one in blend.portions))
    return {one.lot.code: one.dry_g / total_g for one in blend.portions}, total_g * factor
