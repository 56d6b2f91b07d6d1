"""Plying: how much the strands take up, what twist is left in them, and which ply twist hangs still."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.process.yarn.twist import MM_M, MOST_STEPS, SOLVED, Direction, Section, retraction_frac
from doffer.tables.loader import Tables
from doffer.working import Status

FEWEST_PLIES, MOST_PLIES = 1, 8


@dataclass(frozen=True, slots=True)
class Plied:
    """What plying does: take-up lambda (plied over singles length), twist left in the singles, ply angle."""

    take_up: float
    residual_tpm: float
    helix_angle_rad: float


def helix_radius_factor(plies: int) -> float:
    """Radius on which strands lie round the axis, over their diameter: ``1 / (2 sin(pi / n))``; 0 for one.

    0.5, 0.5774 and 0.7071 for 2, 3 and 4 plies. Geometry of touching round strands.
    """
    _check_plies(plies)
    return 0.0 if plies == 1 else 1 / (2 * math.sin(math.pi / plies))


def ply_take_up(
    *,
    single_tex: float,
    single_twist_tpm: float,
    ply_twist_tpm: float,
    plies: int,
    section: Section,
    single_direction: Direction = Direction.Z,
    ply_direction: Direction = Direction.S,
) -> Plied:
    """Length of a plied yarn over that of its singles, with the twist left in them.

    ``lambda = (1 - k') / (1 - k) cos b``, ``tan b = 2 pi r U``; k, k' the retraction at the singles twist u
    and at what is left of it, ``u' = u - U cos^2 b`` (``+`` when plied the same way).

    Parameters
    ----------
    single_tex : float
        Count of one single on the bobbin [tex].
    single_twist_tpm, ply_twist_tpm : float
        u and U, both >= 0 [turns/m].
    plies : int
        1 to 8; one strand without ply twist has 1.
    section : Section
        Packing and density of a single.
    single_direction, ply_direction : Direction

    Notes
    -----
    lambda may exceed 1: below ``U/u = 2/(1 + 2c)`` a yarn gets longer. Good to about 1 %; measure. An
    abstract (doi 10.1177/00405175241246269) finds that up to 1.2 in twist factors, this model to 0.94.

    References
    ----------
    J-STAGE jte1955 14(3-4):115, abstract, for the form; k after Hearle et al. 1969 (from memory).

    Examples
    --------
    >>> two = ply_take_up(single_tex=125, single_twist_tpm=226.27, ply_twist_tpm=113.14, plies=2,
    ...                   section=Section(packing_frac=0.5, density_g_cm3=1.31))
    >>> round(two.take_up, 4)
    1.0062

    """
    if not (single_twist_tpm >= 0 and ply_twist_tpm >= 0):
        raise InputError("twist", (single_twist_tpm, ply_twist_tpm), "zero or more")
    radius_mm = helix_radius_factor(plies) * section.diameter_mm(single_tex)
    helix_rad = math.atan(2 * math.pi * radius_mm / MM_M * ply_twist_tpm)
    moved_tpm = ply_twist_tpm * math.cos(helix_rad) ** 2
    left_tpm = single_twist_tpm - moved_tpm
    if ply_direction is single_direction:
        left_tpm = single_twist_tpm + moved_tpm
    before = section.retraction_frac(count_tex=single_tex, twist_tpm=single_twist_tpm)
    after = retraction_frac(section.angle_rad(count_tex=single_tex, twist_tpm=abs(left_tpm)))
    return Plied((1 - after) / (1 - before) * math.cos(helix_rad), left_tpm, helix_rad)


def plied_tex(*, singles_tex: tuple[float, ...], take_up: float = 1.0) -> float:
    """Resultant count [tex]: ``R = sum tex_i / lambda``; without twist (lambda 1) the plain sum."""
    if not singles_tex or min(singles_tex) <= 0:
        raise InputError("singles", singles_tex, "one or more, each above zero tex")
    _check_take_up(take_up)
    return math.fsum(singles_tex) / take_up


def single_for_ply_tex(*, plied_tex: float, plies: int, take_up: float = 1.0) -> float:
    """Count of each of n equal singles [tex] of a plied yarn: ``tex = R lambda / n``."""
    _check_plies(plies)
    _check_take_up(take_up)
    return plied_tex * take_up / plies


def length_neutral_ratio(plies: int) -> float:
    """Ply over singles twist at which plying does not change the length: ``2 / (1 + 2 (2 r/d)^2)``.

    2/3, 0.545, 0.400 for 2, 3, 4 plies whatever the count; for small angles and opposite twist. Computed.
    """
    _check_plies(plies, fewest=2)
    return 2 / (1 + 2 * (2 * helix_radius_factor(plies)) ** 2)


def equal_factor_ratio(plies: int) -> float:
    """Ply over singles twist at which both have one twist factor: ``1 / sqrt(n)``. Computed."""
    _check_plies(plies)
    return 1 / math.sqrt(plies)


class BalanceRule(StrEnum):
    """On what a ply twist rests."""

    PLYBACK = "ply-back test"
    ELASTIC = "elastic theory"
    USUAL = "usual ratio"
    EQUAL_FACTOR = "equal twist factors"


@dataclass(frozen=True, slots=True)
class Balance:
    """A ply twist that should hang still [turns/m], the rule it came from, and how far to trust it."""

    ply_twist_tpm: float
    rule: BalanceRule
    status: Status
    source: str

    def ratio(self, single_twist_tpm: float) -> float:
        """Ply over singles twist."""
        return self.ply_twist_tpm / single_twist_tpm if single_twist_tpm > 0 else 0.0


def balance(
    tables: Tables, *, single_twist_tpm: float, plies: int, ply_back_tpm: float | None = None
) -> Balance:
    """Ply twist for a balanced yarn: the ply-back test if made, else the usual ratio.

    In the test a metre of single, as old as it will be when plied, doubles on itself wet; its turns are the
    ply twist, of two plies. For more plies the usual ratios apply to it in proportion. Two plies: 0.60 to
    0.75 is trade practice; a plain ``1 / sqrt(n)`` where the table has no row.
    """
    _check_plies(plies)
    if plies == 1:
        return Balance(0.0, BalanceRule.USUAL, Status.COMPUTED, "one strand is not plied")
    share, status = _usual_ratio(tables, plies)
    if ply_back_tpm is not None:
        if not ply_back_tpm >= 0:
            raise InputError("ply-back test", ply_back_tpm, "zero turns per metre or more")
        two, _ = _usual_ratio(tables, 2)
        return Balance(
            ply_back_tpm * share / two, BalanceRule.PLYBACK, Status.OWN, "ply-back test of this yarn"
        )
    rule = BalanceRule.USUAL if f"ply_ratio/{plies}" in tables.yarn_figures else BalanceRule.EQUAL_FACTOR
    source = "common practice, no source" if rule is BalanceRule.USUAL else "equal twist factors, computed"
    return Balance(single_twist_tpm * share, rule, status, source)


def _usual_ratio(tables: Tables, plies: int) -> tuple[float, Status]:
    row = tables.yarn_figures.get(f"ply_ratio/{plies}")
    return (row.value, row.status) if row else (equal_factor_ratio(plies), Status.COMPUTED)


def torque_free_ply_tpm(
    *, single_twist_tpm: float, single_tex: float, section: Section, stiffness_ratio: float
) -> float:
    """Ply twist of two elastic strands at which nothing turns [turns/m].

    Solves ``u / U = cos^2 b (1 + 2 (B/C) sin^2 b / cos 2b)``, ``tan b = pi d U``, b below 45 degrees.

    Parameters
    ----------
    single_twist_tpm : float
        u, the twist still alive in the singles [turns/m]: 0.7 to 0.85 of what was put in, once rested.
    single_tex : float
        Count of a single [tex].
    section : Section
    stiffness_ratio : float
        B/C, bending over torsion, >= 0.5; a solid rod 1.3 to 1.5, a yarn's is not known.

    References
    ----------
    Least energy of two elastic strands, computed; the same problem as Fraser and Stump 1998, Twist in
    balanced-ply structures (from memory, unverified).

    Examples
    --------
    >>> turns = torque_free_ply_tpm(single_twist_tpm=226.27, single_tex=125, stiffness_ratio=1.0,
    ...                             section=Section(packing_frac=0.5, density_g_cm3=1.31))
    >>> round(turns / 226.27, 4)
    0.9004

    """
    if not single_twist_tpm >= 0 or not stiffness_ratio >= LEAST_STIFFNESS_RATIO:
        raise InputError(
            "single", (single_twist_tpm, stiffness_ratio), "twist of zero or more, stiffness ratio from 0.5"
        )
    girth_m = math.pi * section.diameter_mm(single_tex) / MM_M

    def live_tpm(angle_rad: float) -> float:
        stiff = 1 + 2 * stiffness_ratio * math.sin(angle_rad) ** 2 / math.cos(2 * angle_rad)
        return math.tan(angle_rad) / girth_m * math.cos(angle_rad) ** 2 * stiff

    low_rad, high_rad = 0.0, math.pi / 4
    for _ in range(MOST_STEPS):
        middle_rad = (low_rad + high_rad) / 2
        if high_rad - low_rad <= SOLVED:
            break
        low_rad, high_rad = (
            (middle_rad, high_rad) if live_tpm(middle_rad) < single_twist_tpm else (low_rad, middle_rad)
        )
    return math.tan(low_rad) / girth_m


LEAST_STIFFNESS_RATIO = 0.5  # below it the torque does not rise steadily with ply twist


def is_lively(tables: Tables, *, loop_turns_per_m: float) -> bool:
    """Whether a washed metre of yarn, hung free as a loop, turns enough to be called lively."""
    return loop_turns_per_m > tables.yarn_figures["lively_loop/washed"].value


def _check_plies(plies: int, *, fewest: int = FEWEST_PLIES) -> None:
    if not fewest <= plies <= MOST_PLIES:
        raise InputError("plies", plies, f"from {fewest} to {MOST_PLIES}")


def _check_take_up(take_up: float) -> None:
    if not LEAST_TAKE_UP < take_up < MOST_TAKE_UP:
        raise InputError("take-up", take_up, "plied over singles length, near 1 (0.97 is 3 % shorter)")


LEAST_TAKE_UP, MOST_TAKE_UP = 0.3, 2.0  # beyond these it was typed as a percentage
