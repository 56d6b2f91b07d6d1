"""Colour readings: tufts under the instrument, recorded once, corrected by a new reading."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import bridge, clock, colours
from doffer.mill.booking import CLOCK_SLACK, announce, done_before, lot_of, remember
from doffer.mill.colours import FIRST_LIGHT, OBSERVER_DEG, Lab, Pad
from doffer.mill.models import BlendRecipe, ColourReading, DyeLoad, Lot, Photo, Shade, ShadeBatch
from doffer.mill.models.colour import PadForm, ReadingKind
from doffer.mill.sittings import measured_by_lot
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

MOST_TUFTS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuft:
    """One tuft: its spectrum (31 fractions, 400 to 700 nm), or Lab by light: {"D65": (46, -21, 19)}."""

    labs: Mapping[str, Lab] = field(default_factory=dict)
    reflectance: tuple[float, ...] | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One sitting at the instrument: the tufts, and everything that must be alike to compare them.

    `is_photo` marks colours read from a photograph: good for a first guess, never for a verdict; `photo` is
    the number of that photo. `taken_at` defaults to now.
    """

    tufts: tuple[Tuft, ...]
    form: str = PadForm.LOOSE
    is_wet: bool = False
    is_behind_glass: bool = False
    instrument: str = ""
    geometry: str = ""
    light: str = FIRST_LIGHT
    observer_deg: int = OBSERVER_DEG
    is_photo: bool = False
    photo: int | None = None
    taken_at: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not 1 <= len(self.tufts) <= MOST_TUFTS:
            raise InputError("number of tufts", len(self.tufts), f"from 1 to {MOST_TUFTS}")
        _ = self.pad

    @property
    def pad(self) -> Pad:
        """What must be alike to compare."""
        return Pad(
            form=self.form,
            is_wet=self.is_wet,
            is_behind_glass=self.is_behind_glass,
            geometry=self.geometry,
            observer_deg=self.observer_deg,
        )


@dataclass(frozen=True, slots=True)
class Recorded:
    """A sitting as it is kept: its number, those of its readings, the mean Lab under the first light."""

    series: uuid.UUID
    ids: tuple[int, ...]
    lab: Lab | None


def record_readings(
    by: Person | None,
    *,
    seen: Seen,
    lot: str = "",
    load: int | None = None,
    shade: str = "",
    batch: int | None = None,
    recipe: str = "",
    key: uuid.UUID | None = None,
) -> Recorded:
    """Keep a sitting of one lot (perhaps one dye load of it), standard, old batch or trial card.

    `load` names a kettle load and with it its lot; `recipe` is the number of a blend recipe, its newest
    version. A dry, measured reading becomes the lot's colour on screen; that of a load does so only where
    the dyeing took all of the lot.

    Raises
    ------
    InputError
        Not exactly one thing named, a spectrum or Lab that cannot be, or a time to come.
    """
    person = require(by, Right.READ_COLOUR)
    if sum((bool(lot or load), bool(shade), batch is not None, bool(recipe))) != 1:
        raise InputError("what was read", "", "one lot, one standard, one batch or one trial card")
    with write():
        body: dict[str, object] = {"of": [lot, load, shade, batch, recipe], "seen": repr(seen)}
        earlier = done_before(key, "record_readings", body)
        if earlier:
            return Recorded(uuid.UUID(earlier["series"]), tuple(earlier["ids"]), _maybe_lab(earlier["lab"]))
        about = _about(lot=lot, load=load, shade=shade, batch=batch, recipe=recipe)
        done = book_readings(person, seen, about)
        remember(
            key,
            "record_readings",
            body,
            {"series": str(done.series), "ids": list(done.ids), "lab": done.lab},
            person,
        )
        return done


def record_file(
    by: Person | None, found: Sequence[tuple[str, Seen]], *, file_name: str, key: uuid.UUID | None = None
) -> tuple[Recorded, ...]:
    """Keep the sittings of a file, (lot, sitting) each: all of them or, when one cannot be kept, none."""
    person = require(by, Right.READ_COLOUR)
    with write():
        body: dict[str, object] = {"found": repr(tuple(found)), "file": file_name}
        earlier = done_before(key, "record_file", body)
        if earlier:
            return tuple(
                Recorded(uuid.UUID(series), tuple(ids), _maybe_lab(lab))
                for series, ids, lab in earlier["sittings"]
            )
        done = tuple(book_readings(person, seen, {"lot": lot_of(lot)}) for lot, seen in found)
        kept = [[str(one.series), list(one.ids), one.lab] for one in done]
        remember(key, "record_file", body, {"sittings": kept}, person)
        return done


def _maybe_lab(row: list[float] | None) -> Lab | None:
    return None if row is None else (row[0], row[1], row[2])


def _about(
    *, lot: str = "", load: int | None = None, shade: str = "", batch: int | None = None, recipe: str = ""
) -> dict[str, object]:
    """The one thing a reading is of, as columns."""
    if load is not None:
        row = DyeLoad.objects.select_related("batch__lot", "batch__undone").filter(pk=load).first()
        if row is None or (lot and row.batch.lot.code != lot):
            raise NotFoundError("dye load", load, "Open the dyeing and choose the load there")
        if hasattr(row.batch, "undone"):
            raise ConflictError("This dyeing was taken back", "Read the tufts of the dyeing that was done")
        return {"load": row, "lot": lot_of(row.batch.lot.code)}
    if lot:
        return {"lot": lot_of(lot)}
    if shade:
        found = Shade.objects.filter(code=shade).first()
        if found is None:
            raise NotFoundError("shade", shade, "Look in the shade book")
        return {"standard": found.versions.order_by("-version").first()}
    if batch is not None:
        old = ShadeBatch.objects.select_related("lot").filter(pk=batch).first()
        if old is None:
            raise NotFoundError("batch", batch, "Look in the shade book")
        return {"lot": lot_of(old.lot.code)} if old.lot else {"batch": old}
    card = BlendRecipe.objects.filter(code=recipe).order_by("-version").first()
    if card is None:
        raise NotFoundError("blend recipe", recipe, "Look in the list of recipes")
    return {"recipe": card}


def book_readings(
    person: Person,
    seen: Seen,
    about: Mapping[str, object],
    *,
    corrects: ColourReading | None = None,
) -> Recorded:
    """Append the tufts of one sitting; inside `write()`. A correction joins the old one's sitting."""
    recorded_at = clock.now()
    taken_at = seen.taken_at or (corrects.taken_at if corrects else recorded_at)
    if taken_at > recorded_at + CLOCK_SLACK:
        raise InputError("time of the reading", taken_at.isoformat(timespec="minutes"), "not in the future")
    photo = _photo(seen.photo, about.get("lot"))
    # follows from what is there, so that the same history is the same
    count = ColourReading.objects.count()
    series = corrects.series if corrects else uuid.uuid5(uuid.NAMESPACE_OID, f"colour reading {count}")
    rows = [
        ColourReading.objects.create(
            series=series,
            tuft=corrects.tuft if corrects else number,
            **about,
            **_colour_columns(tuft, seen),
            **asdict(seen.pad),
            light=seen.light,
            instrument=seen.instrument,
            photo=photo,
            note=tuft.note or seen.note,
            corrects=corrects,
            taken_at=taken_at,
            recorded_at=recorded_at,
            person=person,
        )
        for number, tuft in enumerate(seen.tufts, start=1)
    ]
    labs = colours.mean_labs(
        [colours.plain_labs(row.labs_centi) for row in rows],
        bridge.current_tables(),
        observer_deg=seen.observer_deg,
    )
    lab = labs.get(FIRST_LIGHT)
    lot = about.get("lot")
    if isinstance(lot, Lot) and _speaks_for(lot, rows[0]):
        _shows(lot, lab, seen)
    subject = str(lot or about.get("recipe") or about.get("batch") or about.get("standard"))
    announce(person, "lot" if lot else "shade", subject[:40], f"colour read on {len(rows)} tufts")
    return Recorded(series, tuple(row.pk for row in rows), lab)


def _speaks_for(lot: Lot, reading: ColourReading) -> bool:
    """Whether a reading tells the colour of all of its lot; that of a kettle load may not."""
    if reading.load_id is None:
        return True
    return any(one.series == reading.series for one in measured_by_lot([lot.pk]).get(lot.pk, ()))


def _photo(photo_id: int | None, lot: object) -> Photo | None:
    if photo_id is None:
        return None
    photo = Photo.objects.filter(pk=photo_id, lot=lot, archived_at=None).first() if lot else None
    if photo is None:
        raise NotFoundError("photo of this lot", photo_id, "Add the photo to the lot first")
    return photo


def _colour_columns(tuft: Tuft, seen: Seen) -> dict[str, object]:
    """Spectrum and Lab of a tuft in whole numbers; Lab follows from the spectrum where there is one."""
    tables = bridge.current_tables()
    if seen.is_photo and tuft.reflectance is not None:
        raise InputError("spectrum", "from a photo", "measured by an instrument; a photo gives Lab only")
    if tuft.reflectance is not None:
        parts_ppm = colours.whole_ppm(tuft.reflectance)
        labs = colours.labs_under(colours.spectrum_of_ppm(parts_ppm), tables, observer_deg=seen.observer_deg)
        for lab in labs.values():
            colours.check_white(lab, tuft.note or "a tuft")
        return {
            "kind": ReadingKind.SPECTRUM,
            "reflectance_ppm": parts_ppm,
            "labs_centi": colours.centi(labs),
        }
    labs = colours.check_labs(tuft.labs, tables, observer_deg=seen.observer_deg)
    measured = ReadingKind.LAB if len(labs) == 1 else ReadingKind.LAB2
    return {"kind": ReadingKind.PHOTO if seen.is_photo else measured, "labs_centi": colours.centi(labs)}


def _shows(lot: Lot, lab: Lab | None, seen: Seen) -> None:
    """The lot's patch on screen follows a dry measurement."""
    if lab is None or seen.is_wet or seen.is_photo:
        return
    lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi = colours.centi({FIRST_LIGHT: lab})[FIRST_LIGHT]
    lot.save(update_fields=["lab_l_centi", "lab_a_centi", "lab_b_centi"])


def correct_reading(
    by: Person | None, reading_id: int, *, seen: Seen, reason: str, key: uuid.UUID | None = None
) -> Recorded:
    """Put a new reading of one tuft in the place of a wrong one; both stay, and the new one names the old."""
    person = require(by, Right.READ_COLOUR)
    if not reason.strip():
        raise InputError("reason for the correction", "", "a few words, such as “white tile was dirty”")
    if len(seen.tufts) != 1:
        raise InputError("number of tufts", len(seen.tufts), "one: each tuft is corrected by itself")
    with write():
        body: dict[str, object] = {"corrects": reading_id, "reason": reason, "seen": repr(seen)}
        earlier = done_before(key, "correct_reading", body)
        if earlier:
            return Recorded(uuid.UUID(earlier["series"]), tuple(earlier["ids"]), _maybe_lab(earlier["lab"]))
        old = (
            ColourReading.objects.select_related("lot", "load", "standard", "batch", "recipe")
            .filter(pk=reading_id)
            .first()
        )
        if old is None:
            raise NotFoundError("colour reading", reading_id, "Open the lot and choose the reading there")
        if ColourReading.objects.filter(corrects=old).exists():
            raise ConflictError("This reading was corrected already", "Correct the newer one")
        about = {
            name: getattr(old, name)
            for name in ("lot", "load", "standard", "batch", "recipe")
            if getattr(old, name) is not None
        }
        done = book_readings(person, _with_note(seen, reason), about, corrects=old)
        result = {"series": str(done.series), "ids": list(done.ids), "lab": done.lab}
        remember(key, "correct_reading", body, result, person)
        return done


def _with_note(seen: Seen, reason: str) -> Seen:
    words = f"{seen.note}; {reason}" if seen.note else reason
    return Seen(**{name: getattr(seen, name) for name in Seen.__slots__ if name != "note"}, note=words)
