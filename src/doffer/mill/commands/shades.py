"""Standard shades: set, restated, and batches held against them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from django.db.models import Q

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.fibre.colour.verdict import Formula, Tolerance, judge, usual_tolerance
from doffer.fibre.material import Form
from doffer.mill import bridge, clock, colours
from doffer.mill.booking import QuestionError, announce, done_before, lot_of, remember
from doffer.mill.bridge import CENTI
from doffer.mill.colours import FIRST_LIGHT, OBSERVER_DEG, Lab, Pad
from doffer.mill.commands.readings import Seen, book_readings
from doffer.mill.dyed import dyeings_of
from doffer.mill.models import ColourReading, Lot, Shade, ShadeBatch, ShadeVerdict, ShadeVersion
from doffer.mill.models.colour import PadForm, ReadingKind, Verdict
from doffer.mill.numbering import SHADE, next_code
from doffer.mill.sittings import Sitting, of_lot, sittings
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

FAR_TIMES = 4.0  # times what is left to a person: beyond it a lot is another colour, not a poor batch


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetFacts:
    """A colour to be met: a spectrum (31 fractions) or Lab by light, and how such pads are to be read."""

    labs: Mapping[str, Lab] = field(default_factory=dict)
    reflectance: tuple[float, ...] | None = None
    light: str = FIRST_LIGHT
    observer_deg: int = OBSERVER_DEG
    form: str = PadForm.LOOSE
    geometry: str = ""
    is_behind_glass: bool = False

    @property
    def pad(self) -> Pad:
        """What must be alike to compare; standards are dry."""
        return Pad(
            form=self.form,
            is_behind_glass=self.is_behind_glass,
            geometry=self.geometry,
            observer_deg=self.observer_deg,
        )

    def columns(self) -> dict[str, object]:
        """Kind, Lab and spectrum in whole numbers.

        Raises
        ------
        InputError
            A colour that cannot be.
        """
        tables = bridge.current_tables()
        if self.reflectance is not None:
            parts_ppm = colours.whole_ppm(self.reflectance)
            spectrum = colours.spectrum_of_ppm(parts_ppm)
            labs = colours.labs_under(spectrum, tables, observer_deg=self.observer_deg)
            kind = ReadingKind.SPECTRUM
        else:
            parts_ppm = None
            labs = colours.check_labs(self.labs, tables, observer_deg=self.observer_deg)
            kind = ReadingKind.LAB if len(labs) == 1 else ReadingKind.LAB2
        return {"kind": kind, "labs_centi": colours.centi(labs), "reflectance_ppm": parts_ppm}


@dataclass(frozen=True, slots=True)
class Judged:
    """What was said of a batch: pass, ask or fail, the difference to the standard, and in words."""

    batch: int
    verdict: str
    de: float
    formula: str
    words: tuple[str, ...]
    is_decided: bool


def add_shade(
    by: Person | None,
    *,
    name: str,
    target: TargetFacts,
    use: str = "",
    tolerance: Tolerance | None = None,
    seen: Seen | None = None,
    key: uuid.UUID | None = None,
) -> str:
    """A new shade with its first standard; gives its number. The usual tolerance is CMC(2:1) 1.0 and 1.5.

    Parameters
    ----------
    seen : Seen, optional
        The sitting that the target is the mean of; it is kept as a reading of the standard.

    Raises
    ------
    ConflictError
        There is a shade of this name.
    """
    person = require(by, Right.SHADES)
    if not name.strip():
        raise InputError("name of the shade", "", "a name, such as Fern")
    with write():
        body: dict[str, object] = {"name": name, "target": repr(target), "use": use, "t": repr(tolerance)}
        body["seen"] = repr(seen)
        earlier = done_before(key, "add_shade", body)
        if earlier:
            return str(earlier["shade"])
        if Shade.objects.filter(name__iexact=name.strip()).exists():
            raise ConflictError(
                f"There is a shade {name.strip()} already",
                "Restate its standard, or give this one another name",
            )
        shade = Shade.objects.create(
            code=next_code(SHADE), name=name.strip(), use=use, created_at=clock.now(), created_by=person
        )
        made = _new_version(person, shade, 1, target.columns(), target.pad, target.light, tolerance, "")
        if seen is not None:
            _keep_reading(person, made, seen)
        announce(person, "shade", shade.code, f"{shade.name} is a standard shade")
        remember(key, "add_shade", body, {"shade": shade.code}, person)
        return shade.code


def restate_shade(
    by: Person | None,
    code: str,
    *,
    reason: str,
    target: TargetFacts | None = None,
    tolerance: Tolerance | None = None,
    seen: Seen | None = None,
    key: uuid.UUID | None = None,
) -> int:
    """A new version of a standard, with another colour or tolerance; the old one stays; gives its number.

    Batches stay with the version they were made to; `seen` is the sitting that the new colour is the mean of.
    """
    person = require(by, Right.SHADES)
    if not reason.strip():
        raise InputError("reason for a new standard", "", "a few words, such as “old tuft had faded”")
    if target is None and tolerance is None:
        raise InputError("what changes", "", "the colour or the tolerance")
    with write():
        body: dict[str, object] = {"shade": code, "t": repr((target, tolerance)), "reason": reason}
        body["seen"] = repr(seen)
        earlier = done_before(key, "restate_shade", body)
        if earlier:
            return int(str(earlier["version"]))
        shade = shade_of(code)
        last = shade.versions.order_by("-version").first()
        if target is None:
            columns = {n: getattr(last, n) for n in ("kind", "labs_centi", "reflectance_ppm")}
            pad, name = colours.pad_of(last), last.light
        else:
            columns, pad, name = target.columns(), target.pad, target.light
        tolerance = tolerance or tolerance_of(last)
        version = last.version + 1
        made = _new_version(person, shade, version, columns, pad, name, tolerance, reason.strip())
        if seen is not None:
            _keep_reading(person, made, seen)
        announce(person, "shade", code, f"standard {version} of {shade.name}: {reason}"[:300])
        remember(key, "restate_shade", body, {"version": version}, person)
        return version


def _new_version(
    person: Person,
    shade: Shade,
    version: int,
    columns: Mapping[str, object],
    pad: Pad,
    light: str,
    tolerance: Tolerance | None,
    reason: str,
) -> ShadeVersion:
    tolerance = tolerance or usual_tolerance(bridge.current_tables())
    return ShadeVersion.objects.create(
        shade=shade,
        version=version,
        **columns,
        light=light,
        observer_deg=pad.observer_deg,
        geometry=pad.geometry,
        form=pad.form,
        is_behind_glass=pad.is_behind_glass,
        formula=str(tolerance.formula),
        pass_centi=round(tolerance.pass_de * CENTI),
        ask_centi=round(tolerance.ask_de * CENTI),
        reason=reason,
        made_at=clock.now(),
        made_by=person,
    )


def _keep_reading(person: Person, version: ShadeVersion, seen: Seen) -> None:
    """The sitting behind a standard; a standard is dry and measured."""
    if seen.is_wet or seen.is_photo:
        reason = "it was read wet" if seen.is_wet else "a photo is good for a first guess only"
        raise RefusedError(
            f"{version.shade.name} gets no such standard", (reason,), "Dry it and read it with the instrument"
        )
    book_readings(person, seen, {"standard": version})


def archive_shade(by: Person | None, code: str) -> None:
    """Take a shade out of the book; its history stays."""
    person = require(by, Right.SHADES)
    with write():
        shade = shade_of(code)
        shade.archived_at = clock.now()
        shade.save(update_fields=["archived_at"])
        announce(person, "shade", code, f"{shade.name} is no longer made")


def restore_shade(by: Person | None, code: str) -> None:
    """Bring a shade back into the book, with its history."""
    person = require(by, Right.SHADES)
    with write():
        shade = shade_of(code)
        if shade.archived_at is None:
            raise ConflictError(f"{shade.name} is in the book", "There is nothing to bring back")
        shade.archived_at = None
        shade.save(update_fields=["archived_at"])
        announce(person, "shade", code, f"{shade.name} is made again")


def shade_of(code: str) -> Shade:
    """A shade by its number."""
    shade = Shade.objects.filter(code=code).first()
    if shade is None:
        raise NotFoundError("shade", code, "Look in the shade book")
    return shade


def tolerance_of(version: ShadeVersion) -> Tolerance:
    """The tolerance of a standard."""
    return Tolerance(Formula(version.formula), version.pass_centi / CENTI, version.ask_centi / CENTI)


def add_batch(
    by: Person | None,
    *,
    shade: str,
    lot: str = "",
    label: str = "",
    made_on: date | None = None,
    note: str = "",
    anyhow: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """A batch made to the current standard of a shade; gives its number. Old batches have a label, no lot.

    Parameters
    ----------
    anyhow : str
        Why a lot is a batch of it although it hardly can be; kept in the note.

    Raises
    ------
    QuestionError
        The lot is raw, somebody else's, of other fibre than the batches before, of quite another colour, or
        neither dyed nor read here; goes through with `anyhow`.
    """
    person = require(by, Right.READ_COLOUR)
    if not (lot or label.strip()):
        raise InputError("batch", "", "a lot, or a label such as “autumn 2025”")
    if made_on is not None and made_on > clock.today():
        raise InputError("day of the batch", made_on.isoformat(), "not in the future")
    with write():
        body: dict[str, object] = {"batch": [shade, lot, label, str(made_on), note, anyhow]}
        earlier = done_before(key, "add_batch", body)
        if earlier:
            return int(str(earlier["batch"]))
        row = lot_of(lot) if lot else None
        found = shade_of(shade)
        name = label.strip() or lot
        version = found.versions.order_by("-version").first()
        if ShadeBatch.objects.filter(version=version, label=name).exists():
            raise ConflictError(f"{name} is a batch of {found.name} already", "Look in the shade book")
        doubts = _doubts(row, version) if row and not anyhow.strip() else ()
        if doubts:
            act = f"{row.code} is not among the batches of {found.name} yet"
            raise QuestionError(act, doubts, "If it is one all the same, say why")
        batch = ShadeBatch.objects.create(
            version=version,
            lot=row,
            label=name,
            made_on=made_on or clock.today(),
            note="; ".join(filter(None, (note.strip(), anyhow.strip()))),
            recorded_at=clock.now(),
            person=person,
        )
        announce(person, "shade", shade, f"batch {name} of {found.name}")
        remember(key, "add_batch", body, {"batch": batch.pk}, person)
        return batch.pk


def _doubts(lot: Lot, version: ShadeVersion) -> tuple[str, ...]:
    """Why a lot can hardly be a batch of this shade."""
    name = version.shade.name
    here = Q(shade_batches__version__shade=version.shade) | Q(dyeings__recipe__shade=version.shade)
    others = list(Lot.objects.filter(here).exclude(pk=lot.pk).values_list("fibre", "customer_id").distinct())
    fibres = sorted({fibre for fibre, _ in others})
    doubts = []
    if lot.now_form in (Form.GREASY, Form.SKIRTED):
        doubts.append(f"it is {lot.now_form} fibre, which nobody has washed yet")
    if not lot.customer.is_own and lot.customer_id not in {owner for _, owner in others}:
        doubts.append(f"it is fibre of {lot.customer.name}")
    if fibres and lot.fibre not in fibres:
        doubts.append(f"it is {lot.fibre.replace('_', ' ')}, but {name} was of {', '.join(fibres)} so far")
    return (*doubts, *_colour_doubts(lot, version))


def _colour_doubts(lot: Lot, version: ShadeVersion) -> tuple[str, ...]:
    """Read or written down as quite another colour, or nothing known of it at all."""
    name = version.shade.name
    wanted, tolerance = colours.plain_labs(version.labs_centi), tolerance_of(version)
    read = [one for one in sittings(ColourReading.objects.filter(lot=lot)) if one.is_measured]
    labs = max(read, key=lambda one: one.turn).labs if read else {}
    is_dyed = lot.dyeings.filter(recipe__shade=version.shade, undone=None).exists()
    if not labs and not is_dyed and lot.lab_l_centi is not None:
        typed = (lot.lab_l_centi, lot.lab_a_centi or 0, lot.lab_b_centi or 0)
        labs = {FIRST_LIGHT: tuple(value / CENTI for value in typed)}
    light = next((one for one in (version.light, *wanted) if one in wanted and one in labs), None)
    if light is None:
        return () if labs or is_dyed else (f"it was neither read nor dyed by the recipe of {name}",)
    found = judge(np.array(wanted[light]), np.array(labs[light]), tolerance)
    if found.de <= FAR_TIMES * tolerance.ask_de:
        return ()
    how = "was read" if read else "was not dyed here and is written down as"
    return (f"it {how} {found.de:.0f} away from the standard: {', '.join(found.words)}",)


def judge_batch(
    by: Person | None,
    batch_id: int,
    *,
    series: uuid.UUID | None = None,
    decision: str = "",
    note: str = "",
    anyhow: str = "",
    key: uuid.UUID | None = None,
) -> Judged:
    """Hold a batch against its standard by one sitting of readings (the newest dry one) and keep the verdict.

    Parameters
    ----------
    decision : str
        "pass" or "fail" by a person, where the tolerance leaves it to one; with a note.
    anyhow : str
        Why readings that were not taken alike are compared; wet ones never are.

    Raises
    ------
    RefusedError
        No dry measured reading, a pad unlike the standard's, or a decision where there is nothing to decide.
    """
    person = require(by, Right.SHADES if decision else Right.READ_COLOUR)
    if decision and (decision not in (Verdict.PASS, Verdict.FAIL) or not note.strip()):
        raise InputError("decision", decision, "pass or fail, with a note that says why")
    with write():
        body: dict[str, object] = {"batch": batch_id, "of": [str(series), decision, note, anyhow]}
        earlier = done_before(key, "judge_batch", body)
        if earlier:
            return Judged(**{**earlier, "words": tuple(earlier["words"])})
        batch = ShadeBatch.objects.select_related("version__shade", "lot").filter(pk=batch_id).first()
        if batch is None:
            raise NotFoundError("batch", batch_id, "Look in the shade book")
        judged = _judged(person, batch, _sitting(batch, series), decision, note=note, anyhow=anyhow)
        announce(person, "shade", batch.version.shade.code, f"{batch.label}: {judged.verdict}")
        result: dict[str, object] = {name: getattr(judged, name) for name in Judged.__slots__}
        remember(key, "judge_batch", body, {**result, "words": list(judged.words)}, person)
        return judged


NOT_ALL = "what was read is a part of it, or it was dyed since"


def _sitting(batch: ShadeBatch, series: uuid.UUID | None) -> Sitting:
    readings = ColourReading.objects.filter(lot=batch.lot) if batch.lot else batch.readings.all()
    if series is not None:
        readings = readings.filter(series=series)
    found = sittings(readings)
    dyed = dyeings_of([batch.lot_id]) if batch.lot_id else {}
    usable = of_lot(found, dyed.get(batch.lot_id, ()))
    if usable:
        return max(usable, key=lambda one: one.turn)
    reason = "it was not read yet"
    if found:
        wet = found[-1].pad.is_wet
        photo = "a photo is good for a first guess only"
        reason = NOT_ALL if found[-1].is_measured else "it was only read wet" if wet else photo
    act = f"{batch.label} is not held against {batch.version.shade.name}"
    raise RefusedError(act, (reason,), "Dry it, read five tufts and try again")


def _judged(
    person: Person, batch: ShadeBatch, sitting: Sitting, decision: str, *, note: str, anyhow: str
) -> Judged:
    version = batch.version
    act = f"{batch.label} is not held against {version.shade.name}"
    colours.check_alike(colours.pad_of(version), sitting.pad, act, anyhow=anyhow)
    wanted = colours.plain_labs(version.labs_centi)
    light = next((name for name in (version.light, *wanted) if name in wanted and name in sitting.labs), None)
    if light is None:
        reason = f"the standard is known under {', '.join(wanted)}, the batch under {', '.join(sitting.labs)}"
        raise RefusedError(act, (reason,), "Read both under the same light")
    found = judge(np.array(wanted[light]), np.array(sitting.labs[light]), tolerance_of(version))
    if decision and found.verdict != Verdict.ASK:
        reason = f"the difference {found.de:.1f} is a plain {found.verdict} by the tolerance"
        raise RefusedError(
            "Nothing is left to a person here", (reason,), "Restate the tolerance if it is wrong"
        )
    judged = Judged(
        batch=batch.pk,
        verdict=decision or str(found.verdict),
        de=found.de,
        formula=version.formula,
        words=found.words,
        is_decided=bool(decision),
    )
    ShadeVerdict.objects.create(
        batch=batch,
        series=sitting.series,
        verdict=judged.verdict,
        de_centi=round(found.de * CENTI),
        formula=version.formula,
        labs_centi=colours.centi(sitting.labs),
        is_decided=judged.is_decided,
        note="; ".join(filter(None, (note.strip(), anyhow.strip()))),
        at=clock.now(),
        person=person,
    )
    return judged
