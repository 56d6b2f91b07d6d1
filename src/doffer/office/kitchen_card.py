"""A dye recipe as its card shows it: loads, dip marks, the order of adding, the steps in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from doffer.errors import InputError
from doffer.fibre.moisture import agreed_mass_g, agreed_regain_frac
from doffer.mill import house
from doffer.mill.dye_bath import ROUNDED_G, Load, acid_parts, acid_powder_g
from doffer.mill.queries.kettles import KettleRow
from doffer.mill.queries.kitchen import DyeRecipeRow
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.plan_inputs import basis_of
from doffer.mill.to_dye import ToDye
from doffer.pictures import kettle as kettle_picture
from doffer.pictures.dye_line import dye_line
from doffer.pictures.wording import say
from doffer.pictures.words import say_list
from doffer.planning.dip_stick import DipMark, dip_mark
from doffer.planning.dye_curve import CurveStep, Stretch, dye_curve
from doffer.process.portions import whole_portions
from doffer.process.stage import Caution, cautions_for
from doffer.tables.loader import Tables

MM_PER_CM = 10.0
ML_PER_L = 1000.0
G_PER_KG = 1000.0
PERCENT = 100.0
SCALD = "scald_and_lifting"
FINE_ML = 100.0  # below this a tenth of a millilitre is worth measuring
DROPS_ML = 10.0  # below this a hundredth is: a syringe shows it
WHOLE, TENTHS = 20.0, 2.0  # from here on acid is measured in whole g or mL, in tenths; below in hundredths
BASIS_WORDS = {
    "agreed": "at agreed regain",
    "weighed": "as weighed last",
    "typed": "as typed",
    "rest": "what is not dyed of it yet",
}


@dataclass(frozen=True, slots=True)
class Adding:
    """One line of the order of adding: what, how much, and how."""

    what: str
    amount: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class LoadCard:
    """Loads that are alike, as one card: fibre, bath, marks on the stick, order of adding.

    `water` is the mark of the water run in, `bath` with all solutions in it and no fibre; None where the
    kettle was never measured or the litres do not reach its floor.
    """

    numbers: tuple[int, ...]
    load: Load
    kettle: KettleRow | None
    water: DipMark | None
    bath: DipMark | None
    bath_l: float
    adding: tuple[Adding, ...]
    picture: str

    @property
    def name(self) -> str:
        """Which load this is, or that all are alike."""
        if len(self.numbers) == 1:
            return f"Load {self.numbers[0]}"
        return f"Each of the {len(self.numbers)} loads"

    @property
    def kettle_name(self) -> str:
        """The kettle as people call it."""
        return self.kettle.name if self.kettle else self.load.kettle


@dataclass(frozen=True, slots=True)
class Basis:
    """How much fibre the card is for [g], on which basis, and the other weights of the same lot in words."""

    fibre_g: float
    name: str
    others: str = ""

    @property
    def words(self) -> str:
        """The basis in words."""
        return BASIS_WORDS[self.name]


@dataclass(frozen=True, slots=True)
class Course:
    """The steps in time: the line, its picture, and which steps cannot heat that fast."""

    line: tuple[Stretch, ...]
    picture: str
    too_short: tuple[str, ...]

    @property
    def minutes(self) -> float:
        """All steps together."""
        return self.line[-1].end_min if self.line else 0.0

    @property
    def heating_min(self) -> float:
        """Minutes the heater works to raise the bath."""
        return sum(part.heating_min for part in self.line)


def basis_for(
    lot: LotRow | None, typed_g: float | None, tables: Tables, system: str, there: ToDye | None = None
) -> Basis | None:
    """How much fibre: what was typed, else the lot at agreed regain, else as it was weighed.

    What lies dyed of the lot already is left out of it, unless nothing else is left.
    """
    if typed_g is not None:
        return Basis(typed_g, "typed")
    if lot is None:
        return None
    whole = _whole_lot(lot, tables, system)
    if there is None or not there.dyed or there.undyed_g <= there.slack_g:
        return whole
    rest_g = whole.fibre_g - (there.most_g - there.undyed_g)
    told = say_list([one.said(lambda mass_g: say(mass_g, "g", system)) for one in there.dyed_doubts])
    return Basis(rest_g, "rest", f"{told}; all of it: {whole.others}")


def _whole_lot(lot: LotRow, tables: Tables, system: str) -> Basis:
    weighed = f"on the scale {say(lot.mass_g, 'g', system)}"
    if lot.dry_mass_g is None:
        return Basis(lot.mass_g, "weighed", "its dry weight is not known: a wet lot would get too much dye")
    regain_frac = _regain_frac(lot, tables)
    agreed_g = agreed_mass_g(dry_mass_g=lot.dry_mass_g, agreed_regain_frac=regain_frac)
    dry = f"oven-dry {say(lot.dry_mass_g, 'g', system)}"
    return Basis(agreed_g, "agreed", f"{weighed}, {dry}, agreed regain {say(regain_frac, 'frac')}")


def _regain_frac(lot: LotRow, tables: Tables) -> float:
    return agreed_regain_frac(tables, lot.fibre, basis=basis_of(house.text("country_rules")))


def too_much(lot: LotRow, typed_g: float, tables: Tables, system: str) -> str:
    """A sentence where more was typed than the lot has, as it was weighed or at agreed regain; else ""."""
    most_g = lot.mass_g
    if lot.dry_mass_g is not None:
        regain_frac = _regain_frac(lot, tables)
        most_g = max(most_g, agreed_mass_g(dry_mass_g=lot.dry_mass_g, agreed_regain_frac=regain_frac))
    if typed_g <= most_g + ROUNDED_G:
        return ""
    return (
        f"{lot.code} has {say(most_g, 'g', system)} and no more: type less, or leave the weight empty to dye "
        "all of it. If there is more of it, weigh the lot again first."
    )


def load_cards(
    recipe: DyeRecipeRow,
    loads: Sequence[Load],
    kettles: Mapping[str, KettleRow],
    *,
    wet_pickup_frac: float,
    tables: Tables,
    system: str,
) -> tuple[LoadCard, ...]:
    """Loads as cards, equal ones together."""
    alike: dict[tuple[str, int], list[int]] = {}
    for number, load in enumerate(loads, start=1):
        alike.setdefault((load.kettle, round(load.fibre_g)), []).append(number)
    return tuple(
        _load_card(recipe, loads[numbers[0] - 1], numbers, kettles, wet_pickup_frac, tables, system)
        for numbers in alike.values()
    )


def _load_card(
    recipe: DyeRecipeRow,
    load: Load,
    numbers: Sequence[int],
    kettles: Mapping[str, KettleRow],
    wet_pickup_frac: float,
    tables: Tables,
    system: str,
) -> LoadCard:
    kettle = kettles.get(load.kettle)
    bath_l = load.top_up_l + sum(volume_ml for _, volume_ml in load.stock_ml) / ML_PER_L
    water, bath = _mark(kettle, load.top_up_l), _mark(kettle, bath_l)
    adding = (
        Adding("Water", say(load.top_up_l, "l", system), _mark_words(water, system)),
        *_salt(load),
        *_dyes(recipe, load),
        Adding(
            "Fibre",
            say(load.fibre_g, "g", system),
            _fibre_words(load, wet_pickup_frac, bath, system),
        ),
        *_acid(load, tables),
    )
    return LoadCard(
        tuple(numbers),
        load,
        kettle,
        water,
        bath,
        bath_l,
        adding,
        _kettle_picture(load, kettle, water, system),
    )


def _kettle_picture(load: Load, kettle: KettleRow | None, water: DipMark | None, system: str) -> str:
    holds_l = kettle.usable_l if kettle else None
    if holds_l is None or not 0 < load.top_up_l <= holds_l:
        return ""
    dip_cm = None if water is None else water.height_mm / MM_PER_CM
    return kettle_picture.kettle(water_l=load.top_up_l, holds_l=holds_l, dip_cm=dip_cm, system=system)


def _mark(kettle: KettleRow | None, volume_l: float) -> DipMark | None:
    if kettle is None or kettle.shape is None:
        return None
    try:
        return dip_mark(kettle.shape, volume_l=volume_l)
    except InputError:
        return None


def say_mark(mark: DipMark | None, system: str) -> str:
    """A height on the stick; to the half centimetre nobody reads it better."""
    return "" if mark is None else say(mark.height_mm / MM_PER_CM, "cm", system, 1)


def _mark_words(mark: DipMark | None, system: str) -> str:
    return f"to {say_mark(mark, system)} on the stick" if mark else ""


def say_ml(volume_ml: float) -> str:
    """Millilitres as a cylinder shows them."""
    return say(volume_ml, "ml", "metric", 0 if volume_ml >= FINE_ML else 1 if volume_ml >= DROPS_ML else 2)


def _salt(load: Load) -> tuple[Adding, ...]:
    if not load.salt_g:
        return ()
    return (Adding("Glauber’s salt", say(load.salt_g, "g"), "dissolved in hot water first"),)


def _dyes(recipe: DyeRecipeRow, load: Load) -> tuple[Adding, ...]:
    strength = recipe.stock_g_per_100ml
    return tuple(
        Adding(
            name[:1].upper() + name[1:],
            say_ml(volume_ml),
            f"of stock with {strength:g} g in 100 mL ({say(volume_ml * strength / PERCENT, 'g')} of dye)",
        )
        for name, volume_ml in load.stock_ml
    )


def _fibre_words(load: Load, wet_pickup_frac: float, bath: DipMark | None, system: str) -> str:
    words = "put in dry"
    if wet_pickup_frac:
        water_l = load.fibre_g / G_PER_KG * wet_pickup_frac
        words = f"wetted out and drained; it brings {say(water_l, 'l', system)} of water"
    check = f"; before it goes in the stick says {say_mark(bath, system)}" if bath else ""
    return f"{words}{check}; no stirring, only turned over"


def _acid(load: Load, tables: Tables) -> tuple[Adding, ...]:
    """The acid, last and in parts."""
    if not load.acid_pure_g:
        return ()
    n_parts = acid_parts(tables)
    apart_min = tables.additives["acid/apart"].value
    name = tables.additives[f"{load.acid}/strength"].name
    if load.acid_ml is None:
        whole, unit, how = acid_powder_g(load, tables), "g", "dissolved in warm water"
    else:
        whole, unit, how = load.acid_ml, "mL", "diluted: acid into water, never water into acid"
    steps = 1 if whole >= WHOLE else 10 if whole >= TENTHS else 100
    total = round(whole * steps)
    shares = " + ".join(_in_steps(part, steps) for part in whole_portions(total, n_portions=n_parts))
    return (
        Adding(
            name[:1].upper() + name[1:],
            f"{_in_steps(total, steps)}\u202f{unit}",
            f"last and in {n_parts} parts of {shares} {unit}, {apart_min:g} minutes apart; {how}. "
            "Lift or push the fibre aside, stir, let it back",
        ),
    )


def _in_steps(amount: int, steps: int) -> str:
    """An amount that is counted in steps of one, a tenth or a hundredth."""
    return str(amount) if steps == 1 else f"{amount / steps:g}"


def course_of(recipe: DyeRecipeRow, system: str, now_min: float | None = None) -> Course | None:
    """The steps of a recipe in time; None where none were written down."""
    if not recipe.steps:
        return None
    line = dye_curve([_step(step) for step in recipe.steps])
    slow = tuple(part.what for part in line if part.is_too_short)
    return Course(line, dye_line(line, now_min=now_min, system=system), slow)


def _step(step: Mapping[str, Any]) -> CurveStep:
    return CurveStep(
        what=str(step["what"]),
        minutes=float(step["minutes"]),
        temperature_c=step.get("temperature_c"),
        ramp_c_per_min=step.get("ramp_c_per_min"),
    )


def mind(tables: Tables) -> tuple[Caution, ...]:
    """What to look out for at the kettle: dye and acid, and hot water as at the wash tub."""
    scald = [one for one in cautions_for(tables, stage="wash") if one.hazard == SCALD]
    return (*cautions_for(tables, stage="dye"), *scald)
