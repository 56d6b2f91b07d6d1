"""The gentlest way to even goods: sets of layers, sandwich, passes and doublings, chosen from all of them.

Preferred, in this order: smaller sets (they hurt no fibre), a sandwich on the belt, more doublings, and only
then another pass through the picker.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Bools, Floats
from doffer.fibre.distribution import normal_cdf
from doffer.fibre.variation import Signals, share_signals, with_colour
from doffer.planning.evenness.band import Ends, ends_of, outcome
from doffer.planning.evenness.breakage import length_left
from doffer.planning.evenness.cost import MachineRate, StageCost, lost_and_minutes, stage_costs
from doffer.planning.evenness.doublings import PICK_AGAIN
from doffer.planning.evenness.figures import Figure, sandwich_enters_g, usual_steps
from doffer.planning.evenness.finished import POINTS, likely
from doffer.planning.evenness.label_risk import label_signals, signals_sampling_variance, specimens_variance
from doffer.planning.evenness.routes import Eye, Feeding, Machines, variance_left
from doffer.planning.evenness.wish import Choice, Limits, Option, Wish, gentle_limits
from doffer.process.evenness.passage import Card, Draw, Feed, Passage, Pick, Toss
from doffer.tables.loader import Tables

SETS_G = (1000.0, 500.0, 250.0, 150.0, 100.0, 50.0)  # oven-dry grams of one set of layers that are tried
DRAWINGS: tuple[tuple[int, ...], ...] = (
    (),
    (4,),
    (6,),
    (4, 4),
    (4, 6),
    (6, 6),
    (4, 4, 4),
    (4, 4, 6),
    (4, 6, 6),
    (6, 6, 6),
)
REFERENCE_PASSES, REFERENCE_DRAWING = 2, (4, 6)  # the route at which figures are weighed against one another
MOST_CHECKED = 60  # ways that are reckoned as a forecast would, until one is sure
SURE_ROOM, LABEL_ROOM = 1.3, 3.0  # the quick band is off by less than this of a way's own (own trials)
LEAST_VARIANCE = 1e-24  # of one fibre alone, whose share never strays
MOST_TRIED = 3  # passes that are reckoned even where fewer are allowed, to say what they would do


@dataclass(frozen=True, eq=False, slots=True)
class _Case:
    """The question in hand."""

    feed: Feed
    tables: Tables
    figures: Sequence[Figure]
    fibres: Sequence[str]
    strand_tex: float
    slope_lab: Floats | None
    labels: Signals
    limits: Limits
    wish: Wish
    feedings: tuple[Feeding, ...]
    loads: int

    @property
    def has_colour(self) -> bool:
        """Whether stripes are asked about at all."""
        return self.slope_lab is not None

    @property
    def signals(self) -> Signals:
        """Shares of the parts, of the fibres the label names, and the colours."""
        parts = share_signals(self.feed.parts)
        names = (*parts.names, *(f"label, {name}" for name in self.labels.names))
        shares = Signals(names, np.concatenate([parts.weights, self.labels.weights]))
        return shares if self.slope_lab is None else with_colour(shares, self.slope_lab)

    @property
    def most_label_chance(self) -> float:
        """Chance of missing the label that is put up with."""
        asked = self.wish.most_label_chance
        return self.figure("label_miss_chance") if asked is None else asked

    def figure(self, name: str) -> float:
        """A limit of table evenness_figures."""
        return self.tables.evenness_figures[name].value

    @property
    def limit(self) -> float:
        """How far apart, or how large a spread, is put up with."""
        return self.figure("visible_pair" if self.wish.is_strict else "visible_sd")

    def ends(self, passage: Passage) -> Ends:
        """A route with the figures that mix better and worse, as a forecast has them."""
        return ends_of(
            passage,
            tables=self.tables,
            figures=self.figures,
            slope_lab=self.slope_lab,
            distance_mm=self.wish.distance_mm,
        )

    def costs(self, route: Passage, rates: Mapping[str, MachineRate] | None) -> tuple[StageCost, ...]:
        """What the stages cost for all loads together, with one setting up."""
        feed = dataclasses.replace(route.feed, lot_dry_mass_g=self.loads * route.feed.lot_dry_mass_g)
        whole = dataclasses.replace(route, feed=feed)
        return stage_costs(whole, self.tables, self.fibres, rates=rates)

    def passage(self, feeding: Feeding, passes: int, ends: Sequence[int]) -> Passage:
        """A route with likely figures."""
        feed = dataclasses.replace(self.feed, layers=feeding.layers)
        draws = tuple(Draw(n, float(n)) for n in ends)
        steps = usual_steps(self.figures, passes=passes, draws=draws, sandwich_g=feeding.sandwich_g)
        return Passage(feed, steps, self.strand_tex)


@dataclass(frozen=True, eq=False, slots=True)
class _Answers:
    """Of every feeding, number of passes and drawing, shape (3, c, p, e), low, likely, high.

    `apart` in CIELAB, `points` of the smallest part, `chance` of missing the label; `correlation` of the ends
    (3,); `met` whether the wish is met.
    """

    apart: Floats
    points: Floats
    chance: Floats
    correlation: Floats
    met: Bools


def choose(
    feed: Feed,
    *,
    tables: Tables,
    figures: Sequence[Figure],
    fibres: Sequence[str],
    strand_tex: float,
    slope_lab: Floats | None = None,
    limits: Limits | None = None,
    wish: Wish | None = None,
    rates: Mapping[str, MachineRate] | None = None,
    loads: int = 1,
) -> Choice:
    """Try every set of layers, sandwich, number of passes and drawing, and choose the gentlest that will do.

    Parameters
    ----------
    feed : Feed
        The lot and its parts; its layers are what is chosen.
    figures : sequence of Figure
        Figures of the machines with their ranges.
    fibres : sequence of str
        Fibre key of every part, in its order.
    strand_tex : float
        Linear density of the strand [tex].
    slope_lab : ndarray, shape (3, k), optional
        Weights of the colour signals; without it only the label counts.
    limits, wish, rates : optional
        What fibre and machines allow; what the goods must be; how the machines run.
    loads : int
        Equal loads of whole sets that the lot is picked and tossed in, each by itself.

    Raises
    ------
    InputError
        A lot too small for two sets, or another number of fibres than parts.
    """
    limits, wish = limits or gentle_limits(tables, fibres), wish or Wish()
    feed = dataclasses.replace(feed, lot_dry_mass_g=feed.lot_dry_mass_g / loads)
    feedings = _feedings(feed, limits, figures, tables)
    labels = label_signals(feed.parts, tables)
    case = _Case(feed, tables, figures, fibres, strand_tex, slope_lab, labels, limits, wish, feedings, loads)
    reference = case.ends(case.passage(feedings[0], REFERENCE_PASSES, REFERENCE_DRAWING))
    band, matters = reference.scene.band, reference.matters
    most = case.passage(feedings[0], _most_passes(limits), (2,))
    answers = _answers(case, (band.low(most), most, band.high(most)))
    options = _options(case, answers, rates)
    allowed = sorted((one for one in options if _is_allowed(one, limits)), key=_gentleness)
    likely_ones = [one for one in allowed if one.is_likely]
    best = next((exact for one in likely_ones if (exact := _exact(case, one)).is_likely), None)
    nearly = [one for one in likely_ones if _is_nearly_sure(case, one)][:MOST_CHECKED]
    checked = (_exact(case, one) for one in nearly)
    sure = best if best and best.is_sure else next((one for one in checked if one.is_sure), None)
    by_passes = tuple(
        found
        for passes in range(_most_passes(limits) + 1)
        if (found := _gentlest(case, [one for one in likely_ones if one.passes == passes]))
    )
    return Choice(
        best=best,
        sure=sure,
        by_passes=by_passes,
        extra_pass=_extra_pass(case, rates),
        n_tried=len(options),
        sentence=_sentence(case, best, sure, options, answers, matters[0].figure if matters else None),
        matters=matters,
    )


def _gentlest(case: _Case, options: Sequence[Option]) -> Option | None:
    """The first that is likely enough when its own figures are weighed."""
    return next((exact for one in options if (exact := _exact(case, one)).is_likely), None)


def _is_nearly_sure(case: _Case, option: Option) -> bool:
    """Whether a way may turn out sure when its own figures are weighed against one another."""
    chance = option.label_chance.high <= LABEL_ROOM * case.most_label_chance
    if option.apart_de is None:
        return chance
    times = 1.0 if case.wish.is_strict else case.figure("pair_95")
    return chance and option.apart_de.high <= SURE_ROOM * times * case.limit


def _exact(case: _Case, option: Option) -> Option:
    """The way with the band of a forecast of it: figures weighed for its own route, all of it reckoned."""
    layers = option.layers // case.loads
    laid_g = case.feed.lot_dry_mass_g / layers if option.sandwich_g else 0.0
    sandwich_g = sandwich_enters_g(case.figures, case.tables, laid_g=laid_g)
    passage = case.passage(Feeding(layers, sandwich_g), option.passes, option.ends)
    wish, least = case.wish, case.limits.least_length_frac
    found = outcome(case.ends(passage), specimens=wish.specimens, bias_frac=wish.bias_frac)
    times = case.figure("pair_95")
    apart = [times * one.seen_sd_de for one in found.seen]
    met = [
        chance <= case.most_label_chance
        and (not apart or apart[end] <= (case.limit if wish.is_strict else times * case.limit))
        for end, chance in ((1, found.chance.mid), (2, found.chance.high))
    ]
    worst = length_left(case.feed.parts, case.limits.break_rate, passes=option.passes).worst_frac
    return dataclasses.replace(
        option,
        apart_de=likely(apart) if apart else None,
        points=found.points,
        label_chance=found.chance,
        is_likely=met[0] and option.length_frac >= least,
        is_sure=all(met) and worst >= least,
    )


def _most_passes(limits: Limits) -> int:
    return max(MOST_TRIED, limits.most_passes)


def _feedings(feed: Feed, limits: Limits, figures: Sequence[Figure], tables: Tables) -> tuple[Feeding, ...]:
    """Every size of set, and again as sandwiches where the nip takes a whole set at once."""
    layers = sorted({round(feed.lot_dry_mass_g / set_g) for set_g in SETS_G} - {0, 1})
    if not layers:
        raise InputError("lot", f"{feed.lot_dry_mass_g:.0f} g", f"at least two sets of {min(SETS_G):.0f} g")
    found = []
    for count in layers:
        found.append(Feeding(count, 0.0))
        set_g = feed.lot_dry_mass_g / count
        if set_g <= limits.most_sandwich_g:
            found.append(Feeding(count, sandwich_enters_g(figures, tables, laid_g=set_g)))
    return tuple(found)


def _answers(case: _Case, three: Sequence[Passage]) -> _Answers:
    doublings = sorted({math.prod(ends) for ends in DRAWINGS})
    place = [doublings.index(math.prod(ends)) for ends in DRAWINGS]
    distance_mm = case.wish.distance_mm
    eye = Eye(
        case.figure("seen_piece"),
        case.strand_tex,
        case.figure("viewing_distance") if distance_mm is None else distance_mm,
        np.array([case.figure("label_specimen"), min(case.figure("skein_shared"), case.feed.lot_dry_mass_g)]),
    )
    machines = [_machines(one) for one in three]
    left = [
        variance_left(
            case.feed,
            case.feedings,
            doublings,
            machines=one,
            signals=case.signals,
            eye=eye,
            tables=case.tables,
        )
        for one in machines
    ]
    seen_sd = np.sqrt(np.stack([one.seen for one in left]))[..., place]
    shares = np.stack([one.shares for one in left])[:, :, :, place]
    smallest = int(np.argmin(case.feed.shares))
    chance = _label_chance(case, shares, float(eye.specimens_g[0]))
    apart = case.figure("pair_95") * seen_sd
    is_even = (apart if case.wish.is_strict else seen_sd) <= case.limit
    met = (chance <= case.most_label_chance) & (is_even | (not case.has_colour))
    correlation = np.array([one.correlation for one in machines])
    return _Answers(apart, POINTS * np.sqrt(shares[..., 0, smallest]), chance, correlation, met)


def _machines(passage: Passage) -> Machines:
    """The figures of a route that picks as often as is tried and draws once."""
    picks = tuple(step for step in passage.steps if isinstance(step, Pick))
    toss = next(step for step in passage.steps if isinstance(step, Toss))
    card = next(step for step in passage.steps if isinstance(step, Card))
    draw = next(step for step in passage.steps if isinstance(step, Draw))
    return Machines(picks, toss, card, draw.correlation)


def _label_chance(case: _Case, shares: Floats, specimen_g: float) -> Floats:
    """Chance of missing the label by the fibre most at risk, shape of all but the last two axes."""
    wish, parts = case.wish, case.feed.parts
    shares = shares[..., len(parts) :]
    sampling = signals_sampling_variance(parts, case.labels, specimen_g=specimen_g)
    variance = specimens_variance(shares[..., 0, :], shares[..., 1, :], sampling, specimens=wish.specimens)
    sd = np.sqrt(np.maximum(variance.max(axis=-1), LEAST_VARIANCE))
    tolerance = case.figure("label_tolerance") / POINTS
    ends = np.stack([-(tolerance - wish.bias_frac) / sd, -(tolerance + wish.bias_frac) / sd])
    return np.asarray(normal_cdf(ends).sum(axis=0))


def _length_fracs(case: _Case) -> list[tuple[float, float]]:
    """Mean length left after 0, 1, 2 ... passes of the part that suffers most, likely and at worst [frac]."""
    left = (
        length_left(case.feed.parts, case.limits.break_rate, passes=passes)
        for passes in range(_most_passes(case.limits) + 1)
    )
    return [(one.likely_frac, one.worst_frac) for one in left]


def _options(case: _Case, answers: _Answers, rates: Mapping[str, MachineRate] | None) -> list[Option]:
    lengths, least = _length_fracs(case), case.limits.least_length_frac
    found = []
    for passes, (length, worst) in enumerate(lengths):
        for drawing, ends in enumerate(DRAWINGS):
            route = case.passage(case.feedings[0], passes, ends)
            cost = lost_and_minutes(case.costs(route, rates))
            for at, feeding in enumerate(case.feedings):
                here = (slice(None), at, passes, drawing)
                found.append(
                    Option(
                        layers=feeding.layers * case.loads,
                        set_g=case.feed.lot_dry_mass_g / feeding.layers,
                        sandwich_g=feeding.sandwich_g and case.feed.lot_dry_mass_g / feeding.layers,
                        passes=passes,
                        ends=ends,
                        apart_de=likely(answers.apart[here]) if case.has_colour else None,
                        points=likely(answers.points[here]),
                        label_chance=likely(answers.chance[here]),
                        length_frac=length,
                        cost=cost,
                        is_likely=bool(answers.met[1, at, passes, drawing]) and length >= least,
                        is_sure=bool(answers.met[2, at, passes, drawing]) and worst >= least,
                    )
                )
    return found


def _is_allowed(option: Option, limits: Limits) -> bool:
    """Within what fibre and machines take; a sandwich needs a picker to go through."""
    fits = not option.ends or max(option.ends) <= limits.most_ends
    is_picked = limits.least_passes <= option.passes <= limits.most_passes
    return fits and is_picked and (option.passes > 0 or option.sandwich_g == 0)


def _gentleness(option: Option) -> tuple[float, ...]:
    """Sorts by what is dearest first: passes, then doublings, then sandwiches, then sets."""
    return (option.passes, len(option.ends), option.doublings, option.sandwich_g > 0, option.layers)


def _extra_pass(case: _Case, rates: Mapping[str, MachineRate] | None) -> StageCost:
    """Fibre and minutes of one more pass after the first."""
    route = case.passage(case.feedings[0], REFERENCE_PASSES, ())
    costs = case.costs(route, rates)
    picked = [cost for step, cost in zip(route.steps, costs[1:], strict=True) if isinstance(step, Pick)]
    return picked[-1]


def _sentence(
    case: _Case,
    best: Option | None,
    sure: Option | None,
    options: Sequence[Option],
    answers: _Answers,
    unsure: Figure | None,
) -> str:
    if best is None:
        return _why_none(case, options, answers)
    told = f"{best.words()}: likely enough"
    if sure == best:
        return f"{told}, and also if the machines mix worse than believed."
    if sure is not None:
        return f"{told}. To be sure as well if the machines mix worse: {sure.words()}."
    first = f"; measure {unsure.words} first" if unsure is not None else ""
    return f"{told}, but no way is sure if the machines mix worse than believed{first}."


def _why_none(case: _Case, options: Sequence[Option], answers: _Answers) -> str:
    """Why nothing will do, the deepest reason first."""
    limits = case.limits
    specimen_g = case.figure("label_specimen")
    followed = len(case.feed.parts) + len(case.labels.names)
    alone = _label_chance(case, np.zeros((1, 2, followed)), specimen_g)
    if float(alone.max()) > case.most_label_chance:
        return (
            "No way meets the label: weighing out and the number of fibres in a specimen alone miss it too "
            "often. Weigh out nearer, or test more fibre."
        )
    reach = [one for one in options if one.is_likely]
    gentler = [one for one in reach if one.passes > limits.most_passes]
    if gentler:
        need = min(one.passes for one in gentler)
        return (
            f"No gentle way: {need} passes through the picker would do, but this fibre should see "
            f"{limits.most_passes} at most. Lay smaller sets than {min(SETS_G):.0f} g, or choose lots nearer "
            "in shade."
        )
    limit = case.limit
    common = answers.apart[1, :, limits.most_passes, 0].min() * math.sqrt(answers.correlation[1])
    if case.has_colour and answers.correlation[1] > 0 and common > limit:
        return (
            f"What all ends of a drawing have in common leaves {common:.1f} apart however often it is "
            f"doubled; {PICK_AGAIN}."
        )
    allowed = [one for one in options if _is_allowed(one, limits)]
    longest = [one for one in allowed if one.length_frac >= limits.least_length_frac] or allowed
    least = min(longest, key=lambda one: one.apart_de.mid if one.apart_de else one.points.mid)
    left = f"{least.apart_de.mid:.1f} apart" if least.apart_de else f"{least.points.mid:.1f} points"
    return (
        f"No way will do: even {least.words()} leaves {left}. Choose lots nearer in shade, or make less at "
        "once."
    )
