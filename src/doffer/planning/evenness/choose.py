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
from doffer.planning.evenness.breakage import length_left
from doffer.planning.evenness.cost import MachineRate, StageCost, lost_and_minutes, stage_costs
from doffer.planning.evenness.doublings import PICK_AGAIN
from doffer.planning.evenness.figures import Figure, usual_steps
from doffer.planning.evenness.finished import POINTS, likely
from doffer.planning.evenness.label_risk import specimen_sampling_variance, specimens_variance
from doffer.planning.evenness.routes import Eye, Feeding, Machines, variance_left
from doffer.planning.evenness.sensitivity import weighed, what_matters
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
MOST_TRIED = 3  # passes that are reckoned even where fewer are allowed, to say what they would do


@dataclass(frozen=True, eq=False, slots=True)
class _Case:
    """The question in hand."""

    feed: Feed
    tables: Tables
    figures: Sequence[Figure]
    fibres: Sequence[str]
    strand_tex: float
    signals: Signals
    limits: Limits
    wish: Wish
    feedings: tuple[Feeding, ...]

    @property
    def has_colour(self) -> bool:
        """Whether stripes are asked about at all."""
        return len(self.signals.names) > len(self.feed.parts)

    @property
    def most_label_chance(self) -> float:
        """Chance of missing the label that is put up with."""
        asked = self.wish.most_label_chance
        return self.figure("label_miss_chance") if asked is None else asked

    def figure(self, name: str) -> float:
        """A limit of table evenness_figures."""
        return self.tables.evenness_figures[name].value

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

    Raises
    ------
    InputError
        A lot too small for two sets, or another number of fibres than parts.
    """
    signals = share_signals(feed.parts)
    if slope_lab is not None:
        signals = with_colour(signals, slope_lab)
    limits = limits or gentle_limits(tables, fibres)
    held = tables.evenness_figures["sandwich_held"].value
    feedings = _feedings(feed, limits, held)
    case = _Case(feed, tables, figures, fibres, strand_tex, signals, limits, wish or Wish(), feedings)
    reference = case.passage(feedings[0], REFERENCE_PASSES, REFERENCE_DRAWING)
    start = len(feed.parts) if case.has_colour else 0
    watched = Signals(signals.names[start:], signals.weights[start:])
    matters = what_matters(reference, figures, watched, piece_g=case.figure("label_specimen"))
    band = weighed(figures, matters)
    most = case.passage(feedings[0], _most_passes(limits), (2,))
    answers = _answers(case, (band.low(most), most, band.high(most)))
    options = _options(case, answers, rates)
    allowed = [one for one in options if _is_allowed(one, limits)]
    best = min((one for one in allowed if one.is_likely), key=_gentleness, default=None)
    sure = min((one for one in allowed if one.is_sure), key=_gentleness, default=None)
    by_passes = tuple(
        min(same, key=_gentleness)
        for passes in range(_most_passes(limits) + 1)
        if (same := [one for one in allowed if one.passes == passes and one.is_likely])
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


def _most_passes(limits: Limits) -> int:
    return max(MOST_TRIED, limits.most_passes)


def _feedings(feed: Feed, limits: Limits, held: float) -> tuple[Feeding, ...]:
    """Every size of set, and again as sandwiches where the nip takes a whole set at once."""
    layers = sorted({round(feed.lot_dry_mass_g / set_g) for set_g in SETS_G} - {0, 1})
    if not layers:
        raise InputError("lot", f"{feed.lot_dry_mass_g:.0f} g", f"at least two sets of {min(SETS_G):.0f} g")
    found = []
    for count in layers:
        found.append(Feeding(count, 0.0))
        set_g = feed.lot_dry_mass_g / count
        if set_g <= limits.most_sandwich_g:
            found.append(Feeding(count, held * set_g))
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
    limit = case.figure("visible_pair") if case.wish.is_strict else case.figure("visible_sd")
    is_even = (apart if case.wish.is_strict else seen_sd) <= limit
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
    """Chance of missing the label by the part most at risk, shape of all but the last two axes."""
    wish, sampling = case.wish, specimen_sampling_variance(case.feed.parts, specimen_g=specimen_g)
    variance = specimens_variance(shares[..., 0, :], shares[..., 1, :], sampling, specimens=wish.specimens)
    sd = np.sqrt(variance.max(axis=-1))
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
            cost = lost_and_minutes(stage_costs(route, case.tables, case.fibres, rates=rates))
            for at, feeding in enumerate(case.feedings):
                here = (slice(None), at, passes, drawing)
                found.append(
                    Option(
                        layers=feeding.layers,
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
    costs = stage_costs(route, case.tables, case.fibres, rates=rates)
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
    limits, wish = case.limits, case.wish
    specimen_g = case.figure("label_specimen")
    floor = specimen_sampling_variance(case.feed.parts, specimen_g=specimen_g)[None, None, :]
    alone = _label_chance(case, np.concatenate([np.zeros_like(floor)] * 2, axis=1), specimen_g)
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
    limit = case.figure("visible_pair" if wish.is_strict else "visible_sd")
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
