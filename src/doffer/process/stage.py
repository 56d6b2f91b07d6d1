"""What a stage is: Material and settings in, a StageResult out.

Every stage of the mill is a function ``(material, settings, loss_fracs, tables) -> StageResult``. What it
loses is said stream by stream, so that oven-dry mass closes: fibre in = fibre out + fibre lost + fibre held
in the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.material import Form, Material
from doffer.fibre.moisture import settled_regain_frac
from doffer.process.evenness.mixing import Mixing, mixed
from doffer.process.losses import LossFracs, lose, range_working
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working


class LossKind(StrEnum):
    """What a loss stream is made of."""

    FIBRE = "fibre"
    HELD = "held"
    FOREIGN = "foreign"
    FINISH = "finish"


@dataclass(frozen=True, slots=True)
class Loss:
    """One stream that leaves a stage: its name in mill words, what it is, and its mass [g], shape (n,)."""

    name: str
    kind: LossKind
    mass_g: Floats


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution of the trade; local law and the machine's manual rule."""

    hazard: str
    text: str
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class StageSettings:
    """How one stage is run; each stage reads the fields that concern it.

    Parameters
    ----------
    held_dry_mass_g : float
        Fibre the machine keeps (hold-up, bobbin ends) [g oven-dry], >= 0.
    passes : int
        Trips through the machine, >= 1; shares are lost at each, the hold-up once.
    regain_after_frac : float or None
        Water over oven-dry fibre afterwards [frac]; None: what the room or the stage leaves by itself.
    room_regain_fracs : (float, float) or None
        Regain that fibre settles at in the room [frac], taking up water and drying; None: no time to.
    finish_frac_owf : float
        Conditioner put on, as a share of conditioned fibre [frac].
    finish_water_parts : float
        Parts of water to one part of conditioner.
    foreign_left_frac, finish_left_frac : float or None
        Share of grease and dirt, and of conditioner, that stays on the fibre [frac]; None: as is usual for
        the stage.
    form : Form or None
        What comes out, where the stage can make more than one thing (card: roving or batt).
    count_tex : float or None
        Linear density of the strand that comes out [tex].
    mixing : Mixing or None
        How the machine mixes, all its passes together; None: as it goes in, so it comes out.
    """

    held_dry_mass_g: float = 0.0
    passes: int = 1
    regain_after_frac: float | None = None
    room_regain_fracs: tuple[float, float] | None = None
    finish_frac_owf: float = 0.0
    finish_water_parts: float = 0.0
    foreign_left_frac: float | None = None
    finish_left_frac: float | None = None
    form: Form | None = None
    count_tex: float | None = None
    mixing: Mixing | None = None


@dataclass(frozen=True, slots=True)
class Usual:
    """What a stage does by itself when the settings do not say otherwise."""

    form: Form | None = None
    regain_after_frac: float | None = None
    foreign_left_frac: float = 1.0
    finish_left_frac: float = 1.0
    loss_words: str = "short fibre and dust"


@dataclass(frozen=True, slots=True)
class StageResult:
    """What came of one stage."""

    stage: str
    material: Material
    losses: tuple[Loss, ...]
    working: tuple[Working, ...] = ()
    cautions: tuple[Caution, ...] = ()


class Stage(Protocol):
    """The shape every stage function has."""

    def __call__(
        self, material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables
    ) -> StageResult: ...


def run_through(
    stage: str,
    material: Material,
    settings: StageSettings,
    loss_fracs: LossFracs,
    tables: Tables,
    usual: Usual,
) -> StageResult:
    """Take a material through a machine: lose shares by fibre, leave the hold-up, keep what rides along.

    Foreign matter and finish leave with the fibre they sit on, and by the share the stage takes off. How the
    composition varies goes through the mixing of the settings.
    """
    share = loss_share_rows(material, loss_fracs, passes=settings.passes)
    lost = lose(material.dry_mass_g, share_frac=share, held_dry_mass_g=settings.held_dry_mass_g)
    stays = _ratio(lost.dry_mass_g, material.dry_mass_g)
    foreign = material.foreign_mass_g * stays * _first(settings.foreign_left_frac, usual.foreign_left_frac)
    finish = material.finish_mass_g * stays * _first(settings.finish_left_frac, usual.finish_left_frac)
    regain = _first(
        settings.regain_after_frac,
        room_settled_frac(material.actual_regain_frac, settings),
        usual.regain_after_frac,
        material.actual_regain_frac,
    )
    out = Material(
        constituents=material.constituents,
        dry_mass_g=lost.dry_mass_g,
        foreign_mass_g=foreign,
        finish_mass_g=finish,
        actual_regain_frac=regain,
        form=settings.form or usual.form or material.form,
        count_tex=settings.count_tex,
        variation=mixed(material, lost.dry_mass_g, settings.mixing),
    )
    streams = (
        Loss(usual.loss_words, LossKind.FIBRE, lost.lost_mass_g.sum(axis=0)),
        Loss("left in the machine", LossKind.HELD, lost.held_mass_g.sum(axis=0)),
        Loss("grease, dirt and hay", LossKind.FOREIGN, (material.foreign_mass_g - foreign).sum(axis=0)),
        Loss("oil", LossKind.FINISH, (material.finish_mass_g - finish).sum(axis=0)),
    )
    return StageResult(
        stage=stage,
        material=out,
        losses=tuple(stream for stream in streams if float(stream.mass_g.max()) > 0),
        working=(loss_working(stage, material, out, settings, share, tables),),
        cautions=cautions_for(tables, stage=stage),
    )


def room_settled_frac(actual_regain_frac: float, settings: StageSettings) -> float | None:
    """Regain after settling in the room of the settings [frac]; None where there is no time to."""
    if settings.room_regain_fracs is None:
        return None
    taken_up, dried = settings.room_regain_fracs
    return settled_regain_frac(actual_regain_frac, taken_up_frac=taken_up, dried_frac=dried)


def _ratio(part: Floats, whole: Floats) -> Floats:
    """Part over whole, zero where there is nothing."""
    return np.divide(part, whole, out=np.zeros_like(part), where=whole > 0)


def _first(*values: float | None) -> float:
    """The first value that is given; the last always is."""
    return next(value for value in values if value is not None)


def loss_share_rows(material: Material, loss_fracs: LossFracs, *, passes: int) -> Floats:
    """Share lost per constituent [frac], shape (k, n), over all passes: ``1 - (1 - b)^passes``."""
    rows = [1 - (1 - loss_fracs.get(part.fibre, NO_LOSS)) ** passes for part in material.constituents]
    return np.stack(np.broadcast_arrays(*rows, NO_LOSS)[:-1])


NO_LOSS: Floats = np.zeros(1)


def loss_working(
    stage: str,
    before: Material,
    after: Material,
    settings: StageSettings,
    share_frac: Floats,
    tables: Tables,
) -> Working:
    """How the oven-dry fibre after a stage came about, in mean values; opens into the share of each fibre."""
    fibre_in = float(before.total_dry_mass_g.mean())
    lost_frac = float((share_frac * before.dry_mass_g).sum(axis=0).mean()) / fibre_in if fibre_in > 0 else 0.0
    fibres = dict.fromkeys(part.fibre for part in before.constituents)
    shares = (range_working(tables, stage=stage, fibre=fibre) for fibre in fibres)
    parts = tuple(share for share in shares if share is not None)
    statuses = {part.status for part in parts}
    trips = "" if settings.passes == 1 else f", over {settings.passes} passes"
    return Working(
        title=f"Fibre after {stage}",
        formula="fibre out = fibre in × (1 − share lost) − left in the machine, all oven-dry",
        inputs=(
            Term("fibre in", fibre_in, "g"),
            Term("share lost", lost_frac, "frac", f"mean over the samples{trips}"),
            Term("left in the machine", settings.held_dry_mass_g, "g"),
        ),
        result=Term("fibre out", float(after.total_dry_mass_g.mean()), "g"),
        source="mass balance; shares from the table below, grams from the machine's record",
        status=Status.COMPUTED if not statuses else statuses.pop() if len(statuses) == 1 else Status.PRACTICE,
        parts=parts,
    )


def cautions_for(tables: Tables, *, stage: str) -> tuple[Caution, ...]:
    """The usual cautions of a stage, from table cautions."""
    return tuple(
        Caution(row.hazard, row.text, row.source, row.status)
        for row in tables.cautions.values()
        if row.stage == stage
    )


def mean_by_lot(material: Material) -> Mapping[str, float]:
    """Mean oven-dry mass of each lot [g]."""
    means = material.dry_mass_g.mean(axis=1)
    return {part.lot: float(mass) for part, mass in zip(material.constituents, means, strict=True)}
