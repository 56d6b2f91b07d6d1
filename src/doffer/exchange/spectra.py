"""Read spectra from the open exchange formats: CGATS / ISO 28178 text, CxF3 (ISO 17972) XML, plain CSV.

Whatever the file, what comes out is reflectance 0..1 at 400 to 700 nm in steps of 10; what had to be assumed
is said.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

from doffer.errors import InputError, NotFoundError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.spectrum import MOST_REFLECTANCE, WAVELENGTHS_NM, check_reflectance

# One limit for every door a colour file comes in by: a preview carries it in a form as text, a third larger,
# and a form takes two and a half million signs (settings.DATA_UPLOAD_MAX_MEMORY_SIZE).
MOST_BYTES = 1_500_000
MOST_SPECTRA = 10_000
LEAST_BANDS = 16
BAND_NAME = re.compile(r"(?i)^[a-z_ ]*?(\d{3})(?:[.,]\d+)?\s*(?:nm)?$")
PEEKED_BYTES = 4096
BYTES_PER_MB = 1e6
MOST_HELD_NM = 20.0
MOST_STEP_NM = 20.0
PERCENT = 100.0
PERCENT_ABOVE = 2.0  # a median above this is per cent: no fibre throws back twice the light
BRIGHTENED = 1.05  # more than any white without a brightener, with the error of an instrument
UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
UTF32_MARKS = (b"\xff\xfe\0\0", b"\0\0\xfe\xff")
UTF8_MARK = b"\xef\xbb\xbf"
XML_DECLARATION = re.compile(r"\A\s*<\?xml[^>]*\?>")
LAB_ONLY = "spectra; L, a and b alone do not say in which light they were read: type them with their light"
CXF = "{http://colorexchangeformat.com/CxF3-core}"


@dataclass(frozen=True, eq=False, slots=True)
class Spectra:
    """Spectra of a file: names, reflectance (n, 31), what it says of the instrument, what was assumed."""

    names: tuple[str, ...]
    reflectance: Floats
    facts: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]


def read_spectra(content: bytes, *, name: str) -> Spectra:
    """Spectra of a file by what is in it, not by its name.

    Raises
    ------
    InputError
        Empty, too large, not one of the three formats, no spectra in it, or a spectrum that cannot be.
    """
    check_size(len(content), name=name)
    if not content.strip():
        raise InputError("file", name, "a file with readings in it; this one is empty")
    content = _in_utf8(content, name)
    if not content.strip():
        raise InputError("file", name, "a file with readings in it; this one is empty")
    if b"\0" in content[:PEEKED_BYTES]:
        raise InputError(
            "file", name, "text or XML from the instrument (CGATS, CxF or CSV), not a binary file"
        )
    if _is_xml(content):
        return _checked(_read_cxf(content, name), name)
    text = _text(content)
    try:
        raw = _read_cgats(text, name) if "BEGIN_DATA_FORMAT" in text else _read_csv(text, name)
    except csv.Error:
        raise InputError("file", name, "lines of short cells; this one cannot be split into cells") from None
    return _checked(raw, name)


def _in_utf8(content: bytes, name: str) -> bytes:
    """The same text in UTF-8 where it came in UTF-16, with a mark or without; anything else as it is."""
    if content[:4] in UTF32_MARKS:
        raise InputError("file", name, "text in UTF-8 or UTF-16, not UTF-32; save it anew as UTF-8")
    encoding = "utf-16" if content[:2] in UTF16_MARKS else _unmarked_utf16(content)
    if not encoding:
        return content
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        raise InputError("file", name, "whole; its text (UTF-16) breaks off or is damaged") from None
    return XML_DECLARATION.sub("", text, count=1).encode()


def _unmarked_utf16(content: bytes) -> str:
    """Which UTF-16 a text without a mark is in: its first two signs are plain letters, half of them zero."""
    zeros = tuple(byte == 0 for byte in content[:4])
    return {(False, True) * 2: "utf-16-le", (True, False) * 2: "utf-16-be"}.get(zeros, "")


def _is_xml(content: bytes) -> bool:
    """Whether the first sign is <, also behind the mark of an encoding."""
    return content.removeprefix(UTF8_MARK).lstrip()[:1] == b"<"


def read_spectra_file(path: Path) -> Spectra:
    """Spectra of a file on disk; its size is looked at before any of it is read.

    Raises
    ------
    NotFoundError
        No such file.
    InputError
        As `read_spectra`.
    """
    if not path.is_file():
        raise NotFoundError("file", str(path))
    check_size(path.stat().st_size, name=path.name)
    return read_spectra(path.read_bytes(), name=path.name)


def check_size(n_bytes: int, *, name: str) -> None:
    """Nothing larger than a file of spectra can be; to be asked before a file is read.

    Raises
    ------
    InputError
        More than MOST_BYTES.
    """
    if n_bytes > MOST_BYTES:
        given = f"{name}, {math.ceil(10 * n_bytes / BYTES_PER_MB) / 10:g} MB"
        raise InputError("file", given, f"at most {MOST_BYTES / BYTES_PER_MB:g} MB")


@dataclass(frozen=True, slots=True)
class _Raw:
    """Spectra as they stand in a file: wavelengths, values, one name each."""

    names: tuple[str, ...]
    nm: tuple[tuple[float, ...], ...]
    values: tuple[tuple[float, ...], ...]
    facts: tuple[tuple[str, str], ...] = ()
    scale: float | None = None


def _checked(raw: _Raw, name: str) -> Spectra:
    """On our wavelengths, as fractions, each a possible reflectance."""
    if not raw.names:
        raise InputError("file", name, "at least one spectrum")
    if len(raw.names) > MOST_SPECTRA:
        raise InputError("spectra", len(raw.names), f"at most {MOST_SPECTRA} in a file")
    remarks: list[str] = []
    rows = []
    for label, nm, values in zip(raw.names, raw.nm, raw.values, strict=True):
        rows.append(_on_our_bands(label, nm, values, remarks))
    table = np.stack(rows)
    guessed = PERCENT if float(np.median(table)) > PERCENT_ABOVE else 1.0
    scale = raw.scale if raw.scale and raw.scale > 0 else guessed
    if scale != 1:
        if not raw.scale:
            _one_measure(raw.names, table, name)
        remarks.append(f"Values were divided by {scale:g}.")
    table = table / scale
    try:
        check_reflectance(table)
    except InputError as problem:
        raise InputError(problem.field, problem.value, problem.allowed, where=name) from None
    for label, row in zip(raw.names, table, strict=True):
        if not row.max() > 0:
            raise InputError(f"reflectance of {label}", "0 everywhere", "above zero; read it again", name)
        if row.max() > BRIGHTENED:
            remarks.append(
                f"{label} gives back up to {row.max():.2f} of the light: with a brightener on it, "
                "blends cannot be foretold. Is the white tile clean?"
            )
    return Spectra(raw.names, table, raw.facts, tuple(dict.fromkeys(remarks)))


def _one_measure(names: Sequence[str], table: Floats, name: str) -> None:
    """Nothing in a file of per cent may look like fractions: the darkest fibre gives back more than 1.2 %."""
    for label, row in zip(names, table, strict=True):
        if 0 < row.max() <= MOST_REFLECTANCE:
            allowed = "per cent like the rest of the file, or the whole file in fractions of 1"
            raise InputError(f"reflectance of {label}", f"at most {row.max():g}", allowed, where=name)


def _on_our_bands(label: str, nm: Sequence[float], values: Sequence[float], remarks: list[str]) -> Floats:
    """Values at 400 to 700 nm; ends held where the instrument starts late or stops early, up to 10 nm."""
    at = np.asarray(nm, dtype=np.float64)
    if np.any(np.diff(at) <= 0):
        raise InputError("wavelengths", label, "rising from short to long")
    if at[0] > WAVELENGTHS_NM[0] + MOST_HELD_NM or at[-1] < WAVELENGTHS_NM[-1] - MOST_HELD_NM:
        raise InputError("wavelengths", f"{at[0]:g} to {at[-1]:g} nm", "400 to 700 nm", where=label)
    if np.diff(at).max() > MOST_STEP_NM:
        raise InputError(
            "wavelengths", f"steps of {np.diff(at).max():g} nm", "steps of 20 nm or less", where=label
        )
    if at[0] > WAVELENGTHS_NM[0] or at[-1] < WAVELENGTHS_NM[-1]:
        remarks.append(f"Readings run from {at[0]:g} to {at[-1]:g} nm; the end values were held.")
    if np.diff(at).max() > WAVELENGTHS_NM[1] - WAVELENGTHS_NM[0]:
        remarks.append("Readings stand further apart than 10 nm; values between were drawn straight.")
    return np.interp(WAVELENGTHS_NM, at, np.asarray(values, dtype=np.float64))


def _text(content: bytes) -> str:
    """Text of a file in the encodings instruments write."""
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return content.decode("latin-1")


def _read_cgats(text: str, name: str) -> _Raw:
    """CGATS / ISO 28178: keyword lines, BEGIN_DATA_FORMAT ... BEGIN_DATA ... END_DATA, maybe repeated."""
    names: list[str] = []
    nm: list[tuple[float, ...]] = []
    values: list[tuple[float, ...]] = []
    facts: list[tuple[str, str]] = []
    scale: float | None = None
    has_lab = False
    for head, columns, rows in _cgats_tables(text, name):
        facts += [(key, value) for key, value in head if key in CGATS_FACTS]
        scale = next((_number(v, name) for key, v in head if key == "SPECTRAL_NORM"), scale)
        bands = [(float(m[1]), place) for place, c in enumerate(columns) if (m := BAND_NAME.match(c))]
        upper = [column.upper() for column in columns]
        if len(bands) < LEAST_BANDS:
            has_lab |= "LAB_L" in upper
            continue
        label = next((upper.index(name) for name in CGATS_NAMES if name in upper), None)
        for cells in rows:
            if len(cells) != len(columns):
                raise InputError("row", " ".join(cells)[:40], f"{len(columns)} values", where=name)
            names.append(cells[label] if label is not None else str(len(names) + 1))
            nm.append(tuple(band for band, _ in bands))
            values.append(tuple(_number(cells[place], name) for _, place in bands))
    if not names:
        columns_wanted = f"columns with at least {LEAST_BANDS} wavelengths, such as SPEC_400"
        raise InputError("file", name, LAB_ONLY if has_lab else columns_wanted)
    return _Raw(tuple(names), tuple(nm), tuple(values), tuple(facts), scale)


CGATS_FACTS = ("INSTRUMENTATION", "MEASUREMENT_SOURCE", "MEASUREMENT_GEOMETRY", "ORIGINATOR", "CREATED")
CGATS_NAMES = ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLEID")

_CgatsTable = tuple[list[tuple[str, str]], list[str], list[list[str]]]


def _cgats_tables(text: str, name: str) -> list[_CgatsTable]:
    """Keyword lines, column names and rows of every table."""
    tables: list[_CgatsTable] = []
    head: list[tuple[str, str]] = []
    columns: list[str] = []
    rows: list[list[str]] = []
    part = "head"
    for cells in _cgats_lines(text):
        word = cells[0].upper()
        if word == "BEGIN_DATA_FORMAT":
            part, columns = "format", []
        elif word == "BEGIN_DATA":
            part, rows = "data", []
        elif word == "END_DATA_FORMAT":
            part = "head"
        elif word == "END_DATA":
            tables.append((head, columns, rows))
            part, head = "head", []
        elif part == "format":
            columns += cells
        elif part == "data":
            rows.append(cells)
        elif len(cells) > 1:
            head.append((word, " ".join(cells[1:])))
    if part == "data":
        raise InputError("file", name, "complete; it stops before END_DATA")
    return tables


def _cgats_lines(text: str) -> Iterator[list[str]]:
    """Cells of every line that says something."""
    for line in text.splitlines():
        cells = next(csv.reader([line.strip().replace("\t", " ")], delimiter=" ", skipinitialspace=True), [])
        cells = [cell for cell in cells if cell]
        if cells and not cells[0].startswith("#"):
            yield cells


def _read_cxf(content: bytes, name: str) -> _Raw:
    """CxF3 (ISO 17972): every ReflectanceSpectrum with its start and step."""
    root = _xml_root(content, name)
    ranges = {
        spec.get("Id", ""): spec.find(f".//{CXF}WavelengthRange")
        for spec in root.iter(f"{CXF}ColorSpecification")
    }
    names: list[str] = []
    nm: list[tuple[float, ...]] = []
    values: list[tuple[float, ...]] = []
    for thing in root.iter(f"{CXF}Object"):
        for spectrum in thing.iter(f"{CXF}ReflectanceSpectrum"):
            numbers = tuple(_number(cell, name) for cell in (spectrum.text or "").split())
            span = ranges.get(spectrum.get("ColorSpecification", ""))
            start = _number(
                spectrum.get("StartWL") or (span.get("StartWL") if span is not None else "") or "", name
            )
            step = _number((span.get("Increment") if span is not None else None) or "10", name)
            names.append(thing.get("Name") or thing.get("Id") or str(len(names) + 1))
            nm.append(tuple(start + step * i for i in range(len(numbers))))
            values.append(numbers)
    if not names:
        has_lab = next(root.iter(f"{CXF}ColorCIELab"), None) is not None
        allowed = LAB_ONLY if has_lab else "CxF3 with at least one ReflectanceSpectrum"
        raise InputError("file", name, allowed)
    if any(len(row) < LEAST_BANDS for row in nm):
        raise InputError(
            "spectrum", min(len(row) for row in nm), f"at least {LEAST_BANDS} wavelengths", where=name
        )
    return _Raw(tuple(names), tuple(nm), tuple(values))


def _xml_root(content: bytes, name: str) -> Element:
    """The root of an XML file that defines no entities and reads nothing from elsewhere."""
    try:
        root: Element = ElementTree.fromstring(content)
    except DefusedXmlException:
        allowed = "plain CxF3; this one defines entities, which no instrument writes"
        raise InputError("file", name, allowed) from None
    except ElementTree.ParseError as problem:
        line, column = problem.position
        allowed = f"well-formed XML; it breaks at line {line}, column {column}"
        raise InputError("file", name, allowed) from None
    except (ValueError, LookupError):  # an encoding that nobody knows
        raise InputError("file", name, "XML in UTF-8") from None
    return root


def _read_csv(text: str, name: str) -> _Raw:
    """CSV with wavelengths as headings (a spectrum a row) or in the first column (a spectrum a column)."""
    delimiter = max(";\t,", key=text.lstrip().partition("\n")[0].count)
    rows = [
        row for row in csv.reader(io.StringIO(text), delimiter=delimiter) if any(cell.strip() for cell in row)
    ]
    if len(rows) < 2:
        raise InputError("file", name, "a heading and at least one row of readings")
    bands = [
        (float(m[1]), place) for place, cell in enumerate(rows[0]) if (m := BAND_NAME.match(cell.strip()))
    ]
    if len(bands) >= LEAST_BANDS:
        return _csv_by_row(rows, bands, name)
    if sum(bool(BAND_NAME.match(row[0].strip())) for row in rows) >= LEAST_BANDS:
        return _csv_by_column(rows, name)
    headings = {cell.strip().rstrip("*").lower().removeprefix("lab_") for cell in rows[0]}
    wanted = (
        f"readings with at least {LEAST_BANDS} wavelengths from 400 to 700 nm as headings or first column"
    )
    raise InputError("file", name, LAB_ONLY if {"l", "a", "b"} <= headings else wanted)


def _csv_by_row(rows: list[list[str]], bands: list[tuple[float, int]], name: str) -> _Raw:
    named = 0 if bands[0][1] > 0 else None
    names, values = [], []
    for number, row in enumerate(rows[1:], start=2):
        if len(row) <= bands[-1][1]:
            raise InputError("row", number, f"{bands[-1][1] + 1} cells", where=name)
        names.append(row[named].strip() if named is not None else str(number - 1))
        values.append(tuple(_number(row[place], name) for _, place in bands))
    nm = tuple(band for band, _ in bands)
    return _Raw(tuple(names), (nm,) * len(names), tuple(values))


def _csv_by_column(rows: list[list[str]], name: str) -> _Raw:
    body = [row for row in rows if BAND_NAME.match(row[0].strip())]
    head = next((row for row in rows if not BAND_NAME.match(row[0].strip())), None)
    width = min(len(row) for row in body)
    nm = tuple(float(BAND_NAME.match(row[0].strip())[1]) for row in body)  # type: ignore[index]
    names = tuple(
        head[place].strip() if head and place < len(head) and head[place].strip() else str(place)
        for place in range(1, width)
    )
    values = tuple(tuple(_number(row[place], name) for row in body) for place in range(1, width))
    return _Raw(names, (nm,) * len(names), values)


def _number(typed: str, name: str) -> float:
    """A number with point or comma; a gap is named."""
    try:
        value = float(typed.strip().replace(",", "."))
    except ValueError:
        raise InputError(
            "reading", typed.strip() or "a gap", "a number at every wavelength", where=name
        ) from None
    if not np.isfinite(value):
        raise InputError("reading", typed.strip(), "a number at every wavelength", where=name)
    return value
