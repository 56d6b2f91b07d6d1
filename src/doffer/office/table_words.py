"""What the columns and rows of the tables are called on pages; the terminal keeps the short names."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from doffer.mill.queries.tables import FigureChange, TablesSince
from doffer.pictures.calendar_words import say_day
from doffer.planning.order_plan import OrderPlan
from doffer.planning.spec import OrderSpec
from doffer.process.stages import STAGES
from doffer.tables.catalogue import TABLES
from doffer.tables.loader import Tables

MOST_PRINTED = 3  # changes a paper names; the order page holds them all
UNIT_WORDS = {
    "pct": "%",
    "um": "micron",
    "mm": "mm",
    "g": "g",
    "min": "min",
    "kg_per_h": "kg/h",
    "g_cm3": "g/cm³",
    "c": "°C",
    "tex": "tex",
    "dtex": "dtex",
    "deg": "°",
}
VALUE_UNITS = {
    "frac": "of 1",
    "ratio": "",
    "pct": "%",
    "pct_owf": "% of the fibre",
    "um": "micron",
    "deg_c": "°C",
    "deg_c_per_min": "°C a minute",
    "degrees": "°",
    "cycles_per_degree": "waves in 1° of view",
    "de": "colour difference",
    "points": "points of 100",
    "g_per_100_ml": "g in 100 ml",
    "g_per_ml": "g/ml",
    "l_per_kg": "l for 1 kg",
    "m_per_s": "m/s",
    "n_per_ktex": "N for 1000 tex",
    "parts_per_part": "parts for 1 part",
    "ph": "pH",
    "tpm": "turns/m",
    "h": "hours",
}  # what a row's own column "unit" means
WORDS = {
    "shape": "One figure, a range, a list or a word",
    "least": "No less than",
    "most": "No more than",
    "whole": "Whole numbers only",
    "names": "Words it may be",
    "usual_from": "Usual figure taken from",
    "regain65_pct": "Water at 65 % humidity",
    "density_g_cm3": "Density of the fibre",
    "agreed_as": "Regain as for",
    "losses_as": "Losses as for",
    "yields_as": "Washing yield as for",
    "label_as": "Name on the label",
    "diameter_um": "Fineness",
    "diameter_cv_pct": "Spread of fineness (CV)",
    "diameter_sd_um": "Spread of fineness (SD)",
    "diameter_low_um": "Fineness from",
    "diameter_high_um": "Fineness to",
    "diameter_sd_max_um": "Largest spread of fineness (SD)",
    "staple_mm": "Staple",
    "staple_cv_pct": "Spread of staple (CV)",
    "slippery": "Slippery",
    "aliases": "Also called",
    "family": "Kind of stuff",
    "unit": "Counted in",
    "curve": "Moisture curve",
    "form": "State",
    "basis": "By whose rule",
    "regain_pct": "Regain",
    "regain_low_pct": "Regain at least",
    "regain_high_pct": "Regain at most",
    "rh_pct": "Room humidity",
    "temp_c": "Room temperature",
    "branch": "Taking up or giving off water",
    "kind": "Kind",
    "yield_low_pct": "Clean fibre at least",
    "yield_mode_pct": "Clean fibre usually",
    "yield_high_pct": "Clean fibre at most",
    "dry_loss_low_pct": "Loss at least",
    "dry_loss_mode_pct": "Usual loss",
    "dry_loss_high_pct": "Loss at most",
    "dry_invisible_pct": "Of it never seen again (dust, fly)",
    "jurisdiction": "Law of",
    "permitted_name": "Name allowed on a label",
    "system": "System",
    "definition": "What it counts",
    "factor": "Factor to tex",
    "blood_grade": "Blood grade",
    "scheme": "Whose grades",
    "yarn_class": "Thickness",
    "class_number": "Number of the class",
    "low": "At least",
    "value": "Usual",
    "high": "At most",
    "n_fibres": "Fibres in the yarn",
    "yarn_count_tex": "Yarn count",
    "fibre_dtex": "Weight of the fibre",
    "limit_cv_pct": "Best evenness (CV)",
    "limit_cv_normal_pct": "Best evenness, even spread (CV)",
    "limit_cv_lognormal_pct": "Best evenness, skewed spread (CV)",
    "spinning_fineness_um": "Spinning fineness",
    "nm": "Wavelength (nm)",
    "illuminant": "Light",
    "observer_deg": "Field of view",
    "x": "Weight X",
    "y": "Weight Y",
    "z": "Weight Z",
    "pair": "Pair",
    "lab_l_1": "First colour, L",
    "lab_a_1": "First colour, a",
    "lab_b_1": "First colour, b",
    "lab_l_2": "Second colour, L",
    "lab_a_2": "Second colour, a",
    "lab_b_2": "Second colour, b",
    "de2000": "Difference",
    "de": "Difference",
    "tolerance_de": "Give or take",
    "model": "Way of reckoning a blend",
    "data": "Found on",
    "grade": "Grade",
    "additive": "What is added",
    "quantity": "Figure",
    "hazard": "Danger",
    "text": "Reminder",
    "machine_kind": "Kind of machine",
    "capacity": "Holds",
    "capacity_unit": "Counted in",
    "rate_wool_kg_per_h": "Wool in an hour",
    "rate_camelid_kg_per_h": "Alpaca and llama in an hour",
    "rate_angora_kg_per_h": "Angora in an hour",
    "setup_min": "Setting up",
    "clean_light_to_dark_min": "Cleaning, light to dark",
    "clean_dark_to_light_min": "Cleaning, dark to light",
    "clean_new_owner_min": "Cleaning for a new owner",
    "hold_up_g": "Stays in the machine",
    "default": "What for",
    "constant": "What for",
    "figure": "What for",
    "setting": "What is set",
    "applies": "For which fibre",
    "effect": "How it counts",
    "words": "In words",
    "reason": "Why",
    "key": "Short name",
    "seen": "How much of it was read",
    "doi": "DOI",
}
OF_TABLE = {
    ("constants", "value"): "Figure",
    ("sorption", "value"): "Figure",
    ("sorption", "constant"): "Letter in the formula",
    ("scour_yields", "kind"): "Fleece",
    ("scour_yields", "name"): "Fleece as it is said",
    ("stage_losses", "fibre"): "Fibre",
    ("counts", "kind"): "More is finer or coarser",
    ("counts", "name"): "Count as it is said",
    ("yarn_classes", "low"): "From",
    ("yarn_classes", "high"): "Below",
    ("machine_kinds", "name"): "Machine",
    ("sources", "kind"): "What it is",
    ("sources", "place"): "Where it is found",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column as it is said: "dry_loss_mode_pct" is "Usual loss" in %."""

    name: str
    title: str
    unit: str


def column_of(name: str, table: str = "") -> Column:
    """A column's name in words, with its unit; one without words of its own is taken apart."""
    unit, plain_name = "", name
    for ending in sorted(UNIT_WORDS, key=len, reverse=True):
        if name.endswith(f"_{ending}"):
            unit, plain_name = UNIT_WORDS[ending], name.removesuffix(f"_{ending}")
            break
    title = OF_TABLE.get((table, name)) or WORDS.get(name) or plain_name.replace("_", " ").capitalize()
    return Column(name, title, unit)


def cell_words(column: str, value: str) -> str:
    """A cell as it is said: units by their signs, short names with spaces."""
    if column == "unit" and value in VALUE_UNITS:
        return VALUE_UNITS[value]
    return value.replace("_", " ").replace(";", "; ") if column != "title" else value


def row_words(key: str) -> str:
    """A row's key as it is said: "card/fine_wool" is "card, fine wool"."""
    return key.replace("_", " ").replace("/", ", ")


def change_words(change: FigureChange) -> str:
    """What changed: "Losses by stage, wash, wool: usual loss 2 % -> 3 %"."""
    column = column_of(change.column, change.table)
    unit = column.unit or cell_words("unit", change.unit)
    before, now = (
        f"{value or 'nothing'} {unit if value else ''}".strip() for value in (change.before, change.now)
    )
    title = column.title[:1].lower() + column.title[1:]
    return f"{TABLES[change.table].title}, {row_words(change.row)}: {title} {before} → {now}"


def concerning(
    since: TablesSince, spec: OrderSpec, plan: OrderPlan, tables: Tables
) -> tuple[TablesSince, int]:
    """Changes with those that may concern a plan first, and how many these are.

    A row of another fibre, washing yield or stage concerns it not; what belongs to no fibre and no stage may.
    """
    mine = _names_of(spec, tables) | {stage.stage for batch in plan.batches for stage in batch.stages}
    others = _all_names(tables)
    near = [change for change in since.changes if not (set(change.row.split("/")) & others) - mine]
    far = [change for change in since.changes if change not in near]
    return replace(since, changes=(*near, *far)), len(near)


def _all_names(tables: Tables) -> set[str]:
    """Every name of a fibre, a breed, a washing yield or a stage that a row may be about."""
    fibres = tables.fibres.values()
    named = {name for row in fibres for name in (row.fibre, row.agreed_as, row.losses_as, row.label_as)}
    yields = {row.split("/")[0] for row in tables.scour_yields}
    return named | set(tables.breeds) | yields | set(STAGES)


def _names_of(spec: OrderSpec, tables: Tables) -> set[str]:
    """The names of fibres and washing yields among them that a plan is made of."""
    starts = [start for batch in spec.batches for start in batch.lots]
    parts = [part for start in starts for part in (start.part, *(each for each, _ in start.blend))]
    rows = [tables.fibres[part.fibre] for part in parts]
    named = {name for row in rows for name in (row.fibre, row.agreed_as, row.losses_as, row.label_as)}
    return named | {row.yields_as for row in rows} | {start.yields_as for start in starts if start.yields_as}


def with_news(
    plan: OrderPlan | None, since: TablesSince | None, made_at: datetime | None
) -> OrderPlan | None:
    """The plan with a warning on each batch when figures changed since it was made, for its papers."""
    if plan is None or since is None or made_at is None:
        return plan
    parts = [change_words(change) for change in since.changes[:MOST_PRINTED]]
    if len(since.changes) > MOST_PRINTED:
        parts.append(f"and {len(since.changes) - MOST_PRINTED} more")
    if since.is_updated:
        parts.append("the shipped tables changed with an update")
    words = f"Figures changed since this plan was made on {say_day(made_at.date())}: {'; '.join(parts)}"
    return replace(plan, batches=tuple(replace(b, warnings=(words, *b.warnings)) for b in plan.batches))
