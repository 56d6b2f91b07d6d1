"""What a plan is asked: lots as they lie there, the wish, and how this mill works."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from doffer.errors import InputError
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.loads import Capacity
from doffer.process.rates import MachineFigures
from doffer.process.settings.facts import MachineLimits, Soundness
from doffer.process.settings.own import OwnSetting
from doffer.process.yarn.wish import SpinMachine

PRODUCTS = ("roving", "batt", "singles", "yarn")


@dataclass(frozen=True, slots=True)
class LotStart:
    """A lot as it lies there when the plan is made.

    Parameters
    ----------
    part : Constituent
        Lot number, fibre, fineness and length.
    blend : tuple of (Constituent, share)
        For a lot that was joined before: the lots in it with their share of oven-dry fibre [frac]; empty: the
        lot is `part` alone.
    form : Form
        What it looks like now.
    weighed_mass_g : float
        Net weight on the scale [g].
    actual_regain_frac : float
        Water over oven-dry fibre now [frac]; read for clean fibre only.
    yields_as : str
        Key of ``tables.scour_yields``; read for greasy and skirted fibre.
    finish_mass_g : float
        Conditioner on it [g].
    soundness : Soundness
        What its staple said when it was snapped.
    """

    part: Constituent
    form: Form
    weighed_mass_g: float
    actual_regain_frac: float
    yields_as: str
    finish_mass_g: float = 0.0
    blend: tuple[tuple[Constituent, float], ...] = ()
    soundness: Soundness = Soundness.UNKNOWN

    @property
    def lot(self) -> str:
        """Lot number."""
        return self.part.lot

    @property
    def fibre(self) -> str:
        """Key of the fibre."""
        return self.part.fibre


@dataclass(frozen=True, slots=True)
class Wish:
    """What it is to become.

    Parameters
    ----------
    product : str
        One of `PRODUCTS`.
    plies : int
        Singles plied together; 1 for anything but yarn.
    length_m_per_100g : float or None
        Count of the finished yarn.
    piece_mass_g : float
        Weight of a skein, bump or batt [g].
    finished_mass_g : float or None
        Wanted finished weight at agreed regain [g]; None: all that the fibre gives.
    shares : mapping
        Wanted share of each fibre on the label [frac], by label name of ``tables.fibres``; empty: every lot
        goes in whole, or in proportion to what there is of it where a finished weight is wanted.
    lot_shares : mapping
        Wanted share on the label [frac] of single lots, by lot number, within `shares`; the other lots of
        that fibre share what is left of its part. So mill wool tops up an owner's wool.
    test_mass_g : float
        Taken as a test skein first [g].
    """

    product: str
    plies: int = 1
    length_m_per_100g: float | None = None
    piece_mass_g: float = 100.0
    finished_mass_g: float | None = None
    shares: Mapping[str, float] = field(default_factory=dict)
    test_mass_g: float = 0.0
    lot_shares: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.product not in PRODUCTS:
            raise InputError("product", self.product, f"one of {', '.join(PRODUCTS)}")
        if self.product == "yarn" and not MIN_PLIES <= self.plies <= MAX_PLIES:
            raise InputError("plies", self.plies, f"from {MIN_PLIES} to {MAX_PLIES}")
        if self.piece_mass_g <= 0:
            raise InputError("weight of a piece", self.piece_mass_g, "above zero grams")
        if self.finished_mass_g is not None and self.finished_mass_g <= 0:
            raise InputError("finished weight", self.finished_mass_g, "above zero grams")
        if self.length_m_per_100g is not None and self.length_m_per_100g <= 0:
            raise InputError("metres in 100 g", self.length_m_per_100g, "above zero")


MIN_PLIES, MAX_PLIES = 2, 8


@dataclass(frozen=True, slots=True)
class MachineUse:
    """A machine of this mill: its name, what it keeps of a lot [g as weighed, conditioned], what it takes.

    `figures` are what minutes are reckoned from, `limits` what it can be set to; empty: the usual ones.
    """

    name: str
    held_mass_g: float
    capacity: Capacity | None = None
    figures: MachineFigures = field(default_factory=MachineFigures)
    limits: MachineLimits = field(default_factory=MachineLimits)


@dataclass(frozen=True, slots=True)
class MillWays:
    """How this mill works.

    Parameters
    ----------
    room_rh_frac : float
        Relative humidity of the work rooms [frac].
    label_basis : Basis
        On which mass finished weights and the label count.
    promise_quantile : float
        Share of outcomes that may fall short of a promise [frac].
    machines : mapping
        Machine by stage; a stage without one loses no fixed grams.
    skirts : bool
        Whether greasy lots are still to be skirted.
    conditioner_frac_owf, conditioner_water_parts : float
        Dose of conditioner at the picker and its dilution.
    pick_passes, draw_passes, n_layers : int
        Passes and layers; no pass at the drawing leaves it out.
    draw_ends : tuple of int
        Ends fed together at each drawing, where that was chosen for the order.
    is_tossed : bool or None
        What is picked is tossed in the bin after each pass; None: nobody said.
    n_samples, seed : int
        Yield samples drawn, and their seed: same inputs, same figures.
    frame : SpinMachine or None
        Spinning frame, plyer, drafter and card as far as counts ask; None: usual ones.
    own_settings : tuple of OwnSetting
        The mill's own best settings of past runs on like fibre, best first.
    """

    room_rh_frac: float
    label_basis: Basis
    promise_quantile: float
    machines: Mapping[str, MachineUse] = field(default_factory=dict)
    skirts: bool = True
    conditioner_frac_owf: float = 0.0
    conditioner_water_parts: float = 0.0
    pick_passes: int = 1
    draw_passes: int = 1
    n_layers: int = 6
    draw_ends: tuple[int, ...] = ()
    is_tossed: bool | None = None
    n_samples: int = 4000
    seed: int = 1
    frame: SpinMachine | None = None
    own_settings: tuple[OwnSetting, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchSpec:
    """Lots that become one thing together."""

    name: str
    lots: tuple[LotStart, ...]
    wish: Wish

    def __post_init__(self) -> None:
        if not self.lots:
            raise InputError("lots", None, "at least one", self.name)
        if len({start.lot for start in self.lots}) != len(self.lots):
            raise InputError("lots", [start.lot for start in self.lots], "each lot once", self.name)


@dataclass(frozen=True, slots=True)
class OrderSpec:
    """All batches of an order and how the mill works."""

    batches: tuple[BatchSpec, ...]
    ways: MillWays
