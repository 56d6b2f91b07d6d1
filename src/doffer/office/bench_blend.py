"""One blend on the bench: its colour beside the aim, its grams, whose fibre it is, label and fineness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.colour.blend import BlendModel, Mixing, blend, default_mixing, stearns_noechel
from doffer.fibre.colour.difference import apart
from doffer.fibre.colour.predict import (
    ModelAnswer,
    compare_models,
    usual_mixings,
)
from doffer.fibre.colour.screen import screen_colour
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.fibre.colour.words import difference_words
from doffer.fibre.content import Basis, LabelShares, label_shares
from doffer.fibre.fineness import BlendFineness, material_fineness
from doffer.fibre.material import Form, Material
from doffer.mill.queries.bench import Bench, BenchLot, BenchStandard, costs_of, spectra
from doffer.mill.tints import constants_of
from doffer.office.bench_asked import OWN_COLOUR, Asked
from doffer.office.bench_fibre import pads_of
from doffer.pictures.colour import fibre_hex
from doffer.pictures.colour import screen_colour as approximate
from doffer.pictures.mix import MixPart, mix_bar, one_swatch, owner_mark, small_pair
from doffer.pictures.swatch import swatch_pair
from doffer.planning.shade.scale import Weighed, weigh_recipe
from doffer.planning.shade.target import Recipe, Stock, Target, target_from_lab
from doffer.planning.shade.tell import recipe_of
from doffer.planning.shade.working import LIGHT_WORDS, recipe_working
from doffer.tables.loader import Tables
from doffer.working import Working

TELLABLE_DE = 0.5  # nearer than this no model can tell: said as "0.5 or less"
ROW_LIGHTS = ("D65", "A", "LED-B3")
SPECTRUM = "spectrum"
MODEL_NAMES = {
    "stearns_noechel": "Stearns and Noechel",
    "friele": "Friele",
    "kubelka_munk": "Kubelka and Munk, one constant",
    "plain_average": "plain averaging",
    "two_constant": "Kubelka and Munk, two constants from tints in white",
}
SHORT_G = 0.5  # a lot is short from half a gram on; less is rounding


@dataclass(frozen=True, eq=False, slots=True)
class Aim:
    """What is aimed at: its name, target, the tolerance with its formula, and the spectrum where known."""

    name: str
    target: Target
    pass_de: float
    formula: str
    reflectance: np.ndarray | None
    code: str = ""

    @property
    def is_lab_only(self) -> bool:
        """Nothing can be said of other lights."""
        return not self.target.has_spectrum


@dataclass(frozen=True, slots=True)
class LightRow:
    """The difference in one light; None where the aim is not known in it."""

    name: str
    de: float | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Portion:
    """A lot in the blend: share, grams on the scale now and oven-dry, and what is free of it as it lies.

    `de_per_point` is how far the colour moves when it is one point too heavy.
    """

    lot: BenchLot
    hex: str
    share_frac: float
    weighed_g: float
    dry_g: float
    free_g: float
    de_per_point: float
    step_g: float

    @property
    def left_g(self) -> float:
        """What stays of it; below zero when there is not enough."""
        return self.free_g - self.weighed_g

    @property
    def is_short(self) -> bool:
        """There is less than the blend takes, by more than the scale rounds."""
        return self.left_g < -max(SHORT_G, self.step_g)


@dataclass(frozen=True, eq=False, slots=True)
class Blend:
    """Everything the face says of one blend."""

    portions: tuple[Portion, ...]
    recipe: Recipe
    weighed: Weighed
    batch_dry_g: float
    limited_by: str
    swatch: str
    small: str
    is_approximate: bool
    not_shown: tuple[str, ...]
    words: tuple[str, ...]
    rows: tuple[LightRow, ...]
    mix: str
    owners: tuple[tuple[str, float, str], ...]
    label: LabelShares
    fineness: BlendFineness
    models: tuple[tuple[str, ModelAnswer], ...]
    working: Working

    @property
    def total_g(self) -> float:
        """All lots on the scale [g]."""
        return sum(portion.weighed_g for portion in self.portions)

    @property
    def lots_de(self) -> float:
        """What the lots' own readings let the prediction be off by, at worst of them."""
        return lots_error_de([portion.lot for portion in self.portions])

    @property
    def de(self) -> float:
        """Difference to the aim in daylight, by its formula, of the blend as it is weighed out."""
        return self.weighed.de


def not_in_daylight(asked: Asked, bench: Bench) -> BenchStandard | None:
    """The shade that is aimed at, where it is known under other light only."""
    standard = next((one for one in bench.standards if one.shade == asked.shade), None)
    if standard is None or standard.row.reflectance_ppm is not None or "D65" in standard.row.labs:
        return None
    return standard


def aim_of(asked: Asked, bench: Bench) -> Aim | None:
    """What is aimed at: a standard, the first one when none is named, or the typed colour.

    A typed colour is held as strictly as the shade it was asked for, by the mill's usual tolerance else. None
    where there is nothing to aim at in daylight.
    """
    tables = bench.tables
    if asked.shade == OWN_COLOUR:
        if asked.lab is None:
            return None
        seen_in = light(tables, "D65", observer_deg=bench.pad.observer_deg)
        tolerance, formula = tables.constants["shade_pass_cmc"].value, "cmc"
        like = next((one.row for one in bench.standards if one.shade == asked.held_as), None)
        if like is not None:
            tolerance, formula = like.pass_de, like.formula
        target = target_from_lab(np.array(asked.lab), seen_in).counted_in(formula)
        return Aim("your colour", target, tolerance, formula, None)
    standard = next((one for one in bench.standards if one.shade == asked.shade), None)
    if standard is None or not_in_daylight(asked, bench):
        return None
    return aim_at(standard, bench)


def aim_at(standard: BenchStandard, bench: Bench) -> Aim:
    """A standard as an aim."""
    row = standard.row
    spectrum = None if row.reflectance_ppm is None else np.array(row.reflectance_ppm) / 1e6
    target = bench.target(standard.shade, bench.tables)
    return Aim(standard.name, target, row.pass_de, row.formula, spectrum, standard.shade)


def hex_of(lot: BenchLot, tables: Tables) -> str:  # noqa: ARG001 - evenness passes them
    """A lot's tuft, as it looks in every list; only the swatches that are compared come from spectra."""
    return fibre_hex(*(lot.look or (None, None, None)))


def lots_error_de(lots: Sequence[BenchLot]) -> float:
    """What the lots' own readings let a prediction be off by, at worst of them; 0 where all are spectra."""
    return max((lot.error_de or 0.0 for lot in lots if lot.kind != SPECTRUM), default=0.0)


def free_g(lot: BenchLot) -> float:
    """What may be taken of a lot, as it lies on the scale now [g]."""
    return lot.free_dry_g * (1 + lot.actual_regain_frac)


def batch_dry_g(lots: Sequence[BenchLot], shares: np.ndarray, mass_g: float | None) -> tuple[float, str]:
    """Oven-dry mass of the mix: as asked, or as much as the lots allow; then which lot sets the size."""
    regain = np.array([lot.actual_regain_frac for lot in lots])
    if mass_g is not None:
        return mass_g / float(shares @ (1 + regain)), ""
    most_g = np.array([lot.free_dry_g for lot in lots]) / shares
    least = int(np.argmin(most_g))
    return float(most_g[least]), lots[least].code


def stock_of(lots: Sequence[BenchLot], pads: np.ndarray | None = None) -> Stock:
    """Lots as the search's stock; `pads` as the model in use wants them, else their spectra."""
    return Stock(
        names=tuple(lot.code for lot in lots),
        reflectance=spectra(lots) if pads is None else pads,
        dry_mass_g=np.array([lot.free_dry_g for lot in lots]),
        owner=tuple(lot.owner for lot in lots),
        cost_cents_per_kg=costs_of(lots),
    )


def usable(asked: Asked, bench: Bench) -> list[BenchLot]:
    """The chosen lots that have a spectrum and a share."""
    found = {lot.code: lot for lot in bench.lots}
    return [
        found[code]
        for code in asked.lots
        if code in found and found[code].is_usable and asked.shares.get(code, 0) > 0
    ]


def blend_of(asked: Asked, bench: Bench, aim: Aim | None, *, basis: Basis) -> Blend | None:
    """The blend as asked; None when no chosen lot can go in.

    Raises
    ------
    InputError
        The scale is too coarse for the smallest part.
    """
    lots = usable(asked, bench)
    if not lots:
        return None
    shares = np.array([asked.shares[lot.code] for lot in lots])
    shares = shares / shares.sum()
    target = aim.target if aim else _no_aim(bench)
    stock = stock_of(lots, pads_of(lots, bench))
    recipe = recipe_of(range(len(lots)), shares, stock, target, bench.ways)
    total_dry_g, limited_by = batch_dry_g(lots, shares, asked.mass_g)
    by_code = {lot.code: lot for lot in lots}
    in_order = [by_code[code] for code in recipe.lots]
    weighed = weigh_recipe(
        recipe,
        stock,
        target,
        bench.ways,
        batch_dry_mass_g=total_dry_g,
        actual_regain_fracs=np.array([lot.actual_regain_frac for lot in in_order]),
        division_g=asked.step_g,
    )
    size = (total_dry_g, limited_by)
    return _told(in_order, recipe, weighed, bench, aim, target, size, basis, asked=asked)


def _no_aim(bench: Bench) -> Target:
    """Lights to look at a blend in when nothing is aimed at."""
    seen_in = light(bench.tables, "D65", observer_deg=bench.pad.observer_deg)
    return target_from_lab(np.array([50.0, 0.0, 0.0]), seen_in)


def _told(
    lots: Sequence[BenchLot],
    recipe: Recipe,
    weighed: Weighed,
    bench: Bench,
    aim: Aim | None,
    target: Target,
    size: tuple[float, str],
    basis: Basis,
    *,
    asked: Asked,
) -> Blend:
    tables = bench.tables
    dry_g = np.array(weighed.dry_mass_g)
    mixed = blend(pads_of(lots, bench), dry_g / dry_g.sum(), bench.ways.mixing)
    portions = tuple(
        Portion(lot, hex_of(lot, tables), dry / dry_g.sum(), on_scale, dry, free_g(lot), de, asked.step_g)
        for lot, dry, on_scale, de in zip(
            lots, weighed.dry_mass_g, weighed.weighed_mass_g, recipe.de_per_point, strict=True
        )
    )
    place = {code: number for number, code in enumerate(asked.lots)}
    portions = tuple(sorted(portions, key=lambda one: place[one.lot.code]))
    swatch, small, is_approximate, not_shown = _swatch(lots, mixed, weighed, aim, tables)
    owners, mix = _whose(portions)
    return Blend(
        portions=portions,
        recipe=recipe,
        weighed=weighed,
        batch_dry_g=size[0],
        limited_by=size[1],
        swatch=swatch,
        small=small,
        is_approximate=is_approximate,
        not_shown=not_shown,
        words=difference_words(target.labs[0], np.array(weighed.lab), least_de=TELLABLE_DE) if aim else (),
        rows=light_rows(mixed, aim) if aim else (),
        mix=mix,
        owners=owners,
        label=label_shares(tables, dry_mass_by_fibre_g=_by_fibre(portions), basis=basis),
        fineness=material_fineness(_material(portions), tables),
        models=_models(lots, dry_g / dry_g.sum(), bench, aim, target),
        working=recipe_working(recipe, bench.ways, tables),
    )


def _swatch(
    lots: Sequence[BenchLot], mixed: np.ndarray, weighed: Weighed, aim: Aim | None, tables: Tables
) -> tuple[str, str, bool, tuple[str, ...]]:
    """The pair of swatches, large and small, both shown in the same way, so that equal colours look equal."""
    is_measured = all(lot.kind == SPECTRUM for lot in lots) and (aim is None or aim.reflectance is not None)
    if is_measured:
        seen_in = light(tables, "D65", observer_deg=2)
        made = screen_colour(mixed, seen_in, tables)
        wanted = screen_colour(aim.reflectance, seen_in, tables) if aim else made
        shown = ((wanted.hex, not wanted.is_shown), (made.hex, not made.is_shown))
    else:
        rough = [
            approximate(*(float(x) for x in lab))
            for lab in (aim.target.labs[0] if aim else weighed.lab, weighed.lab)
        ]
        shown = tuple((one.hex, one.is_clipped) for one in rough)
    small = small_pair(shown[0][0], shown[1][0])
    if aim is None:
        off = ("this blend",) if shown[1][1] else ()
        return one_swatch(shown[1][0], "this blend"), small, not is_measured, off
    names = (f"{aim.name}, wanted", "this blend")
    not_shown = tuple(name for name, (_, is_off) in zip(names, shown, strict=True) if is_off)
    pair = swatch_pair(shown[0][0], shown[1][0], first_name=names[0], second_name=names[1])
    return pair, small, not is_measured, not_shown


def light_rows(mixed: np.ndarray, aim: Aim) -> tuple[LightRow, ...]:
    """Daylight, lamp light, LED light: how far apart the two are in each."""
    known = {one.illuminant: (one, lab) for one, lab in zip(aim.target.lights, aim.target.labs, strict=True)}
    rows = []
    for name in ROW_LIGHTS:
        if name not in known:
            rows.append(LightRow(LIGHT_WORDS[name], None, ()))
            continue
        seen_in, wanted = known[name]
        made = lab_of_reflectance(mixed, seen_in)
        de = float(apart(wanted, made, aim.target.formula))
        rows.append(LightRow(LIGHT_WORDS[name], de, difference_words(wanted, made, least_de=TELLABLE_DE)))
    return tuple(rows)


def _whose(portions: Sequence[Portion]) -> tuple[tuple[tuple[str, float, str], ...], str]:
    """Owners with their part of the mix and their stripes, the mill first; then the bar."""
    names: dict[str, float] = {}
    for portion in sorted(portions, key=lambda one: not one.lot.is_own):
        names[portion.lot.owner_name] = names.get(portion.lot.owner_name, 0.0) + portion.share_frac
    has_own = any(portion.lot.is_own for portion in portions)
    places = {name: place + (not has_own) for place, name in enumerate(names)}
    parts = [MixPart(one.lot.code, one.hex, one.share_frac, places[one.lot.owner_name]) for one in portions]
    listed = [*([] if has_own else ["the mill"]), *names]
    marks = tuple((name, share, owner_mark(places[name])) for name, share in names.items())
    return marks, mix_bar(parts, listed)


def _by_fibre(portions: Sequence[Portion]) -> dict[str, float]:
    """Oven-dry mass of each fibre in the blend [g]."""
    masses: dict[str, float] = {}
    for portion in portions:
        for part, share_frac in portion.lot.parts:
            masses[part.fibre] = masses.get(part.fibre, 0.0) + portion.dry_g * share_frac
    return masses


def _material(portions: Sequence[Portion]) -> Material:
    """The blend as clean fibre, for its fineness."""
    parts = [(part, portion.dry_g * share) for portion in portions for part, share in portion.lot.parts]
    dry_mass_g = np.array([[mass_g] for _, mass_g in parts])
    nothing = np.zeros_like(dry_mass_g)
    return Material(tuple(part for part, _ in parts), dry_mass_g, nothing, nothing, 0.0, Form.OPENED)


def _first_model(bench: Bench) -> Mixing:
    """What the others are held against: the model in use, or the usual one where that needs tints."""
    if bench.ways.mixing.model is not BlendModel.TWO_CONSTANT:
        return bench.ways.mixing
    return stearns_noechel(bench.mixing.m) if bench.mixing.m else default_mixing(bench.tables)


def _models(
    lots: Sequence[BenchLot], shares: np.ndarray, bench: Bench, aim: Aim | None, target: Target
) -> tuple[tuple[str, ModelAnswer], ...]:
    """What every model says of the blend, the mill's own first."""
    answers = compare_models(
        spectra(lots),
        shares,
        target.lights[0],
        mixings=usual_mixings(bench.tables, _first_model(bench)),
        standard_lab=target.labs[0] if aim else None,
        constants=constants_of([lot.code for lot in lots], bench.tints),
        formula=target.formula,
    )
    return tuple((MODEL_NAMES.get(one.model, one.model), one) for one in answers)
