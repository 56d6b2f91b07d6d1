"""Square codes are read back by a decoder of our own, written from the layout of the two smallest codes."""

import re

import pytest

from doffer.paper.scan import QUIET_MODULES, read_scan, scan_picture, scan_text

SMALLEST, SECOND = 21, 25  # modules of a version 1 and a version 2 code
SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
MASKS = (
    lambda r, c: (r + c) % 2 == 0,
    lambda r, _: r % 2 == 0,
    lambda _, c: c % 3 == 0,
    lambda r, c: (r + c) % 3 == 0,
    lambda r, c: (r // 2 + c // 3) % 2 == 0,
    lambda r, c: r * c % 2 + r * c % 3 == 0,
    lambda r, c: (r * c % 2 + r * c % 3) % 2 == 0,
    lambda r, c: ((r + c) % 2 + r * c % 3) % 2 == 0,
)
FORMAT_MASK = 0b101010000010010
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}


def modules(svg):
    """Dark modules as drawn: horizontal strokes, one module thick, along the middle of each row."""
    path = re.search(r'stroke="#000(?:000)?"[^>]*d="([^"]+)"|d="([^"]+)"[^>]*stroke="#000', svg)
    dark, x, y = set(), 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ,]*)", path.group(1) or path.group(2)):
        values = [float(value) for value in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "h":
            dark |= {(int(y - 0.5), int(x) + step) for step in range(int(values[0]))}
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return {(row - QUIET_MODULES, column - QUIET_MODULES) for row, column in dark}


def is_fixed(row, column, side):
    """Whether a module belongs to the finders, timing lines, format or alignment mark."""
    corner = (row < 9 and (column < 9 or column >= side - 8)) or (row >= side - 8 and column < 9)
    aligned = side == SECOND and 16 <= row <= 20 and 16 <= column <= 20
    return corner or 6 in (row, column) or aligned


def data_bits(dark, mask, side):
    bits, upward = [], True
    for right in (*range(side - 1, 6, -2), 5, 3, 1):
        rows = range(side - 1, -1, -1) if upward else range(side)
        places = [(row, column) for row in rows for column in (right, right - 1)]
        bits += [(place in dark) ^ MASKS[mask](*place) for place in places if not is_fixed(*place, side)]
        upward = not upward
    return bits


def number(bits):
    return int("".join("1" if bit else "0" for bit in bits), 2)


def read(dark):
    """Correction level and text of a small code in its dense mode; its data come in one block."""
    side = max(max(place) for place in dark) + 1
    assert side in (SMALLEST, SECOND)
    places = [*((8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)), *((r, 8) for r in (7, 5, 4, 3, 2, 1, 0))]
    form = number([place in dark for place in places]) ^ FORMAT_MASK
    level, mask = LEVELS[form >> 13], form >> 10 & 0b111
    bits = data_bits(dark, mask, side)
    assert number(bits[:4]) == 0b0010  # letters and digits, capitals only
    length, at, text = number(bits[4:13]), 13, ""
    while len(text) < length:
        width = 11 if length - len(text) > 1 else 6
        value, at = number(bits[at : at + width]), at + width
        text += SIGNS[value // 45] + SIGNS[value % 45] if width == 11 else SIGNS[value]
    return level, text


@pytest.mark.parametrize("tag", ["7Q4K2Y", "000000", "ZZZZZZ", "3M8XD2"])
@pytest.mark.parametrize(
    ("address", "start"), [("", "DOFFER:"), ("https://doffer.local", "HTTPS://DOFFER.LOCAL/")]
)
def test_a_tag_is_read_back_from_the_drawing(tag, address, start):
    payload = scan_text(address, kind="tag", code=tag)
    assert read(modules(scan_picture(payload))) == ("Q", f"{start}T/{tag}")
    assert read_scan(payload) == ("tag", tag)


@pytest.mark.parametrize(("address", "modules_wide"), [("", SMALLEST), ("https://doffer.local", SECOND)])
def test_a_tag_fits_the_smallest_codes_with_their_quiet_border(address, modules_wide):
    svg = scan_picture(scan_text(address, kind="tag", code="7Q4K2Y"))
    side = modules_wide + 2 * QUIET_MODULES
    assert f'width="{side}" height="{side}"' in svg
    dark = modules(svg)
    assert min(min(place) for place in dark) == 0
    assert max(max(place) for place in dark) == modules_wide - 1


@pytest.mark.parametrize(
    ("kind", "code", "path"),
    [("order", "o201", "O/O201"), ("lot", "L041", "L/L041"), ("tag", "a b/é", "T/A%20B%2F%C3%89")],
)
def test_what_a_code_holds_is_capitals_and_safe(kind, code, path):
    for address, start in (("https://mill.local/", "HTTPS://MILL.LOCAL/"), ("", "DOFFER:")):
        text = scan_text(address, kind=kind, code=code)
        assert text == f"{start}{path}"
        assert set(text) <= set(SIGNS)
        assert read_scan(text) == (kind, code.upper())


@pytest.mark.parametrize(
    ("scanned", "named"),
    [
        ("DOFFER:L/L041", ("lot", "L041")),
        (" doffer:t/7q4k2y\n", ("tag", "7Q4K2Y")),
        ("DOFFERÖT-7Q4K2Y", ("tag", "7Q4K2Y")),  # a scanner that acts as a keyboard of another country
        ("HTTP://127.0.0.1:8765/T/7Q4K2Y", ("tag", "7Q4K2Y")),  # as tags were printed at first
        ("http://127.0.0.1:8766/o/o203/", ("order", "O203")),
        ("https://mill.local/L/L041?x=1", None),
        ("https://mill.local/lots/L041/", None),
        ("shetland", None),
        ("L041", None),
        ("doffer", None),
        ("", None),
    ],
)
def test_what_a_scanner_types_is_understood_whatever_address_it_holds(scanned, named):
    assert read_scan(scanned) == named
