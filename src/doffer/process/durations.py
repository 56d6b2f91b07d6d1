"""How long a stage takes: setting up, running, doffing, emptying, cleaning, and what goes on by itself.

Minutes are told twice: as likely as not (P50), and met 85 times in 100 (P85), by how far a mill's own
minutes have strayed from reckoned ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

from doffer.errors import InputError
from doffer.process.rates import (
    G_PER_KG,
    MIN_PER_H,
    FibreGroup,
    FrameRate,
    MachineFigures,
    frame_rate,
    machine_rate_kg_per_h,
    usual,
    usual_kind,
)
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

FRAMES = ("spin", "ply")


class CleanDown(StrEnum):
    """What has to be cleaned off a machine after the lot."""

    NONE = "none"
    NEW_OWNER = "new owner"
    LIGHT_TO_DARK = "light to dark"
    DARK_TO_LIGHT = "dark to light"


@dataclass(frozen=True, slots=True)
class Strayed:
    """How minutes stray from reckoned ones: mean and SD of ln(real / reckoned), from so many runs."""

    ln_mean: float
    ln_sd: float
    runs: int = 0


def learn_strayed(ratios: Sequence[float], *, stage: str, tables: Tables) -> Strayed:
    """From own runs (real over reckoned minutes, one each), with the shipped figure as a few runs more.

    ``mean = sum ln r / (n + k)``, ``sd^2 = (k sd0^2 + sum (ln r - mean)^2) / (n + k)``, k of table rates
    (learn_runs). With no run the shipped spread and no shift.

    Raises
    ------
    InputError
        A ratio that is not above zero.
    """
    if any(not ratio > 0 for ratio in ratios):
        raise InputError("real over reckoned minutes", list(ratios), "above zero")
    weight, sd = usual(tables, "learn_runs", stage), usual(tables, "spread", stage)
    logs = [math.log(ratio) for ratio in ratios]
    mean = math.fsum(logs) / (len(logs) + weight)
    squares = math.fsum((one - mean) ** 2 for one in logs)
    return Strayed(mean, math.sqrt((weight * sd**2 + squares) / (len(logs) + weight)), len(logs))


@dataclass(frozen=True, slots=True)
class Minutes:
    """Minutes as likely as not, and minutes met 85 times in 100."""

    p50: float
    p85: float


def summed(parts: Iterable[Minutes], tables: Tables) -> Minutes:
    """Minutes of several stages after one another, each straying by itself.

    Mean and variance of lognormals added up, and a lognormal put through them (Fenton and Wilkinson, from
    memory, unverified); P50 is the sum of the P50s, a little under the true one.
    """
    z = NormalDist().inv_cdf(usual(tables, "late_quantile", "any"))
    total = mean = variance = 0.0
    for part in parts:
        if part.p50 <= 0:
            continue
        square = (math.log(part.p85 / part.p50) / z) ** 2
        part_mean = part.p50 * math.exp(square / 2)
        total, mean = total + part.p50, mean + part_mean
        variance += part_mean**2 * math.expm1(square)
    if total == 0:
        return Minutes(0.0, 0.0)
    return Minutes(total, total * math.exp(z * math.sqrt(math.log1p(variance / mean**2))))


@dataclass(frozen=True, slots=True)
class StageWork:
    """What one stage has to do.

    Parameters
    ----------
    stage : str
    mass_g : float
        What goes in [g]: as weighed; for a frame on the basis of `count_tex`.
    groups : frozenset of FibreGroup
    passes : int
    held_mass_g : float
        What the machine keeps of it [g].
    charges : int or None
        Equal charges, where the plan knows them; None: from what the machine takes at once.
    count_tex, twist_tpm : float or None
        Yarn a frame makes, on the bobbin; None: nobody named the count.
    clean : CleanDown
    has_setup : bool
        False where the machine stands ready from the lot before.
    """

    stage: str
    mass_g: float
    groups: frozenset[FibreGroup] = frozenset({FibreGroup.WOOL})
    passes: int = 1
    held_mass_g: float = 0.0
    charges: int | None = None
    count_tex: float | None = None
    twist_tpm: float | None = None
    clean: CleanDown = CleanDown.NONE
    has_setup: bool = True

    def __post_init__(self) -> None:
        if not self.mass_g >= 0 or self.passes < 1:
            raise InputError(
                f"work of {self.stage}", (self.mass_g, self.passes), "grams of zero or more, one pass or more"
            )


@dataclass(frozen=True, slots=True)
class StageMinutes:
    """How long a stage takes [min], part by part, and in all.

    `run_min` is the machine at work, `doff_min` doffing, `stops_min` breaks and other stops, `empty_min` what
    it keeps going through it, `alone_min` what goes on by itself afterwards (drying, resting). `total` counts
    all of them; `machine_min` is how long the machine is taken. None of `rate_kg_per_h`: charges, or unknown.
    """

    setup_min: float
    run_min: float
    doff_min: float
    stops_min: float
    empty_min: float
    clean_min: float
    alone_min: float
    hands_on_min: float
    total: Minutes
    rate_kg_per_h: float | None = None
    doffs: int = 0
    charges: int = 0
    nights: int = 0
    is_known: bool = True
    working: Working | None = None

    @property
    def taken(self) -> Minutes:
        """Minutes the machine is taken, likely and to promise by, straying as the total does."""
        whole_min = self.machine_min + self.alone_min
        share_frac = self.machine_min / whole_min if whole_min > 0 else 0.0
        return Minutes(self.total.p50 * share_frac, self.total.p85 * share_frac)

    @property
    def machine_min(self) -> float:
        """Minutes the machine is taken."""
        return (
            self.setup_min + self.run_min + self.doff_min + self.stops_min + self.empty_min + self.clean_min
        )


@dataclass(frozen=True, slots=True)
class _Run:
    """The middle of a stage: the machine at work."""

    run_min: float
    doff_min: float = 0.0
    stops_min: float = 0.0
    rate_kg_per_h: float | None = None
    doffs: int = 0
    charges: int = 0
    is_known: bool = True
    words: str = ""


def stage_minutes(
    work: StageWork, machine: MachineFigures, tables: Tables, *, strayed: Strayed | None = None
) -> StageMinutes:
    """How long a stage takes: ``set-up + kg / (rate x efficiency) + doffing + emptying + cleaning``.

    Parameters
    ----------
    work : StageWork
    machine : MachineFigures
        Its own figures; what is missing is usual for its kind.
    tables : Tables
        rates, machine_kinds, machine_settings, yarn_figures.
    strayed : Strayed, optional
        What own runs say of reckoned minutes (`learn_strayed`).

    Notes
    -----
    More twist and more kilograms never take less time. A charge takes as long half full as full.
    """
    run = _run(work, machine, tables)
    kind = usual_kind(work.stage, tables)
    usual_setup = 0.0 if kind is None else kind.setup_min
    setup_min = (usual_setup if machine.setup_min is None else machine.setup_min) if work.has_setup else 0.0
    clean_min = _clean_min(work, machine, tables)
    alone = tables.rates.get(f"after_charge/{work.stage}/any")
    alone_min = 0.0 if alone is None else alone.value
    empty_min = _empty_min(work, run)
    at_work_min = run.run_min + run.doff_min + run.stops_min + empty_min
    hands_on_min = setup_min + clean_min + at_work_min * usual(tables, "hands", work.stage)
    strayed = strayed or learn_strayed((), stage=work.stage, tables=tables)
    taken_min = setup_min + at_work_min + clean_min + alone_min
    return StageMinutes(
        setup_min=setup_min,
        run_min=run.run_min,
        doff_min=run.doff_min,
        stops_min=run.stops_min,
        empty_min=empty_min,
        clean_min=clean_min,
        alone_min=alone_min,
        hands_on_min=hands_on_min,
        total=_told(taken_min, strayed, tables),
        rate_kg_per_h=run.rate_kg_per_h,
        doffs=run.doffs,
        charges=run.charges,
        nights=_nights(work, run, alone_min, tables),
        is_known=run.is_known,
        working=_working(work, run, taken_min, {"setting up": setup_min, "emptying": empty_min}, clean_min),
    )


def _told(minutes: float, strayed: Strayed, tables: Tables) -> Minutes:
    z = NormalDist().inv_cdf(usual(tables, "late_quantile", "any"))
    p50 = minutes * math.exp(strayed.ln_mean)
    return Minutes(p50, p50 * math.exp(z * strayed.ln_sd))


def _run(work: StageWork, machine: MachineFigures, tables: Tables) -> _Run:
    if work.stage in FRAMES:
        return _frame(work, machine, tables)
    if machine.charge_min is not None or f"charge/{work.stage}/any" in tables.rates:
        return _charges(work, machine, tables)
    rate = machine_rate_kg_per_h(work.stage, machine, work.groups, tables)
    if rate is None:
        return _Run(0.0, is_known=False, words="no rate of this machine is known")
    minutes = work.mass_g / G_PER_KG * work.passes / rate * MIN_PER_H
    return _Run(minutes, rate_kg_per_h=rate, words="weight × passes / rate")


def _frame(work: StageWork, machine: MachineFigures, tables: Tables) -> _Run:
    if work.count_tex is None or work.twist_tpm is None:
        rate = usual(tables, "kg_per_h", work.stage)
        words = "the usual rate, as no count is named"
        return _Run(work.mass_g / G_PER_KG / rate * MIN_PER_H, rate_kg_per_h=rate, words=words)
    frame = frame_rate(work.stage, machine, tables, twist_tpm=work.twist_tpm, count_tex=work.count_tex)
    turning_min = work.mass_g / G_PER_KG / frame.turning_kg_per_h * MIN_PER_H
    stopped_min = turning_min / frame.efficiency_frac - turning_min
    doffs = math.ceil(work.mass_g / (frame.spindles * frame.bobbin_mass_g)) if work.mass_g > 0 else 0
    doff_min = min(stopped_min, turning_min / frame.bobbin_run_min * frame.doff_min)
    words = _frame_words(frame)
    return _Run(turning_min, doff_min, stopped_min - doff_min, frame.kg_per_h, doffs, words=words)


def _frame_words(frame: FrameRate) -> str:
    said = "weight / (spindles × speed × 60 × count / 1,000,000 × efficiency)"
    said += "; the rolls set the speed" if frame.is_capped else ""
    return said + ("; doffing takes more than the usual stops" if frame.is_doff_bound else "")


def _charges(work: StageWork, machine: MachineFigures, tables: Tables) -> _Run:
    kind = usual_kind(work.stage, tables)
    capacity_g = machine.charge_mass_g
    if capacity_g is None and kind is not None and kind.capacity is not None and _is_mass(kind.capacity_unit):
        capacity_g = kind.capacity * G_PER_KG
    charges = work.charges
    if charges is None:
        charges = 1 if capacity_g is None else max(1, math.ceil(work.mass_g / capacity_g - FULL_DUST))
    each_min = _charge_min(work, machine, tables, capacity_g)
    at_once = work.stage in SIDE_BY_SIDE
    return _Run(
        (each_min if at_once else charges * each_min) if work.mass_g > 0 else 0.0,
        charges=charges,
        words="one charge, all of them at the same time" if at_once else "charges × minutes of one",
    )


def _is_mass(unit: str) -> bool:
    """Whether a kind of machine is counted in kilograms at once, not in bins or by the bath."""
    return unit.startswith("kg") and not unit.startswith("kg at") and unit != "kg each"


FULL_DUST = 1e-9  # a machine that is exactly full is full, not overfull
SIDE_BY_SIDE = frozenset({"rest"})  # bins there are many of


def _charge_min(work: StageWork, machine: MachineFigures, tables: Tables, capacity_g: float | None) -> float:
    """Minutes of one charge: its own; what rate and size of the record make of it; else the usual ones."""
    if machine.charge_min is not None:
        return machine.charge_min
    rates = [machine.rates_kg_per_h.get(group) for group in work.groups]
    known = [rate for rate in rates if rate]
    if capacity_g is not None and machine.charge_mass_g is not None and len(known) == len(rates):
        return capacity_g / G_PER_KG / min(known) * MIN_PER_H
    return max(usual(tables, "charge", work.stage, group) for group in work.groups)


def _empty_min(work: StageWork, run: _Run) -> float:
    """What the machine keeps has to come through as well: ``held / rate``."""
    if not run.rate_kg_per_h:
        return 0.0
    return min(work.held_mass_g, work.mass_g) / G_PER_KG / run.rate_kg_per_h * MIN_PER_H


def _clean_min(work: StageWork, machine: MachineFigures, tables: Tables) -> float:
    if work.clean is CleanDown.NONE:
        return 0.0
    field = f"clean_{work.clean.replace(' ', '_')}_min"
    own: float | None = getattr(machine, field)
    kind = usual_kind(work.stage, tables)
    if own is not None or kind is None:
        return own or 0.0
    shipped: float = getattr(kind, field)
    return shipped


def _nights(work: StageWork, run: _Run, alone_min: float, tables: Tables) -> int:
    """Nights that pass by themselves, whatever the queue: long drying and resting."""
    night_min = usual(tables, "night", "any")
    by_itself = alone_min if work.stage not in ALONE else run.run_min + alone_min
    return math.ceil(by_itself / MIN_PER_DAY) if by_itself >= night_min else 0


ALONE = frozenset({"dry", "rest"})
MIN_PER_DAY = 1440


def _working(
    work: StageWork, run: _Run, taken_min: float, around: dict[str, float], clean_min: float
) -> Working:
    """How the minutes came about."""
    terms = [
        Term("goes in", work.mass_g, "g"),
        Term("machine at work", run.run_min, "min"),
        Term("doffing", run.doff_min, "min"),
        Term("stops", run.stops_min, "min"),
        *(Term(name, minutes, "min") for name, minutes in around.items()),
        Term("cleaning", clean_min, "min", str(work.clean)),
    ]
    if run.rate_kg_per_h is not None:
        terms.insert(1, Term("rate", run.rate_kg_per_h, "kg_per_h"))
    return Working(
        title=f"Minutes of {work.stage}",
        formula=f"{run.words}; and setting up, doffing, emptying, cleaning",
        inputs=tuple(term for term in terms if term.value),
        result=Term("minutes", taken_min, "min"),
        source="Common practice of the trade, or the machine's own record",
        status=Status.PRACTICE,
    )
