"""What comes out of planning a yarn: every figure that is set, what it gives, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.process.yarn.basis import StrandCount
from doffer.process.yarn.chain import TwistSet
from doffer.process.yarn.draft import DraftChoice, Drawing
from doffer.process.yarn.limits import FewestFibres, LengthGate, Verdict, YarnFibre
from doffer.process.yarn.plying import Balance
from doffer.process.yarn.wish import SpinMachine, YarnWish
from doffer.working import Working


@dataclass(frozen=True, slots=True)
class YarnPlan:
    """Everything that is set for a yarn, what it gives, and how sure that is.

    Parameters
    ----------
    wish, machine, fibre
        What was asked of which frame with which fibre.
    finished, greige, single, roller : StrandCount
        The wanted count and what it means before the wash, on the bobbin and at the front roll, each with its
        basis.
    fibre_only_tex : float
        Front-roll count without oil at label regain [tex]; what the fibres are counted in.
    single_twist, ply_twist : TwistSet
        As set; ply twist 0 for one ply.
    balance : Balance
        Where the ply twist came from.
    residual_tpm : float
        Twist left in the singles after plying [turns/m].
    retraction_frac, take_up, relaxation_frac, oil_frac : float
        Singles contraction, plied over singles length, length lost in the wash, oil [frac].
    draft : DraftChoice or None
        Roving and draft to set; None: no roving that stands there fits.
    made : DraftChoice or None
        Then the roving to make, and the draft that belongs to it; None where `draft` is there.
    drafts : tuple of DraftChoice
        Those that come near, best first.
    needed_roving_tex : (float, float, float)
        Roving that would fit at the lowest, best and highest draft [tex].
    tooth_error_frac : float
        Half of what one tooth does to the count at the pinion that is set [frac]; 0 without pinions.
    drawings : tuple of Drawing
        From the card's roving to that of the frame; empty where not asked for or none needed.
    can_be_drawn : bool
        Whether the drafter brings the card's roving to that of the frame.
    obtained : StrandCount
        Finished count these settings really give.
    fibres, fewest, finest_hard_tex, finest_comfortable_tex
        Fibres across, how many it takes, and the finest front-roll counts [tex].
    limit_cv_frac, single_cv_frac, plied_cv_frac : float
        Unevenness: best possible, expected of the single, and of the plied yarn [frac].
    length : LengthGate
        Whether the staple suits.
    verdict : Verdict
        The worst of fibres, length.
    speed_m_per_min : float or None
        Delivery of the frame [m/min], where its speed is known.
    warnings : tuple of str
    workings : tuple of Working
    """

    wish: YarnWish
    machine: SpinMachine
    fibre: YarnFibre
    finished: StrandCount
    greige: StrandCount
    single: StrandCount
    roller: StrandCount
    fibre_only_tex: float
    single_twist: TwistSet
    ply_twist: TwistSet
    balance: Balance
    residual_tpm: float
    retraction_frac: float
    take_up: float
    relaxation_frac: float
    oil_frac: float
    draft: DraftChoice | None
    made: DraftChoice | None
    drafts: tuple[DraftChoice, ...]
    needed_roving_tex: tuple[float, float, float]
    tooth_error_frac: float
    drawings: tuple[Drawing, ...]
    can_be_drawn: bool
    obtained: StrandCount
    fibres: float
    fewest: FewestFibres
    finest_hard_tex: float
    finest_comfortable_tex: float
    limit_cv_frac: float
    single_cv_frac: float
    plied_cv_frac: float
    length: LengthGate
    verdict: Verdict
    speed_m_per_min: float | None
    warnings: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()

    @property
    def to_set(self) -> DraftChoice | None:
        """What the frame is set to and fed with: from a roving that stands there, else from one to make."""
        return self.draft or self.made

    @property
    def count_error_frac(self) -> float:
        """How much heavier the yarn will be than wished [frac]."""
        return self.obtained.tex / self.finished.tex - 1

    @property
    def singles_m_per_finished_m(self) -> float:
        """Metres of single on the bobbins for a metre of finished yarn: ``n / (lambda (1 - s))``."""
        return self.wish.plies / (self.take_up * (1 - self.relaxation_frac))
