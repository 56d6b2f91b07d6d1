"""Sittings: tufts read one after another, with their mean, their spread, and what they stand for."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.db.models import QuerySet

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.mill import bridge, colours
from doffer.mill.colours import FIRST_LIGHT, Known, Lab, Pad
from doffer.mill.dyed import LotDyeing, dyeings_of
from doffer.mill.models import ColourReading
from doffer.mill.models.colour import ReadingKind
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One tuft as recorded; `corrects` and `corrected_by` are numbers of other readings."""

    id: int
    tuft: int
    kind: str
    labs: dict[str, Lab]
    has_spectrum: bool
    note: str
    corrects: int | None
    corrected_by: int | None


@dataclass(frozen=True, slots=True)
class Sitting:
    """Tufts read one after another: their mean colour and how far they lie from it.

    Corrected readings stay in `tufts` and count in nothing else. `spread_de` is the mean, `most_de` the
    largest CIEDE2000 of a tuft to the mean under the first light that all have; None with a single tuft.
    """

    series: uuid.UUID
    taken_at: datetime
    recorded_at: datetime
    person: str
    kind: str
    pad: Pad
    light: str
    instrument: str
    lot: str
    load: int | None
    n_tufts: int
    labs: dict[str, Lab]
    reflectance_ppm: tuple[int, ...] | None
    spread_de: float | None
    most_de: float | None
    tufts: tuple[ReadingRow, ...]

    @property
    def lab(self) -> Lab:
        """Mean Lab under daylight, or under the only light there is."""
        return self.labs.get(FIRST_LIGHT) or next(iter(self.labs.values()))

    @property
    def turn(self) -> tuple[datetime, int]:
        """Where it stands in time; of two at one instant the one recorded later comes later."""
        return self.taken_at, self.tufts[0].id

    @property
    def is_measured(self) -> bool:
        """Dry and by an instrument: may be compared and judged."""
        return not self.pad.is_wet and self.kind != ReadingKind.PHOTO

    def known(self, tables: Tables) -> Known:
        """Its spectrum, measured or recovered."""
        return colours.known_spectrum(
            kind=self.kind,
            reflectance_ppm=self.reflectance_ppm,
            labs=self.labs,
            observer_deg=self.pad.observer_deg,
            tables=tables,
        )


def sittings(readings: QuerySet[ColourReading]) -> list[Sitting]:
    """A set of readings as sittings, in the order they were recorded; one query."""
    by_series: dict[uuid.UUID, list[ColourReading]] = {}
    rows = readings.select_related("person", "lot").order_by("id")
    for row in rows:
        by_series.setdefault(row.series, []).append(row)
    tables = bridge.current_tables()
    return [sitting_of(rows, tables) for rows in by_series.values()]


def sitting_of(rows: Sequence[ColourReading], tables: Tables) -> Sitting:
    """One sitting from its readings."""
    gone = {row.corrects_id for row in rows if row.corrects_id}
    counted = [row for row in rows if row.pk not in gone]
    last = counted[-1]
    pad = colours.pad_of(last)
    # a correction may say that the pad was another one: tufts of two kinds are never averaged
    counted = [row for row in counted if colours.pad_of(row) == pad]
    labs = colours.mean_labs(
        [colours.plain_labs(row.labs_centi) for row in counted], tables, observer_deg=pad.observer_deg
    )
    reflectance_ppm = _mean_ppm(counted)
    if reflectance_ppm is not None:
        labs = colours.labs_under(
            colours.spectrum_of_ppm(reflectance_ppm), tables, observer_deg=pad.observer_deg
        )
    spread, most = _spread(counted, labs)
    corrected_by = {row.corrects_id: row.pk for row in rows if row.corrects_id}
    return Sitting(
        series=last.series,
        taken_at=rows[0].taken_at,
        recorded_at=rows[0].recorded_at,
        person=last.person.name,
        kind=colours.worst_kind([row.kind for row in counted]),
        pad=pad,
        light=last.light,
        instrument=last.instrument,
        lot=last.lot.code if last.lot else "",
        load=last.load_id,
        n_tufts=len(counted),
        labs=labs,
        reflectance_ppm=reflectance_ppm,
        spread_de=spread,
        most_de=most,
        tufts=tuple(_row(row, corrected_by) for row in rows),
    )


def _mean_ppm(rows: Iterable[ColourReading]) -> tuple[int, ...] | None:
    """Mean spectrum of tufts that all were measured as spectra."""
    spectra = [row.reflectance_ppm for row in rows]
    if any(one is None for one in spectra):
        return None
    return tuple(round(value) for value in np.array(spectra, dtype=np.float64).mean(axis=0))


def _spread(rows: Sequence[ColourReading], labs: dict[str, Lab]) -> tuple[float | None, float | None]:
    if len(rows) < 2 or not labs:
        return None, None
    name = FIRST_LIGHT if FIRST_LIGHT in labs else next(iter(labs))
    tufts: Floats = np.array([colours.plain_labs(row.labs_centi)[name] for row in rows])
    apart = de2000(np.array(labs[name]), tufts)
    return float(apart.mean()), float(apart.max())


def _row(row: ColourReading, corrected_by: dict[int, int]) -> ReadingRow:
    return ReadingRow(
        id=row.pk,
        tuft=row.tuft,
        kind=row.kind,
        labs=colours.plain_labs(row.labs_centi),
        has_spectrum=row.reflectance_ppm is not None,
        note=row.note,
        corrects=row.corrects_id,
        corrected_by=corrected_by.get(row.pk),
    )


def newest_by_lot(lots: Iterable[int], pad: Pad | None = None) -> dict[int, Sitting]:
    """For each lot (by id) the dry sitting by an instrument that counts, where it has one; two queries.

    See `newest_like`.
    """
    return newest_like(measured_by_lot(lots), pad)


def measured_by_lot(
    lots: Iterable[int], dyed: Mapping[int, Sequence[LotDyeing]] | None = None
) -> dict[int, list[Sitting]]:
    """For each lot (by id) the dry sittings by an instrument that tell its colour; see `of_lot`.

    `dyed` is what `dyeings_of` gives, where somebody asked it already.
    """
    wanted = list(lots)
    dyed = dyeings_of(wanted) if dyed is None else dyed
    found: dict[int, list[Sitting]] = {}
    rows = ColourReading.objects.filter(lot__in=wanted)
    codes = dict(rows.values_list("lot__code", "lot_id"))
    for one in sittings(rows):
        found.setdefault(codes[one.lot], []).append(one)
    told = {pk: of_lot(rows, dyed.get(pk, ())) for pk, rows in found.items()}
    return {pk: rows for pk, rows in told.items() if rows}


def of_lot(found: Sequence[Sitting], dyed: Sequence[LotDyeing]) -> list[Sitting]:
    """Of the sittings of one lot those that are dry, by an instrument, and of all of it as it is now.

    A kettle load speaks for its lot only where the dyeing took all of the lot and every load of it was read;
    what was read before such a dyeing tells of fibre that is no more.
    """
    measured = [one for one in found if one.is_measured]
    last = max((one for one in dyed if one.is_whole), key=lambda one: one.begun_at, default=None)
    loads = last.loads if last and last.loads <= {one.load for one in measured} else frozenset()
    return [
        one
        for one in measured
        if one.load in loads or (one.load is None and (last is None or one.taken_at > last.begun_at))
    ]


def newest_like(found: Mapping[int, Sequence[Sitting]], pad: Pad | None = None) -> dict[int, Sitting]:
    """The newest sitting of each lot that was read like `pad`; where none was, its newest of all."""
    return {
        pk: max(rows, key=lambda one: (pad is not None and not colours.unlike(pad, one.pad), one.turn))
        for pk, rows in found.items()
    }
