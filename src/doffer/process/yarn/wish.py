"""What a yarn plan is asked: the finished yarn as it is wanted, and the frame it is spun on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import System
from doffer.process.yarn.plying import MOST_PLIES
from doffer.process.yarn.twist import Direction


class YarnUse(StrEnum):
    """What the yarn is for, as far as twist asks."""

    KNITTING = "knitting"
    SOCK = "sock"


@dataclass(frozen=True, slots=True)
class YarnWish:
    """A finished yarn as it is wanted, and what is known of how it behaves; None: the usual of the tables.

    Parameters
    ----------
    finished_tex : float
        Count washed, set and conditioned [tex].
    plies : int
        1 to 8 singles.
    label_regain_frac : float
        Agreed regain in which that count is told [frac].
    room_regain_frac : float or None
        Regain where greige yarn is weighed [frac]; None: as on the label.
    use : YarnUse
    twist_factor : float or None
        Metric factor of the singles [turns per m / sqrt(Nm)].
    ply_ratio : float or None
        Ply over singles twist; None: balanced.
    ply_back_tpm : float or None
        Turns of a ply-back test of this single [turns/m].
    take_up : float or None
        Measured plied over singles length (0.97: 3 % shorter); None: the model.
    relaxation_frac : float or None
        Length lost in the wash [frac], measured.
    set_loss_frac, oil_frac : float, float or None
        Fibre lost in setting, and oil in the greige yarn [frac].
    single_direction, ply_direction : Direction, Direction or None
        Way of the turns; None: the other way than the singles.
    """

    finished_tex: float
    plies: int = 2
    label_regain_frac: float = 0.17
    room_regain_frac: float | None = None
    use: YarnUse = YarnUse.KNITTING
    twist_factor: float | None = None
    ply_ratio: float | None = None
    ply_back_tpm: float | None = None
    take_up: float | None = None
    relaxation_frac: float | None = None
    set_loss_frac: float = 0.0
    oil_frac: float | None = None
    single_direction: Direction = Direction.Z
    ply_direction: Direction | None = None

    def __post_init__(self) -> None:
        if not self.finished_tex > 0 or not math.isfinite(self.finished_tex):
            raise InputError("wanted count", self.finished_tex, "above zero tex")
        if not 1 <= self.plies <= MOST_PLIES:
            raise InputError("plies", self.plies, f"from 1 to {MOST_PLIES}")
        for name, given in (("twist factor", self.twist_factor), ("ply ratio", self.ply_ratio)):
            if given is not None and not given >= 0:
                raise InputError(name, given, "zero or more")


@dataclass(frozen=True, slots=True)
class SpinMachine:
    """The spinning frame (and drafter before it) as far as the count asks; figures nobody gave stay empty.

    Parameters
    ----------
    name : str
    system : System
        Way of spinning.
    gears : Gears or None
        Drafts it can give; None: any draft in the usual window of the table.
    rovings_tex : tuple of float
        Rovings that stand ready or that the mill makes, the most welcome first; empty: made to fit.
    twist_steps_tpm, ply_twist_steps_tpm : tuple of float
        Twists the gears can give [turns/m]; empty: any.
    spindle_rpm, roll_speed_cap_m_per_min : float or None
        Speed of the spindles, and of what the rolls and take-up can deliver.
    card_tex : float or None
        Roving off the card.
    doublings : tuple of tuple of int
        Ways to draw before the frame, in the order they are liked; ``((4, 4), (4,), ())`` is twice four ends,
        once, or not at all.
    drafter_window : (float, float) or None
        Lowest and highest draft of the drafter; None: the usual of the table.
    """

    name: str
    system: System = System.SEMI_WORSTED
    gears: Gears | None = None
    rovings_tex: tuple[float, ...] = ()
    twist_steps_tpm: tuple[float, ...] = ()
    ply_twist_steps_tpm: tuple[float, ...] = ()
    spindle_rpm: float | None = None
    roll_speed_cap_m_per_min: float | None = None
    card_tex: float | None = None
    doublings: tuple[tuple[int, ...], ...] = ()
    drafter_window: tuple[float, float] | None = None
