"""Strips in the fibre's own colours: what the pixels are, and that chance adds no stripe."""

import io
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from doffer.errors import InputError
from doffer.fibre.colour.blend import blend, default_mixing
from doffer.fibre.colour.screen import screen_colour
from doffer.fibre.colour.spectrum import light
from doffer.pictures import strip
from doffer.pictures.strip import Dyes, cloth, framed, on_screen, png, seen, stacked, streaked
from doffer.tables.loader import load_tables

TABLES = load_tables()
DARK, LIGHT = np.linspace(0.03, 0.06, 31), np.linspace(0.35, 0.6, 31)
DYES = Dyes.of(np.stack([DARK, LIGHT]), default_mixing(TABLES), TABLES)
STRIPED = np.stack([(np.arange(120) // 12) % 2 * 0.6 + 0.1, 0.9 - (np.arange(120) // 12) % 2 * 0.6], axis=1)
NS = "{http://www.w3.org/2000/svg}"


def hex_of(pixel):
    return "#" + "".join(f"{channel:02x}" for channel in pixel)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 1.0])
def test_a_cell_has_the_colour_that_the_swatch_of_the_same_blend_has(share):
    mixed = blend(np.stack([DARK, LIGHT]), np.array([share, 1 - share]), default_mixing(TABLES))
    swatch = screen_colour(mixed, light(TABLES, "D65", observer_deg=2), TABLES).hex
    pixel = on_screen(seen(np.array([[share, 1 - share]]), DYES))[0]
    wanted = [int(swatch[i : i + 2], 16) for i in (1, 3, 5)]
    assert np.abs(pixel.astype(int) - wanted).max() <= 1, (hex_of(pixel), swatch)


def test_every_cell_of_a_strand_adds_up():
    cells = streaked(STRIPED, fibres=4, streak_px=3, seed=7)
    assert cells.shape == (strip.LANES, 120, 2)
    assert cells.sum(axis=2) == pytest.approx(1.0)
    assert cells.min() >= 0


def test_fibre_streaks_add_no_stripe_of_their_own():
    cells = streaked(STRIPED, fibres=60, streak_px=9, seed=7)
    assert cells.mean(axis=0)[:, 0] == pytest.approx(STRIPED[:, 0], abs=0.005)
    assert cells[:, :, 0].std(axis=0).mean() > 0.02


def test_streaks_run_along_the_flow():
    even = np.full((200, 2), 0.5)
    cells = streaked(even, fibres=60, streak_px=9, seed=3)[..., 0] - 0.5
    along = float((cells[:, 1:] * cells[:, :-1]).mean() / cells.var())
    across = float((cells[1:] * cells[:-1]).mean() / cells.var())
    assert along > 0.8
    assert abs(across) < 0.15


def test_the_same_seed_draws_the_same_strip():
    first, again, other = (streaked(STRIPED, fibres=3, streak_px=2, seed=seed) for seed in (5, 5, 6))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_png_shows_the_pixels_it_was_made_of():
    pixels = np.random.default_rng(2).integers(0, 256, (7, 11, 3)).astype(np.uint8)
    opened = Image.open(io.BytesIO(png(pixels)))
    opened.load()
    assert opened.format == "PNG"
    assert np.array_equal(np.asarray(opened), pixels)


def test_stacked_strips_carry_a_rim_against_their_neighbour():
    black, white = np.zeros((4, 5, 3), np.uint8), np.full((4, 5, 3), 255, np.uint8)
    both = stacked([black, white])
    assert both.shape == (12, 5, 3)
    assert both[:6].max() == 0
    assert both[6:].min() == 255
    with pytest.raises(InputError, match="all of one size"):
        stacked([black, white[:2]])


def test_the_frame_cuts_out_its_own_strip_and_says_what_is_seen():
    tree = ET.fromstring(framed("/x.png?a=1&b=2", "Carded: not seen", place=2, n_strips=4, is_fleecy=False))
    step = strip.LANES + 2
    assert tree.get("viewBox") == f"0 {2 * step + 1} {strip.COLUMNS} {strip.LANES}"
    image = tree.find(f"{NS}image")
    assert (image.get("href"), image.get("height")) == ("/x.png?a=1&b=2", str(4 * step))
    assert tree.get("aria-label") == "Carded: not seen"
    with pytest.raises(InputError, match="from 0 to 3"):
        framed("/x.png", "", place=4, n_strips=4, is_fleecy=True)


def test_rows_of_cloth_are_as_high_as_yarn_with_a_furrow_between():
    rows = cloth(np.broadcast_to([0.5, 0.5], (3, 8, 2)), DYES)
    assert rows.shape == (3 * strip.ROW_PX, 8, 3)
    assert rows[0] == pytest.approx(rows[1] * strip.FURROW)
    assert np.array_equal(rows[1], rows[strip.ROW_PX + 1])
