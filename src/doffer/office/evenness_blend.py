"""A blend on its way through the machines: from what the mill knows to the passage that is forecast."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.spectrum import Light, light
from doffer.mill.bridge import PPM
from doffer.mill.queries.evenness import FigureRow
from doffer.mill.queries.house import MachineRow
from doffer.mill.queries.mixing import MIXING_STAGES, MixingInputs
from doffer.office.evenness_asked import MOST_LAYERS, Mixed, Usual
from doffer.office.evenness_pictures import Looks
from doffer.pictures.strip import Dyes
from doffer.planning.evenness.breakage import LengthLeft, length_left
from doffer.planning.evenness.choose import SETS_G, choose
from doffer.planning.evenness.cost import MachineRate, StageCost, stage_costs
from doffer.planning.evenness.figures import (
    CLUMP_FED,
    WEIGHING,
    WORDS,
    Figure,
    sandwich_enters_g,
    usual_figures,
    usual_steps,
)
from doffer.planning.evenness.forecast import Forecast, forecast, one_more_pass
from doffer.planning.evenness.slope import slope_lab, spectra_of_labs, strongest_part
from doffer.planning.evenness.wish import Choice, Limits, Wish, gentle_limits
from doffer.process.evenness.passage import Draw, Feed, Laying, Passage, Pick, Toss
from doffer.process.rates import FibreGroup, fibre_groups
from doffer.tables.loader import Tables
from doffer.working import Status

USUAL_ENDS = 4
OBSERVER_DEG = 10


@dataclass(frozen=True, eq=False, slots=True)
class Route:
    """A blend with the passage asked for; `reflectance` is None where the colour of a lot is not known."""

    inputs: MixingInputs
    mixed: Mixed
    figures: tuple[Figure, ...]
    passage: Passage
    reflectance: Floats | None

    @property
    def looks(self) -> Looks | None:
        """What its strips are drawn of."""
        if self.reflectance is None:
            return None
        dyes = Dyes.of(self.reflectance, self.inputs.ways.mixing, self.inputs.tables)
        return Looks(self.passage, dyes)

    def foretold(self, machines: Sequence[MachineRow] = ()) -> Forecast:
        """The forecast; with the mill's machines their hours, else usual ones."""
        fibres = [part.fibre for part in self.inputs.parts]
        tables = self.inputs.tables
        return forecast(
            self.passage,
            tables=tables,
            figures=self.figures,
            slope_lab=self.slope_lab,
            costs=stage_costs(
                self.whole(self.passage), tables, fibres, rates=_rates(machines, self.inputs) or None
            ),
            distance_mm=self.mixed.distance_mm,
            yarn_per_row_mm=self.mixed.row_mm,
            bias_frac=self.mixed.bias_frac,
            most_passes=self.limits.most_passes,
        )

    def whole(self, passage: Passage) -> Passage:
        """All loads of it together, for what it costs."""
        return replace(passage, feed=replace(passage.feed, lot_dry_mass_g=self.inputs.dry_mass_g))

    def one_more(self, machines: Sequence[MachineRow] = ()) -> StageCost | None:
        """What one more pass through the picker would cost; None where nothing is picked."""
        more = one_more_pass(self.passage, self.figures)
        fibres = [part.fibre for part in self.inputs.parts]
        costs = stage_costs(
            self.whole(more), self.inputs.tables, fibres, rates=_rates(machines, self.inputs) or None
        )
        picked = [cost for step, cost in zip(more.steps, costs[1:], strict=True) if isinstance(step, Pick)]
        return picked[-1] if picked else None

    def chosen(self, machines: Sequence[MachineRow] = ()) -> Choice:
        """The gentlest way to mix it in layers so that no stripe is seen and the label holds.

        Raises
        ------
        InputError
            A lot too small for two sets of layers.
        """
        return choose(
            replace(self.whole(self.passage).feed, laying=Laying.LAYERS, has_half_layer_ends=True),
            loads=self.inputs.loads,
            tables=self.inputs.tables,
            figures=self.figures,
            fibres=[part.fibre for part in self.inputs.parts],
            strand_tex=self.passage.strand_tex,
            slope_lab=self.slope_lab,
            limits=self.limits,
            wish=Wish(distance_mm=self.mixed.distance_mm, bias_frac=self.mixed.bias_frac),
            rates=_rates(machines, self.inputs) or None,
        )

    @property
    def limits(self) -> Limits:
        """How often this fibre may be picked: once where a lot broke when it was snapped."""
        parts = self.inputs.parts
        return gentle_limits(
            self.inputs.tables,
            [part.fibre for part in parts],
            is_tender=any(part.is_tender for part in parts),
        )

    @property
    def length_left(self) -> LengthLeft:
        """Mean fibre length after the passes through the picker, as the search reckons it."""
        return length_left(self.passage.feed.parts, self.limits.break_rate, passes=self.mixed.passes)

    @property
    def slope_lab(self) -> Floats | None:
        """How the colour follows the shares, shape (3, k); None where a colour is not known."""
        return _slope_of(self.inputs, self.reflectance)


def _slope_of(inputs: MixingInputs, reflectance: Floats | None) -> Floats | None:
    if reflectance is None:
        return None
    return slope_lab(reflectance, _shares(inputs), _daylight(inputs), mixing=inputs.ways.mixing)


def _shares(inputs: MixingInputs) -> Floats:
    return np.array([part.share_frac for part in inputs.parts])


@dataclass(frozen=True, eq=False, slots=True)
class Followed:
    """How a blend's colour goes: the lot that moves it most, and dLab for a share of 1 of it, shape (3,)."""

    lot: str
    slope_lab: Floats


def followed(inputs: MixingInputs) -> Followed | None:
    """Which way to look for stripes of a blend; None where a colour is not known, or all are nearly alike."""
    weights = _slope_of(inputs, _reflectance(inputs))
    if weights is None:
        return None
    shares = _shares(inputs)
    at = strongest_part(weights, shares)
    toward = weights[:, at] / (1 - shares[at])
    if np.linalg.norm(toward) < inputs.tables.evenness_figures["visible_pair"].value:
        return None
    return Followed(inputs.parts[at].lot, toward)


def usual_of(inputs: MixingInputs, *, strand_tex: float | None = None) -> Usual:
    """What stands in the form first: as the mill's ways say."""
    passes = inputs.passes
    usual = Usual(
        layers=passes.layers,
        passes=passes.pick_passes,
        drawn="x".join(str(ends) for ends in passes.draw_ends or [USUAL_ENDS] * passes.draw_passes),
        is_tossed=passes.is_tossed,
        most_layers=max(MOST_LAYERS, round(inputs.dry_mass_g / min(SETS_G))),
    )
    return usual if strand_tex is None else replace(usual, strand_tex=strand_tex)


def route_of(inputs: MixingInputs, mixed: Mixed) -> Route:
    """The passage as asked, with the figures of this mill's machines.

    What is picked in several loads is forecast as one of them: the bin tosses each by itself.
    """
    figures = figures_of(inputs)
    value = {one.key: one.value for one in figures}
    feed = Feed(
        inputs.dry_mass_g / inputs.loads,
        tuple(part.part for part in inputs.parts),
        max(1, round(mixed.layers / inputs.loads)),
        laying=mixed.laying,
        has_half_layer_ends=mixed.has_half_ends,
        weighing_sd_g=value[WEIGHING],
        clump_g=value[CLUMP_FED],
    )
    draws = [Draw(ends=ends, draft=float(ends)) for ends in mixed.ends]
    laid_g = feed.set_mass_g if mixed.is_sandwich else 0.0
    sandwich_g = sandwich_enters_g(figures, inputs.tables, laid_g=laid_g)
    steps = usual_steps(figures, passes=mixed.passes, draws=draws, sandwich_g=sandwich_g)
    if not mixed.is_tossed:
        steps = tuple(step for step in steps if not isinstance(step, Toss))
    return Route(inputs, mixed, figures, Passage(feed, steps, mixed.strand_tex), _reflectance(inputs))


def figures_of(inputs: MixingInputs) -> tuple[Figure, ...]:
    """Figures of the machines: the mill's own where it has some, usual ones else."""
    return own_figures(inputs.figures, inputs.tables)


def own_figures(rows: Sequence[FigureRow], tables: Tables) -> tuple[Figure, ...]:
    """Figures of some machines: the mill's own where it has some, usual ones else."""
    return usual_figures(tables, [_own(row) for row in rows if row.is_own and row.key in WORDS])


def _own(row: FigureRow) -> Figure:
    said = row.now.found_words if row.now else ""
    status = Status.PRACTICE if row.is_guess else Status.OWN
    return Figure(row.key, WORDS[row.key], row.value, row.low, row.high, row.usual.unit, said, status)


def _reflectance(inputs: MixingInputs) -> Floats | None:
    """Spectra of the lots, shape (k, 31): as read, or plausible ones for those known by L, a and b alone."""
    if inputs.without_colour:
        return None
    spectra = {
        part.lot: np.array(part.reflectance_ppm) / PPM for part in inputs.parts if part.reflectance_ppm
    }
    bare = [part for part in inputs.parts if part.lot not in spectra]
    if bare:
        found = spectra_of_labs(np.array([part.lab for part in bare], dtype=np.float64), _daylight(inputs))
        spectra |= {part.lot: row for part, row in zip(bare, found, strict=True)}
    return np.stack([spectra[part.lot] for part in inputs.parts])


def _daylight(inputs: MixingInputs) -> Light:
    return light(inputs.tables, "D65", observer_deg=OBSERVER_DEG)


def _rates(machines: Sequence[MachineRow], inputs: MixingInputs) -> Mapping[str, MachineRate]:
    """The mill's first machine of each stage with its slowest rate for these fibres."""
    groups = fibre_groups([part.fibre for part in inputs.parts], inputs.tables)
    found: dict[str, MachineRate] = {}
    for machine in machines:
        if machine.stage not in MIXING_STAGES or machine.stage in found:
            continue
        by_group = {
            FibreGroup.WOOL: machine.rate_wool_kg_per_h,
            FibreGroup.CAMELID: machine.rate_camelid_kg_per_h,
            FibreGroup.ANGORA: machine.rate_angora_kg_per_h,
        }
        rates = [by_group[group] for group in groups]
        known = [rate for rate in rates if rate]
        slowest = min(known) if len(known) == len(rates) else None
        found[machine.stage] = MachineRate(slowest, float(machine.setup_min))
    return found
