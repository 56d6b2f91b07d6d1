"""Made-up stock and the four greens of the demo mill, for tests of shades."""

from __future__ import annotations

import numpy as np

from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import light
from doffer.planning.shade.target import Stock, target_from_spectrum, usual_lights
from doffer.planning.shade.ways import usual_ways
from doffer.tables.loader import load_tables

TABLES = load_tables()
WAYS = usual_ways(TABLES)
D65 = light(TABLES)
LIGHTS, LIGHT_WEIGHTS = usual_lights(TABLES)
OURS = frozenset({"mill"})

GREENS = ("L027", "L028", "L029", "L030")
GREEN_LABS = np.array([[46, -22, 18], [42, -24, 14], [49, -20, 21], [39, -23, 10]], dtype=float)
GREEN_DRY_G = np.array([960.0, 830, 700, 570])
YELLOW_LAB, YELLOW_DRY_G = np.array([74.0, 4, 58]), 1720.0
FERN, FERN_TOLERANCE = np.array([46.6, -20.9, 19.2]), 1.2


def spectra(rng: np.random.Generator, n_lots: int) -> np.ndarray:
    """Made-up dyed lots: smooth, possible, of all hues, shape (n, 31)."""
    walk = rng.normal(0, 1.2, (n_lots, 1)) + np.cumsum(rng.normal(0, 0.35, (n_lots, 31)), axis=1)
    return 0.02 + 0.85 / (1 + np.exp(-walk))


def stock_of(reflectance: np.ndarray, **changed: object) -> Stock:
    """Stock of the mill's own, 5 kg of each lot at 20.00 a kilogram, unless said otherwise."""
    n_lots = len(reflectance)
    told = {
        "names": tuple(f"L{place:03d}" for place in range(n_lots)),
        "reflectance": reflectance,
        "dry_mass_g": np.full(n_lots, 5000.0),
        "owner": ("mill",) * n_lots,
        "cost_cents_per_kg": np.full(n_lots, 2000.0),
    }
    return Stock(**{**told, **changed})


def spectrum_target(reflectance: np.ndarray):
    """A target seen under D65, A and LED."""
    return target_from_spectrum(reflectance, LIGHTS, LIGHT_WEIGHTS)


def yellow_stock() -> Stock:
    """The stock yellow of the demo mill, its spectrum recovered from its Lab."""
    reflectance = recover_reflectance(YELLOW_LAB, D65).reflectance
    return stock_of(reflectance, names=("L031",), dry_mass_g=np.array([YELLOW_DRY_G]))
