"""A blend recipe as its page shows it: swatches, lines, and what the trial card said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import BlendModel, Mixing, blend
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import Lab
from doffer.fibre.colour.screen import screen_colour
from doffer.fibre.colour.spectrum import light
from doffer.fibre.colour.verdict import Judgement, judge
from doffer.fibre.colour.words import difference_words
from doffer.mill.doubt import Doubt
from doffer.mill.palette import target_of
from doffer.mill.queries.recipes import OneRecipe, RecipePart, run_note
from doffer.office.bench_asked import OWN_COLOUR, SHARE, USUAL_MODEL, share_text
from doffer.office.bench_blend import SPECTRUM
from doffer.pictures.colour import fibre_hex
from doffer.pictures.mix import MixPart, mix_bar
from doffer.pictures.swatch import swatch_pair
from doffer.pictures.wording import say
from doffer.pictures.words import say_list
from doffer.planning.shade.reach import Reach, reach_of
from doffer.planning.shade.target import Target, target_from_lab
from doffer.planning.shade.ways import ShadeWays
from doffer.process.portions import apportion

FIRST_LIGHT = "D65"
PPM = 1e6
STATE_WORDS = {
    "proposed": "trial card to be made",
    "carded": "trial card made, to be read",
    "measured": "trial card read",
    "released": "released",
    "refused": "not made",
}
VERDICT_WORDS = {"pass": "on shade", "ask": "for a person to decide", "fail": "off shade"}


@dataclass(frozen=True, slots=True)
class Card:
    """What the newest trial card said: verdict and difference by tolerance, words, how wrong the model was.

    `reach` is the nearest that its lots can come to it; None where they can make it, within the tolerance.
    """

    lab: Lab
    judged: Judgement
    de: float
    words: tuple[str, ...]
    off_de: float
    n_tufts: int
    spread_de: float | None
    reach: Reach | None

    @property
    def verdict(self) -> str:
        """The verdict in words."""
        return VERDICT_WORDS[str(self.judged.verdict)]


@dataclass(frozen=True, slots=True)
class Line:
    """A part in grams that the scale can show."""

    part: RecipePart
    hex: str
    weigh_g: float


def hex_of(part: RecipePart) -> str:
    """A part's tuft, as its lot looked in every list when the recipe was written."""
    return fibre_hex(*part.lab)


def lines_of(recipe: OneRecipe) -> tuple[Line, ...]:
    """The parts in whole grams on the scale, as the lots lie there now; they add up to the mix."""
    wanted_g = [part.weighed_mass_g or part.dry_mass_g for part in recipe.parts]
    grams = apportion(round(sum(wanted_g)), wanted_g)
    return tuple(
        Line(part, hex_of(part), float(mass_g)) for part, mass_g in zip(recipe.parts, grams, strict=True)
    )


def mix_of(recipe: OneRecipe) -> str:
    """The bar of the mix with its owners as stripes."""
    owners = list(dict.fromkeys(part.owner_name for part in sorted(recipe.parts, key=lambda p: not p.is_own)))
    has_own = any(part.is_own for part in recipe.parts)
    listed = owners if has_own else ["the mill", *owners]
    parts = [
        MixPart(part.lot, hex_of(part), part.share_frac, listed.index(part.owner_name))
        for part in recipe.parts
    ]
    return mix_bar(parts, listed)


def swatch_of(recipe: OneRecipe, card: Card | None) -> tuple[str, bool]:
    """The aim beside what was predicted, or beside the trial card once it was read; whether approximate."""
    first = recipe.row.shade_name or "wanted"
    wanted, made = recipe.target_labs[FIRST_LIGHT], card.lab if card else recipe.row.predicted_lab
    name = "trial card" if card else "predicted"
    is_measured = recipe.target_reflectance_ppm is not None and all(p.kind == SPECTRUM for p in recipe.parts)
    if is_measured and card is None:
        seen_in = light(recipe.tables, FIRST_LIGHT, observer_deg=2)
        pair = [
            screen_colour(spectrum, seen_in, recipe.tables).hex
            for spectrum in (np.array(recipe.target_reflectance_ppm) / PPM, _mixed(recipe))
        ]
    else:
        pair = [fibre_hex(*wanted), fibre_hex(*made)]
    picture = swatch_pair(pair[0], pair[1], first_name=first, second_name=name)
    return picture, not (is_measured and card is None)


def _mixed(recipe: OneRecipe) -> Floats:
    return blend(spectra_of(recipe.parts), shares_of(recipe.parts), ways_of(recipe).mixing)


def card_of(recipe: OneRecipe) -> Card | None:
    """What the newest trial card said; None before one was read in the light of the target."""
    sitting = next((one for one in recipe.trials if FIRST_LIGHT in one.labs), None)
    if sitting is None or FIRST_LIGHT not in recipe.target_labs:
        return None
    wanted, measured = np.array(recipe.target_labs[FIRST_LIGHT]), np.array(sitting.labs[FIRST_LIGHT])
    judged = judge(wanted, measured, recipe.tolerance)
    predicted = np.array(recipe.predicted_labs[FIRST_LIGHT])
    return Card(
        lab=sitting.labs[FIRST_LIGHT],
        judged=judged,
        de=judged.de,
        words=difference_words(wanted, measured),
        off_de=float(de2000(predicted, measured)),
        n_tufts=sitting.n_tufts,
        spread_de=sitting.spread_de,
        reach=_out_of_reach(recipe, measured),
    )


def _out_of_reach(recipe: OneRecipe, measured: Floats) -> Reach | None:
    """How near the lots can come to a card that they should not be able to make; None where they can."""
    seen_in = light(recipe.tables, FIRST_LIGHT, observer_deg=recipe.pad.observer_deg)
    found = reach_of(
        spectra_of(recipe.parts),
        measured,
        seen_in,
        ways=ways_of(recipe),
        formula=recipe.tolerance.formula,
    )
    return found if found.de > recipe.tolerance.pass_de else None


HOW_MANY = {1: "its only lot", 2: "both lots"}


def beyond_words(recipe: OneRecipe, card: Card | None) -> str:
    """How a card lies outside what its lots can make: "darker than both lots"; "" where it does not."""
    if card is None or card.reach is None:
        return ""
    if card.reach.beyond:
        return f"{card.reach.beyond} than {HOW_MANY.get(len(recipe.parts), 'every one of its lots')}"
    how = say_list(list(card.reach.words)) or "of another colour"
    return f"{how} than anything its lots can make in any shares"


def bench_address(recipe: OneRecipe) -> str:
    """The recipe as a question to the bench."""
    row = recipe.row
    lab = ", ".join(f"{x:g}" for x in recipe.target_labs[FIRST_LIGHT])
    aim = [("shade", OWN_COLOUR), ("lab", lab)]
    words = [("shade", row.shade)] if row.shade and recipe.is_in_book else aim
    words += [("model", recipe.model)] if recipe.model != USUAL_MODEL else []
    mass_g = sum(line.weigh_g for line in lines_of(recipe))
    words += [("mass", f"{mass_g:.0f} g")]
    words += [("lot", part.lot) for part in recipe.parts]
    words += [(f"{SHARE}{part.lot}", share_text(part.share_frac)) for part in recipe.parts]
    return f"/bench/?{urlencode(words)}"


def said_of(doubts: Sequence[Doubt], system: str) -> tuple[str, ...]:
    """What speaks against a mix, its weights in the words of whoever reads it."""
    return tuple(one.said(lambda mass_g: say(mass_g, "g", system)) for one in doubts)


def run_address(recipe: OneRecipe, lines: Sequence[Line]) -> str:
    """The form of a picker run with these lots and grams already in it."""
    words = [("stage", "pick"), ("note", run_note(recipe.row.code, recipe.row.version))]
    words += [("lot", line.part.lot) for line in lines]
    words += [(f"in_{line.part.lot}_gross", f"{line.weigh_g:.0f} g") for line in lines]
    return f"/runs/new/?{urlencode(words)}"


def target_at(recipe: OneRecipe, lights: Sequence[str]) -> Target:
    """The target under the lights that were read, daylight alone where its spectrum is not known."""
    observer_deg = recipe.pad.observer_deg
    target = target_of(
        recipe.target_labs, recipe.target_reflectance_ppm, observer_deg=observer_deg, tables=recipe.tables
    ).counted_in(recipe.tolerance.formula)
    if all(one.illuminant in lights for one in target.lights):
        return target
    seen_in = light(recipe.tables, FIRST_LIGHT, observer_deg=observer_deg)
    lab = np.array(recipe.target_labs[FIRST_LIGHT])
    return target_from_lab(lab, seen_in).counted_in(recipe.tolerance.formula)


def ways_of(recipe: OneRecipe) -> ShadeWays:
    """The mill's ways as they were when the recipe was written."""
    return ShadeWays(
        mixing=Mixing(BlendModel(recipe.model), recipe.constant or 0.0),
        ln_m_sd=recipe.ln_m_sd or 0.0,
        is_fitted=recipe.is_fitted,
        trial_card_g=recipe.trial_g,
        lot_worth_de=recipe.tables.constants["shade_lot_worth"].value,
    )


def spectra_of(parts: Sequence[RecipePart]) -> Floats:
    """Spectra of the parts, shape (k, 31)."""
    return np.array([part.reflectance_ppm for part in parts]) / PPM


def shares_of(parts: Sequence[RecipePart]) -> Floats:
    """Shares of the parts, adding up to 1."""
    shares = np.array([part.share_frac for part in parts])
    return np.asarray(shares / shares.sum())
