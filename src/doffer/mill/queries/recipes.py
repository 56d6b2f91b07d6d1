"""Blend recipes with their trial cards, sample blends, and the mixing constants fitted to them."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef

from doffer.errors import NotFoundError
from doffer.fibre.colour.predict import N_ERRORS
from doffer.fibre.colour.verdict import Tolerance, usual_tolerance
from doffer.mill import bridge, colours
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.colours import FIRST_LIGHT, Lab, Pad
from doffer.mill.mix_checks import Against, against_mix, is_learnt, standard_tolerance
from doffer.mill.models import BlendRecipe, ColourReading, MixingFit, Run, SampleBlend
from doffer.mill.models.blends import RecipeState
from doffer.mill.promised import promised
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.sittings import Sitting, sittings
from doffer.tables.loader import Tables

WITHDRAWN = "withdrawn"  # a release that was taken back


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """One recipe in a list, its newest version; `de` is CIEDE2000 to its target, predicted and measured."""

    code: str
    version: int
    name: str
    shade: str
    shade_name: str
    state: str
    target_lab: Lab
    predicted_lab: Lab
    predicted_de: float
    trial_de: float | None
    dry_mass_g: float
    n_lots: int
    made_at: datetime
    made_by: str


@dataclass(frozen=True, slots=True)
class RecipePart:
    """A lot of a recipe: share and grams by oven-dry fibre, grams of the trial card, whose it is."""

    lot: str
    owner: str
    owner_name: str
    fibre: str
    colour_name: str
    share_frac: float
    dry_mass_g: float
    weighed_mass_g: float | None  # at the lot's water now; None where nobody knows it
    trial_g: float
    kind: str
    lab: Lab
    left_dry_g: float | None
    reflectance_ppm: tuple[int, ...]
    is_own: bool


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of a recipe's life; `state` is "withdrawn" where a release was taken back."""

    state: str
    at: datetime
    person: str
    note: str
    de: float | None


@dataclass(frozen=True, slots=True)
class MadeRow:
    """A picker run that a recipe was weighed out for, and the lots that came out of it so far."""

    run: str
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OneRecipe:
    """A recipe with everything that happened to it; `band_de` runs over about 95 % of M.

    `tolerance` is the standard's, or the usual one where a colour of its own is aimed at. `is_learnt` says
    that the newest trial card became a sample blend for the mixing constant, `is_in_book` that its shade can
    be aimed at still, `is_waiting` that it is released and fibre is kept for it, `against` what speaks
    against making the full mix now.
    """

    row: RecipeRow
    versions: tuple[int, ...]
    target_labs: dict[str, Lab]
    target_reflectance_ppm: tuple[int, ...] | None
    tolerance: Tolerance
    predicted_labs: dict[str, Lab]
    pad: Pad
    model: str
    constant: float | None
    ln_m_sd: float | None
    is_fitted: bool
    band_de: tuple[float, float] | None
    trial_g: float
    join_decision: int | None
    note: str
    parts: tuple[RecipePart, ...]
    steps: tuple[StepRow, ...]
    trials: tuple[Sitting, ...]
    is_learnt: bool
    is_in_book: bool
    is_waiting: bool
    against: Against
    made: tuple[MadeRow, ...]
    tables: Tables


@dataclass(frozen=True, slots=True)
class SampleRow:
    """A sample blend: names with shares, how it was measured, which recipe's trial card it was."""

    id: int
    fibre: str
    form: str
    kind: str
    parts: tuple[tuple[str, float], ...]
    lab: Lab
    recipe: str
    note: str
    made_at: datetime
    person: str


@dataclass(frozen=True, slots=True)
class FitRow:
    """A fitted mixing constant with its 95 % ends; the newest of a fibre and form counts."""

    id: int
    fibre: str
    form: str
    m: float
    m_low: float
    m_high: float
    n_blends: int
    residual_de: float
    left_out_de: float
    fitted_at: datetime
    fitted_by: str
    note: str


def list_recipes(*, state: str = "", shade: str = "", after: int | None = None) -> Page[RecipeRow]:
    """Newest versions of blend recipes, newest first, fifty a page; three queries."""
    newer = BlendRecipe.objects.filter(code=OuterRef("code"), version__gt=OuterRef("version"))
    rows = BlendRecipe.objects.filter(~Exists(newer)).order_by("-pk")
    if state:
        rows = rows.filter(state=state)
    if shade:
        rows = rows.filter(standard__shade__code=shade)
    if after is not None:
        rows = rows.filter(pk__lt=after)
    rows = rows.select_related("standard__shade", "made_by").prefetch_related("parts", "steps")
    return page_of([(row.pk, _row(row)) for row in rows[: ROWS_A_PAGE + 1]])


def _row(row: BlendRecipe) -> RecipeRow:
    wanted, predicted = (
        colours.plain_labs(labs) for labs in (row.target_labs_centi, row.predicted_labs_centi)
    )
    measured = [step.de_centi for step in row.steps.all() if step.de_centi is not None]
    return RecipeRow(
        code=row.code,
        version=row.version,
        name=row.name,
        shade=row.standard.shade.code if row.standard else "",
        shade_name=row.standard.shade.name if row.standard else "",
        state=row.state,
        target_lab=wanted[FIRST_LIGHT],
        predicted_lab=predicted[FIRST_LIGHT],
        predicted_de=row.predicted_de_centi / CENTI,
        trial_de=measured[-1] / CENTI if measured else None,
        dry_mass_g=bridge.grams(row.dry_mg),
        n_lots=len(row.parts.all()),
        made_at=row.made_at,
        made_by=row.made_by.name,
    )


def one_recipe(code: str, version: int | None = None) -> OneRecipe:
    """A recipe, its newest version unless one is named; NotFoundError when there is none."""
    rows = BlendRecipe.objects.filter(code=code).select_related("standard__shade", "made_by")
    found = rows.filter(version=version) if version else rows
    row = found.prefetch_related("parts__lot__customer", "steps__person").order_by("-version").first()
    if row is None:
        raise NotFoundError("blend recipe", f"{code} {version}" if version else code, "Look in the list")
    has_band = row.band_low_de_centi is not None and row.band_high_de_centi is not None
    tables = bridge.current_tables()
    trials = tuple(sittings(ColourReading.objects.filter(recipe=row)))[::-1]
    made = _made(row) if row.state == RecipeState.RELEASED else ()
    return OneRecipe(
        row=_row(row),
        versions=tuple(rows.order_by("-version").values_list("version", flat=True)),
        target_labs=colours.plain_labs(row.target_labs_centi),
        target_reflectance_ppm=None
        if row.target_reflectance_ppm is None
        else tuple(row.target_reflectance_ppm),
        tolerance=_tolerance(row, tables),
        predicted_labs=colours.plain_labs(row.predicted_labs_centi),
        pad=colours.pad_of(row),
        model=row.model,
        constant=bridge.maybe_frac(row.constant_ppm),
        ln_m_sd=bridge.maybe_frac(row.ln_m_sd_ppm),
        is_fitted=row.fit_id is not None,
        band_de=(row.band_low_de_centi / CENTI, row.band_high_de_centi / CENTI) if has_band else None,
        trial_g=bridge.grams(row.trial_mg),
        join_decision=row.join_decision_id,
        note=row.note,
        parts=tuple(_part(part, row.observer_deg, tables) for part in row.parts.all()),
        steps=_steps(row),
        trials=trials,
        made=made,
        is_learnt=bool(trials) and is_learnt(row, trials[0], tables),
        is_in_book=row.standard is not None and row.standard.shade.archived_at is None,
        is_waiting=row.state == RecipeState.RELEASED and _is_waiting(row),
        against=_against(row, trials[0] if trials else None, made, tables),
        tables=tables,
    )


def run_note(code: str, version: int) -> str:
    """What a run carries as its note when it is weighed out by a recipe; the recipe finds it again by it."""
    return f"Blend recipe {code} version {version}"


def _steps(row: BlendRecipe) -> tuple[StepRow, ...]:
    """The steps in order; measured after a release means that the release was taken back."""
    told, before = [], ""
    for one in row.steps.all():
        is_back = before == RecipeState.RELEASED and one.state == RecipeState.MEASURED
        de = None if one.de_centi is None or is_back else one.de_centi / CENTI
        told.append(StepRow(WITHDRAWN if is_back else one.state, one.at, one.person.name, one.note, de))
        before = one.state
    return tuple(told)


def _made(row: BlendRecipe) -> tuple[MadeRow, ...]:
    """Runs of a released recipe, newest first, five at most."""
    words = run_note(row.code, row.version)
    runs = Run.objects.filter(stage="pick", note__startswith=words).order_by("-pk")
    found = [run for run in runs.prefetch_related("outputs__lot")[:MOST_RUNS] if _is_of(run.note, words)]
    return tuple(
        MadeRow(run.code, tuple(dict.fromkeys(one.lot.code for one in run.outputs.all()))) for run in found
    )


def _is_of(note: str, words: str) -> bool:
    """Whether a note is of this very version: version 1 is not version 12."""
    return not note[len(words) : len(words) + 1].isdigit()


def _tolerance(row: BlendRecipe, tables: Tables) -> Tolerance:
    return usual_tolerance(tables) if row.standard is None else standard_tolerance(row.standard)


def _is_waiting(row: BlendRecipe) -> bool:
    """Whether fibre is still kept for a released mix; two queries."""
    waiting = promised([part.lot_id for part in row.parts.all()])
    ours = (row.code, row.version)
    return any((one.recipe, one.version) == ours for rows in waiting.values() for one in rows)


def _against(row: BlendRecipe, card: Sitting | None, made: Collection[MadeRow], tables: Tables) -> Against:
    """What speaks against the full mix, from its card on until it is weighed out."""
    if made or row.state not in (RecipeState.MEASURED, RecipeState.RELEASED):
        return Against()
    return against_mix(row, card, _tolerance(row, tables), tables)


def _part(part, observer_deg: int, tables: Tables) -> RecipePart:
    lot = part.lot
    spectrum = colours.spectrum_of_ppm(part.reflectance_ppm)
    labs = colours.labs_under(spectrum, tables, observer_deg=observer_deg)
    regain = bridge.maybe_frac(lot.now_regain_ppm)
    dry_g = bridge.grams(part.dry_mg)
    return RecipePart(
        lot=lot.code,
        owner=lot.customer.code,
        owner_name=lot.customer.name,
        fibre=lot.fibre,
        colour_name=lot.colour_name,
        share_frac=part.share_ppm / PPM,
        dry_mass_g=dry_g,
        weighed_mass_g=None if regain is None else dry_g * (1 + regain),
        trial_g=bridge.grams(part.trial_mg),
        kind=part.kind,
        lab=labs[FIRST_LIGHT],
        left_dry_g=None if lot.now_dry_mg is None else bridge.grams(lot.now_dry_mg) - dry_g,
        reflectance_ppm=tuple(part.reflectance_ppm),
        is_own=lot.customer.is_own,
    )


def sample_blends(*, fibre: str = "", form: str = "", after: int | None = None) -> Page[SampleRow]:
    """Sample blends, newest first, fifty a page; one query."""
    rows = SampleBlend.objects.select_related("recipe", "person").order_by("-pk")
    rows = rows.filter(fibre=fibre) if fibre else rows
    rows = rows.filter(form=form) if form else rows
    if after is not None:
        rows = rows.filter(pk__lt=after)
    return page_of([(row.pk, _sample(row)) for row in rows[: ROWS_A_PAGE + 1]])


def _sample(row: SampleBlend) -> SampleRow:
    spectrum = colours.spectrum_of_ppm(row.reflectance_ppm)
    labs = colours.labs_under(spectrum, bridge.current_tables(), observer_deg=row.observer_deg)
    return SampleRow(
        id=row.pk,
        fibre=row.fibre,
        form=row.form,
        kind=row.kind,
        parts=tuple((part["name"], part["share_ppm"] / PPM) for part in row.parts),
        lab=labs[FIRST_LIGHT],
        recipe=row.recipe.code if row.recipe else "",
        note=row.note,
        made_at=row.made_at,
        person=row.person.name,
    )


def mixing_fits(*, fibre: str = "", form: str = "") -> tuple[FitRow, ...]:
    """Fits of the mixing constant, newest first, fifty at most; one query."""
    rows = MixingFit.objects.select_related("fitted_by").order_by("-pk")
    rows = rows.filter(fibre=fibre) if fibre else rows
    rows = rows.filter(form=form) if form else rows
    return tuple(fit_row(row) for row in rows[:ROWS_A_PAGE])


def fit_row(row: MixingFit) -> FitRow:
    """A fit as a row."""
    m, spread = row.m_ppm / PPM, math.exp(N_ERRORS * row.ln_m_sd_ppm / PPM)
    return FitRow(
        id=row.pk,
        fibre=row.fibre,
        form=row.form,
        m=m,
        m_low=m / spread,
        m_high=min(m * spread, MOST_M),
        n_blends=row.n_blends,
        residual_de=row.residual_de_centi / CENTI,
        left_out_de=row.left_out_de_centi / CENTI,
        fitted_at=row.fitted_at,
        fitted_by=row.fitted_by.name,
        note=row.note,
    )


MOST_RUNS = 5
MOST_M = 0.95  # M stays below 1, where the model breaks down
