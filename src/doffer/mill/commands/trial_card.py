"""The trial card of a blend recipe: carded, measured, and only then the full mix is released."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

import numpy as np

from doffer.errors import ConflictError, InputError, RefusedError
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import published_error
from doffer.fibre.colour.verdict import Tolerance, judge, usual_tolerance
from doffer.mill import bridge, colours
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.colours import FIRST_LIGHT
from doffer.mill.commands.join import join_allowed, refuse_held
from doffer.mill.commands.readings import Seen, book_readings
from doffer.mill.commands.recipes import MG_PER_CG, check_open, recipe_of, step_to
from doffer.mill.commands.samples import keep_trial_as_sample
from doffer.mill.commands.shades import tolerance_of
from doffer.mill.dyed import undyed_dry
from doffer.mill.mix_checks import ANEW, against_mix, is_learnt, out_of_reach
from doffer.mill.models import BlendRecipe, ColourReading
from doffer.mill.models.blends import RecipeState
from doffer.mill.models.colour import Verdict
from doffer.mill.palette import target_of
from doffer.mill.promised import promised
from doffer.mill.sittings import Sitting, sittings
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Measured:
    """What the trial card said: difference to the target, verdict, words, how far the prediction was off.

    `sample` is the number of the sample blend that it became, for fitting M; None where it teaches nothing:
    it is of one lot, or its lots cannot make it in any shares, and a person has not said that it is right.
    """

    code: str
    version: int
    series: uuid.UUID
    de: float
    verdict: str
    words: tuple[str, ...]
    prediction_off_de: float
    sample: int | None


def card_trial(by: Person | None, code: str, *, note: str = "") -> str:
    """The trial card was weighed and carded; gives the recipe's state."""
    person = require(by, Right.READ_COLOUR)
    with write():
        recipe = recipe_of(code)
        check_open(recipe, "Another card")
        step_to(person, recipe, RecipeState.CARDED, note=note)
        announce(person, "recipe", code, "trial card made")
        return str(recipe.state)


def measure_trial(
    by: Person | None, code: str, *, seen: Seen, note: str = "", key: uuid.UUID | None = None
) -> Measured:
    """Keep what the instrument says of the trial card, hold it against the target, and learn from it.

    The card becomes a sample blend for the mixing constant, and its difference decides the release. A card
    that its lots cannot make teaches nothing before a person says that it is right (`learn_from_card`).

    Raises
    ------
    RefusedError
        Read wet, from a photo, or unlike the target's pad; then nothing is kept.
    """
    person = require(by, Right.READ_COLOUR)
    with write():
        body: dict[str, object] = {"code": code, "seen": repr(seen), "note": note}
        earlier = done_before(key, "measure_trial", body)
        if earlier:
            series = uuid.UUID(str(earlier.pop("series")))
            return Measured(**{**earlier, "series": series, "words": tuple(earlier["words"])})
        recipe = recipe_of(code)
        check_open(recipe, "Another reading")
        act = f"The trial card of {code} is not held against its target"
        if seen.is_wet or seen.is_photo:
            reason = "it was read wet" if seen.is_wet else "a photo is good for a first guess only"
            raise RefusedError(act, (reason,), "Dry the card and read it with the instrument")
        colours.check_alike(colours.pad_of(recipe), seen.pad, act)
        if recipe.state == RecipeState.PROPOSED:
            step_to(person, recipe, RecipeState.CARDED)
        made = book_readings(person, seen, {"recipe": recipe})
        sitting = sittings(ColourReading.objects.filter(series=made.series))[0]
        done = _told(person, recipe, sitting)
        step_to(person, recipe, RecipeState.MEASURED, note=note, series=made.series, de=done.de)
        announce(person, "recipe", code, f"trial card measured: {done.verdict}, {done.de:.1f}")
        result: dict[str, object] = {name: getattr(done, name) for name in Measured.__slots__}
        kept = {**result, "series": str(done.series), "words": list(done.words)}
        remember(key, "measure_trial", body, kept, person)
        return done


def _told(person: Person, recipe: BlendRecipe, sitting: Sitting) -> Measured:
    """The card beside its target and its prediction."""
    tables = bridge.current_tables()
    wanted = colours.plain_labs(recipe.target_labs_centi)
    target = target_of(wanted, recipe.target_reflectance_ppm, observer_deg=recipe.observer_deg, tables=tables)
    first = target.lights[0].illuminant
    if first not in sitting.labs:
        act = f"The trial card of {recipe.code} is not held against its target"
        raise RefusedError(act, (f"it was not read under {first}",), f"Read it under {first}")
    measured = np.array(sitting.labs[first])
    found = judge(np.array(wanted[first]), measured, recipe_tolerance(recipe, tables))
    predicted = np.array(colours.plain_labs(recipe.predicted_labs_centi)[first])
    is_beyond = out_of_reach(recipe, sitting, recipe_tolerance(recipe, tables), tables) is not None
    return Measured(
        code=recipe.code,
        version=recipe.version,
        series=sitting.series,
        de=found.de,
        verdict=str(found.verdict),
        words=found.words,
        prediction_off_de=float(de2000(predicted, measured)),
        sample=None if is_beyond else keep_trial_as_sample(person, recipe, sitting),
    )


def learn_from_card(by: Person | None, code: str, *, note: str) -> int:
    """Take a trial card for right although its lots should not be able to make it; gives the sample's number.

    Raises
    ------
    InputError
        No word on how it was looked at again.
    ConflictError
        There is no reading, it was learnt from already, or it is of one lot alone.
    """
    person = require(by, Right.SHADES)
    if not note.strip():
        raise InputError("why it is right", "", "a few words, such as weighed again and read twice")
    with write():
        recipe = recipe_of(code)
        found = sittings(ColourReading.objects.filter(recipe=recipe))
        if not found:
            raise ConflictError(f"The trial card of {code} was not read yet", "Read it first")
        if is_learnt(recipe, found[-1], bridge.current_tables()):
            raise ConflictError(f"{code} was learnt from already", "There is nothing more to do")
        sample = keep_trial_as_sample(person, recipe, found[-1], note=note.strip())
        if sample is None:
            raise ConflictError(f"{code} is of one lot", "One lot alone says nothing of how fibre mixes")
        announce(person, "recipe", code, f"trial card taken for right: {note.strip()}"[:300])
        return sample


def recipe_tolerance(recipe: BlendRecipe, tables: Tables) -> Tolerance:
    """The standard's tolerance, or the usual one."""
    return tolerance_of(recipe.standard) if recipe.standard else usual_tolerance(tables)


def release_recipe(by: Person | None, code: str, *, note: str = "", key: uuid.UUID | None = None) -> str:
    """Let the full mix be made; gives the state.

    Raises
    ------
    RefusedError
        The trial card was not measured, or it is off shade; or its fibre is gone or was dyed since. A note
        lets go on what a person may decide: a card between pass and fail, one read on too few tufts or one
        that its lots cannot make, a shade that was restated or taken out of the book, a lot that was read
        again as another colour, fibre that other released recipes wait for.
    """
    person = require(by, Right.SHADES)
    with write():
        body: dict[str, object] = {"code": code, "note": note}
        if done_before(key, "release_recipe", body):
            return str(RecipeState.RELEASED)
        recipe = recipe_of(code)
        act = f"The full mix of {code} is not released"
        check_open(recipe, "Another mix")
        tables = bridge.current_tables()
        if recipe.state != RecipeState.MEASURED:
            grams = bridge.grams(recipe.trial_mg)
            mend = f"Card {grams:g} g by the recipe, read it dry, and write the reading down"
            raise RefusedError(act, (_why_a_card(recipe, tables),), mend)
        _check_card(recipe, act, note, tables)
        lots = [part.lot for part in recipe.parts.select_related("lot__customer")]
        refuse_held(lots, act)
        _check_promised(recipe, act, note)
        join_allowed(lots, recipe.join_decision_id)
        step_to(person, recipe, RecipeState.RELEASED, note=note)
        announce(person, "recipe", code, "released for the full mix")
        remember(key, "release_recipe", body, {"state": RecipeState.RELEASED}, person)
        return str(recipe.state)


def _why_a_card(recipe: BlendRecipe, tables: Tables) -> str:
    reason = "its trial card was not measured yet"
    if recipe.model not in {
        row.model for row in tables.colour_models.values() if row.quantity == "error_mean"
    }:
        return f"{reason}, and nothing is published on how far this model may be off"
    error = published_error(tables, recipe.model)
    whose = (
        "fitted models" if recipe.fit_id else "even fitted models, and this constant is not the mill's own,"
    )
    return f"{reason}, and {whose} are off by {error.mean_low_de:g} to {error.mean_high_de:g} on average"


def _check_card(recipe: BlendRecipe, act: str, note: str, tables: Tables) -> None:
    step = recipe.steps.filter(state=RecipeState.MEASURED).order_by("-id").first()
    sitting = sittings(ColourReading.objects.filter(series=step.series))[0]
    wanted = colours.plain_labs(recipe.target_labs_centi)
    light = next(name for name in (FIRST_LIGHT, *wanted) if name in wanted and name in sitting.labs)
    found = judge(np.array(wanted[light]), np.array(sitting.labs[light]), recipe_tolerance(recipe, tables))
    if found.verdict == Verdict.FAIL:
        reason = f"its trial card is off shade by {found.de:.1f}: {', '.join(found.words) or 'all round'}"
        raise RefusedError(act, (reason,), "Correct the recipe as a new version and card that")
    against = against_mix(recipe, sitting, recipe_tolerance(recipe, tables), tables)
    if against.stops:
        raise RefusedError(act, tuple(one.said() for one in against.stops), ANEW)
    reasons = [*_doubts_of_card(recipe, sitting, tables), *(one.said() for one in against.asks)]
    if found.verdict == Verdict.ASK:
        reasons.append(f"its trial card is off by {found.de:.1f}, which the tolerance leaves to a person")
    if reasons and not note.strip():
        raise RefusedError(
            act, tuple(reasons), "Write a note that says who decided that it may go on, and why"
        )


def _doubts_of_card(recipe: BlendRecipe, sitting: Sitting, tables: Tables) -> list[str]:
    """Read on too few tufts, or no card that its lots can make."""
    reasons = []
    asked = int(tables.constants["shade_card_tufts"].value)
    if sitting.n_tufts < asked:
        told = "one tuft alone" if sitting.n_tufts == 1 else f"{sitting.n_tufts} tufts"
        reasons.append(f"its trial card was read on {told}, where {asked} even out what a hand card leaves")
    nearest_de = out_of_reach(recipe, sitting, recipe_tolerance(recipe, tables), tables)
    if nearest_de is not None and not is_learnt(recipe, sitting, tables):
        reasons.append(
            f"no blend of its lots comes nearer than {nearest_de:.1f} to its trial card: a lot was weighed "
            "wrongly or mixed up, or something was read wrongly, so weigh or read again"
        )
    return reasons


def _check_promised(recipe: BlendRecipe, act: str, note: str) -> None:
    """Fibre that is not waited for by a mix released before; a note lets it go on."""
    parts = list(recipe.parts.select_related("lot"))
    waiting = promised([part.lot_id for part in parts])
    if not waiting or note.strip():
        return
    there = undyed_dry([part.lot for part in parts])
    short = []
    for part in parts:
        have_mg = there.get(part.lot_id, 0)
        others = waiting.get(part.lot_id, ())
        if part.dry_mg <= have_mg - sum(one.dry_mg for one in others) + MG_PER_CG:
            continue
        told = f"{part.lot.code} holds {bridge.grams(have_mg):.0f} g oven-dry"
        told += "".join(f", of which {o.recipe} waits for {bridge.grams(o.dry_mg):.0f} g" for o in others)
        short.append(f"{told}, and this mix takes {bridge.grams(part.dry_mg):.0f} g")
    if short:
        raise RefusedError(act, tuple(short), "Write a note that says why it may go on, or blend it anew")


def withdraw_release(by: Person | None, code: str, *, reason: str) -> str:
    """Take the release of a mix back: its fibre is free again, its card still counts; gives the state.

    The step that is kept is the measuring of the card once more, with the reason.

    Raises
    ------
    ConflictError
        The mix is not released, or it was weighed out already and no fibre waits for it.
    """
    person = require(by, Right.SHADES)
    if not reason.strip():
        raise InputError("reason", "", "a few words that the next person understands")
    with write():
        recipe = recipe_of(code)
        if recipe.state != RecipeState.RELEASED:
            raise ConflictError(f"{code} is not released", "There is nothing to take back")
        waiting = promised(list(recipe.parts.values_list("lot_id", flat=True)))
        ours = (code, recipe.version)
        if not any((one.recipe, one.version) == ours for rows in waiting.values() for one in rows):
            raise ConflictError(f"{code} was weighed out already", "No fibre waits for it any more")
        card = recipe.steps.filter(state=RecipeState.MEASURED).order_by("-id").first()
        de = None if card.de_centi is None else card.de_centi / bridge.CENTI
        step_to(person, recipe, RecipeState.MEASURED, note=reason, series=card.series, de=de)
        announce(person, "recipe", code, f"release withdrawn: {reason}"[:300])
        return str(recipe.state)


def refuse_recipe(by: Person | None, code: str, *, reason: str) -> str:
    """Say that a recipe is not made; gives the state."""
    person = require(by, Right.SHADES)
    if not reason.strip():
        raise InputError("reason", "", "a few words that the next person understands")
    with write():
        recipe = recipe_of(code)
        check_open(recipe, "Another word")
        step_to(person, recipe, RecipeState.REFUSED, note=reason)
        announce(person, "recipe", code, f"not made: {reason}"[:300])
        return str(recipe.state)
