import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.pictures import colour

HEX = st.integers(0, 0xFFFFFF).map(lambda value: f"#{value:06x}")


@pytest.mark.parametrize(
    ("lab", "expected"),
    [((0, 0, 0), "#000000"), ((100, 0, 0), "#ffffff"), ((53.585, 0, 0), "#808080")],
)
def test_the_grey_axis_stays_grey(lab, expected):
    shown = colour.screen_colour(*lab)
    assert all(abs(int(shown.hex[i : i + 2], 16) - int(expected[i : i + 2], 16)) <= 1 for i in (1, 3, 5))
    assert not shown.is_clipped


@pytest.mark.parametrize(
    ("lab", "expected"),
    # CIE Lab (D65) of the sRGB primaries, rounded to 0.01: CIE 15 formulas applied to IEC 61966-2-1 by hand.
    [
        ((53.24, 80.09, 67.2), (255, 0, 0)),
        ((87.73, -86.18, 83.18), (0, 255, 0)),
        ((32.3, 79.19, -107.86), (0, 0, 255)),
    ],
)
def test_the_screen_primaries_come_back(lab, expected):
    shown = colour.screen_colour(*lab).hex
    assert all(
        abs(int(shown[i : i + 2], 16) - part) <= 2 for i, part in zip((1, 3, 5), expected, strict=True)
    )


def test_a_colour_no_screen_can_show_says_so_and_keeps_its_hue():
    shown = colour.screen_colour(50, -120, 10)
    red, green, blue = (int(shown.hex[i : i + 2], 16) for i in (1, 3, 5))
    assert shown.is_clipped
    assert green > blue > red


def test_lightness_outside_its_scale_is_refused():
    with pytest.raises(InputError, match="between 0 \\(black\\) and 100 \\(white\\)"):
        colour.screen_colour(101, 0, 0)


@given(background=HEX)
def test_ink_can_be_read_on_any_fibre(background):
    assert colour.contrast(colour.ink_on(background), background) >= 4.5


def test_contrast_of_black_and_white_is_21():
    assert colour.contrast("#000000", "#ffffff") == pytest.approx(21)


@given(first=HEX, second=HEX)
def test_contrast_does_not_mind_the_order(first, second):
    assert colour.contrast(first, second) == colour.contrast(second, first) >= 1


def test_mixing_nothing_and_everything_gives_the_ends():
    assert colour.mixed("#102030", "#ffffff", 0) == "#102030"
    assert colour.mixed("#102030", "#ffffff", 1) == "#ffffff"


def test_unmeasured_fibre_is_drawn_undyed():
    assert colour.fibre_hex(None, None, None) == "#cfc6b6"
    assert colour.fibre_hex(100, 0, 0) == "#ffffff"


def test_a_broken_colour_is_refused():
    with pytest.raises(InputError, match="a hex colour like"):
        colour.ink_on("green")
