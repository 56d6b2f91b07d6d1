"""Blend recipes: proposed, tried on a card, measured, and only then released for the full mix."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.fibre.colour.blend import BlendModel, Mixing
from doffer.fibre.colour.verdict import usual_tolerance
from doffer.mill import bridge, clock, colours
from doffer.mill.booking import announce, done_before, lot_of, remember
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.colours import FIRST_LIGHT
from doffer.mill.commands.join import join_allowed, refuse_held
from doffer.mill.commands.shades import TargetFacts, shade_of, tolerance_of
from doffer.mill.dyed import undyed_dry
from doffer.mill.models import BlendPart, BlendRecipe, RecipeStep, ShadeVersion
from doffer.mill.models.blends import RecipeState
from doffer.mill.numbering import MIX, next_code
from doffer.mill.palette import Coloured, MixingNow, coloured, main_fibre, mixing_now, target_of
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.planning.shade.target import Target
from doffer.planning.shade.tell import band_of, labs_under
from doffer.planning.shade.trial import trial_card_cg
from doffer.planning.shade.ways import ShadeWays
from doffer.tables.loader import Tables

SHARES_SUM_TO = 1e-3
MG_PER_CG = 10


@dataclass(frozen=True, slots=True)
class PartFacts:
    """A lot of a recipe and its share of the oven-dry fibre [frac]."""

    lot: str
    share_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeFacts:
    """A recipe as somebody wants it.

    Parameters
    ----------
    parts : tuple of PartFacts
        Shares add up to 1.
    dry_mass_g : float
        Oven-dry mass of the full mix [g].
    shade : str
        Number of a standard shade; else `target` says what is wanted.
    trial_mass_g : float or None
        Weight of the trial card [g]; None: the usual 20 g.
    join_decision : int or None
        The owners' consent where fibre of two owners comes together.
    mixing : Mixing or None
        Another blend model than the one in use.
    """

    parts: tuple[PartFacts, ...]
    dry_mass_g: float
    shade: str = ""
    target: TargetFacts | None = None
    name: str = ""
    note: str = ""
    trial_mass_g: float | None = None
    join_decision: int | None = None
    mixing: Mixing | None = None

    def __post_init__(self) -> None:
        if not self.parts or len({part.lot for part in self.parts}) < len(self.parts):
            raise InputError("lots of the recipe", len(self.parts), "one or more, each named once")
        if any(part.share_frac <= 0 for part in self.parts):
            raise InputError("shares", [part.share_frac for part in self.parts], "above zero each")
        total = sum(part.share_frac for part in self.parts)
        if abs(total - 1) > SHARES_SUM_TO:
            raise InputError("shares", f"{total:.1%} together", "100 % together")
        if self.dry_mass_g <= 0:
            raise InputError("weight of the mix", f"{self.dry_mass_g:g} g", "above zero")
        if bool(self.shade) == (self.target is not None):
            raise InputError("what is wanted", self.shade, "a standard shade, or a colour of its own")


@dataclass(frozen=True, slots=True)
class Proposed:
    """A recipe as it is kept: its prediction, CIEDE2000 to the target with its band, and the trial grams."""

    code: str
    version: int
    lab: tuple[float, float, float]
    de: float
    band_de: tuple[float, float] | None
    trial_g: dict[str, float]


def propose_recipe(
    by: Person | None, facts: RecipeFacts, *, code: str = "", key: uuid.UUID | None = None
) -> Proposed:
    """Write a recipe down, new or as the next version of `code`, with what the model says of it.

    Raises
    ------
    RefusedError
        Fibre of two owners without their consent, a lot on hold, one that was not read or read unlike the
        target, or more than there is of a lot.
    """
    person = require(by, Right.SHADES)
    with write():
        body: dict[str, object] = {"facts": repr(facts), "code": code}
        earlier = done_before(key, "propose_recipe", body)
        if earlier:
            return _proposed(recipe_of(str(earlier["code"]), int(earlier["version"])))
        lots = [lot_of(part.lot) for part in facts.parts]
        act = "This blend is not written down"
        refuse_held(lots, act)
        decision = join_allowed(lots, facts.join_decision)
        _check_stock(facts, lots, act)
        tables = bridge.current_tables()
        wanted = _Wanted.of(facts)
        colour = coloured(lots, tables, pad=wanted.facts.pad, act=act)
        fibre = main_fibre((lot.fibre, part.share_frac) for lot, part in zip(lots, facts.parts, strict=True))
        now = mixing_now(fibre, wanted.facts.form, tables)
        number, version = _numbered(code)
        recipe = BlendRecipe.objects.create(
            code=number,
            version=version,
            name=facts.name,
            note=facts.note,
            join_decision=decision,
            made_at=clock.now(),
            made_by=person,
            **wanted.columns(),
            **_prediction(facts, colour, wanted, now, tables),
        )
        _keep_parts(recipe, facts, colour)
        step_to(person, recipe, RecipeState.PROPOSED)
        announce(person, "recipe", recipe.code, f"{facts.name or 'blend recipe'} proposed")
        remember(key, "propose_recipe", body, {"code": recipe.code, "version": recipe.version}, person)
        return _proposed(recipe)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """The target of a recipe: a standard or a colour of its own."""

    facts: TargetFacts
    colour: dict[str, object]
    standard: ShadeVersion | None

    @classmethod
    def of(cls, facts: RecipeFacts) -> _Wanted:
        if facts.target is not None:
            return cls(facts.target, facts.target.columns(), None)
        version = shade_of(facts.shade).versions.order_by("-version").first()
        pad = colours.pad_of(version)
        target = TargetFacts(
            light=version.light,
            observer_deg=pad.observer_deg,
            form=pad.form,
            geometry=pad.geometry,
            is_behind_glass=pad.is_behind_glass,
        )
        known = {"labs_centi": version.labs_centi, "reflectance_ppm": version.reflectance_ppm}
        return cls(target, known, version)

    def columns(self) -> dict[str, object]:
        return {
            "standard": self.standard,
            "target_labs_centi": self.colour["labs_centi"],
            "target_reflectance_ppm": self.colour["reflectance_ppm"],
            "observer_deg": self.facts.observer_deg,
            "form": self.facts.form,
            "geometry": self.facts.geometry,
            "is_behind_glass": self.facts.is_behind_glass,
        }


def _check_stock(facts: RecipeFacts, lots: Sequence, act: str) -> None:
    """No more of a lot than there is of its colour."""
    there = undyed_dry(lots)
    short = []
    for part, lot in zip(facts.parts, lots, strict=True):
        need_mg = bridge.mg(facts.dry_mass_g * part.share_frac)
        if lot.pk not in there:
            short.append(f"nobody knows how much dry fibre {lot.code} holds")
        elif need_mg > there[lot.pk] + MG_PER_CG:
            have, need = bridge.grams(there[lot.pk]), bridge.grams(need_mg)
            apart_g = bridge.grams(lot.now_dry_mg) - have
            apart = f", {apart_g:.0f} g more of it was dyed apart" if apart_g else ""
            short.append(f"{lot.code} holds {have:.0f} g oven-dry{apart}, the blend takes {need:.0f} g")
    if short:
        raise RefusedError(act, tuple(short), "Make a smaller batch or take less of it")


def _numbered(code: str) -> tuple[str, int]:
    if not code:
        return next_code(MIX), 1
    last = BlendRecipe.objects.filter(code=code).order_by("-version").first()
    if last is None:
        raise NotFoundError("blend recipe", code, "Look in the list of recipes")
    return code, last.version + 1


def _prediction(
    facts: RecipeFacts, colour: Sequence[Coloured], wanted: _Wanted, now: MixingNow, tables: Tables
) -> dict[str, object]:
    """What the model says, in whole numbers."""
    is_other = facts.mixing is not None and facts.mixing != now.ways.mixing
    mixing = facts.mixing or now.ways.mixing
    ways = ShadeWays(
        mixing, now.ways.ln_m_sd, now.ways.is_fitted, now.ways.trial_card_g, now.ways.lot_worth_de
    )
    target = _target(wanted.columns(), tables)
    spectra = np.stack([one.known.reflectance for one in colour])
    shares = np.array([part.share_frac for part in facts.parts])
    shares = shares / shares.sum()
    labs = labs_under(spectra, shares, target, ways)
    band = band_of(spectra, shares, target, ways)
    de = float(target.apart(labs[0]))
    trial_g = facts.trial_mass_g or now.ways.trial_card_g
    if not 0 < trial_g <= facts.dry_mass_g:
        raise InputError(
            "trial card", f"{trial_g:g} g", f"above 0 and at most the mix, {facts.dry_mass_g:g} g"
        )
    has_m = mixing.model is BlendModel.STEARNS_NOECHEL
    return {
        "model": str(mixing.model),
        "constant_ppm": bridge.ppm(mixing.constant) or None,
        "ln_m_sd_ppm": bridge.ppm(ways.ln_m_sd) if has_m else None,
        "fit": None if is_other else now.fit,
        "dry_mg": bridge.mg(facts.dry_mass_g),
        "trial_mg": bridge.mg(trial_g),
        "predicted_labs_centi": colours.centi(
            {one.illuminant: lab for one, lab in zip(target.lights, labs.tolist(), strict=True)}
        ),
        "predicted_de_centi": round(de * CENTI),
        "band_low_de_centi": None if band is None or band.de_low is None else round(band.de_low * CENTI),
        "band_high_de_centi": None if band is None or band.de_high is None else round(band.de_high * CENTI),
    }


def _target(columns: dict[str, object], tables: Tables) -> Target:
    standard = columns["standard"]
    tolerance = tolerance_of(standard) if standard else usual_tolerance(tables)
    target = target_of(
        colours.plain_labs(columns["target_labs_centi"]),
        columns["target_reflectance_ppm"],
        observer_deg=columns["observer_deg"],
        tables=tables,
    )
    return target.counted_in(tolerance.formula)


def _keep_parts(recipe: BlendRecipe, facts: RecipeFacts, colour: Sequence[Coloured]) -> None:
    shares = tuple(part.share_frac for part in facts.parts)
    cards = trial_card_cg(shares, card_g=bridge.grams(recipe.trial_mg))
    BlendPart.objects.bulk_create(
        BlendPart(
            recipe=recipe,
            lot=one.lot,
            share_ppm=bridge.ppm(share / sum(shares)),
            dry_mg=round(recipe.dry_mg * share / sum(shares)),
            trial_mg=card * MG_PER_CG,
            kind=one.known.kind,
            reflectance_ppm=[round(float(value) * PPM) for value in one.known.reflectance],
        )
        for one, share, card in zip(colour, shares, cards, strict=True)
    )


def _proposed(recipe: BlendRecipe) -> Proposed:
    labs = colours.plain_labs(recipe.predicted_labs_centi)
    has_band = recipe.band_low_de_centi is not None and recipe.band_high_de_centi is not None
    return Proposed(
        code=recipe.code,
        version=recipe.version,
        lab=labs[FIRST_LIGHT],
        de=recipe.predicted_de_centi / CENTI,
        band_de=(recipe.band_low_de_centi / CENTI, recipe.band_high_de_centi / CENTI) if has_band else None,
        trial_g={part.lot.code: bridge.grams(part.trial_mg) for part in recipe.parts.select_related("lot")},
    )


def recipe_of(code: str, version: int | None = None) -> BlendRecipe:
    """A recipe by number, the newest version unless one is named, locked until the act ends."""
    rows = BlendRecipe.objects.select_for_update(of=("self",)).select_related("standard").filter(code=code)
    recipe = (rows.filter(version=version) if version else rows).order_by("-version").first()
    if recipe is None:
        raise NotFoundError("blend recipe", code, "Look in the list of recipes")
    return recipe


def step_to(
    person: Person,
    recipe: BlendRecipe,
    state: str,
    *,
    note: str = "",
    series: uuid.UUID | None = None,
    de: float | None = None,
) -> None:
    """Bring a recipe to a state and keep who did."""
    RecipeStep.objects.create(
        recipe=recipe,
        state=state,
        note=note.strip(),
        series=series,
        de_centi=None if de is None else round(de * CENTI),
        at=clock.now(),
        person=person,
    )
    if recipe.state != state:
        recipe.state = state
        recipe.save(update_fields=["state"])


def check_open(recipe: BlendRecipe, act: str) -> None:
    if recipe.state in (RecipeState.RELEASED, RecipeState.REFUSED):
        raise ConflictError(f"{recipe.code} was {recipe.state} already", f"{act} needs a new version of it")
