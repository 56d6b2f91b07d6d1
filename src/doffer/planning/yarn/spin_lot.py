"""A lot as the yarn planner sees it: its fibre, the yarn it will give, and the frames it may run on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.fineness import material_fineness
from doffer.fibre.material import join
from doffer.planning.batch import fresh_rng, plan_batch
from doffer.planning.outcome import blend_regain_frac
from doffer.planning.spec import BatchSpec, LotStart, MillWays, Wish
from doffer.planning.spread import Spread
from doffer.planning.start import starting_material
from doffer.process.yarn.limits import YarnFibre, fibre_of, is_tender
from doffer.process.yarn.wish import SpinMachine
from doffer.tables.loader import Tables

MIN_PER_H = 60


@dataclass(frozen=True, slots=True)
class Frame:
    """A spinning frame of the mill, and what was measured of the yarns it makes; None: not known.

    Parameters
    ----------
    machine : SpinMachine
        Way of spinning, gears, rovings, speed.
    n_spindles : int or None
    efficiency_frac : float or None
        Share of the time it runs [frac].
    relaxation_frac, oil_frac : float or None
        Length lost in the wash and oil in the yarn, as this mill measured them [frac]; None: the usual.
    """

    machine: SpinMachine
    n_spindles: int | None = None
    efficiency_frac: float | None = None
    relaxation_frac: float | None = None
    oil_frac: float | None = None

    def __post_init__(self) -> None:
        if self.n_spindles is not None and self.n_spindles < 1:
            raise InputError("spindles", self.n_spindles, "one or more", self.machine.name)
        if self.efficiency_frac is not None and not 0 < self.efficiency_frac <= 1:
            raise InputError(
                "efficiency", self.efficiency_frac, "above 0 and up to 1 (80 % is 0.8)", self.machine.name
            )

    def hours_of(self, *, singles_m: float, speed_m_per_min: float | None) -> float | None:
        """Hours the frame spins a length of single [h]: ``L / (60 v N eff)``; None where a figure is missing.

        The same as ``kg / (60 v tex N eff / 1e6)``. Doffing and cleaning are in the efficiency.

        >>> frame = Frame(SpinMachine("frame"), n_spindles=8, efficiency_frac=0.8)
        >>> round(frame.hours_of(singles_m=78866.0, speed_m_per_min=9.6914), 1)
        21.2
        """
        if speed_m_per_min is None or self.n_spindles is None or self.efficiency_frac is None:
            return None
        return singles_m / (MIN_PER_H * speed_m_per_min * self.n_spindles * self.efficiency_frac)


@dataclass(frozen=True, slots=True)
class SpinLot:
    """Fibre that is to become yarn.

    Parameters
    ----------
    name : str
        Lot, or lots together.
    fibre : YarnFibre
        As far as spinning asks.
    single, plied : Spread
        Finished yarn it will give as one strand and as plied yarn, at agreed regain [g].
    label_regain_frac : float
        Agreed regain of the blend [frac]; the basis of every finished count and weight.
    coarse_frac : float or None
        Share of fibres over the prickle limit, by length [frac].
    is_tender : bool
        Whether it snapped at the ear, or a strength test says so.
    are_ends_taken : bool
        Whether what stays on the bobbins is already taken off the finished weight.
    """

    name: str
    fibre: YarnFibre
    single: Spread
    plied: Spread
    label_regain_frac: float
    coarse_frac: float | None = None
    is_tender: bool = False
    are_ends_taken: bool = False

    def finished(self, *, plies: int) -> Spread:
        """Finished weight [g] at agreed regain by the number of plies."""
        return self.single if plies == 1 else self.plied


def known_mass(mass_g: float) -> Spread:
    """A finished weight that is known for certain [g]."""
    if not mass_g > 0 or not math.isfinite(mass_g):
        raise InputError("finished weight", mass_g, "above zero grams")
    return Spread(mass_g, mass_g, mass_g, mass_g)


def spin_lot(
    starts: Sequence[LotStart],
    ways: MillWays,
    tables: Tables,
    *,
    name: str = "",
    fibre: YarnFibre | None = None,
    snaps: bool = False,
) -> SpinLot:
    """Lots as they lie there, with what the yield samples say they give as yarn.

    Parameters
    ----------
    starts : sequence of LotStart
        Lots that are spun together.
    ways : MillWays
        Machines and what they keep, room, label rules, samples.
    tables : Tables
    name : str
        What to call them; empty: their numbers.
    fibre : YarnFibre or None
        Where more is known of it than the lots say (strength, short fibre); None: as the lots say.
    snaps : bool
        Whether a staple broke in the snap test.

    Raises
    ------
    InputError
        No fibre on hand.
    InfeasibleError
        A lot that is spun already.
    """
    called = name or " + ".join(start.lot for start in starts)
    made = {
        plies: plan_batch(
            BatchSpec(called, tuple(starts), wish), ways, tables, rng=fresh_rng(ways.seed)
        ).finished
        for plies, wish in ((1, Wish("singles")), (2, Wish("yarn", plies=2)))
    }
    rng = fresh_rng(ways.seed)
    whole = join([starting_material(start, tables, rng=rng, n_samples=ways.n_samples) for start in starts])
    spun = fibre_of(whole, tables) if fibre is None else fibre
    spin = ways.machines.get("spin")
    return SpinLot(
        name=called,
        fibre=spun,
        single=made[1],
        plied=made[2],
        label_regain_frac=blend_regain_frac([whole], tables, ways.label_basis),
        coarse_frac=material_fineness(whole, tables).coarse_frac,
        is_tender=snaps or is_tender(spun, tables),
        are_ends_taken=spin is not None and spin.held_mass_g > 0,
    )
