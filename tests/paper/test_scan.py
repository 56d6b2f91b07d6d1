"""The square code is read back by a decoder of our own, written from the layout of a version 2 code."""

import re

import pytest

from doffer.paper.scan import QUIET_MODULES, scan_address, scan_picture

SIDE = 25  # modules of a version 2 code
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


def is_fixed(row, column):
    """Whether a module belongs to the finders, timing lines, format or alignment mark."""
    corner = (row < 9 and (column < 9 or column >= SIDE - 8)) or (row >= SIDE - 8 and column < 9)
    return corner or 6 in (row, column) or (16 <= row <= 20 and 16 <= column <= 20)


def data_bits(dark, mask):
    bits, upward = [], True
    for right in (24, 22, 20, 18, 16, 14, 12, 10, 8, 5, 3, 1):
        rows = range(SIDE - 1, -1, -1) if upward else range(SIDE)
        places = [(row, column) for row in rows for column in (right, right - 1)]
        bits += [(place in dark) ^ MASKS[mask](*place) for place in places if not is_fixed(*place)]
        upward = not upward
    return bits


def number(bits):
    return int("".join("1" if bit else "0" for bit in bits), 2)


def read(dark):
    """Correction level and text of a version 2 code in its dense mode; its data come in one block."""
    places = [*((8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)), *((r, 8) for r in (7, 5, 4, 3, 2, 1, 0))]
    form = number([place in dark for place in places]) ^ FORMAT_MASK
    level, mask = LEVELS[form >> 13], form >> 10 & 0b111
    bits = data_bits(dark, mask)
    assert number(bits[:4]) == 0b0010  # letters and digits, capitals only
    length, at, text = number(bits[4:13]), 13, ""
    while len(text) < length:
        width = 11 if length - len(text) > 1 else 6
        value, at = number(bits[at : at + width]), at + width
        text += SIGNS[value // 45] + SIGNS[value % 45] if width == 11 else SIGNS[value]
    return level, text


@pytest.mark.parametrize("tag", ["7Q4K2Y", "000000", "ZZZZZZ", "3M8XD2"])
def test_a_tag_is_read_back_from_the_drawing(tag):
    payload = scan_address("https://doffer.local", kind="tag", code=tag)
    assert read(modules(scan_picture(payload))) == ("Q", f"HTTPS://DOFFER.LOCAL/T/{tag}")


def test_a_tag_fits_the_second_smallest_code_with_its_quiet_border():
    svg = scan_picture(scan_address("https://doffer.local", kind="tag", code="7Q4K2Y"))
    side = SIDE + 2 * QUIET_MODULES
    assert f'width="{side}" height="{side}"' in svg
    dark = modules(svg)
    assert min(min(place) for place in dark) == 0
    assert max(max(place) for place in dark) == SIDE - 1


@pytest.mark.parametrize(
    ("kind", "code", "path"),
    [("order", "o201", "/O/O201"), ("lot", "L041", "/L/L041"), ("tag", "a b/é", "/T/A%20B%2F%C3%89")],
)
def test_addresses_are_capitals_and_safe(kind, code, path):
    address = scan_address("https://mill.local/", kind=kind, code=code)
    assert address == f"HTTPS://MILL.LOCAL{path}"
    assert set(address) <= set(SIGNS)
