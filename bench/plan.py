"""How long a plan takes: beside the plainest correct loop, a copy of its arrays, and at ten times the size.

The order: six greasy lots of one owner, joined, through twelve stages to two-ply yarn, 4,000 yield samples.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.process.losses import loss_range
from doffer.tables.loader import load_tables
from figure import Figure, beside, median_s

N_SAMPLES = 4000
TARGET_S = 0.050
FIBRES = ("wool", "alpaca", "mohair", "wool", "llama", "suri")
STAGES = ("skirt", "wash", "extract", "dry", "pick", "rest", "card", "draw", "spin", "ply", "set", "skein")
HELD_G = {"wash": 20, "pick": 40, "card": 60, "draw": 15, "spin": 64, "ply": 24, "skein": 4}


def order(n_samples: int, n_lots: int = len(FIBRES)) -> OrderSpec:
    """The order that is planned."""
    lots = tuple(
        LotStart(
            Constituent(f"L{i:03d}", FIBRES[i % len(FIBRES)], 24.0, 0.22, 95.0, 0.2),
            Form.GREASY,
            5000.0,
            0.17,
            "mixed_wool",
        )
        for i in range(n_lots)
    )
    ways = MillWays(
        room_rh_frac=0.65,
        label_basis=Basis.EU_AGREED,
        promise_quantile=0.15,
        machines={stage: MachineUse(stage, held) for stage, held in HELD_G.items()},
        n_samples=n_samples,
    )
    return OrderSpec((BatchSpec("yarn", lots, Wish("yarn", plies=2, length_m_per_100g=200.0)),), ways)


def plain_loop(n_samples: int) -> float:
    """The same masses, sample by sample and lot by lot in plain Python; the mean finished mass [g]."""
    tables = load_tables()
    rng = np.random.default_rng(1)
    spans = {(s, f): loss_range(tables, stage=s, fibre=f) for s in STAGES for f in FIBRES}
    total = 0.0
    for _ in range(n_samples):
        masses = [5000 * rng.triangular(0.45, 0.60, 0.75) / 1.17 for _ in FIBRES]
        for stage in STAGES:
            drawn = {}
            for place, fibre in enumerate(FIBRES):
                span = spans[stage, fibre]
                if fibre not in drawn:
                    is_point = span.low_frac == span.high_frac
                    drawn[fibre] = (
                        span.mode_frac
                        if is_point
                        else rng.triangular(span.low_frac, span.mode_frac, span.high_frac)
                    )
                masses[place] *= 1 - drawn[fibre]
            left = sum(masses)
            scale = max(0.0, 1 - HELD_G.get(stage, 0) / 1.17 / left)
            masses = [mass * scale for mass in masses]
        total += sum(masses) * 1.17
    return total / n_samples


def measure() -> list[Figure]:
    """Figures of the plan."""
    tables = load_tables()
    spec = order(N_SAMPLES)
    plan_s = median_s(lambda: plan_order(spec, tables), repeats=15)
    loop_s = median_s(lambda: plain_loop(N_SAMPLES // 10), repeats=1) * 10
    copy_s = _copy_s(len(plan_order(spec, tables).batches[0].stages))
    ten_samples_s = median_s(lambda: plan_order(order(10 * N_SAMPLES), tables), repeats=5)
    ten_lots_s = median_s(lambda: plan_order(order(N_SAMPLES, 60), tables), repeats=5)
    few = dataclasses.replace(spec, ways=dataclasses.replace(spec.ways, n_samples=1))
    fixed_s = median_s(lambda: plan_order(few, tables), repeats=15)
    return [
        beside(
            "plan, 6 lots, 12 stages, 4,000 samples", plan_s, reference="limit", reference_s=TARGET_S, most=1
        ),
        beside("plan beside the plain loop", plan_s, reference="plain loop", reference_s=loop_s, most=0.2),
        beside("plan beside a copy of its arrays", plan_s, reference="copy", reference_s=copy_s),
        beside(
            "ten times the samples", ten_samples_s, reference="4,000 samples", reference_s=plan_s, most=15
        ),
        beside("ten times the lots", ten_lots_s, reference="6 lots", reference_s=plan_s, most=15),
        beside("one sample: workings alone", fixed_s, reference="4,000 samples", reference_s=plan_s),
    ]


def _copy_s(n_steps: int) -> float:
    """Seconds to copy what a plan keeps: three masses of every lot and sample at each step."""
    arrays = np.zeros((n_steps, 3, len(FIBRES), N_SAMPLES))
    into = np.empty_like(arrays)
    return median_s(lambda: np.copyto(into, arrays), repeats=15)
