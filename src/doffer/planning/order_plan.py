"""The plan of an order: what this can become, what to weigh out, stage by stage, with ranges and workings.

One type for every place that shows it: pages, command line, run card. It holds plain numbers only, so it
can be stored as JSON beside what happened.
"""

from __future__ import annotations

from dataclasses import dataclass

from doffer.fibre.content import LabelShares
from doffer.planning.layers import Layer
from doffer.planning.loads import Loads
from doffer.planning.spread import Spread
from doffer.planning.weigh_out import WeighOut
from doffer.planning.work_time import WorkTime
from doffer.process.durations import StageMinutes
from doffer.process.settings.suggestion import Suggestion
from doffer.process.stage import Caution, LossKind
from doffer.process.yarn.plan import YarnPlan
from doffer.working import Term, Working

FIBRE_LOST = frozenset({LossKind.FIBRE, LossKind.HELD})


@dataclass(frozen=True, slots=True)
class DosePlan:
    """One dose of a stage: what, in words with its amounts, and how it was found.

    `words` are metric, for the bench and the terminal. `said` is the same sentence with {0}, {1} ... in the
    places of `figures`, to be said in any units; empty where there is no figure with a unit.
    """

    name: str
    words: str
    working: Working | None = None
    said: str = ""
    figures: tuple[Term, ...] = ()


@dataclass(frozen=True, slots=True)
class LossPlan:
    """One loss stream of a stage: its name, its kind, its mean mass [g], fibre oven-dry.

    `agreed_mass_g` counts fibre at agreed regain, as a scale finds it when the stream is swept up and weighed
    in a usual room; dirt and oil as they weigh. None in plans kept before it was worked out.
    """

    name: str
    kind: str
    mass_g: float
    agreed_mass_g: float | None = None


@dataclass(frozen=True, slots=True)
class StageCount:
    """A count of the strand a stage makes [tex]: of what ("roving", "front roll", "bobbin", "plied",
    "finished"), with the water and oil it is told with [frac].
    """

    what: str
    tex: float
    regain_frac: float
    oil_frac: float


@dataclass(frozen=True, slots=True)
class StagePlan:
    """One stage of a plan: masses as a scale will show them, oven-dry fibre, losses, doses, cautions.

    `weighed` is what a scale shows, with water, dirt and oil; `agreed` is the clean fibre at agreed regain,
    the figure that can be compared from stage to stage; both [g]. `counts` are those of the strand it makes,
    `suggestions` what to set (never written to a machine), `minutes` how long it takes; empty and None in
    plans kept before they were worked out.
    """

    name: str
    stage: str
    machine: str
    comes_from: tuple[str, ...]
    weighed_in: Spread
    weighed: Spread
    agreed: Spread
    dry: Spread
    regain_after_frac: float
    losses: tuple[LossPlan, ...]
    settings: tuple[str, ...]
    doses: tuple[DosePlan, ...]
    cautions: tuple[Caution, ...]
    working: tuple[Working, ...]
    loads: Loads | None = None  # None: all at once
    counts: tuple[StageCount, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    minutes: StageMinutes | None = None

    @property
    def losses_agreed_g(self) -> tuple[tuple[LossPlan, float], ...]:
        """Every loss with its mass as it is shown [g]: fibre at agreed regain, dirt and oil as they weigh."""
        ratio = self.agreed.mean / self.dry.mean if self.dry.mean > 0 else 1.0
        return tuple(
            (loss, loss.mass_g * (ratio if loss.kind in FIBRE_LOST else 1.0))
            if loss.agreed_mass_g is None
            else (loss, loss.agreed_mass_g)
            for loss in self.losses
        )

    @property
    def loss_basis(self) -> str:
        """On which basis `losses_agreed_g` counts, in words; empty where nothing is lost."""
        kinds = {loss.kind for loss in self.losses}
        said = ["fibre at agreed regain"] if kinds & FIBRE_LOST else []
        said += ["dirt as weighed"] if LossKind.FOREIGN in kinds else []
        return ", ".join(said)


@dataclass(frozen=True, slots=True)
class LotUse:
    """What a batch takes of a lot: share [frac], as weighed now [g], its agreed clean fibre, the working."""

    lot: str
    fibre: str
    form: str
    share_frac: float
    weighed_mass_g: float
    agreed: Spread
    working: Working


@dataclass(frozen=True, slots=True)
class PiecesPlan:
    """Skeins, bumps or batts: expected, from, to, and the number that is safe to promise."""

    piece_mass_g: float
    expected: int
    low: int
    high: int
    safe: int
    working: Working


@dataclass(frozen=True, slots=True)
class FinenessPlan:
    """Fineness of a blend: mean and CV by length (as a laboratory finds them), mean by mass, over 30 um."""

    diameter_um: float
    diameter_cv_frac: float
    by_mass_um: float
    coarse_frac: float
    working: Working


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """Everything about one batch of an order.

    `finished` is at agreed regain [g]; `finished_shares_only` leaves the machines' fixed grams out, to show
    what they cost a lot of this size. `length_m` is None where no count is wished; `length_shares_only_m`
    also in plans kept before it was worked out. `yarn` is None where no count is wished, or where
    `yarn_refused` says why none could be planned; `time` is None in plans kept before it was worked out.
    """

    name: str
    product: str
    lots: tuple[LotUse, ...]
    stages: tuple[StagePlan, ...]
    finished: Spread
    finished_shares_only: Spread
    fixed_mass_g: float
    finished_working: Working
    length_m: Spread | None
    length_working: Working | None
    pieces: PiecesPlan
    labels: tuple[LabelShares, ...]
    fineness: FinenessPlan
    weigh_out: WeighOut | None
    layers: tuple[Layer, ...]
    limited_by: str | None
    warnings: tuple[str, ...]
    length_shares_only_m: Spread | None = None
    yarn: YarnPlan | None = None
    yarn_refused: str = ""
    time: WorkTime | None = None

    @property
    def meeting_stage(self) -> str:
        """The stage at which the lots come together; the first one where none is joined."""
        stages = (stage.stage for stage in self.stages if len(stage.comes_from) > 1)
        return next(stages, self.stages[0].stage if self.stages else "")


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """Plans of all batches, the figures they rest on, the seed that gives them again, and the time in all."""

    batches: tuple[BatchPlan, ...]
    tables_sha256: str
    seed: int
    n_samples: int
    promise_quantile: float
    time: WorkTime | None = None
