"""A blend recipe as its page shows it: swatches, what the trial card said, and the recipe corrected by it."""

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
from doffer.mill.palette import target_of
from doffer.mill.queries.recipes import OneRecipe, RecipePart
from doffer.office.bench_asked import OWN_COLOUR, SHARE, share_text
from doffer.office.bench_blend import SPECTRUM, TELLABLE_DE
from doffer.pictures.colour import fibre_hex
from doffer.pictures.mix import MixPart, mix_bar
from doffer.pictures.swatch import swatch_pair
from doffer.planning.shade.mend import mend_recipe
from doffer.planning.shade.target import Target, target_from_lab
from doffer.planning.shade.trial import Trial, target_after_trial
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
    """What the newest trial card said: verdict by tolerance, CIEDE2000, words, how wrong the model was."""

    lab: Lab
    judged: Judgement
    de: float
    words: tuple[str, ...]
    off_de: float
    n_tufts: int
    spread_de: float | None

    @property
    def verdict(self) -> str:
        """The verdict in words."""
        return VERDICT_WORDS[str(self.judged.verdict)]


@dataclass(frozen=True, slots=True)
class Corrected:
    """More or less of a lot or two, by what the card said: new oven-dry grams, difference to be expected."""

    parts: tuple[tuple[RecipePart, float], ...]
    de: float
    words: tuple[str, ...]
    address: str


@dataclass(frozen=True, slots=True)
class Line:
    """A part in grams that the scale can show."""

    part: RecipePart
    hex: str
    weigh_g: float


def hex_of(part: RecipePart, recipe: OneRecipe) -> str:
    """A part's colour for a screen."""
    if part.kind == SPECTRUM:
        spectrum = np.array(part.reflectance_ppm) / PPM
        return screen_colour(spectrum, light(recipe.tables, FIRST_LIGHT, observer_deg=2), recipe.tables).hex
    return fibre_hex(*part.lab)


def lines_of(recipe: OneRecipe) -> tuple[Line, ...]:
    """The parts in whole grams on the scale, as the lots lie there now; they add up to the mix."""
    wanted_g = [part.weighed_mass_g or part.dry_mass_g for part in recipe.parts]
    grams = apportion(round(sum(wanted_g)), wanted_g)
    return tuple(
        Line(part, hex_of(part, recipe), float(mass_g))
        for part, mass_g in zip(recipe.parts, grams, strict=True)
    )


def mix_of(recipe: OneRecipe) -> str:
    """The bar of the mix with its owners as stripes."""
    owners = list(dict.fromkeys(part.owner_name for part in sorted(recipe.parts, key=lambda p: not p.is_own)))
    has_own = any(part.is_own for part in recipe.parts)
    listed = owners if has_own else ["the mill", *owners]
    parts = [
        MixPart(part.lot, hex_of(part, recipe), part.share_frac, listed.index(part.owner_name))
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
    return blend(_spectra(recipe.parts), _shares(recipe.parts), _ways(recipe).mixing)


def card_of(recipe: OneRecipe) -> Card | None:
    """What the newest trial card said; None before one was read in the light of the target."""
    sitting = next((one for one in recipe.trials if FIRST_LIGHT in one.labs), None)
    if sitting is None or FIRST_LIGHT not in recipe.target_labs:
        return None
    wanted, measured = np.array(recipe.target_labs[FIRST_LIGHT]), np.array(sitting.labs[FIRST_LIGHT])
    predicted = np.array(recipe.predicted_labs[FIRST_LIGHT])
    return Card(
        lab=sitting.labs[FIRST_LIGHT],
        judged=judge(wanted, measured, recipe.tolerance),
        de=float(de2000(wanted, measured)),
        words=difference_words(wanted, measured),
        off_de=float(de2000(predicted, measured)),
        n_tufts=sitting.n_tufts,
        spread_de=sitting.spread_de,
    )


def corrected_of(recipe: OneRecipe) -> Corrected | None:
    """The recipe corrected by its trial card: the aim is moved by what the prediction was off.

    None where there is nothing to correct by.
    """
    sitting = next((one for one in recipe.trials if FIRST_LIGHT in one.labs), None)
    if sitting is None or len(recipe.parts) < 2:
        return None
    ways, shares = _ways(recipe), _shares(recipe.parts)
    target = _target(recipe, list(sitting.labs))
    measured = np.array([sitting.labs[one.illuminant] for one in target.lights])
    aim = target_after_trial(Trial(_spectra(recipe.parts), shares, measured), target, ways)
    on_hand_g = np.array([part.dry_mass_g + max(0.0, part.left_dry_g or 0.0) for part in recipe.parts])
    dry_g = np.array([part.dry_mass_g for part in recipe.parts])
    found = mend_recipe(_spectra(recipe.parts), dry_g, on_hand_g, target=aim, ways=ways)
    words = [("want", "find"), ("shade", OWN_COLOUR), ("lab", ", ".join(f"{x:.2f}" for x in aim.labs[0]))]
    return Corrected(
        parts=tuple(zip(recipe.parts, found.dry_mass_g, strict=True)),
        de=found.de,
        words=difference_words(aim.labs[0], np.array(found.lab), least_de=TELLABLE_DE),
        address=f"/bench/?{urlencode(words)}",
    )


def bench_address(recipe: OneRecipe) -> str:
    """The recipe as a question to the bench."""
    row = recipe.row
    lab = ", ".join(f"{x:g}" for x in recipe.target_labs[FIRST_LIGHT])
    words = [("shade", row.shade)] if row.shade else [("shade", OWN_COLOUR), ("lab", lab)]
    mass_g = sum(line.weigh_g for line in lines_of(recipe))
    words += [("mass", f"{mass_g:.0f} g")]
    words += [("lot", part.lot) for part in recipe.parts]
    words += [(f"{SHARE}{part.lot}", share_text(part.share_frac)) for part in recipe.parts]
    return f"/bench/?{urlencode(words)}"


def run_address(recipe: OneRecipe, lines: Sequence[Line]) -> str:
    """The form of a picker run with these lots and grams already in it."""
    words = [("stage", "pick"), ("note", f"Blend recipe {recipe.row.code} version {recipe.row.version}")]
    words += [("lot", line.part.lot) for line in lines]
    words += [(f"in_{line.part.lot}_gross", f"{line.weigh_g:.0f} g") for line in lines]
    return f"/runs/new/?{urlencode(words)}"


def _target(recipe: OneRecipe, lights: Sequence[str]) -> Target:
    """The target under the lights that were read, daylight alone where its spectrum is not known."""
    observer_deg = recipe.pad.observer_deg
    target = target_of(
        recipe.target_labs, recipe.target_reflectance_ppm, observer_deg=observer_deg, tables=recipe.tables
    )
    if all(one.illuminant in lights for one in target.lights):
        return target
    seen_in = light(recipe.tables, FIRST_LIGHT, observer_deg=observer_deg)
    return target_from_lab(np.array(recipe.target_labs[FIRST_LIGHT]), seen_in)


def _ways(recipe: OneRecipe) -> ShadeWays:
    """The mill's ways as they were when the recipe was written."""
    return ShadeWays(
        mixing=Mixing(BlendModel(recipe.model), recipe.constant or 0.0),
        ln_m_sd=recipe.ln_m_sd or 0.0,
        is_fitted=recipe.is_fitted,
        trial_card_g=recipe.trial_g,
        lot_worth_de=recipe.tables.constants["shade_lot_worth"].value,
    )


def _spectra(parts: Sequence[RecipePart]) -> Floats:
    return np.array([part.reflectance_ppm for part in parts]) / PPM


def _shares(parts: Sequence[RecipePart]) -> Floats:
    shares = np.array([part.share_frac for part in parts])
    return np.asarray(shares / shares.sum())
