"""Stripes in a photograph or scan of a roving strip: variance by length of piece and by wavelength.

The strip is found and laid straight, its light evened out, its inner 70 % cut into lanes; what lanes at least
two apart have in common is stripe, the rest is fibre and noise. Colours come from the screen's curve: without
a chart they are a camera's own, so a variance in L* is as good as the exposure is (the white paper's picture
sets it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.screen import SCREEN_OBSERVER_DEG, xyz_of_linear
from doffer.fibre.colour.spectrum import Light, lab_of_xyz, light, xyz_of_lab
from doffer.process.evenness.strip_focus import check_focus, check_light, pixel_noise
from doffer.process.evenness.strip_lanes import (
    LEAST_LANES,
    TREND_DEGREE,
    Waves,
    piece_variance,
    unseen_share,
    waves,
)
from doffer.process.evenness.strip_place import (
    Box,
    Pixels,
    Place,
    Singles,
    find_strip,
    linear_light,
    on_its_side,
    straight,
)
from doffer.tables.loader import Tables

PIECES_MM = (5.0, 10.0, 20.0, 50.0, 100.0)
PIECES_IN_STRIP = 2.5  # a length of piece is asked of strips that hold as many of them
INNER_FRAC = 0.7
LANE_MM = 3.0
LANE_PX = 16  # blocks of a JPEG, chroma and all, then never reach from one lane to the next but one
CELL_MM = 0.5
LEAST_STRIP_MM, ENOUGH_STRIP_MM = 100.0, 300.0
ABOUT = 0.9  # of enough: still enough, since ends are left out
FINEST_MM_PER_PX, COARSEST_MM_PER_PX = 0.005, 0.35
WORK_MM_PER_PX = 0.2  # finer pictures are averaged to about this
DARKEST = 1e-4  # of full light: a black picture of white paper divides nothing by zero
MOST_WORK_PIXELS = 8_000_000
WHITE_BLOCKS = 60  # the white paper's picture is smoothed to so many blocks along
BANDS_PER_OCTAVE = 3
SHORTEST_WAVE_MM = 4.0
ONE_WAVE_SHARE = 0.5  # of the variance within an octave: then one wavelength is named
ENOUGH_STRIPS = 3
TOLD_LOSS = 0.1


@dataclass(frozen=True, eq=False, slots=True)
class StripScan:
    """Stripes of one strip, or the mean of several.

    Variances are of the means of pieces within an endless strand [unit^2], shape (q, w), for q signals and w
    lengths of piece. They may be below zero, which says "none found"; clip them only for the eye.

    Parameters
    ----------
    signals : tuple of str
        "lightness", and "blend" where a colour slope was given: the deviation along the blend's own
        direction [dE].
    piece_mm : ndarray, shape (w,)
        Lengths of pieces.
    variance, error : ndarray, shape (q, w)
        Stripes alone, and the standard error, from how few waves a strip holds and what noise it has.
    whole, whole_error : ndarray, shape (q, w)
        The same of the width's mean: stripes, fibre and noise together.
    unseen_frac : ndarray, shape (q, w)
        Share of the variance that went with the light and is guessed from the neighbouring waves.
    band_mm : ndarray, shape (b,)
        Middle wavelengths of bands, three to the octave.
    band_variance : ndarray, shape (q, b)
        Variance in each band.
    slope_de : float
        Length of the colour slope, Lab for a share of 1; nan without one.
    strip_mm : float
        Length of strip seen, of all photographs together.
    photos : int
        How many photographs.
    lanes, turn_deg, width_mm, mm_per_px : of the first photograph.
    noise_sd : float
        Sensor's and JPEG's noise of one pixel of the photograph, L*.
    own_sd : ndarray, shape (q,)
        What single lanes have of their own (fibre and noise) in cells of half a millimetre.
    has_white : bool
        Whether a white paper's picture evened out the light.
    warnings : tuple of str
        Sentences.
    """

    signals: tuple[str, ...]
    piece_mm: Floats
    variance: Floats
    error: Floats
    whole: Floats
    whole_error: Floats
    unseen_frac: Floats
    band_mm: Floats
    band_variance: Floats
    slope_de: float
    strip_mm: float
    photos: int
    lanes: int
    turn_deg: float
    width_mm: float
    mm_per_px: float
    noise_sd: float
    own_sd: Floats
    has_white: bool
    warnings: tuple[str, ...]

    @property
    def sd(self) -> Floats:
        """Standard deviation for the eye, shape (q, w): zero where nothing was found."""
        return np.asarray(np.sqrt(np.maximum(self.variance, 0)))

    @property
    def share_variance(self) -> Floats:
        """Variance of composition along the blend's direction [share^2], shape (w,); nan without slope."""
        if "blend" not in self.signals:
            return np.full(len(self.piece_mm), np.nan)
        return np.asarray(self.variance[self.signals.index("blend")] / self.slope_de**2)


def scan_strip(
    rgb: Pixels,
    *,
    mm_per_px: float,
    tables: Tables,
    white: Pixels | None = None,
    slope_lab: Floats | None = None,
    without: Box | None = None,
) -> StripScan:
    """The stripes of a strip in a photograph or scan.

    Parameters
    ----------
    rgb : ndarray of bytes, shape (h, w, 3)
        sRGB picture; the strip lies along its longer side.
    mm_per_px : float
        Scale, from `strip_scale` or the scanner [mm].
    white : ndarray of bytes, shape (h, w, 3), optional
        White paper in the same place and light, camera untouched. Without it a cubic is taken out along the
        strip, and slow stripes with it: their share is guessed and stated.
    slope_lab : ndarray, shape (3,), optional
        dLab for a share of 1 of the component that varies: the direction looked along.
    without : Box, optional
        Where the ruler lies.

    Raises
    ------
    InputError
        Scale out of range, no strip, too short or too narrow, out of focus, over- or underexposed.
    """
    _check(rgb, mm_per_px, white, slope_lab)
    if rgb.shape[0] > rgb.shape[1]:
        rgb, white = _lying(rgb), None if white is None else _lying(white)
        without = None if without is None else on_its_side(without)
    seen_in = light(tables, "D65", observer_deg=SCREEN_OBSERVER_DEG)
    factor = max(1, int(WORK_MM_PER_PX / mm_per_px))
    _check_frame(rgb, factor)
    linear = linear_light(rgb, factor)
    paper = None if white is None else _paper(white, linear.shape)
    work_mm_per_px = mm_per_px * factor
    even = linear if paper is None else linear / paper * np.float32(_paper_luminance(seen_in, tables))
    place = find_strip(even, without=without)
    check_light(rgb, place, factor)
    _check_size(place, work_mm_per_px, lane_mm=max(LANE_MM, LANE_PX * mm_per_px))
    strip = straight(even, place, inner_frac=INNER_FRAC)
    noise_sd = pixel_noise(linear, place, without)
    check_focus(strip, mm_per_px=work_mm_per_px, noise_sd=noise_sd)
    n_lanes = int(strip.shape[1] * work_mm_per_px / max(LANE_MM, LANE_PX * mm_per_px))
    values = _signals(_cells(strip, n_lanes, work_mm_per_px), seen_in, slope_lab)
    scan = _scan(values, strip.shape[0] * work_mm_per_px, has_white=white is not None)
    scan = replace(
        scan,
        slope_de=np.nan if slope_lab is None else float(np.linalg.norm(slope_lab)),
        turn_deg=float(np.degrees(place.turn_rad)),
        width_mm=place.width_px * work_mm_per_px,
        mm_per_px=mm_per_px,
        noise_sd=noise_sd * factor,
    )
    return replace(scan, warnings=_warnings(scan))


def combine(scans: Sequence[StripScan]) -> StripScan:
    """Several photographs of one roving as one: variances averaged by length before anything is clipped.

    Raises
    ------
    InputError
        None given, or some that look along other signals.
    """
    if not scans:
        raise InputError("photographs of strips", 0, "one or more")
    first = scans[0]
    if any(scan.signals != first.signals or not _same(scan.slope_de, first.slope_de) for scan in scans):
        raise InputError("photographs of strips", "read along other colours", "all of one blend")
    pieces = min((scan.piece_mm for scan in scans), key=len)
    bands = min((scan.band_mm for scan in scans), key=len)
    share = np.array([scan.strip_mm for scan in scans])
    share = share / share.sum()
    w, b = len(pieces), len(bands)

    def mean(values: list[Floats]) -> Floats:
        return np.asarray(np.tensordot(share, np.stack(values), 1))

    def error(values: list[Floats]) -> Floats:
        return np.asarray(np.sqrt(np.tensordot(share**2, np.stack(values) ** 2, 1)))

    whole = replace(
        first,
        piece_mm=pieces,
        variance=mean([scan.variance[:, :w] for scan in scans]),
        error=error([scan.error[:, :w] for scan in scans]),
        whole=mean([scan.whole[:, :w] for scan in scans]),
        whole_error=error([scan.whole_error[:, :w] for scan in scans]),
        unseen_frac=mean([scan.unseen_frac[:, :w] for scan in scans]),
        band_mm=bands,
        band_variance=mean([scan.band_variance[:, :b] for scan in scans]),
        strip_mm=sum(scan.strip_mm for scan in scans),
        photos=sum(scan.photos for scan in scans),
        noise_sd=float(mean([np.array(scan.noise_sd) for scan in scans])),
        own_sd=np.sqrt(mean([scan.own_sd**2 for scan in scans])),
        has_white=all(scan.has_white for scan in scans),
    )
    return replace(whole, warnings=_warnings(whole))


def _same(one: float, other: float) -> bool:
    return bool(np.isclose(one, other, equal_nan=True))


def _check(rgb: Pixels, mm_per_px: float, white: Pixels | None, slope_lab: Floats | None) -> None:
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise InputError("photo", f"{rgb.shape} of {rgb.dtype}", "rows of red, green and blue bytes")
    if not np.isfinite(mm_per_px) or mm_per_px <= 0:
        allowed = "known: photograph a ruler beside the strip and mark two points of it, or frame its ticks"
        raise InputError("scale", None if np.isnan(mm_per_px) else mm_per_px, allowed)
    if not FINEST_MM_PER_PX <= mm_per_px <= COARSEST_MM_PER_PX:
        allowed = (
            f"{FINEST_MM_PER_PX:g} to {COARSEST_MM_PER_PX:g} mm a pixel; go nearer, or look at the ruler"
        )
        raise InputError("scale", f"{mm_per_px:.3g} mm a pixel", allowed)
    if white is not None and white.shape != rgb.shape:
        given = f"{white.shape[1]} by {white.shape[0]} pixels"
        allowed = f"{rgb.shape[1]} by {rgb.shape[0]} as the strip's: same camera, same place, same zoom"
        raise InputError("picture of white paper", given, allowed)
    if slope_lab is not None and not (slope_lab.shape == (3,) and np.linalg.norm(slope_lab) > 0):
        raise InputError("colour slope of the blend", slope_lab.tolist(), "three numbers, not all zero")


def _check_frame(rgb: Pixels, factor: int) -> None:
    if rgb.shape[0] * rgb.shape[1] > MOST_WORK_PIXELS * factor**2:
        given = f"{rgb.shape[1]} by {rgb.shape[0]} pixels"
        raise InputError("photo", given, "cut to the strip, its ground and the ruler: it shows far more")


def _lying(rgb: Pixels) -> Pixels:
    return rgb.transpose(1, 0, 2)


def _check_size(place: Place, work_mm_per_px: float, *, lane_mm: float) -> None:
    length_mm, width_mm = place.length_px * work_mm_per_px, place.width_px * work_mm_per_px
    if length_mm < LEAST_STRIP_MM:
        allowed = f"at least {LEAST_STRIP_MM:g} mm long, better {ENOUGH_STRIP_MM:g}"
        raise InputError("strip in the photo", f"{length_mm:.0f} mm long", allowed)
    least_mm = LEAST_LANES * lane_mm / INNER_FRAC
    if width_mm < least_mm:
        allowed = f"at least {least_mm:.0f} mm wide; open the roving out flat, without twist, or go nearer"
        raise InputError("strip in the photo", f"{width_mm:.0f} mm wide", allowed)


def _paper(white: Pixels, shape: tuple[int, ...]) -> Singles:
    """Light on the ground, shape of the picture, smoothed so that paper and sensor leave no grain in it."""
    block = max(
        1, white.shape[1] // WHITE_BLOCKS, white.shape[0] // max(2, min(white.shape[0], WHITE_BLOCKS))
    )
    coarse = np.maximum(linear_light(white, block), np.float32(DARKEST))
    along = _hats(shape[1], coarse.shape[1], white.shape[1] / shape[1] / block)
    down = _hats(shape[0], coarse.shape[0], white.shape[0] / shape[0] / block)
    rows = np.einsum("yb,bxc->ycx", down, coarse, optimize=True)
    return np.ascontiguousarray((rows @ along.T).transpose(0, 2, 1))


def _paper_luminance(seen_in: Light, tables: Tables) -> float:
    """What white paper throws back, of the perfect diffuser [frac]."""
    known = np.array([tables.constants["strip_paper_lightness"].value, 0, 0])
    return float((xyz_of_lab(known, seen_in.white_xyz) / seen_in.white_xyz)[1])


def _hats(n_fine: int, n_coarse: int, step: float) -> Singles:
    """Weights of straight lines between the middles of blocks, shape (fine, coarse)."""
    at = np.clip((np.arange(n_fine) + 0.5) * step - 0.5, 0, n_coarse - 1)
    hats: Singles = np.maximum(1 - np.abs(at[:, None] - np.arange(n_coarse)), 0).astype(np.float32)
    return hats


def _cells(strip: Singles, n_lanes: int, work_mm_per_px: float) -> Floats:
    """Mean linear light in cells of half a millimetre by a lane, shape (n, m, 3)."""
    across = strip.shape[1] // n_lanes
    along = max(1, round(CELL_MM / work_mm_per_px))
    n_cells = strip.shape[0] // along
    cut = strip[: n_cells * along, : n_lanes * across].reshape(n_cells, along, n_lanes, across, 3)
    return np.asarray(cut.mean(axis=(1, 3), dtype=np.float64))


def _signals(cells: Floats, seen_in: Light, slope_lab: Floats | None) -> list[Floats]:
    lab = lab_of_xyz(xyz_of_linear(cells, seen_in.white_xyz), seen_in.white_xyz)
    values = [lab[..., 0]]
    if slope_lab is not None:
        values.append(lab @ (slope_lab / np.linalg.norm(slope_lab)))
    return values


def _scan(values: list[Floats], length_mm: float, *, has_white: bool) -> StripScan:
    """All that the waves say; what belongs to the photograph is filled in by the caller."""
    pieces = np.array([piece for piece in PIECES_MM if piece * PIECES_IN_STRIP <= length_mm])
    found = [
        waves(value, length_mm=length_mm, trend_degree=0 if has_white else TREND_DEGREE) for value in values
    ]
    variances = [piece_variance(wave, pieces) for wave in found]
    band_mm, _ = _bands(found[0])
    return StripScan(
        signals=("lightness", "blend")[: len(values)],
        piece_mm=pieces,
        variance=np.stack([shared for shared, _, _ in variances]),
        error=np.stack([error for _, _, error in variances]),
        whole=np.stack([mean for _, mean, _ in variances]),
        whole_error=np.stack([error for _, _, error in variances]),
        unseen_frac=np.stack([unseen_share(wave, pieces) for wave in found]),
        band_mm=band_mm,
        band_variance=np.stack([_bands(wave)[1] for wave in found]),
        slope_de=np.nan,
        strip_mm=length_mm,
        photos=1,
        lanes=values[0].shape[1],
        turn_deg=0.0,
        width_mm=0.0,
        mm_per_px=0.0,
        noise_sd=0.0,
        own_sd=np.sqrt([wave.own for wave in found]),
        has_white=has_white,
        warnings=(),
    )


def _bands(wave: Waves) -> tuple[Floats, Floats]:
    """Variance by wavelength, three bands to the octave, the last one open: middles [mm] and variances."""
    n_bands = int(np.log2(wave.length_mm / SHORTEST_WAVE_MM) * BANDS_PER_OCTAVE) + 1
    middles = SHORTEST_WAVE_MM * 2 ** (np.arange(n_bands) / BANDS_PER_OCTAVE)
    with np.errstate(divide="ignore"):
        wavelengths = 2 * wave.length_mm / np.arange(len(wave.shared))
        at = np.rint(np.log2(np.minimum(wavelengths, middles[-1]) / SHORTEST_WAVE_MM) * BANDS_PER_OCTAVE)
    inside = at >= 0
    powers = np.bincount(at[inside].astype(np.intp), weights=wave.shared[inside], minlength=n_bands)
    return middles, np.asarray(powers[:n_bands], dtype=np.float64)


def _warnings(scan: StripScan) -> tuple[str, ...]:
    said = []
    if not scan.has_white:
        said.append(
            "No picture of white paper was given: slow changes along the strip were taken for the light's; "
            f"about {100 * float(scan.unseen_frac[0].max()):.0f} % of the longest figure is a guess."
        )
    if scan.strip_mm / scan.photos < ABOUT * ENOUGH_STRIP_MM:
        said.append(f"The strip is short; {ENOUGH_STRIP_MM:g} mm or more tell long stripes better.")
    if scan.photos < ENOUGH_STRIPS:
        said.append(f"One strip tells little of a lot: add photographs, {ENOUGH_STRIPS} or more in all.")
    return tuple(said)
