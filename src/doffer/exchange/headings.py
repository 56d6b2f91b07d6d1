"""Headings of a list of lots, in the spellings farms use, and the unit that stands in them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

SPELLINGS = {
    "tag": """
        tag; lot; lot id; lot no; lot number; lot code; bag; bag no; bag number; bag id; bag tag;
        bag label; id; no; number; tag no; tag number; label; ref; reference; fleece no; fleece
        number; ear tag; animal tag; code; nr; lot nr; sack; sack no; sack nr
    """,
    "owner": """
        owner; owner name; farm; farm name; customer; customer id; customer no; customer name;
        client; flock owner; name of owner; from; sender; producer; grower; shepherd; besitzer; hof
    """,
    "fibre": """
        fibre; fiber; fibre type; fiber type; kind of fibre; animal; species; material; faser
    """,
    "type": "type; kind",
    "breed": "breed; breed or type; breed type; sheep breed; variety; cross; rasse",
    "colour": """
        colour; color; colour name; color name; natural colour; natural color; shade; farbe
    """,
    "form": """
        form; state; condition; washed; raw or washed; greasy or washed; preparation; prep;
        processed; stage of fibre
    """,
    "gross": """
        gross; gross weight; gross mass; gross in; weight gross; weight with bag; weight incl bag;
        weight including bag; total weight; brutto
    """,
    "tare": """
        tare; tare weight; bag weight; empty bag; weight of bag; empty bag weight; container weight;
        tara
    """,
    "net": """
        net; net weight; net mass; weight net; weight without bag; fibre weight; fiber weight;
        fleece weight; netto
    """,
    "weight": """
        weight; wt; mass; kilos; pounds; kg; g; grams; lb; lbs; oz; amount; quantity; gewicht; raw weight;
        incoming weight
    """,
    "mass_unit": "mass unit; unit; units; uom; weight unit; weight units; lb or kg; kg or lb; einheit",
    "rh": "rh; humidity; room humidity; rh at weighing; relative humidity; room rh",
    "micron": """
        micron; microns; mic; micron mean; mean micron; average micron; afd; mfd; fineness;
        diameter; mean diameter; fibre diameter; fiber diameter; um
    """,
    "micron_sd": """
        micron sd; sd; sd micron; micron s d; standard deviation; fibre diameter sd; fiber diameter
        sd
    """,
    "micron_source": """
        micron source; micron from; source of micron; micron test; tested; lab; lab or estimate;
        micron by; test or guess
    """,
    "staple": """
        staple; staple length; length; fibre length; fiber length; length of staple; stapel
    """,
    "received": """
        received; received on; date received; receipt date; date; arrival; arrived; arrived on;
        arrival date; date in; delivered; delivery date; intake; intake date; datum
    """,
    "note": """
        note; notes; remark; remarks; comment; comments; instructions; special instructions; wish;
        other; bemerkung
    """,
}
FIELDS = tuple(name for name in SPELLINGS if name not in ("weight", "type"))
LONGEST_HEADING = 60  # signs; a sentence above the list is no heading
FIELD_OF = {" ".join(name.split()): field for field, names in SPELLINGS.items() for name in names.split(";")}
LB_AND_OZ = "lb oz"  # the cells say both; a bare number says neither
UNIT_WORDS = {
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilograms"), "kg"),
    **dict.fromkeys(("g", "gr", "gm", "gms", "grams"), "g"),
    **dict.fromkeys(("lb", "lbs", "pounds"), "lb"),
    **dict.fromkeys(("oz", "ounces"), "oz"),
    **dict.fromkeys(("lb oz", "lbs oz", "pounds ounces"), LB_AND_OZ),
    "mm": "mm",
    "cm": "cm",
    **dict.fromkeys(("in", "inch", "inches", "ins"), "in"),
    **dict.fromkeys(("um", "micron", "microns", "mic"), "um"),
    **dict.fromkeys(("pct", "percent", "per cent"), "%"),
}
UNITS_OF = {
    **dict.fromkeys(("gross", "tare", "net", "weight"), ("kg", "g", "lb", "oz", LB_AND_OZ)),
    "staple": ("mm", "cm", "in"),
    "micron": ("um",),
    "micron_sd": ("um",),
    "rh": ("%",),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the file: its heading as written, what it was taken for ("" if extra), the unit in it."""

    heading: str
    field: str = ""
    unit: str = ""


def plain(heading: object) -> str:
    """Small letters and digits with single spaces, no accents."""
    text = unicodedata.normalize("NFKD", str(heading).casefold().replace("µ", "u").replace("μ", "u"))
    text = "".join(sign for sign in text if not unicodedata.combining(sign)).replace("%", " pct ")
    return " ".join("weight" if word == "wt" else word for word in re.findall(r"[a-z0-9]+", text))


def known_columns(cells: Sequence[object]) -> int:
    """How many cells of a line are headings that are known."""
    return sum(1 for cell in cells if isinstance(cell, str) and column_of(cell).field)


def column_of(heading: str) -> Column:
    """What a heading says; unknown ones give an extra column."""
    words = plain(heading)
    if not words or len(words) > LONGEST_HEADING:
        return Column(heading)
    field, unit = FIELD_OF.get(words, ""), ""
    if field in ("", "weight", "micron"):
        shorter, found = _without_unit(words)
        if found and (not field or words in UNIT_WORDS):
            field, unit = FIELD_OF.get(shorter, field), found
    if unit and unit not in UNITS_OF.get(field, ()):
        return Column(heading)
    return Column(heading, field, unit)


def _without_unit(words: str) -> tuple[str, str]:
    """Split "staple length in" into ("staple length", "in"); a unit alone is kept as its own heading."""
    for length in (2, 1):
        parts = words.split(" ")
        unit = UNIT_WORDS.get(" ".join(parts[-length:]))
        if unit:
            rest = parts[:-length]
            if rest and rest[-1] == "in" and unit != "in" and " ".join(rest) not in FIELD_OF:
                rest = rest[:-1]  # weight in kg
            return " ".join(rest) or words, unit
    return words, ""


def columns_of(headings: Sequence[object]) -> tuple[tuple[Column, ...], tuple[str, ...]]:
    """Columns of a heading line, with remarks; of two columns for one thing the first counts."""
    columns: list[Column] = []
    remarks: list[str] = []
    taken: dict[str, str] = {}
    for at, cell in enumerate(headings, 1):
        heading = str(cell).strip() if cell is not None else ""
        column = column_of(heading) if heading else Column(f"column {at}")
        if column.field in taken:
            remarks.append(
                f"“{column.heading}” and “{taken[column.field]}” say the same thing: the first counts, "
                "the second is kept in the note."
            )
            column = Column(heading)
        elif column.field:
            taken[column.field] = heading
        columns.append(column)
    meant = {
        "weight": "" if "net" in taken else "net",
        "type": "fibre" if "fibre" not in taken else "breed" if "breed" not in taken else "",
    }  # headings that say different things beside different others
    return tuple(Column(c.heading, meant.get(c.field, c.field), c.unit) for c in columns), tuple(remarks)
