"""Workbooks as a farm would send them, made by a script so that no binary file lies in the project."""

import io
import zipfile
from datetime import date

import openpyxl

FARM_ROWS = (
    ("Three Teapots Alpacas: fleeces brought 26 January",),
    (),
    (
        "Fleece no",
        "Farm",
        "Animal",
        "Type",
        "Colour",
        "Gross kg",
        "Tare kg",
        "RH",
        "AFD",
        "Micron source",
        "Staple mm",
        "Date in",
        "Vet paid",
    ),
    (
        9,
        "Three Teapots Alpacas",
        "alpaca",
        "huacaya",
        "white",
        6.9,
        0.4,
        0.55,
        20.9,
        "lab",
        100,
        date(2026, 1, 26),
        "yes",
    ),
    (10, "Three Teapots Alpacas", "alpaca", "suri", "fawn", "5,2 kg", 0.4, 0.55, None, None, 95, 46048, "no"),
    (),
    (
        11,
        "Three Teapots Alpacas",
        "alpaca",
        "cria",
        "black",
        3.4,
        0.4,
        None,
        18.2,
        "guess",
        None,
        "soon",
        None,
    ),
    (
        12,
        "Three Teapots Alpacas",
        "alpaca",
        "huacaya",
        "grey",
        date(2026, 5, 3),
        0.4,
        None,
        None,
        None,
        None,
        None,
        None,
    ),
    (
        13,
        "Three Teapots Alpacas",
        "vicunya",
        None,
        "brown",
        2.1,
        0.2,
        None,
        None,
        None,
        None,
        date(2027, 1, 1),
        None,
    ),
    ("Total", None, None, None, None, "=SUM(F4:F9)", None, None, None, None, None, None, None),
)


def workbook(rows, *, title="Lots", percent_column=None, more=()):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    if percent_column:
        for cell in sheet[percent_column]:
            if isinstance(cell.value, float):
                cell.number_format = "0%"
    for name in more:
        book.create_sheet(name).append(["something else"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def farm_workbook():
    return workbook(FARM_ROWS, percent_column="H", more=("Prices",))


def repacked(data, **changed):
    """The same workbook with some of its inner files replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, changed.pop(name, None) or old.read(name))
        for name, content in changed.items():
            new.writestr(name, content)
    return out.getvalue()
