"""Readings from an instrument's file: shown beside the lots they are taken for, then kept all or none.

Names such as "L027", "L027 2" or "l027-b" are tufts of lot L027, in the file's order. What is not understood
is said, and nothing is kept until each such line is named or left out.
"""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from doffer.errors import InputError, RefusedError
from doffer.exchange.lab import parse_lab
from doffer.exchange.spectra import Spectra, read_spectra
from doffer.mill import colours
from doffer.mill.colours import FIRST_LIGHT, OBSERVER_DEG, Lab
from doffer.mill.commands.readings import MOST_TUFTS, Seen, Tuft
from doffer.tables.loader import Tables

MOST_REASONS = 20
GEOMETRY_FACT, INSTRUMENT_FACTS = "MEASUREMENT_GEOMETRY", ("INSTRUMENTATION", "MEASUREMENT_SOURCE")
_TUFT = re.compile(r"(?i)^(?P<name>.*?)(?:[\s_\-./#]+(?:tuft|pad|reading|read|no)?\.?\s*(?:\d{1,2}|[a-z]))?$")


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One spectrum of the file: its place from 1, its name, the lot it is taken for ("": none), its Lab."""

    number: int
    name: str
    lot: str
    lab: Lab
    sentences: tuple[str, ...]

    @property
    def is_understood(self) -> bool:
        """Whether it belongs to a lot."""
        return bool(self.lot)


@dataclass(frozen=True, eq=False, slots=True)
class ReadingPreview:
    """What a file of spectra would bring in; `geometry` and `instrument` are what the file says of them."""

    file_name: str
    sha256: str
    lines: tuple[ReadingLine, ...]
    spectra: Spectra
    geometry: str
    instrument: str
    remarks: tuple[str, ...]

    @property
    def n_understood(self) -> int:
        """How many spectra belong to lots."""
        return sum(line.is_understood for line in self.lines)

    @property
    def n_refused(self) -> int:
        """How many do not."""
        return len(self.lines) - self.n_understood


def preview_readings(
    data: bytes,
    file_name: str,
    *,
    lots: Iterable[str],
    tables: Tables,
    names: Mapping[int, str] | None = None,
    observer_deg: int = OBSERVER_DEG,
) -> ReadingPreview:
    """Read a CGATS, CxF3 or CSV file and say of every spectrum which lot it is of; nothing is kept.

    Parameters
    ----------
    lots : iterable of str
        Numbers of the lots in the mill.
    names : mapping, optional
        Lot by place in the file, where a person said so.

    Raises
    ------
    InputError
        The file cannot be read as spectra, a sample is lighter than white, or a place or lot that is not
        there.
    """
    spectra = read_spectra(data, name=file_name)
    known = {lot.casefold(): lot for lot in lots}
    said = dict(names or {})
    for number, lot in said.items():
        if not 1 <= number <= len(spectra.names):
            raise InputError("place in the file", number, f"from 1 to {len(spectra.names)}")
        if lot.casefold() not in known:
            raise InputError("lot", lot, "the number of a lot in the mill")
    lines = []
    for number, (name, row) in enumerate(zip(spectra.names, spectra.reflectance, strict=True), start=1):
        lot, sentences = _matched(said.get(number, name), known)
        lab = colours.labs_under(row, tables, observer_deg=observer_deg)[FIRST_LIGHT]
        colours.check_white(lab, name)
        lines.append(ReadingLine(number, name, lot, lab, sentences))
    facts = dict(spectra.facts)
    return ReadingPreview(
        file_name=file_name,
        sha256=hashlib.sha256(data).hexdigest(),
        lines=tuple(lines),
        spectra=spectra,
        geometry=facts.get(GEOMETRY_FACT, "")[:20],
        instrument=next((facts[fact] for fact in INSTRUMENT_FACTS if fact in facts), "")[:80],
        remarks=spectra.remarks,
    )


def _matched(name: str, known: Mapping[str, str]) -> tuple[str, tuple[str, ...]]:
    """The lot a name belongs to, or the sentence that says why none."""
    typed = name.strip().casefold()
    match = _TUFT.match(typed)
    for candidate in (typed, match["name"].strip() if match else typed):
        if candidate in known:
            return known[candidate], ()
    near = difflib.get_close_matches(typed, known, n=1)
    hint = f" Is it {known[near[0]]}?" if near else ""
    return "", (f"“{name}” is no lot of the mill.{hint}",)


def sittings_of(
    preview: ReadingPreview,
    *,
    drop: Collection[int] = (),
    form: str = "loose",
    is_wet: bool = False,
    is_behind_glass: bool = False,
    geometry: str = "",
    instrument: str = "",
    observer_deg: int = OBSERVER_DEG,
    note: str = "",
) -> tuple[tuple[str, Seen], ...]:
    """Lot and sitting for `commands.readings.record_file`, once nothing is left unsaid.

    Parameters
    ----------
    drop : collection of int
        Places in the file that are left out.
    geometry, instrument : str
        What a person says; else what the file says.

    Raises
    ------
    RefusedError
        A line belongs to no lot and was not left out, or nothing is left.
    InputError
        A place to leave out that is not in the file, or more tufts of a lot than a sitting takes.
    """
    wrong = [number for number in drop if not 1 <= number <= len(preview.lines)]
    if wrong:
        raise InputError("place to leave out", wrong[0], f"from 1 to {len(preview.lines)}")
    open_lines = [line for line in preview.lines if not line.is_understood and line.number not in drop]
    if open_lines:
        reasons = [f"{line.number}: {' '.join(line.sentences)}".rstrip(".?") for line in open_lines]
        more = len(reasons) - MOST_REASONS
        shown = (*reasons[:MOST_REASONS], *((f"and {more} more",) if more > 0 else ()))
        mend = "Say which lots these are, or leave them out by their places"
        raise RefusedError("No reading was kept", shown, mend)
    tufts: dict[str, list[Tuft]] = {}
    for line, row in zip(preview.lines, preview.spectra.reflectance, strict=True):
        if line.number not in drop:
            tuft = Tuft(reflectance=tuple(float(x) for x in row), note=f"{line.name} of {preview.file_name}")
            tufts.setdefault(line.lot, []).append(tuft)
    if not tufts:
        raise RefusedError("No reading was kept", ("every line is left out",), "Leave fewer out")
    too_many = [lot for lot, rows in tufts.items() if len(rows) > MOST_TUFTS]
    if too_many:
        raise InputError(f"tufts of {too_many[0]}", len(tufts[too_many[0]]), f"at most {MOST_TUFTS}")
    return tuple(
        (
            lot,
            Seen(
                tufts=tuple(rows),
                form=form,
                is_wet=is_wet,
                is_behind_glass=is_behind_glass,
                geometry=geometry or preview.geometry,
                instrument=instrument or preview.instrument,
                observer_deg=observer_deg,
                note=note,
            ),
        )
        for lot, rows in tufts.items()
    )


def typed_tufts(lines: str, *, light: str = FIRST_LIGHT) -> tuple[Tuft, ...]:
    """Tufts from typed Lab, one to a line; a line may give a second light: "46 -21 19 | A 44 -19 16".

    Raises
    ------
    InputError
        Nothing typed, or a line that is not three numbers; the line is named.
    """
    tufts = []
    for number, line in enumerate((row for row in lines.splitlines() if row.strip()), start=1):
        first, *others = line.split("|")
        labs = {light: parse_lab(first.strip(), f"Lab on line {number}")}
        for other in others:
            name, _, rest = other.strip().partition(" ")
            labs[name] = parse_lab(rest, f"Lab under {name or 'another light'} on line {number}")
        tufts.append(Tuft(labs=labs))
    if not tufts:
        raise InputError("Lab", None, "three numbers, L, a and b, on a line for each tuft")
    return tuple(tufts)
