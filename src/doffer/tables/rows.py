"""One frozen row type per table; the fields are the columns of its CSV, in the same order.

Each field carries its rule: is it part of the key, is it text or a number, in which range, may it be empty,
which other table does it point into. The loader reads these rules and nothing else, so a new column is one
new line here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from doffer.tables.cells import flag, free_text, key, maybe_number, number, number_key, text
from doffer.working import Status

STATUSES = tuple(str(status) for status in Status)
SEEN = ("full", "extract", "abstract", "no")  # how much of a source was read
SHAPES = ("one", "range", "steps", "list", "word")  # of what a machine or a run is set to
SETTING_APPLIES = ("usual", "fine", "coarse", "short", "long_even", "low_crimp", "high_crimp", "fragile")
CONTENT_BASES = ("eu_agreed", "us_commercial", "us_d2118", "iwto_trade", "physical_20c_65rh")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where figures come from and how much of it was read."""

    rising: ClassVar[tuple[str, ...]] = ()
    key: str = key()
    kind: str = text()
    title: str = text()
    year: float | None = maybe_number(1600, 2100)
    place: str = free_text()
    doi: str = free_text()
    licence: str = free_text()
    seen: str = text(choices=SEEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """The four columns that close every row; `rising` names columns that must not fall from left to right."""

    rising: ClassVar[tuple[str, ...]] = ()
    source: str = text(refers="sources.key")
    place: str = free_text()
    status: Status = text(choices=STATUSES)  # noqa: RUF009 - a field, as everywhere in this file
    note: str = free_text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fibre(Row):
    """A kind of fibre and what is typical of it; the `_as` columns say whose figures it borrows elsewhere."""

    fibre: str = key()
    name: str = text()
    family: str = text(choices=("keratin", "silk", "synthetic", "cellulose"))
    curve: str = text(choices=("keratin", "normalised"))
    regain65_pct: float = number(0, 30)
    density_g_cm3: float = number(0.8, 2.0)
    agreed_as: str = text(refers="regain.fibre")
    losses_as: str = text(refers="stage_losses.fibre")
    yields_as: str = text(refers="scour_yields.kind")
    label_as: str = text()
    diameter_um: float = number(5, 80)
    diameter_cv_pct: float = number(0, 60)
    staple_mm: float = number(5, 500)
    staple_cv_pct: float = number(0, 80)
    slippery: bool = flag()
    aliases: str = free_text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Breed(Row):
    """A breed or type of fibre animal; aliases are separated by semicolons."""

    breed: str = key()
    name: str = text()
    fibre: str = text(refers="fibres.fibre")
    yields_as: str = text(refers="scour_yields.kind")
    diameter_um: float = number(5, 80)
    diameter_sd_um: float = number(0, 30)
    staple_mm: float = number(5, 500)
    aliases: str = free_text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Regain(Row):
    """A conventional or physical regain: water as a percentage of oven-dry fibre."""

    rising: ClassVar = ("regain_low_pct", "regain_pct", "regain_high_pct")
    fibre: str = key()
    form: str = key()
    basis: str = key(choices=CONTENT_BASES)
    regain_pct: float = number(0, 40)
    regain_low_pct: float | None = maybe_number(0, 40)
    regain_high_pct: float | None = maybe_number(0, 40)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorption(Row):
    """A constant of a moisture curve (regain against relative humidity)."""

    curve: str = key(choices=("keratin", "normalised"))
    branch: str = key(choices=("absorption", "desorption", "any"))
    constant: str = key()
    value: float = number(0, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class IsothermPoint(Row):
    """A point of a moisture curve: the table behind the fitted constants."""

    fibre: str = key(refers="fibres.fibre")
    branch: str = key(choices=("absorption", "desorption", "normalised"))
    rh_pct: float = number_key(0, 100)
    temp_c: float = number(-20, 60)
    regain_pct: float = number(0, 40)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScourYield(Row):
    """Clean fibre from a raw fleece, as a percentage of the raw weight."""

    rising: ClassVar = ("yield_low_pct", "yield_mode_pct", "yield_high_pct")
    kind: str = key()
    name: str = text()
    yield_low_pct: float | None = maybe_number(10, 100)
    yield_mode_pct: float | None = maybe_number(10, 100)
    yield_high_pct: float | None = maybe_number(10, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class StageLoss(Row):
    """Fibre lost in a stage, percent of oven-dry fibre in; invisible is the part that is never weighed."""

    rising: ClassVar = ("dry_loss_low_pct", "dry_loss_mode_pct", "dry_loss_high_pct")
    stage: str = key()
    fibre: str = key()
    dry_loss_low_pct: float | None = maybe_number(0, 95)
    dry_loss_mode_pct: float = number(0, 95)
    dry_loss_high_pct: float | None = maybe_number(0, 95)
    dry_invisible_pct: float | None = maybe_number(0, 50)


@dataclass(frozen=True, slots=True, kw_only=True)
class FibreName(Row):
    """The name a fibre may carry on a label under one law."""

    fibre: str = key()
    jurisdiction: str = key(choices=("eu", "us", "ca"))
    permitted_name: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class CountSystem(Row):
    """A way to say how fine a yarn is: direct tex = factor x count, indirect tex = factor / count."""

    system: str = key()
    name: str = text()
    kind: str = text(choices=("direct", "indirect"))
    definition: str = text()
    factor: float = number(1e-3, 1e7)


@dataclass(frozen=True, slots=True, kw_only=True)
class WoolGrade(Row):
    """A wool grade by mean fibre diameter, with the largest standard deviation it allows."""

    rising: ClassVar = ("diameter_low_um", "diameter_high_um")
    grade: str = key()
    blood_grade: str = text()
    diameter_low_um: float = number(0, 60)
    diameter_high_um: float | None = maybe_number(0, 60)
    diameter_sd_max_um: float | None = maybe_number(0, 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class MohairGrade(Row):
    """A mohair grade of one scheme by mean fibre diameter."""

    rising: ClassVar = ("diameter_low_um", "diameter_high_um")
    scheme: str = key()
    grade: str = key()
    diameter_low_um: float = number(0, 60)
    diameter_high_um: float | None = maybe_number(0, 60)
    diameter_sd_max_um: float | None = maybe_number(0, 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlpacaClass(Row):
    """An alpaca class of one trade scheme by mean fibre diameter."""

    rising: ClassVar = ("diameter_low_um", "diameter_high_um")
    scheme: str = key()
    grade: str = key()
    diameter_low_um: float | None = maybe_number(0, 60)
    diameter_high_um: float | None = maybe_number(0, 60)


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnClass(Row):
    """A thickness class of yarn in one chart, by one quantity; low <= x < high."""

    rising: ClassVar = ("low", "high")
    chart: str = key()
    yarn_class: str = key()
    quantity: str = key(choices=("stitches_per_4in", "needle_mm", "yd_per_lb", "wpi_relaxed", "m_per_100g"))
    class_number: float = number(0, 7)
    name: str = text()
    low: float | None = maybe_number(0, 10000)
    high: float | None = maybe_number(0, 10000)


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnLimit(Row):
    """A limit or a usual value of yarn making."""

    rising: ClassVar = ("low", "value", "high")
    quantity: str = key()
    system: str = key()
    low: float | None = maybe_number(0, 10000)
    value: float | None = maybe_number(0, 10000)
    high: float | None = maybe_number(0, 10000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnFigure(Row):
    """A figure that the plan of a yarn starts from until the mill measures its own."""

    rising: ClassVar = ("low", "value", "high")
    figure: str = key()
    item: str = key()
    low: float | None = maybe_number(-100, 10000)
    value: float = number(-100, 10000)
    high: float | None = maybe_number(-100, 10000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkRate(Row):
    """How long work takes: charges, speeds, stops, and how much of it needs hands."""

    rising: ClassVar = ("low", "value", "high")
    figure: str = key()
    stage: str = key()
    item: str = key()
    low: float | None = maybe_number(0, 10000)
    value: float = number(0, 10000)
    high: float | None = maybe_number(0, 10000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting(Row):
    """What to set a machine to for a fibre, and why.

    `effect` says how a row counts: "is" sets a figure, "times" multiplies it, "gentle" comes last and is the
    most it may be, "limit" tells which fibre a word of `applies` means.
    """

    rising: ClassVar = ("low", "value", "high")
    stage: str = key()
    setting: str = key()
    applies: str = key(choices=SETTING_APPLIES)
    effect: str = text(choices=("is", "times", "gentle", "limit"))
    low: float | None = maybe_number(0, 10000)
    value: float | None = maybe_number(0, 10000)
    high: float | None = maybe_number(0, 10000)
    unit: str = free_text()
    words: str = free_text()
    reason: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Twist(Row):
    """A twist conversion or a usual twist."""

    rising: ClassVar = ("low", "value", "high")
    kind: str = key(choices=("conversion", "guide"))
    item: str = key()
    quantity: str = key()
    low: float | None = maybe_number(0, 1000)
    value: float | None = maybe_number(0, 1000)
    high: float | None = maybe_number(0, 1000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossSection(Row):
    """A worked example of fibres in a yarn's cross-section and of spinning fineness."""

    case: str = key()
    diameter_um: float = number(5, 80)
    diameter_cv_pct: float = number(0, 60)
    density_g_cm3: float | None = maybe_number(0.8, 2)
    yarn_count_tex: float | None = maybe_number(1, 10000)
    fibre_dtex: float | None = maybe_number(0.1, 100)
    n_fibres: float | None = maybe_number(1, 100000)
    limit_cv_pct: float | None = maybe_number(0, 100)
    limit_cv_normal_pct: float | None = maybe_number(0, 100)
    limit_cv_lognormal_pct: float | None = maybe_number(0, 100)
    spinning_fineness_um: float | None = maybe_number(5, 80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Additive(Row):
    """What is added to fibre or bath: dose, strength, temperature, liquor, with a usual range."""

    rising: ClassVar = ("low", "value", "high")
    additive: str = key()
    quantity: str = key()
    name: str = text()
    stage: str = text()
    low: float | None = maybe_number(0, 1000)
    value: float = number(0, 1000)
    high: float | None = maybe_number(0, 1000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution(Row):
    """A hazard of a stage and the reminder shown beside the work."""

    stage: str = key()
    hazard: str = key()
    text: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineKind(Row):
    """A kind of machine with usual rates, set-up, cleaning and the fibre that stays in it."""

    machine_kind: str = key()
    stage: str = text()
    name: str = text()
    capacity: float | None = maybe_number(0, 10000)
    capacity_unit: str = free_text()
    rate_wool_kg_per_h: float | None = maybe_number(0, 1000)
    rate_camelid_kg_per_h: float | None = maybe_number(0, 1000)
    rate_angora_kg_per_h: float | None = maybe_number(0, 1000)
    setup_min: float = number(0, 600)
    clean_light_to_dark_min: float = number(0, 600)
    clean_dark_to_light_min: float = number(0, 600)
    clean_new_owner_min: float = number(0, 600)
    hold_up_g: float = number(0, 5000)


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineSetting(Row):
    """What a machine of a stage can be set to, with a guess until the mill writes down its own.

    Shapes: one figure; a range (low, high); steps (low, value, high, named); a list; a word (its place among
    the names). `usual_from` ("table:row") says where the guess stands when it stands elsewhere. Outside of
    `least` to `most` a figure is asked about.
    """

    rising: ClassVar = ("least", "low", "value", "high", "most")
    setting: str = key()
    stage: str = key()
    shape: str = text(choices=SHAPES)
    low: float | None = maybe_number(0, 1_000_000)
    value: float | None = maybe_number(0, 1_000_000)
    high: float | None = maybe_number(0, 1_000_000)
    least: float = number(0, 1_000_000)
    most: float = number(0, 1_000_000)
    whole: bool = flag()
    unit: str = text()
    names: str = free_text()
    usual_from: str = free_text()


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSetting(Row):
    """What a run of a stage can be set to; outside of `least` to `most` a figure is asked about."""

    rising: ClassVar = ("least", "most")
    setting: str = key()
    stage: str = key()
    shape: str = text(choices=SHAPES)
    least: float = number(0, 1_000_000)
    most: float = number(0, 1_000_000)
    whole: bool = flag()
    unit: str = text()
    names: str = free_text()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDefault(Row):
    """A figure a plan starts from until the mill sets its own."""

    rising: ClassVar = ("low", "value", "high")
    default: str = key()
    value: float = number(0, 1000)
    low: float | None = maybe_number(0, 1000)
    high: float | None = maybe_number(0, 1000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class EvennessFigure(Row):
    """A figure that a forecast of evenness starts from, or that the eye goes by."""

    rising: ClassVar = ("low", "value", "high")
    figure: str = key()
    value: float = number(0, 1000)
    low: float | None = maybe_number(0, 1000)
    high: float | None = maybe_number(0, 1000)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant(Row):
    """A single figure that a formula needs."""

    rising: ClassVar = ("low", "value", "high")
    constant: str = key()
    value: float = number(-1000, 1000)
    low: float | None = maybe_number(-1000, 1000)
    high: float | None = maybe_number(-1000, 1000)
    unit: str = text()
