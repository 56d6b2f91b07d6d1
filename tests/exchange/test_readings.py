"""Instrument files are shown beside lots and kept all or none; typed Lab and photos are read or refused."""

import io

import numpy as np
import pytest
from PIL import Image

from doffer.errors import InputError, RefusedError
from doffer.exchange.lab import parse_lab
from doffer.exchange.photo_colour import sketch_of_photo
from doffer.exchange.readings import preview_readings, sittings_of, typed_tufts
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.screen import encode
from doffer.fibre.colour.spectrum import lab_of_xyz
from doffer.tables.loader import load_tables

TABLES = load_tables()
LOTS = ("L027", "L028", "K1-2")
NM = range(400, 701, 10)


def cgats(*names):
    head = 'CGATS.17\nINSTRUMENTATION "Pad reader"\nMEASUREMENT_GEOMETRY "45/0"\n'
    columns = "SAMPLE_NAME " + " ".join(f"SPEC_{nm}" for nm in NM)
    rows = "\n".join(f'"{name}" ' + " ".join(["0.3"] * 31) for name in names)
    return f"{head}BEGIN_DATA_FORMAT\n{columns}\nEND_DATA_FORMAT\nBEGIN_DATA\n{rows}\nEND_DATA\n".encode()


def preview(*names, **more):
    return preview_readings(cgats(*names), "pads.txt", lots=LOTS, tables=TABLES, **more)


@pytest.mark.parametrize(
    ("name", "lot"),
    [
        ("L027", "L027"),
        ("l027 2", "L027"),
        ("L027-b", "L027"),
        ("L027 tuft 3", "L027"),
        ("L028/12", "L028"),
        ("K1-2", "K1-2"),
        ("L0271", ""),
        ("white tile", ""),
    ],
)
def test_a_name_is_matched_with_its_lot_or_not_at_all(name, lot):
    assert preview(name).lines[0].lot == lot


def test_tufts_of_one_lot_become_one_sitting_with_what_the_file_says():
    found = sittings_of(preview("L027 1", "L028", "L027 2"), is_wet=True)
    assert [(lot, len(seen.tufts)) for lot, seen in found] == [("L027", 2), ("L028", 1)]
    seen = found[0][1]
    assert (seen.geometry, seen.instrument, seen.is_wet) == ("45/0", "Pad reader", True)
    assert seen.tufts[1].note == "L027 2 of pads.txt"


def test_a_line_of_no_lot_stops_everything_until_it_is_named_or_left_out():
    shown = preview("L027", "L02?")
    assert (shown.n_understood, shown.n_refused) == (1, 1)
    assert "Is it L02" in shown.lines[1].sentences[0]
    with pytest.raises(RefusedError, match="leave them out by their places"):
        sittings_of(shown)
    assert len(sittings_of(shown, drop={2})) == 1
    assert len(sittings_of(preview("L027", "L02?", names={2: "L028"}))) == 2
    with pytest.raises(RefusedError, match="every line is left out"):
        sittings_of(shown, drop={1, 2})
    with pytest.raises(InputError, match="from 1 to 2"):
        sittings_of(shown, drop={5})


@pytest.mark.parametrize(
    "typed",
    [
        "46.6, -20.9, 19.2",
        "46,6 -20,9 19,2",
        "46,6; -20,9; 19,2",
        "L* 46.6 a* −20.9 b* 19.2",
        "46.6/-20.9/19.2",
    ],
)
def test_lab_is_read_as_people_type_it(typed):
    assert parse_lab(typed) == (46.6, -20.9, 19.2)


def test_whole_numbers_between_commas_are_three_numbers():
    assert parse_lab("46,-22,18") == (46, -22, 18)


@pytest.mark.parametrize("typed", ["", None, "46", "46 20", "46,6,20,9,19,2", "green", "1 2 3 4", "1e9x 2 3"])
def test_what_is_not_three_numbers_is_refused(typed):
    with pytest.raises(InputError, match="three numbers"):
        parse_lab(typed)


def test_typed_tufts_may_name_a_second_light():
    tufts = typed_tufts("46 -21 19 | A 44 -19 16\n\n46.5 -21 19\n")
    assert tufts[0].labs == {"D65": (46, -21, 19), "A": (44, -19, 16)}
    assert len(tufts) == 2
    with pytest.raises(InputError, match="line 2"):
        typed_tufts("46 -21 19\ngreen")
    with pytest.raises(InputError, match="on a line for each tuft"):
        typed_tufts("  \n")


GREYS = (0.05, 0.12, 0.25, 0.45, 0.7, 0.9)
COLOURS = (
    (0.4, 0.1, 0.1),
    (0.1, 0.4, 0.1),
    (0.1, 0.1, 0.4),
    (0.5, 0.4, 0.1),
    (0.4, 0.1, 0.4),
    (0.1, 0.4, 0.5),
)
PRIMARIES = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
FIBRE = (0.15, 0.35, 0.12)


def lab_of(linear):
    white = PRIMARIES.sum(axis=1)
    return tuple(lab_of_xyz(PRIMARIES @ np.array(linear), white))


def photo(kind="PNG"):
    """A chart of twelve patches above, the fibre below; each patch 60 px, the fibre 300 px high."""
    levels = [(g, g, g) for g in GREYS] + list(COLOURS)
    pixels = np.zeros((360, 720, 3))
    for place, linear in enumerate(levels):
        pixels[:60, 60 * place : 60 * place + 60] = encode(np.array(linear))
    pixels[60:] = encode(np.array(FIBRE))
    out = io.BytesIO()
    Image.fromarray((pixels * 255).round().astype(np.uint8)).save(out, format=kind)
    boxes = [((60 * n + 10) / 720, 10 / 360, (60 * n + 50) / 720, 50 / 360) for n in range(12)]
    return out.getvalue(), boxes, [lab_of(linear) for linear in levels]


def test_a_photo_with_a_chart_gives_a_sketch_near_the_colour():
    data, boxes, labs = photo()
    found = sketch_of_photo(data, fibre=(0, 0.2, 1, 1), patches=boxes, patch_labs=labs, tables=TABLES)
    assert float(de2000(np.array(lab_of(FIBRE)), np.array(found.lab))) < 2
    assert found.off_high_de >= 3


def test_photos_that_may_not_be_kept_are_not_opened():
    data, boxes, labs = photo()
    for bad, sentence in ((b"GIF89a" + data, "a JPEG, PNG or WebP"), (b"x" * 10_000_001, "at most 10 MB")):
        with pytest.raises(InputError, match=sentence):
            sketch_of_photo(bad, fibre=(0, 0.2, 1, 1), patches=boxes, patch_labs=labs, tables=TABLES)
    with pytest.raises(InputError, match="at least 200 by 200"):
        sketch_of_photo(data, fibre=(0, 0.9, 0.1, 1), patches=boxes, patch_labs=labs, tables=TABLES)
    with pytest.raises(InputError, match="inside the picture"):
        sketch_of_photo(data, fibre=(0, 0.9, 2, 1), patches=boxes, patch_labs=labs, tables=TABLES)
