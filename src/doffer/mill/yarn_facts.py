"""What a test of yarn measured, as floats and as the whole numbers that are kept, and what follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from doffer.errors import InputError
from doffer.mill import bridge
from doffer.mill.models import YarnTest
from doffer.mill.models.yarn import YarnState

MM_PER_M = 1_000
UM_PER_MM = 1_000
MILLI = 1_000
USUAL_LENGTH_M = 10.0
MOST_PIECES = 200
MOST_PLIES = 8
# asked about: a slip of the unit or of the decimal point
LEAST_TEX, MOST_TEX = 10.0, 20_000.0
LEAST_TPM, MOST_TPM = 5.0, 2_000.0
FAR_FROM_MEDIAN_FRAC = 0.5
MOST_SHRINK_FRAC = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """Turns counted in pieces of one length [mm]: untwisted, or of a loop that twists back on itself."""

    length_mm: float
    turns: tuple[float, ...]

    def __post_init__(self) -> None:
        if not 0 < self.length_mm < math.inf:
            raise InputError("length that was untwisted", f"{self.length_mm:g} mm", "above zero")
        _counted("turns", self.turns, "turns", least=1)

    @property
    def mean_tpm(self) -> float:
        """Turns per metre, the mean."""
        return fmean(self.turns) / self.length_mm * MM_PER_M


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnTestFacts:
    """One test of yarn: any of lengths weighed, turns, a wash, a ply-back; of a lot, a run or an order.

    Parameters
    ----------
    state : str
        One of `models.yarn.YarnState`.
    plies : int
        Singles in it; 1 at the rolls and on the bobbin.
    masses_g : tuple of float
        Weight of each length as it lay on the scale [g].
    length_m : float
        How long each of them is [m].
    rh_frac, actual_regain_frac : float or None
        Humidity of the room, and water over dry fibre where it was measured [frac].
    single, ply : Turns or None
        Turns taken out of the singles, and out of the ply.
    before_mm, after_mm : tuple of float
        The same lengths before and after the wash, dried [mm].
    back : Turns or None
        Turns with which a freshly spun single twists back on itself.
    """

    state: str
    plies: int = 1
    masses_g: tuple[float, ...] = ()
    length_m: float = USUAL_LENGTH_M
    rh_frac: float | None = None
    actual_regain_frac: float | None = None
    single: Turns | None = None
    ply: Turns | None = None
    before_mm: tuple[float, ...] = ()
    after_mm: tuple[float, ...] = ()
    back: Turns | None = None

    def __post_init__(self) -> None:
        if self.state not in YarnState.values:
            raise InputError("state of the yarn", self.state, f"one of {', '.join(YarnState.values)}")
        most = 1 if self.state in (YarnState.ROLLER, YarnState.BOBBIN) else MOST_PLIES
        if not 1 <= self.plies <= most:
            wanted = f"from 1 to {most}" if most > 1 else "1, for it is not plied yet"
            raise InputError("plies", self.plies, wanted)
        if self.ply is not None and self.plies == 1:
            raise InputError("turns of the ply", "given", "left out for yarn of one ply")
        if self.masses_g:
            _counted("weights", self.masses_g, "g", least=1, above_zero=True)
        if not 0 < self.length_m < math.inf:
            raise InputError("length that was weighed", f"{self.length_m:g} m", "above zero")
        for name, frac in (("room humidity", self.rh_frac), ("water on the yarn", self.actual_regain_frac)):
            if frac is not None and not 0 <= frac <= 1:
                raise InputError(name, f"{frac * 100:g} %", "from 0 to 100 %")
        self._check_wash()
        if not (self.masses_g or self.single or self.ply or self.before_mm or self.back):
            raise InputError("test of yarn", "", "lengths weighed, turns, a length washed, or a ply-back")

    def _check_wash(self) -> None:
        if len(self.before_mm) != len(self.after_mm):
            raise InputError(
                "lengths after the wash",
                len(self.after_mm),
                f"one for each of the {len(self.before_mm)} before",
            )
        if self.before_mm:
            _counted("lengths", (*self.before_mm, *self.after_mm), "mm", least=1, above_zero=True)

    @property
    def count_tex(self) -> float | None:
        """Count as weighed, the mean of the lengths [tex]."""
        return fmean(self.masses_g) / self.length_m * MILLI if self.masses_g else None

    @property
    def cv_frac(self) -> float | None:
        """Unevenness between the lengths [frac]; None for fewer than two."""
        return stdev(self.masses_g) / fmean(self.masses_g) if len(self.masses_g) > 1 else None

    @property
    def relaxation_frac(self) -> float | None:
        """Length lost in the wash [frac]: ``1 - sum after / sum before``."""
        return 1 - math.fsum(self.after_mm) / math.fsum(self.before_mm) if self.before_mm else None

    @property
    def ply_ratio(self) -> float | None:
        """Ply twist over singles twist as counted; None where one of them was not."""
        if self.single is None or self.ply is None or not self.single.mean_tpm:
            return None
        return self.ply.mean_tpm / self.single.mean_tpm


def _counted(name: str, values: Sequence[float], unit: str, *, least: int, above_zero: bool = False) -> None:
    if not least <= len(values) <= MOST_PIECES:
        raise InputError(f"number of {name}", len(values), f"from {least} to {MOST_PIECES}")
    wrong = [one for one in values if not 0 <= one < math.inf or (above_zero and not one > 0)]
    if wrong:
        raise InputError(
            f"one of the {name}", f"{wrong[0]:g} {unit}", "above zero" if above_zero else "zero or more"
        )


def far_off(facts: YarnTestFacts) -> tuple[str, ...]:
    """What looks like a slip of the unit or of the decimal point, in words."""
    reasons = []
    if facts.count_tex is not None and not LEAST_TEX <= facts.count_tex <= MOST_TEX:
        reasons.append(
            f"{fmean(facts.masses_g):g} g in {facts.length_m:g} m is {facts.count_tex:.4g} tex, and"
            f" {LEAST_TEX:g} to {MOST_TEX:g} tex is possible"
        )
    if facts.masses_g:
        middle = median(facts.masses_g)
        odd = [one for one in facts.masses_g if abs(one / middle - 1) > FAR_FROM_MEDIAN_FRAC]
        reasons += [f"a length weighs {one:g} g, and {middle:g} g is in the middle" for one in odd[:1]]
    for name, turns in (("singles", facts.single), ("ply", facts.ply)):
        if turns is not None and not LEAST_TPM <= turns.mean_tpm <= MOST_TPM:
            reasons.append(
                f"the {name} have {turns.mean_tpm:.4g} turns per metre, and"
                f" {LEAST_TPM:g} to {MOST_TPM:g} are possible"
            )
    if facts.relaxation_frac is not None and not 0 <= facts.relaxation_frac <= MOST_SHRINK_FRAC:
        change = "longer" if facts.relaxation_frac < 0 else "shorter"
        reasons.append(f"the yarn came {abs(facts.relaxation_frac) * 100:.3g} % {change} out of the wash")
    return tuple(reasons)


def kept_columns(facts: YarnTestFacts) -> dict[str, object]:
    """The facts as columns of whole numbers."""
    return {
        "state": facts.state,
        "plies": facts.plies,
        "length_mm": round(facts.length_m * MM_PER_M) if facts.masses_g else None,
        "masses_mg": [bridge.mg(one) for one in facts.masses_g],
        "rh_ppm": None if facts.rh_frac is None else bridge.ppm(facts.rh_frac),
        "regain_ppm": None if facts.actual_regain_frac is None else bridge.ppm(facts.actual_regain_frac),
        "before_um": [round(one * UM_PER_MM) for one in facts.before_mm],
        "after_um": [round(one * UM_PER_MM) for one in facts.after_mm],
        **_turns_columns("single", facts.single),
        **_turns_columns("ply", facts.ply),
        **_turns_columns("back", facts.back),
    }


def _turns_columns(name: str, turns: Turns | None) -> dict[str, object]:
    return {
        f"{name}_length_mm": None if turns is None else round(turns.length_mm),
        f"{name}_turns_milli": [] if turns is None else [round(one * MILLI) for one in turns.turns],
    }


def read_columns(row: YarnTest) -> YarnTestFacts:
    """The facts of a kept test."""

    def turns(name: str) -> Turns | None:
        counted = getattr(row, f"{name}_turns_milli")
        if not counted:
            return None
        return Turns(length_mm=getattr(row, f"{name}_length_mm"), turns=tuple(one / MILLI for one in counted))

    return YarnTestFacts(
        state=row.state,
        plies=row.plies,
        masses_g=tuple(bridge.grams(one) for one in row.masses_mg),
        length_m=USUAL_LENGTH_M if row.length_mm is None else row.length_mm / MM_PER_M,
        rh_frac=bridge.maybe_frac(row.rh_ppm),
        actual_regain_frac=bridge.maybe_frac(row.regain_ppm),
        single=turns("single"),
        ply=turns("ply"),
        before_mm=tuple(one / UM_PER_MM for one in row.before_um),
        after_mm=tuple(one / UM_PER_MM for one in row.after_um),
        back=turns("back"),
    )
