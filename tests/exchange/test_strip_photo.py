"""Photographs of strips from bytes: only pictures, only of a size that can be borne, and turned as meant."""

import struct
import time
import zlib
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from tests.process.strip_photo_maker import Scene, as_jpeg, photograph, ruler_band

from doffer.errors import InputError
from doffer.exchange.strip_photo import Points, Resolution, Ruler, pixels_of, scale_of, scan_photo
from doffer.tables.loader import load_tables

TABLES = load_tables()
SCENE = Scene(turn_deg=6.0)


@pytest.fixture(scope="module")
def strip():
    picture, paper, _ = photograph(SCENE, 1)
    return as_jpeg(picture), as_jpeg(paper)


def test_a_strip_with_a_turned_ruler_is_read_from_bytes(strip):
    picture, paper = strip
    left, top, right, bottom = ruler_band(SCENE)
    scan = scan_photo(picture, known=Ruler((left, top, right, bottom)), tables=TABLES, white=paper)
    assert scan.mm_per_px == pytest.approx(0.25, rel=1e-3)
    assert scan.sd[0, 1] == pytest.approx(1.1, abs=0.35)
    assert scan.has_white


def test_a_photo_of_3000_by_800_pixels_is_read_in_a_second_and_a_half():
    picture, paper, _ = photograph(Scene(mm_per_px=0.2, picture_px=(1500, 400), strip_mm=(280.0, 45.0)), 3)
    large = [as_jpeg(np.repeat(np.repeat(rgb, 2, axis=0), 2, axis=1)) for rgb in (picture, paper)]
    began = time.process_time()
    scan = scan_photo(large[0], known=Points((0.0, 0.5), (1.0, 0.5), 300.0), tables=TABLES, white=large[1])
    assert time.process_time() - began < 1.5
    assert scan.lanes >= 8
    assert scan.strip_mm == pytest.approx(277, abs=3)


def test_points_and_a_scanners_setting_give_a_scale_too():
    rgb = np.zeros((400, 1000, 3), dtype=np.uint8)
    assert scale_of(rgb, Points((0.1, 0.5), (0.9, 0.5), 200.0)).mm_per_px == pytest.approx(0.25)
    assert scale_of(rgb, Resolution(254.0)).mm_per_px == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("known", "why"),
    [
        (None, "scale is missing"),
        (Points((0.1, 0.5), (1.4, 0.5), 200.0), "inside the picture"),
        (Points((0.1, 0.5), (0.11, 0.5), 200.0), "far from each other"),
        (Points((0.1, 0.5), (0.9, 0.5), float("nan")), "above 0 mm"),
        (Resolution(0.0), "dots per inch"),
        (Ruler((0.2, 0.4, 0.8, 0.6)), "scale is “not to be read from these ticks”"),
    ],
)
def test_without_a_scale_the_photo_is_refused(strip, known, why):
    with pytest.raises(InputError, match=why):
        scan_photo(strip[0], known=known, tables=TABLES)


def test_a_photo_taken_with_the_camera_on_its_side_is_turned_as_meant():
    rgb = np.zeros((40, 80, 3), dtype=np.uint8)
    rgb[:, :10] = 255
    exif = Image.Exif()
    exif[0x0112] = 6  # to be shown turned by a quarter to the right
    out = BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", exif=exif)
    seen = pixels_of(out.getvalue())
    assert seen.shape == (80, 40, 3)
    assert seen[:5].mean() > 200
    assert seen[20:].mean() < 50


def test_a_telephones_picture_with_a_second_one_behind_it_is_a_jpeg():
    first, second = Image.new("RGB", (64, 48), (200, 10, 10)), Image.new("RGB", (32, 24))
    out = BytesIO()
    first.save(out, "MPO", save_all=True, append_images=[second])
    assert pixels_of(out.getvalue()).shape == (48, 64, 3)


def png_head(width, height):
    """A PNG that says it is very large and holds next to nothing."""
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)), (b"IDAT", zlib.compress(b""))]
    body = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in [*chunks, (b"IEND", b"")]
    )
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize("side", [60_000, 10_000, 7_000])
def test_a_picture_of_too_many_pixels_is_refused_in_one_sentence(side):
    with pytest.raises(InputError, match="megapixels") as refused:
        pixels_of(png_head(side, side))
    assert str(refused.value).count(".") <= 2
    assert "pixels across times pixels down" in str(refused.value)


def test_a_file_of_twenty_megabytes_is_refused():
    with pytest.raises(InputError, match=r"20\.0 MB”; it must be at most 10 MB"):
        pixels_of(bytes(20_000_000))


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"%PDF-1.7 nothing", b"<svg/>", bytes(1000)])
def test_what_is_no_picture_is_refused(data):
    with pytest.raises(InputError, match="a JPEG, PNG or WebP picture, whole"):
        pixels_of(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_broken_pictures_are_refused_or_read_and_never_fail_otherwise(kind):
    rng = np.random.default_rng(11)
    small = Image.fromarray(rng.integers(0, 255, size=(48, 64, 3), dtype=np.uint8))
    out = BytesIO()
    small.save(out, kind)
    whole = out.getvalue()
    refused = 0
    for trial in range(150):
        broken = bytearray(whole)
        if trial % 3 == 0:
            broken = broken[: rng.integers(0, len(whole))]
        else:
            at = rng.integers(0, min(len(whole), 400 if trial % 3 == 1 else len(whole)), size=6)
            for place in at:
                broken[place] = rng.integers(0, 256)
        try:
            assert pixels_of(bytes(broken)).ndim == 3
        except InputError:
            refused += 1
    assert refused >= 30


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_a_broken_note_of_how_the_camera_was_held_is_refused_or_passed_over():
    rng = np.random.default_rng(13)
    exif = Image.Exif()
    exif[0x0112] = 5
    out = BytesIO()
    Image.new("RGB", (64, 48)).save(out, "JPEG", exif=exif)
    refused = 0
    for _ in range(300):
        broken = bytearray(out.getvalue())
        for place in rng.integers(0, 80, size=4):
            broken[place] = rng.integers(0, 256)
        try:
            assert pixels_of(bytes(broken)).shape in ((48, 64, 3), (64, 48, 3))
        except InputError:
            refused += 1
    assert 0 < refused < 300


def test_random_bytes_behind_a_pictures_first_bytes_are_refused():
    rng = np.random.default_rng(12)
    for head in (b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF\x10\x00\x00\x00WEBPVP8 "):
        for size in (10, 300, 5000):
            with pytest.raises(InputError, match="photo"):
                pixels_of(head + rng.bytes(size))
