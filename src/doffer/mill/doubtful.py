"""Weights that cannot be, or hardly: how a lot stood before a weighing, and the question when it differs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot
from typing import Final, NamedTuple

from doffer.fibre.moisture import MOST_REGAIN_FRAC
from doffer.mill import bridge, house
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.models import Lot, Run, Weighing
from doffer.mill.models.weighings import Branch, Moment
from doffer.mill.usual import say_mass
from doffer.tables.loader import Tables

MORE_FRAC: Final = (
    1.10  # weighed fibre of unknown dry weight: water comes and goes, a tenth more is asked about
)
LEFT_FRAC: Final = 0.90  # below this much of what stood there, fibre is gone; samples are smaller
TIMES: Final = 5.0  # a slipped decimal point is ten times; from here on the sentence says so
WIDE_SD: Final = 2.0  # 19 of 20 readings lie within this many standard deviations
AGAIN: Final = "Look at the tag, the empty container and the decimal point again, or say why it is right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """A lot before it was weighed [mg]: as weighed, and its oven-dry fibre where that was known."""

    mass_mg: int
    dry_mg: int | None
    form: str
    last: Weighing | None  # the weighing that says how its water was known


class _Before(NamedTuple):
    weighing: Weighing | None
    taken_mg: int  # went into machines since


def stood_now(lot: Lot) -> Stood:
    """The lot as it stands."""
    last = _last_standing(lot).weighing
    return Stood(mass_mg=lot.now_mass_mg, dry_mg=lot.now_dry_mg, form=lot.now_form, last=last)


def stood_before(lot: Lot, old: Weighing) -> Stood | None:
    """The lot as it stood when `old` was made, or None when that was its first weighing."""
    first = old
    while first.corrects is not None:
        first = first.corrects
    last, taken_mg = _last_standing(lot, before=first.pk)
    if last is None:
        return None
    rest_mg = max(0, last.net_mg - taken_mg)
    dry_mg = last.dry_mg
    if dry_mg is not None:
        dry_mg = round(dry_mg * rest_mg / last.net_mg) if last.net_mg else 0
    return Stood(mass_mg=rest_mg, dry_mg=dry_mg, form=last.form, last=last)


def _last_standing(lot: Lot, *, before: int | None = None) -> _Before:
    """The last weighing that says how a lot stood, as it was corrected, whenever that was."""
    rows = Weighing.objects.filter(lot=lot, corrects=None).exclude(moment=Moment.WASTE).order_by("-pk")
    if before is not None:
        rows = rows.filter(pk__lt=before)
    taken_mg = 0
    for row in rows.iterator():
        newest = row
        while (newer := Weighing.objects.filter(corrects=newest).first()) is not None:
            newest = newer
        if newest.moment != Moment.IN:
            return _Before(newest, taken_mg)
        taken_mg += newest.net_mg
    return _Before(None, taken_mg)


def oil_on_mg(lot: Lot) -> int:
    """Oil and finish on a lot as it stands [mg]: that of its last weighing, by what is left of it."""
    last = _last_standing(lot).weighing
    if last is None or last.net_mg == 0 or lot.now_form in bridge.RAW_FORMS:
        return 0
    return round(last.finish_mg * min(1.0, lot.now_mass_mg / last.net_mg))


def with_its_oil(lot: Lot, reading: Reading) -> Reading:
    """A reading with the oil that is on the lot, never more of it to the dry fibre than there was.

    ``oil = min(oil before, net x F / (1 + R + F))``, F oil over dry fibre before and R the water now.
    """
    oil_mg = oil_on_mg(lot)
    if not oil_mg:
        return reading
    oil_g = min(bridge.grams(oil_mg), reading.net_g)
    regain = bridge.regain_of(
        lot.fibre,
        form=lot.now_form,
        branch=reading.branch,
        rh_frac=reading.rh_frac,
        measured_frac=reading.measured_regain_frac,
        tables=bridge.current_tables(),
    )
    if regain is not None and lot.now_dry_mg:
        share = oil_mg / lot.now_dry_mg
        oil_g = min(oil_g, reading.net_g * share / (1 + regain + share))
    return replace(reading, finish_g=oil_g)


def ask_about_more(stood: Stood, new: Weighing, confirmation: str, *, most_frac: float = MORE_FRAC) -> None:
    """More fibre than stood there is asked about (QuestionError) until somebody says why it is right.

    Oven-dry fibre counts where it is known before and now, beyond what scale and moisture leave open; else
    the weight: up to `most_frac` of what it was, and no wet fibre holds more water than dripping fibre.
    """
    if confirmation.strip() or new.net_mg == 0:
        return
    code = new.lot.code
    if stood.mass_mg == 0:
        said = f"{_say(new.net_mg)} now, and nothing of it stood here"
        raise QuestionError(f"{code} was used up", (said,), AGAIN)
    if stood.dry_mg is not None and new.dry_mg is not None:
        is_more = new.dry_mg > stood.dry_mg + _left_open_mg(stood, new)
        said = f"{_say(new.dry_mg)} oven-dry now, {_say(stood.dry_mg)} before"
        is_ten = new.dry_mg > TIMES * stood.dry_mg
    elif stood.dry_mg is not None and new.branch == Branch.WET:
        is_more = new.net_mg > (1 + MOST_REGAIN_FRAC) * stood.dry_mg + new.finish_mg
        said = f"{_say(new.net_mg)} wet, and its dry fibre is {_say(stood.dry_mg)}"
        is_ten = is_more
    else:
        is_more = max(new.net_mg / most_frac, new.dry_mg or 0) > stood.mass_mg
        said = f"{_say(new.net_mg)} now, {_say(stood.mass_mg)} before"
        is_ten = new.net_mg > TIMES * stood.mass_mg
    if is_more:
        words = (said, "a slipped decimal point?") if is_ten else (said,)
        raise QuestionError(f"{code} holds more than stood there", words, AGAIN)


def ask_about_less(stood: Stood, new: Weighing, confirmation: str) -> None:
    """Much less fibre than stood there is asked about (QuestionError): where did it go?"""
    if confirmation.strip() or stood.mass_mg == 0:
        return
    if stood.dry_mg is not None and new.dry_mg is not None:
        is_less = new.dry_mg < LEFT_FRAC * stood.dry_mg
        said = f"{_say(new.dry_mg)} oven-dry now, {_say(stood.dry_mg)} before"
    elif stood.dry_mg is not None:
        is_less = new.net_mg < LEFT_FRAC * stood.dry_mg
        said = f"{_say(new.net_mg)} now, and its dry fibre alone was {_say(stood.dry_mg)}"
    else:
        was_wet = stood.last is not None and stood.last.branch == Branch.WET
        dries = was_wet or new.form != stood.form  # water, or grease and dirt, has gone meanwhile
        is_less = new.net_mg < stood.mass_mg * (1 / (1 + MOST_REGAIN_FRAC) if dries else LEFT_FRAC)
        said = f"{_say(new.net_mg)} now, {_say(stood.mass_mg)} before"
    if is_less:
        where = "Look at the scale again, or say where the rest went"
        raise QuestionError(f"Fibre of {new.lot.code} is gone", (said,), where)


def ask_about_balance(run: Run, confirmation: str) -> None:
    """A corrected weighing by which a stage gives more dry fibre than it took is asked about, as in a run."""
    outs = list(run.outputs.all())
    if confirmation.strip() or not outs:
        return
    ins = list(run.inputs.all())
    dry_out, dry_in = [row.dry_mg for row in outs], [row.dry_mg for row in ins]
    if None in dry_out:
        return
    most_mg = sum(row.mass_mg for row in ins) if None in dry_in else sum(dry_in)
    if sum(dry_out) > most_mg * house.number("ask_above_yield_frac"):
        of = "fibre as it was weighed" if None in dry_in else "dry fibre"
        said = f"{_say(sum(dry_out))} of dry fibre would have come out of {_say(most_mg)} of {of}"
        raise QuestionError(f"{run.stage.capitalize()} cannot make fibre", (said,), AGAIN)


def _left_open_mg(stood: Stood, new: Weighing) -> float:
    """Dry fibre that two weighings of the same lot may differ by [mg]: the scale, and their water.

    The scale as it is allowed for in a run, and one mark of it; the water by
    ``2 sqrt(s1^2 + s2^2) / (1 + R)`` of the dry fibre, s the standard deviation of each regain.
    """
    tables = bridge.current_tables()
    sd = hypot(_regain_sd(stood.last, tables), _regain_sd(new, tables))
    regain = bridge.maybe_frac(new.actual_regain_ppm) or 0.0
    mark_mg = max((w.scale.division_mg for w in (stood.last, new) if w is not None and w.scale), default=0)
    share = house.number("ask_above_yield_frac") - 1 + WIDE_SD * sd / (1 + regain)
    return (stood.dry_mg or 0) * share + mark_mg


def _regain_sd(weighing: Weighing | None, tables: Tables) -> float:
    """How well the water in a weighing is known [frac of dry fibre]; a room nobody read is anywhere usual."""
    if weighing is None or weighing.branch == Branch.MEASURED:
        return 0.0
    kind = tables.fibres[weighing.lot.fibre]
    if weighing.rh_ppm is not None:
        return tables.sorption[f"{kind.curve}/any/sd_frac"].value
    store, room = tables.plan_defaults["store_rh"], tables.plan_defaults["card_room_rh"]
    driest, dampest = (
        bridge.regain_of(
            kind.fibre,
            form=weighing.form,
            branch=Branch.DESORPTION,
            rh_frac=rh,
            measured_frac=None,
            tables=tables,
        )
        for rh in (store.low, room.high)
    )
    return ((dampest or 0.0) - (driest or 0.0)) / (2 * WIDE_SD)


def _say(mass_mg: int) -> str:
    return say_mass(bridge.grams(mass_mg), house.text("units"))
