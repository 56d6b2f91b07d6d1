"""Stripes of photographs whose stripes are known: recovered within the stated interval, or refused."""

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.process.strip_photo_maker import (
    MM_PER_PX,
    Scene,
    photograph,
    piece_variance,
    ruler_band,
    true_variance,
)

from doffer.errors import InputError
from doffer.process.evenness.strip_lanes import waves
from doffer.process.evenness.strip_place import find_strip, linear_light, straight
from doffer.process.evenness.strip_scale import scale_from_points, scale_from_ticks
from doffer.process.evenness.strip_scan import combine, scan_strip
from doffer.process.evenness.strip_verdict import Striping, dominant_wave, sd_between, verdict
from doffer.tables.loader import load_tables

TABLES = load_tables()
PLAIN = Scene(ruler=False, picture_px=(1260, 240))
SEEDS = range(20)
AT_10_MM = 1


def scanned(scene, seed, *, has_white=True, **kwargs):
    picture, paper, signal = photograph(scene, seed)
    scan = scan_strip(
        picture, mm_per_px=scene.mm_per_px, tables=TABLES, white=paper if has_white else None, **kwargs
    )
    return scan, signal


@pytest.fixture(scope="module")
def taken():
    """Twenty photographs with light, noise, JPEG, turn and here and there blur; with and without paper."""
    found = []
    for seed in SEEDS:
        scene = replace(
            PLAIN, picture_px=(1260, 270), turn_deg=seed % 5 - 2.0, blur_mm=0.25 * (seed % 4 == 1)
        )
        picture, paper, signal = photograph(scene, seed)
        with_paper = scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES, white=paper)
        found.append((with_paper, scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES), signal))
    return found


@pytest.mark.parametrize("which", [0, 1], ids=["with white paper", "without"])
def test_the_stated_interval_holds_the_true_sd_in_18_of_20_photographs(taken, which):
    truth = np.sqrt(true_variance(PLAIN, 10.0))
    held, widths = 0, []
    for found in taken:
        low, high = sd_between(found[which])
        held += low[0, AT_10_MM] <= truth <= high[0, AT_10_MM]
        widths.append(high[0, AT_10_MM] / low[0, AT_10_MM])
    assert held >= 18
    assert np.median(widths) < 3.5


def test_what_twenty_strips_say_together_is_within_a_tenth_of_what_lay_there(taken):
    together = combine([found[0] for found in taken])
    lay_there = [
        np.mean([piece_variance(found[2], PLAIN, length) for found in taken]) for length in (5, 10, 20)
    ]
    assert together.sd[0, :3] == pytest.approx(np.sqrt(lay_there), rel=0.1)
    assert together.photos == 20
    assert together.strip_mm == pytest.approx(20 * 296, rel=0.01)


def test_without_paper_the_loss_to_the_light_is_said_and_mostly_made_good(taken):
    together = combine([found[1] for found in taken])
    lay_there = np.sqrt(np.mean([piece_variance(found[2], PLAIN, 10.0) for found in taken]))
    assert together.sd[0, AT_10_MM] == pytest.approx(lay_there, rel=0.1)
    assert 0.1 < together.unseen_frac[0, AT_10_MM] < 0.5
    assert "is a guess" in together.warnings[0]


@pytest.mark.parametrize("sd", [0.6, 2.4])
def test_the_table_of_true_spreads_comes_back(sd):
    scene = replace(PLAIN, sd=sd)
    seen, lay_there = zip(*(scanned(scene, seed) for seed in range(100, 104)), strict=True)
    real = np.sqrt(np.mean([piece_variance(signal, scene, 10.0) for signal in lay_there]))
    assert combine(seen).sd[0, AT_10_MM] == pytest.approx(real, rel=0.1)


def test_a_strip_without_stripes_has_none_though_the_plain_way_finds_many():
    scene = replace(PLAIN, sd=0.0)
    seen = [scanned(scene, seed, has_white=False)[0] for seed in range(4)]
    assert abs(combine(seen).variance[0, AT_10_MM]) < 0.1**2
    assert verdict(seen[0], TABLES).striping is Striping.NONE
    assert naive_sd(photograph(scene, 0)[0]) > 1.0


def naive_sd(picture):
    """What one would do: mean over the width, pieces of 1 cm, their standard deviation."""
    linear = linear_light(picture)
    strip = straight(linear, find_strip(linear), inner_frac=0.7)
    lightness = (116 * np.cbrt(strip[..., 1]) - 16).mean(axis=1)
    return float(lightness[: len(lightness) // 40 * 40].reshape(-1, 40).mean(axis=1).std())


def test_lanes_side_by_side_would_take_texture_for_stripes_and_lanes_apart_do_not():
    rng = np.random.default_rng(5)
    grain = rng.normal(size=(600, 9))
    smeared = grain[:, :-1] + grain[:, 1:]  # each lane shares half with the next, none with the one after
    found = waves(smeared, length_mm=300, trend_degree=0)
    beside = np.mean(smeared[:, 1:] * smeared[:, :-1])
    assert beside > 0.9
    assert abs(found.shared.sum()) < 0.1


def test_white_signals_are_divided_by_n_less_one():
    rng = np.random.default_rng(8)
    common = rng.normal(size=64)
    found = waves(np.repeat(common[:, None], 5, axis=1), length_mm=64, trend_degree=0)
    seen = found.shared[1:].sum()
    assert seen == pytest.approx(common.var(), rel=1e-9)
    assert found.shared[0] == pytest.approx(found.shared[1:4].mean())


def test_what_a_cubic_takes_from_the_waves_that_stay_is_put_back():
    rng = np.random.default_rng(9)
    powers = [
        64 * waves(np.repeat(rng.normal(size=(64, 1)), 3, axis=1), length_mm=64, trend_degree=3).shared[4:6]
        for _ in range(1500)
    ]
    assert np.mean(powers) == pytest.approx(1, abs=0.07)


def test_a_stripe_of_four_centimetres_is_named_with_its_share():
    scan, _ = scanned(replace(PLAIN, wave_mm=40.0, sd=1.5, picture_px=(1260, 300), turn_deg=3), 2)
    wavelength, share = dominant_wave(scan)
    assert wavelength == pytest.approx(40, rel=0.06)
    assert share > 0.8
    said = verdict(scan, TABLES)
    assert said.striping is Striping.PLAIN
    assert re.match(r"Stripes of about 4(\.\d)? cm, 1\.\d L\* \(sd of pieces of 1 cm, ", said.sentence)
    assert said.sentence.endswith("plainly seen.")


def test_stripes_of_every_length_have_no_wavelength_of_their_own(taken):
    assert dominant_wave(combine([found[0] for found in taken]))[0] is None


def test_a_turned_strip_is_found_and_laid_straight():
    scene = replace(PLAIN, turn_deg=-8.0, picture_px=(1300, 400))
    scan, _ = scanned(scene, 4)
    assert scan.turn_deg == pytest.approx(-8, abs=0.1)
    assert scan.width_mm == pytest.approx(40, abs=1.0)


def test_a_picture_held_upright_gives_the_same():
    picture, paper, _ = photograph(PLAIN, 6)
    lying = scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES, white=paper)
    upright = scan_strip(
        picture.transpose(1, 0, 2), mm_per_px=MM_PER_PX, tables=TABLES, white=paper.transpose(1, 0, 2)
    )
    assert upright.variance == pytest.approx(lying.variance)


def test_along_the_blends_direction_a_grey_stripe_counts_by_its_cosine():
    scan, _ = scanned(PLAIN, 3, slope_lab=np.array([24.0, 0.0, 32.0]))
    assert scan.signals == ("lightness", "blend")
    assert scan.sd[1, AT_10_MM] == pytest.approx(0.6 * scan.sd[0, AT_10_MM], rel=0.05)
    assert scan.share_variance[AT_10_MM] == pytest.approx(scan.variance[1, AT_10_MM] / 1600)


def test_variances_are_averaged_before_they_are_clipped():
    one, _ = scanned(replace(PLAIN, sd=0.0), 1)
    below = replace(one, variance=one.variance * 0 - 0.04)
    above = replace(one, variance=one.variance * 0 + 0.05)
    assert combine([below, above]).variance == pytest.approx(np.full_like(one.variance, 0.005))
    assert combine([below, above]).error == pytest.approx(one.error / np.sqrt(2))


@pytest.mark.parametrize("turn_deg", [0.0, 7.0])
def test_the_rulers_ticks_give_the_scale(turn_deg):
    scene = Scene(turn_deg=turn_deg)
    picture, _, _ = photograph(scene, 1)
    found = scale_from_ticks(picture, band=ruler_band(scene), turn_rad=np.radians(turn_deg))
    assert found.mm_per_px == pytest.approx(MM_PER_PX, rel=1e-3)


def test_two_points_give_the_scale():
    found = scale_from_points((10, 20), (410, 320), distance_mm=100)
    assert found.mm_per_px == pytest.approx(0.2)


def test_a_band_without_ticks_gives_no_scale():
    picture, _, _ = photograph(PLAIN, 1)
    with pytest.raises(InputError, match="scale is “not to be read from these ticks”"):
        scale_from_ticks(picture, band=(0.1, 0.3, 0.9, 0.7))


def test_a_ruler_seen_aslant_gives_no_scale():
    x = np.arange(1000.0)
    ticks = np.cos(2 * np.pi * (x / 8 - 5e-6 * x**2))  # the far end is a tenth smaller
    picture = np.repeat(np.repeat(128 + 100 * ticks[None, :, None], 20, axis=0), 3, axis=2).astype(np.uint8)
    with pytest.raises(InputError, match=r"longer at one end”; it must be alike|not to be read"):
        scale_from_ticks(picture, band=(0, 0, 1, 1))


REFUSED = [
    (Scene(blur_mm=1.0), "out of focus"),
    (Scene(strip_mm=(80.0, 40.0), picture_px=(600, 240)), "80 mm long|7. mm long"),
    (Scene(strip_mm=(300.0, 10.0)), "mm wide"),
    (Scene(lightness=97.0, exposure=1.6), "burnt out"),
    (Scene(turn_deg=20.0, strip_mm=(250.0, 30.0), picture_px=(1200, 600)), "turned by|not to be seen|holes"),
]


@pytest.mark.parametrize(("scene", "why"), REFUSED, ids=[why for _, why in REFUSED])
def test_a_picture_that_cannot_be_measured_is_refused_with_the_reason(scene, why):
    picture, _, _ = photograph(replace(scene, ruler=False), 1)
    with pytest.raises(InputError, match=why) as refused:
        scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES)
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("make", ["flat", "noise"])
def test_a_picture_without_strip_is_refused(make):
    rng = np.random.default_rng(2)
    picture = np.full((300, 1200, 3), 120, dtype=np.uint8)
    if make == "noise":
        picture = rng.integers(0, 255, size=picture.shape, dtype=np.uint8)
    with pytest.raises(InputError, match="strip in the photo"):
        scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES)


@pytest.mark.parametrize("mm_per_px", [float("nan"), 0.0, -1.0, 2.0])
def test_without_a_scale_nothing_is_measured(mm_per_px):
    picture, _, _ = photograph(PLAIN, 1)
    with pytest.raises(InputError, match="scale"):
        scan_strip(picture, mm_per_px=mm_per_px, tables=TABLES)


def test_the_white_papers_picture_must_be_of_the_same_size():
    picture, paper, _ = photograph(PLAIN, 1)
    with pytest.raises(InputError, match="same camera, same place"):
        scan_strip(picture, mm_per_px=MM_PER_PX, tables=TABLES, white=paper[:-2])
