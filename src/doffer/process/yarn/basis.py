"""On what basis a count stands: where in its life the strand is, and what water and oil it carries.

Most complaints about a wrong count are of basis: 434.8 tex at 17 % regain is 416.2 tex at 12 %.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.tables.loader import Tables


class State(StrEnum):
    """Where in its life a strand is weighed and measured."""

    ROLLER = "roller"  # as it leaves the front roll, without twist
    BOBBIN = "bobbin"  # single on the spinning bobbin
    PLIED = "plied"  # after plying, before the wash
    FINISHED = "finished"  # washed, set, dried and conditioned


class OilWater(StrEnum):
    """Whether the oil on a strand is taken to carry water like the fibre, or none."""

    LIKE_FIBRE = "like fibre"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Basis:
    """State of a strand, its water over dry mass [frac], its oil as a share of dry fibre and oil [frac]."""

    state: State
    regain_frac: float
    oil_frac: float = 0.0
    oil_water: OilWater = OilWater.LIKE_FIBRE

    def __post_init__(self) -> None:
        _check_regain("regain", self.regain_frac)
        _check_share("oil", self.oil_frac)


@dataclass(frozen=True, slots=True)
class StrandCount:
    """A count [tex] and the basis it stands on."""

    tex: float
    basis: Basis

    def __post_init__(self) -> None:
        if not self.tex > 0:
            raise InputError("count", self.tex, "above zero tex")

    @property
    def fibre_dry_tex(self) -> float:
        """Oven-dry fibre alone, without oil [tex]."""
        return self.tex / _load(self.basis)


def _load(basis: Basis) -> float:
    """Strand over its oven-dry fibre by mass: ``(1 + R) / (1 - o)``; with dry oil ``1 + R + o / (1 - o)``."""
    if basis.oil_water is OilWater.NONE:
        return 1 + basis.regain_frac + basis.oil_frac / (1 - basis.oil_frac)
    return (1 + basis.regain_frac) / (1 - basis.oil_frac)


def rebase(count: StrandCount, *, regain_frac: float, oil_frac: float | None = None) -> StrandCount:
    """The same strand in the same state with other water and, if given, other oil: ``tex x load2 / load1``.

    The dry fibre and the length stay. Its own inverse: going there and back changes nothing.

    Parameters
    ----------
    count : StrandCount
        The strand as it is.
    regain_frac : float
        Water over dry mass it is to carry [frac], 0 to below 0.6.
    oil_frac : float or None
        Oil as a share of dry fibre and oil [frac]; None: as it is.

    References
    ----------
    Arithmetic of masses.

    Examples
    --------
    >>> skein = StrandCount(434.78, Basis(State.FINISHED, 0.17))
    >>> round(rebase(skein, regain_frac=0.12).tex, 1)
    416.2

    """
    oil = count.basis.oil_frac if oil_frac is None else oil_frac
    basis = dataclasses.replace(count.basis, regain_frac=regain_frac, oil_frac=oil)
    return StrandCount(count.fibre_dry_tex * _load(basis), basis)


def count_error_frac(measured: StrandCount, wanted: StrandCount) -> float:
    """How much heavier a measured strand is than the wanted one [frac], both on the wanted water and oil.

    Raises
    ------
    InputError
        The two are in different states: a single on the bobbin says nothing about a finished skein by itself.
    """
    if measured.basis.state is not wanted.basis.state:
        raise InputError(
            "measured strand",
            f"{measured.basis.state} yarn",
            f"{wanted.basis.state} yarn like the wanted count; measure it there or plan it back first",
        )
    return measured.fibre_dry_tex / wanted.fibre_dry_tex - 1


def greige_tex(
    *,
    finished_tex: float,
    label_regain_frac: float,
    room_regain_frac: float,
    relaxation_frac: float,
    oil_frac: float = 0.0,
    set_loss_frac: float = 0.0,
    oil_water: OilWater = OilWater.LIKE_FIBRE,
) -> float:
    """Count before the wash [tex] of a yarn wanted at a finished count.

    ``t = t_fin / (1 + R_c) x (1 - s) / ((1 - w) (1 - o)) x (1 + R_now)``. The inverse of `finished_tex`.

    Parameters
    ----------
    finished_tex : float
        Washed, set and conditioned count [tex].
    label_regain_frac, room_regain_frac : float
        R_c in which the finished count is told and R_now where the greige yarn is weighed [frac].
    relaxation_frac : float
        s, length lost in wash or steam over greige length [frac]; below zero where it grows.
    oil_frac : float
        o, oil over oven-dry fibre and oil [frac].
    set_loss_frac : float
        w, oven-dry fibre lost in setting [frac].
    oil_water : OilWater
        LIKE_FIBRE overstates by about ``o R_now``; NONE keeps the oil dry.

    Notes
    -----
    s cannot be foretold: it is the largest unknown of the chain, and is measured by yarn family.

    References
    ----------
    Balance of mass and length, computed.

    Examples
    --------
    >>> round(greige_tex(finished_tex=434.78, label_regain_frac=0.17, room_regain_frac=0.17,
    ...                  relaxation_frac=0.04, oil_frac=0.01), 1)
    421.6

    """
    finished = StrandCount(finished_tex, Basis(State.FINISHED, label_regain_frac))
    room = Basis(State.PLIED, room_regain_frac, oil_frac, oil_water)
    return finished.fibre_dry_tex * _length_factor(relaxation_frac, set_loss_frac) * _load(room)


def finished_tex(
    *,
    greige_tex: float,
    label_regain_frac: float,
    room_regain_frac: float,
    relaxation_frac: float,
    oil_frac: float = 0.0,
    set_loss_frac: float = 0.0,
    oil_water: OilWater = OilWater.LIKE_FIBRE,
) -> float:
    """Finished count [tex] of a yarn that weighs so much before the wash; the inverse of `greige_tex`."""
    greige = StrandCount(greige_tex, Basis(State.PLIED, room_regain_frac, oil_frac, oil_water))
    label = Basis(State.FINISHED, label_regain_frac)
    return greige.fibre_dry_tex / _length_factor(relaxation_frac, set_loss_frac) * _load(label)


def oil_water_of(tables: Tables, *, oil_frac: float) -> OilWater:
    """Dry oil from the share on at which its water would be felt in the count (table yarn_figures)."""
    apart = tables.yarn_figures["oil_apart/any"].value
    return OilWater.NONE if oil_frac > apart else OilWater.LIKE_FIBRE


def _length_factor(relaxation_frac: float, set_loss_frac: float) -> float:
    if not -MOST_RELAXATION_FRAC < relaxation_frac < MOST_RELAXATION_FRAC:
        raise InputError("length lost in the wash", relaxation_frac, "a fraction below 0.5 (4 % is 0.04)")
    _check_share("fibre lost in setting", set_loss_frac)
    return (1 - relaxation_frac) / (1 - set_loss_frac)


MOST_RELAXATION_FRAC = 0.5  # yarn that loses half its length has felted, and no count is told of it
MOST_REGAIN_FRAC = 0.6  # more water over dry fibre than this is dripping wet, and no count is told of it


def _check_regain(name: str, regain_frac: float) -> None:
    if not 0 <= regain_frac < MOST_REGAIN_FRAC:
        raise InputError(name, regain_frac, f"a fraction from 0 to below {MOST_REGAIN_FRAC:g} (17 % is 0.17)")


def _check_share(name: str, share_frac: float) -> None:
    if not 0 <= share_frac < MOST_OIL_FRAC:
        raise InputError(name, share_frac, f"a fraction from 0 to below {MOST_OIL_FRAC:g} (1 % is 0.01)")


MOST_OIL_FRAC = 0.5  # a strand is made of fibre
