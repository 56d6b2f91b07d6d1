"""How long shades take: beside the plainest correct loop, an independent library, and trying every set.

Stock and targets are made up: smooth spectra of all hues; each target is a blend of three lots that are not
in stock, so that no recipe is perfect.
"""

from __future__ import annotations

import importlib.util
import tracemalloc
import warnings
from itertools import combinations
from math import comb

import numpy as np

from doffer.fibre.colour.batch import blend_labs
from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.fibre.colour.calibrate import Observation, fit_m
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.planning.shade.search import grow, search_recipes, stock_field
from doffer.planning.shade.solve import in_single, labs_of, solve_sets
from doffer.planning.shade.target import Rules, Stock, Target, score_of, target_from_spectrum, usual_lights
from doffer.planning.shade.ways import usual_ways
from doffer.tables.loader import load_tables
from figure import Figure, median_s

TABLES = load_tables()
WAYS = usual_ways(TABLES)
D65 = light(TABLES)
OURS = frozenset({"mill"})
N_BLENDS, N_LOOPED, N_LIBRARY = 100_000, 200, 20_000
N_TARGETS = 8
N_GRID = 120  # blends that a grid, made finer three times, looks at for one set of three
LEAST_BLENDS_PER_S = 200_000
SMALL_S, LARGE_S, SCORE_DE, MOST_MB = 0.4, 3.0, 0.02, 64.0


def spectra(rng: np.random.Generator, n_lots: int) -> np.ndarray:
    """Made-up dyed lots, shape (n, 31)."""
    walk = rng.normal(0, 1.2, (n_lots, 1)) + np.cumsum(rng.normal(0, 0.35, (n_lots, 31)), axis=1)
    return 0.02 + 0.85 / (1 + np.exp(-walk))


def stock(rng: np.random.Generator, n_lots: int) -> Stock:
    """Plenty of every other lot; of the rest so little that its share of a kilogram is limited."""
    names = tuple(f"L{place:03d}" for place in range(n_lots))
    there_g = np.where(np.arange(n_lots) % 2, 1e6, rng.uniform(100, 600, n_lots))
    return Stock(names, spectra(rng, n_lots), there_g, ("mill",) * n_lots, np.full(n_lots, 2000.0))


def targets(rng: np.random.Generator) -> list[Target]:
    """Shades to find."""
    lights, weights = usual_lights(TABLES)
    return [
        target_from_spectrum(blend(spectra(rng, 3), rng.dirichlet(np.ones(3)), WAYS.mixing), lights, weights)
        for _ in range(N_TARGETS)
    ]


def plain_blends(lots: np.ndarray, sets: np.ndarray, shares: np.ndarray) -> list[tuple[float, float, float]]:
    """The same Labs, blend by blend and band by band in plain Python."""
    offset, out = 0.01 * (1 - 0.15) / 0.15, []
    weights, white = D65.weights.tolist(), D65.white_xyz.tolist()
    rows = lots.tolist()
    for chosen, w in zip(sets.tolist(), shares.tolist(), strict=True):
        xyz = [0.0, 0.0, 0.0]
        for band in range(31):
            mixed = sum(share / (rows[lot][band] + offset) for lot, share in zip(chosen, w, strict=True))
            reflectance = 1 / mixed - offset
            for axis in range(3):
                xyz[axis] += reflectance * weights[band][axis]
        f = []
        for axis in range(3):
            ratio = xyz[axis] / white[axis]
            f.append(ratio ** (1 / 3) if ratio > (6 / 29) ** 3 else ratio * (29 / 6) ** 2 / 3 + 4 / 29)
        out.append((116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])))
    return out


def prediction() -> list[Figure]:
    """Four-lot blends with their Lab."""
    rng = np.random.default_rng(1)
    lots = spectra(rng, 60)
    sets = np.array([rng.choice(60, 4, replace=False) for _ in range(N_BLENDS)])
    shares = rng.dirichlet(np.ones(4), N_BLENDS)
    mixing = stearns_noechel(0.15)
    found = blend_labs(lots, sets[:N_LOOPED], shares[:N_LOOPED], seen_in=D65, mixing=mixing)
    plain = np.array(plain_blends(lots, sets[:N_LOOPED], shares[:N_LOOPED]))
    off = float(np.abs(found - plain).max())
    many_s = median_s(lambda: blend_labs(lots, sets, shares, seen_in=D65, mixing=mixing), repeats=5)
    per_blend_s = many_s / N_BLENDS
    loop_s = median_s(lambda: plain_blends(lots, sets[:N_LOOPED], shares[:N_LOOPED]), repeats=3) / N_LOOPED
    rate = 1 / per_blend_s
    met = rate >= LEAST_BLENDS_PER_S
    figures = [
        Figure(
            "predict 4-lot blends with Lab",
            rate,
            "1/s",
            "limit 200,000/s",
            rate / LEAST_BLENDS_PER_S,
            ">= 1",
            met,
        ),
        Figure(
            "predict beside the plain loop",
            per_blend_s,
            "s/blend",
            f"plain loop {loop_s:.3g} s",
            per_blend_s / loop_s,
            "< 0.05",
            per_blend_s / loop_s < 0.05,
        ),
        Figure("predict, farthest from the plain loop", off, "Lab", "plain loop", None, "< 0.01", off < 0.01),
    ]
    library_s = library_per_blend_s(lots, sets[:N_LIBRARY], shares[:N_LIBRARY])
    if library_s is not None:
        reference = f"colour-science {library_s:.3g} s"
        ratio = per_blend_s / library_s
        figures.append(
            Figure(
                "predict beside colour-science", per_blend_s, "s/blend", reference, ratio, "< 1", ratio < 1
            )
        )
    return figures


def library_per_blend_s(lots: np.ndarray, sets: np.ndarray, shares: np.ndarray) -> float | None:
    """Seconds of a blend when the library turns spectra into Lab; None when it is not installed."""
    if importlib.util.find_spec("colour") is None:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        shape = colour.SpectralShape(400, 700, 10)
        cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape)
        lamp = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
        mixing = stearns_noechel(0.15)

        def by_library() -> np.ndarray:
            mixed = blend(lots[sets], shares, mixing)
            xyz = colour.msds_to_XYZ(mixed, cmfs, lamp, method="Integration", shape=shape)
            return colour.XYZ_to_Lab(xyz / 100)

        return median_s(by_library, repeats=3) / len(sets)


def exhaustive(target: Target, lots: Stock, rules: Rules) -> float:
    """Best score of all sets of one to three lots."""
    field = stock_field(target, lots, rules, WAYS)
    best = np.inf
    for size in (1, 2, 3):
        sets = np.array(list(combinations(range(len(lots.names)), size)))
        shares, apart = solve_sets(sets, np.full(sets.shape, 1 / size), in_single(field), n_steps=6)
        near = np.argsort(apart)[:2000]
        shares, _ = solve_sets(sets[near], shares[near], field, n_steps=10)
        best = min(best, float(score_of(labs_of(shares, sets[near], field, target), target).min()))
    return best


def plain_set_s(lots: np.ndarray, target: Target) -> float:
    """Seconds in which the plain loop looks at as many shares of one set of three as a fine grid has."""
    sets = np.array([[0, 1, 2]] * N_GRID)
    shares = np.random.default_rng(5).dirichlet(np.ones(3), N_GRID)

    def by_hand() -> float:
        labs = plain_blends(lots, sets, shares)
        return min(float(de2000(target.labs[0], np.array(lab))) for lab in labs)

    return median_s(by_hand, repeats=3)


def beside_plain(lots: Stock, target: Target, found_s: float) -> list[Figure]:
    """The search of all sets of three beside the plain loop and the library, both scaled up from a part."""
    n_sets = comb(len(lots.names), 3)
    plain_s = plain_set_s(lots.reflectance, target) * n_sets
    rows = [("the plain loop", plain_s)]
    rng = np.random.default_rng(6)
    sets = np.array([rng.choice(60, 3, replace=False) for _ in range(N_LIBRARY)])
    library_s = library_per_blend_s(lots.reflectance, sets, rng.dirichlet(np.ones(3), N_LIBRARY))
    if library_s is not None:
        rows.append(("colour-science", library_s * N_GRID * n_sets))
    return [
        Figure(
            f"recipe, up to 3 of 60, beside {name}",
            found_s,
            "s",
            f"{name} {seconds:.3g} s, scaled up",
            found_s / seconds,
            "< 1",
            found_s < seconds,
        )
        for name, seconds in rows
    ]


def small_stock() -> list[Figure]:
    """60 lots: speed with up to five lots, and nearness to trying every set of up to three."""
    rng = np.random.default_rng(2)
    lots, wanted = stock(rng, 60), targets(rng)
    five = Rules(1000.0, OURS, most_lots=5)
    find_s = [median_s(lambda t=t: search_recipes(t, lots, five, WAYS), repeats=3) for t in wanted]
    three = Rules(1000.0, OURS, most_lots=3)
    behind, beam_s, all_s = [], [], []
    for target in wanted:
        field = stock_field(target, lots, three, WAYS)

        def beam(target: Target = target, field: object = field) -> float:
            found = grow(field, range(60), [], target=target, most_lots=3, beam=100, n_results=5)
            return found[0].score

        behind.append(beam() - exhaustive(target, lots, three))
        beam_s.append(median_s(beam, repeats=1))
        all_s.append(median_s(lambda t=target: exhaustive(t, lots, three), repeats=1))
    typical_s, worst = float(np.median(find_s)), float(max(behind))
    ratio = float(np.median(beam_s) / np.median(all_s))
    return [
        Figure(
            "recipe, 60 lots, up to 5, median of 8 shades",
            typical_s,
            "s",
            "limit 0.4 s",
            typical_s / SMALL_S,
            "< 0.4 s",
            typical_s < SMALL_S,
        ),
        Figure(
            "recipe, up to 3 of 60, worst behind every set",
            worst,
            "dE00",
            "exhaustive",
            None,
            "<= 0.02",
            worst <= SCORE_DE,
        ),
        Figure(
            "recipe, up to 3 of 60, beside every set",
            float(np.median(beam_s)),
            "s",
            f"exhaustive {np.median(all_s):.3g} s",
            ratio,
            "< 1",
            ratio < 1,
        ),
        *beside_plain(lots, wanted[0], float(np.median(beam_s))),
    ]


def large_stock() -> list[Figure]:
    """200 lots, up to four: speed and memory."""
    rng = np.random.default_rng(3)
    lots, target = stock(rng, 200), targets(rng)[0]
    rules = Rules(1000.0, OURS, most_lots=4)
    find_s = median_s(lambda: search_recipes(target, lots, rules, WAYS), repeats=3)
    tracemalloc.start()
    search_recipes(target, lots, rules, WAYS)
    most_mb = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return [
        Figure(
            "recipe, 200 lots, up to 4", find_s, "s", "limit 3 s", find_s / LARGE_S, "< 3 s", find_s < LARGE_S
        ),
        Figure(
            "recipe, 200 lots, most memory",
            most_mb,
            "MB",
            "limit 64 MB",
            most_mb / MOST_MB,
            "< 64 MB",
            most_mb < MOST_MB,
        ),
    ]


def calibration() -> list[Figure]:
    """Fit of the constant to 16 blends; 100 spectra from Lab."""
    rng = np.random.default_rng(4)
    pairs = [spectra(rng, 2) for _ in range(16)]
    half = np.array([0.5, 0.5])
    made = [Observation(half, lots, blend(lots, half, WAYS.mixing)) for lots in pairs]
    fit_s = median_s(lambda: fit_m(made, D65), repeats=5)
    labs = lab_of_reflectance(spectra(rng, 100), D65)
    recover_s = median_s(lambda: recover_reflectance(labs, D65), repeats=5)
    return [
        Figure("fit M to 16 blends", fit_s, "s", "aim 0.05 s", fit_s / 0.05, "report", None),
        Figure("spectra of 100 Labs", recover_s, "s", "aim 0.05 s", recover_s / 0.05, "report", None),
    ]


def measure() -> list[Figure]:
    """Figures of colour."""
    return [*prediction(), *small_stock(), *large_stock(), *calibration()]
