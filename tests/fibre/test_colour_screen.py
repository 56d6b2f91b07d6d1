"""What a screen shows of a fibre, and what a photograph of it is worth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.fibre.colour_oracle import PATCHES, all_patches, lab_of_hex, patch, srgb_hex, unusual_spectra

from doffer.errors import InputError
from doffer.fibre.colour.chart import fit_chart, sketch_colour
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.screen import decode, encode, screen_colour
from doffer.fibre.colour.spectrum import WAVELENGTHS_NM, lab_of_reflectance, light, xyz_of_reflectance
from doffer.tables.loader import load_tables

TABLES = load_tables()
SCREEN, D65 = light(TABLES, observer_deg=2), light(TABLES)
VIVID = np.where(WAVELENGTHS_NM > 590, 0.9, 0.01)  # a red beyond any screen


@pytest.mark.parametrize("name", [name for name in PATCHES if name != "cyan"])
def test_chart_patches_have_the_hex_the_independent_library_gives(name):
    found = screen_colour(patch(name), SCREEN, TABLES)
    wanted = srgb_hex(xyz_of_reflectance(patch(name), SCREEN))
    channels = [[int(text[i : i + 2], 16) for i in (1, 3, 5)] for text in (found.hex, wanted)]
    assert np.abs(np.diff(channels, axis=0)).max() <= 1  # its white is rounded to four digits
    assert found.is_shown
    assert found.mapped_de < 0.01


def test_white_is_white_and_black_is_black():
    assert screen_colour(np.ones(31), SCREEN, TABLES).hex == "#ffffff"
    assert screen_colour(np.zeros(31), SCREEN, TABLES).hex == "#000000"
    assert screen_colour(np.full(31, 1.15), SCREEN, TABLES).hex == "#ffffff"


def test_a_colour_beyond_the_screen_says_so_and_keeps_its_hue():
    found = screen_colour(VIVID, SCREEN, TABLES)
    assert not found.is_shown
    assert found.mapped_de > 1
    shown, true = lab_of_hex(found.hex, SCREEN.white_xyz), lab_of_reflectance(VIVID, SCREEN)
    hues = [np.degrees(np.arctan2(lab[2], lab[1])) for lab in (shown, true)]
    assert shown[0] == pytest.approx(true[0], abs=0.5)
    assert hues[0] == pytest.approx(hues[1], abs=1)
    assert np.hypot(*shown[1:]) < np.hypot(*true[1:])
    assert found.mapped_de == pytest.approx(float(de2000(true, shown)), abs=0.3)


def test_of_many_real_spectra_only_some_are_beyond_the_screen():
    beyond = [not screen_colour(r, SCREEN, TABLES).is_shown for r in unusual_spectra()]
    assert 0.02 < np.mean(beyond) < 0.25


def test_another_light_is_not_what_a_screen_shows():
    with pytest.raises(InputError, match="D65/2°"):
        screen_colour(VIVID, D65, TABLES)


@given(st.floats(0, 1))
def test_the_curve_of_the_screen_goes_back_and_forth(value):
    assert float(decode(encode(np.array(value)))) == pytest.approx(value, abs=1e-6)


def camera(reflectance: np.ndarray, lamp: np.ndarray) -> np.ndarray:
    """A made-up camera: three bell-shaped sensors, white balanced."""
    bells = [
        np.exp(-(((WAVELENGTHS_NM - nm) / width) ** 2) / 2) for nm, width in ((600, 35), (540, 35), (455, 25))
    ]
    sensors = np.stack(bells, axis=1)
    return 0.95 * ((reflectance * lamp) @ sensors) / (lamp @ sensors)


TONES = {
    "linear": lambda x: x,
    "srgb": encode,
    "telephone": lambda x: 0.95 * encode(x) ** 0.8,
}
DAYLIGHT = np.ones(31)
CHART_LAB = lab_of_reflectance(all_patches(), D65)


@pytest.mark.parametrize("tone", TONES)
def test_a_photograph_with_a_chart_is_a_usable_sketch_however_the_telephone_bends_its_tones(tone):
    bend = TONES[tone]
    fitted = fit_chart(bend(camera(all_patches(), DAYLIGHT)), CHART_LAB, D65, TABLES)
    assert fitted.grey_de < 1.5
    seen = bend(camera(unusual_spectra(), DAYLIGHT))
    usable = (seen.min(axis=1) > 0.02) & (seen.max(axis=1) < 0.97)
    found = [sketch_colour(rgb, fitted, TABLES).lab for rgb in seen[usable]]
    apart = de2000(lab_of_reflectance(unusual_spectra()[usable], D65), np.array(found))
    assert apart.mean() < 2  # of a clean simulation; life is worse, which is what the sketch says
    assert apart.mean() > 0.3  # and it is no measurement even here


def test_a_sketch_says_what_it_may_be_off_by():
    fitted = fit_chart(camera(all_patches(), DAYLIGHT), CHART_LAB, D65, TABLES)
    found = sketch_colour(camera(patch("foliage"), DAYLIGHT), fitted, TABLES)
    assert (found.off_low_de, found.off_high_de) == (3, 8)


def test_exposure_does_not_change_the_colour_but_the_lightness():
    fitted = fit_chart(camera(all_patches(), DAYLIGHT), CHART_LAB, D65, TABLES)
    rgb = camera(patch("foliage"), DAYLIGHT)
    lab, half = (np.array(sketch_colour(x, fitted, TABLES).lab) for x in (rgb, rgb / 2))
    assert half[0] < lab[0]
    assert np.arctan2(half[2], half[1]) == pytest.approx(np.arctan2(lab[2], lab[1]), abs=0.15)


def test_a_burnt_out_chart_is_refused():
    with pytest.raises(InputError, match="photograph again by a window"):
        fit_chart(np.minimum(4 * camera(all_patches(), DAYLIGHT), 1), CHART_LAB, D65, TABLES)


def test_a_shadow_on_the_grey_row_is_refused():
    rgb = camera(all_patches(), DAYLIGHT)
    rgb[PATCHES.index("neutral 8 (.23 D)")] *= 0.4
    with pytest.raises(InputError, match="is a shadow on it"):
        fit_chart(rgb, CHART_LAB, D65, TABLES)


def test_greys_that_stay_off_are_refused():
    rgb = camera(all_patches(), DAYLIGHT)
    names = [name for name in PATCHES if not name.startswith(("white", "neutral", "black"))]
    colours = [PATCHES.index(name) for name in names]
    rgb[colours] = rgb[np.roll(colours, 5)]  # the chart was read upside down
    with pytest.raises(InputError, match="difference left on the grey patches"):
        fit_chart(rgb, CHART_LAB, D65, TABLES)


def test_a_chart_without_a_grey_row_is_refused():
    keep = [place for place, name in enumerate(PATCHES) if not name.startswith(("white", "neutral", "black"))]
    with pytest.raises(InputError, match="grey patches of the chart"):
        fit_chart(camera(all_patches(), DAYLIGHT)[keep], CHART_LAB[keep], D65, TABLES)


@pytest.mark.parametrize("rgb", [[1.0, 0.5, 0.5], [0.001, 0.3, 0.3], [np.nan, 0.5, 0.5]])
def test_a_clipped_or_black_fibre_is_refused(rgb):
    fitted = fit_chart(camera(all_patches(), DAYLIGHT), CHART_LAB, D65, TABLES)
    with pytest.raises(InputError, match="neither black nor burnt out"):
        sketch_colour(np.array(rgb), fitted, TABLES)


def test_a_chart_half_read_is_refused():
    with pytest.raises(InputError, match="three numbers for each of 24"):
        fit_chart(np.ones((23, 3)), CHART_LAB, D65, TABLES)
