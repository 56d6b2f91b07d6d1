"""The shade book: standards, every batch since, and the drift against the standard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from doffer.errors import NotFoundError
from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.fibre.colour.words import difference_words
from doffer.mill import bridge, colours
from doffer.mill.bridge import CENTI
from doffer.mill.colours import Lab, Pad
from doffer.mill.dyed import LotDyeing, dyeings_of
from doffer.mill.models import ColourReading, Shade, ShadeBatch, ShadeVerdict, ShadeVersion
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.sittings import Sitting, of_lot, sittings
from doffer.tables.loader import Tables


def usual_head() -> str:
    """The kind of head that a lot was read with last; "" while none was; one query."""
    rows = ColourReading.objects.filter(lot__isnull=False, is_wet=False).exclude(geometry="")
    return str(rows.order_by("-pk").values_list("geometry", flat=True).first() or "")


@dataclass(frozen=True, slots=True)
class StandardRow:
    """One version of a standard; the newest counts."""

    id: int
    version: int
    kind: str
    labs: dict[str, Lab]
    reflectance_ppm: tuple[int, ...] | None
    light: str
    pad: Pad
    formula: str
    pass_de: float
    ask_de: float
    reason: str
    made_at: datetime
    made_by: str

    @property
    def lab(self) -> Lab:
        """Lab under the standard's own light."""
        return self.labs[self.light] if self.light in self.labs else next(iter(self.labs.values()))

    def is_same_colour(self, other: StandardRow) -> bool:
        """Whether only the tolerance differs, so that batches of one may be held against the other."""
        mine = (self.labs, self.reflectance_ppm, self.light, self.pad)
        return mine == (other.labs, other.reflectance_ppm, other.light, other.pad)


@dataclass(frozen=True, slots=True)
class ShadeRow:
    """One shade in the book, with what was said of its newest batch."""

    code: str
    name: str
    use: str
    lab: Lab
    version: int
    n_batches: int
    last_batch: str
    last_made_on: date | None
    last_verdict: str
    is_archived: bool


@dataclass(frozen=True, slots=True)
class Step:
    """From one colour to another: CIEDE2000, CMC(2:1), parts by CIELAB (lightness, chroma, hue), words."""

    de2000: float
    de_cmc: float
    d_l: float
    d_c: float
    d_h: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """What was said of a batch; the newest counts."""

    verdict: str
    de: float
    formula: str
    is_decided: bool
    note: str
    at: datetime
    person: str


@dataclass(frozen=True, slots=True)
class BatchPoint:
    """One batch on the line of a shade: where it lies to its standard and, beside, to the batch before.

    `why_not` says why it is not compared (never read, wet only, pads unlike); then the steps are None.
    """

    id: int
    label: str
    lot: str
    made_on: date
    version: int
    note: str
    sitting: Sitting | None
    to_standard: Step | None
    to_last: Step | None
    why_not: tuple[str, ...]
    verdicts: tuple[VerdictRow, ...]

    @property
    def verdict(self) -> str:
        """What counts: pass, ask, fail, or "" before anybody judged."""
        return self.verdicts[-1].verdict if self.verdicts else ""


@dataclass(frozen=True, slots=True)
class ShadeBook:
    """One shade: its standards newest first, its batches oldest first (fifty at most, the newest ones).

    `drift_de_a_batch` is the slope of CIEDE2000 to the standard over the batches; `drift` the mean of the
    newest three less the standard, in words and parts. Both None below three compared batches.
    """

    row: ShadeRow
    standards: tuple[StandardRow, ...]
    batches: tuple[BatchPoint, ...]
    drift_de_a_batch: float | None
    drift: Step | None
    dye_recipe_versions: tuple[int, ...]

    @property
    def standard(self) -> StandardRow:
        """The one that counts."""
        return self.standards[0]

    def counts_for(self, point: BatchPoint) -> bool:
        """Whether a batch was made to the colour that counts now, whatever the tolerance was then."""
        return point.version in _same_colour(self.standards)


DRIFT_BATCHES = 3


def list_shades(*, standing: str = "made", after: int | None = None) -> Page[ShadeRow]:
    """Shades by name of the book (made, or archived), fifty a page; three queries."""
    shades = Shade.objects.order_by("pk")
    if standing == "archived":
        shades = shades.exclude(archived_at=None)
    elif standing == "made":
        shades = shades.filter(archived_at=None)
    if after is not None:
        shades = shades.filter(pk__gt=after)
    found = list(shades[: ROWS_A_PAGE + 1])
    versions: dict[int, ShadeVersion] = {}
    rows_of_them = ShadeVersion.objects.filter(shade__in=found).select_related("made_by")
    for version in rows_of_them.order_by("version"):
        versions[version.shade_id] = version
    batches: dict[int, list[ShadeBatch]] = {}
    rows = ShadeBatch.objects.filter(version__shade__in=found).select_related("version")
    for batch in rows.prefetch_related("verdicts").order_by("made_on", "id"):
        batches.setdefault(batch.version.shade_id, []).append(batch)
    return page_of([(s.pk, _shade_row(s, versions[s.pk], batches.get(s.pk, []))) for s in found])


def _shade_row(shade: Shade, version: ShadeVersion, batches: Sequence[ShadeBatch]) -> ShadeRow:
    last = batches[-1] if batches else None
    verdicts = list(last.verdicts.all()) if last else []
    return ShadeRow(
        code=shade.code,
        name=shade.name,
        use=shade.use,
        lab=standard_row(version).lab,
        version=version.version,
        n_batches=len(batches),
        last_batch=last.label if last else "",
        last_made_on=last.made_on if last else None,
        last_verdict=verdicts[-1].verdict if verdicts else "",
        is_archived=shade.archived_at is not None,
    )


def standard_row(version: ShadeVersion) -> StandardRow:
    """A standard as a row; `made_by` costs a query unless it was selected."""
    return StandardRow(
        id=version.pk,
        version=version.version,
        kind=version.kind,
        labs=colours.plain_labs(version.labs_centi),
        reflectance_ppm=None if version.reflectance_ppm is None else tuple(version.reflectance_ppm),
        light=version.light,
        pad=colours.pad_of(version),
        formula=version.formula,
        pass_de=version.pass_centi / CENTI,
        ask_de=version.ask_centi / CENTI,
        reason=version.reason,
        made_at=version.made_at,
        made_by=version.made_by.name,
    )


def one_shade(code: str) -> ShadeBook:
    """One shade with everything made to it; NotFoundError when there is none."""
    shade = Shade.objects.filter(code=code).first()
    if shade is None:
        raise NotFoundError("shade", code, "Look in the shade book")
    versions = list(shade.versions.select_related("made_by").order_by("-version"))
    rows = ShadeBatch.objects.filter(version__shade=shade).select_related("version__made_by", "lot")
    batches = list(rows.prefetch_related("verdicts__person").order_by("-made_on", "-id")[:ROWS_A_PAGE])[::-1]
    points = _points(batches)
    row = _shade_row(shade, versions[0], batches)
    standards = tuple(standard_row(version) for version in versions)
    slope, drift = _drift(points, standards)
    return ShadeBook(
        row=row,
        standards=standards,
        batches=points,
        drift_de_a_batch=slope,
        drift=drift,
        dye_recipe_versions=tuple(shade.dye_recipes.order_by("-version").values_list("version", flat=True)),
    )


def _points(batches: Sequence[ShadeBatch]) -> tuple[BatchPoint, ...]:
    of_lots = ColourReading.objects.filter(lot__in=[b.lot_id for b in batches if b.lot_id])
    of_batches = ColourReading.objects.filter(batch__in=batches).order_by("id")
    by_lot: dict[str, list[Sitting]] = {}
    for one in sittings(of_lots):
        by_lot.setdefault(one.lot, []).append(one)
    dyed = dyeings_of([b.lot_id for b in batches if b.lot_id])
    batch_of = dict(of_batches.values_list("series", "batch_id"))
    by_batch: dict[int, list[Sitting]] = {}
    for one in sittings(of_batches):
        by_batch.setdefault(batch_of[one.series], []).append(one)
    points: list[BatchPoint] = []
    tables = bridge.current_tables()
    for batch in batches:
        found = by_lot.get(batch.lot.code, []) if batch.lot else by_batch.get(batch.pk, [])
        before = next((p for p in reversed(points) if p.to_standard), None)
        points.append(_point(batch, found, before, tables, dyed.get(batch.lot_id or 0, ())))
    return tuple(points)


def _point(
    batch: ShadeBatch,
    found: Sequence[Sitting],
    before: BatchPoint | None,
    tables: Tables,
    dyed: Sequence[LotDyeing],
) -> BatchPoint:
    verdicts = list(batch.verdicts.all())
    usable = of_lot(found, dyed)
    judged = [one for one in found if verdicts and one.series == verdicts[-1].series]
    sitting = judged[0] if judged else max(usable, key=lambda one: one.turn, default=None)
    standard = standard_row(batch.version)
    why_not: tuple[str, ...] = ()
    to_standard = to_last = None
    if sitting is None:
        why_not = ("only read wet" if any(one.pad.is_wet for one in found) else "not read yet",)
    else:
        # a person may have said that unlike pads may be compared: then a verdict stands on them
        why_not = () if judged else colours.unlike(standard.pad, sitting.pad)
        if not why_not:
            to_standard = step_between(standard.labs, sitting.labs, light=standard.light, tables=tables)
        if to_standard is None and not why_not:
            why_not = ("not read under the standard's light",)
        if before and before.sitting and to_standard and not colours.unlike(before.sitting.pad, sitting.pad):
            to_last = step_between(before.sitting.labs, sitting.labs, light=standard.light, tables=tables)
    return BatchPoint(
        id=batch.pk,
        label=batch.label,
        lot=batch.lot.code if batch.lot else "",
        made_on=batch.made_on,
        version=batch.version.version,
        note=batch.note,
        sitting=sitting,
        to_standard=to_standard,
        to_last=to_last,
        why_not=why_not,
        verdicts=tuple(_verdict_row(row) for row in verdicts),
    )


def _verdict_row(row: ShadeVerdict) -> VerdictRow:
    return VerdictRow(
        row.verdict, row.de_centi / CENTI, row.formula, row.is_decided, row.note, row.at, row.person.name
    )


def step_between(
    standard: dict[str, Lab], sample: dict[str, Lab], *, light: str = "D65", tables: Tables | None = None
) -> Step | None:
    """The difference of two colours under a light that both have, this one first; None without one."""
    name = next((n for n in (light, *standard) if n in standard and n in sample), None)
    if name is None:
        return None
    one, other = np.array(standard[name]), np.array(sample[name])
    d_l, d_a, d_b = (float(x) for x in other - one)
    d_c = float(np.hypot(*other[1:]) - np.hypot(*one[1:]))
    turn = float(one[1] * other[2] - one[2] * other[1])
    d_h = float(np.sign(turn)) * float(np.sqrt(max(0.0, d_a**2 + d_b**2 - d_c**2)))
    least = (tables or bridge.current_tables()).constants["shade_least_told"].value
    return Step(
        de2000=float(de2000(one, other)),
        de_cmc=float(de_cmc(one, other)),
        d_l=d_l,
        d_c=d_c,
        d_h=d_h,
        words=difference_words(one, other, least_de=least),
    )


def _same_colour(standards: Sequence[StandardRow]) -> set[int]:
    return {row.version for row in standards if row.is_same_colour(standards[0])}


def _drift(
    points: Sequence[BatchPoint], standards: Sequence[StandardRow]
) -> tuple[float | None, Step | None]:
    """Slope of the distance to the standard, and where the newest batches lie on average."""
    standard, versions = standards[0], _same_colour(standards)
    compared = [p for p in points if p.to_standard and p.sitting and p.version in versions]
    if len(compared) < DRIFT_BATCHES:
        return None, None
    apart = np.array([p.to_standard.de2000 for p in compared if p.to_standard])
    slope = float(np.polyfit(np.arange(len(apart)), apart, 1)[0])
    newest = [p.sitting.labs for p in compared[-DRIFT_BATCHES:] if p.sitting]
    mean = colours.mean_labs(newest, bridge.current_tables(), observer_deg=standard.pad.observer_deg)
    return slope, step_between(standard.labs, mean, light=standard.light)
