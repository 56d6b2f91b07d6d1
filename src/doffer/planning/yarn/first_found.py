"""What was measured of the first metres, what each test found, and the corrected plan that follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from doffer.errors import InputError
from doffer.planning.put_up import M_PER_100G_TEX
from doffer.planning.yarn.few_lengths import FewLengths
from doffer.process.yarn.basis import State, StrandCount
from doffer.process.yarn.draft import DraftChoice
from doffer.process.yarn.planned import YarnPlan
from doffer.working import Working


@dataclass(frozen=True, slots=True)
class FirstMetres:
    """What was measured of the first metres; what was not is left empty.

    Parameters
    ----------
    weighed_g : tuple of float
        Weight of each reeled length on the scale [g].
    reeled_m : float
        How long each was reeled [m].
    state : State
        Of the weighed yarn: single on the bobbin, plied before the wash, or finished.
    room_regain_frac : float or None
        Water in it where it was weighed [frac]; None: as planned.
    turns_tpm : tuple of float
        Turns of the single found by untwisting [turns/m].
    washed : tuple of (before, after)
        Length of a loop before and after the wash, dried, in any one unit.
    ply_back_tpm : tuple of float
        Turns of rested singles that double on themselves [turns/m].
    sittings : tuple of FirstMetres
        Every test by itself, the oldest first, where there were several; what is above is all of them
        together. Where one told to change what is set, those after it may be of another yarn.
    """

    weighed_g: tuple[float, ...] = ()
    reeled_m: float = 10.0
    state: State = State.BOBBIN
    room_regain_frac: float | None = None
    turns_tpm: tuple[float, ...] = ()
    washed: tuple[tuple[float, float], ...] = ()
    ply_back_tpm: tuple[float, ...] = ()
    sittings: tuple[FirstMetres, ...] = ()

    def __post_init__(self) -> None:
        if self.state is State.ROLLER:
            raise InputError("yarn that was weighed", self.state, "on the bobbin, plied, or finished")
        if not (self.weighed_g or self.turns_tpm or self.washed or self.ply_back_tpm):
            raise InputError("first metres", None, "weighed, untwisted, washed or plied back: one at least")


def together(sittings: Sequence[FirstMetres]) -> FirstMetres:
    """Tests of one yarn in order of time, as one.

    Lengths before and after a wash, ply-backs and turns of singles are taken from all of them, weights from
    those alike to the newest that weighed: counts of two states are never joined.
    """
    weighed = [one for one in sittings if one.weighed_g]
    newest = weighed[-1] if weighed else sittings[-1]
    like = [one for one in weighed if _how_weighed(one) == _how_weighed(newest)]
    return replace(
        newest,
        weighed_g=tuple(mass for one in like for mass in one.weighed_g),
        turns_tpm=tuple(turns for one in sittings for turns in one.turns_tpm),
        washed=tuple(pair for one in sittings for pair in one.washed),
        ply_back_tpm=tuple(turns for one in sittings for turns in one.ply_back_tpm),
        sittings=tuple(sittings) if len(sittings) > 1 else (),
    )


def _how_weighed(one: FirstMetres) -> tuple[State, float, float | None]:
    return one.state, one.reeled_m, one.room_regain_frac


class YarnTest(StrEnum):
    """What was tested."""

    COUNT = "count"
    TWIST = "twist"
    WASH = "length kept in the wash"
    PLY_BACK = "ply-back"


@dataclass(frozen=True, slots=True)
class Found:
    """One figure measured beside the planned one, in the same unit and on the same basis.

    Parameters
    ----------
    test : Test
    planned_value : float
    measured : FewLengths
    difference_frac : float
        Measured over planned, less one [frac].
    is_proven : bool
        Whether so few readings prove it (95 %).
    enough : int or None
        About how many readings would prove a difference of this size.
    is_used : bool
        Whether the corrected plan rests on it.
    is_uneven : bool
        Whether the lengths differ more than is usual, proven.
    working : Working
    """

    test: YarnTest
    planned_value: float
    measured: FewLengths
    difference_frac: float
    is_proven: bool
    enough: int | None
    is_used: bool
    is_uneven: bool
    working: Working


@dataclass(frozen=True, slots=True)
class Corrected:
    """What the first metres say, and what to set for the rest.

    Parameters
    ----------
    before, after : YarnPlan
        As it was spun, and as planned with what was measured.
    found : tuple of Found
    roving_tex : float or None
        What the roving really is [tex], where the count proves it; else as planned.
    draft : DraftChoice or None
        To set for the rest.
    changes_draft, changes_twist, changes_ply : bool
        Whether the settings differ from those of `before`.
    twist_tpm : float
        Turns to set so that the wanted ones come out [turns/m].
    left_alone : StrandCount
        Finished count if nothing is changed.
    sentences : tuple of str
    """

    before: YarnPlan
    after: YarnPlan
    found: tuple[Found, ...]
    roving_tex: float | None
    draft: DraftChoice | None
    changes_draft: bool
    changes_twist: bool
    changes_ply: bool
    twist_tpm: float
    left_alone: StrandCount
    sentences: tuple[str, ...] = ()

    def one(self, test: YarnTest) -> Found | None:
        """What a test found; None where it was not made."""
        return next((one for one in self.found if one.test is test), None)

    @property
    def kept_frac(self) -> float:
        """Metres in the same weight if nothing is changed, over those wished [frac]."""
        return self.before.finished.tex / self.left_alone.tex

    def length_m(self, *, finished_mass_g: float) -> tuple[float, float]:
        """Metres out of a finished weight at label regain [m]: if left alone, and corrected."""
        per_100g = (M_PER_100G_TEX / self.left_alone.tex, M_PER_100G_TEX / self.after.obtained.tex)
        return per_100g[0] * finished_mass_g / 100, per_100g[1] * finished_mass_g / 100
