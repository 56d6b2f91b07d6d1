"""The gentlest way is found among all, agrees with the closed form, and is not promised where it is not."""

import dataclasses
import math

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import default_mixing
from doffer.fibre.colour.spectrum import light
from doffer.fibre.variation import share_signals, with_colour
from doffer.planning.evenness.choose import choose
from doffer.planning.evenness.figures import SHARED, sandwich_enters_g, usual_figures, usual_steps
from doffer.planning.evenness.forecast import forecast
from doffer.planning.evenness.routes import Eye, Feeding, Machines, variance_left
from doffer.planning.evenness.slope import slope_lab, spectra_of_labs
from doffer.planning.evenness.wish import Wish, gentle_limits
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through
from doffer.process.evenness.visible import seen_sd_de
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
FIGURES = usual_figures(TABLES)
SEEN_IN = light(TABLES)
FIBRES = ("alpaca", "wool")


def part(name, share):
    return Part(name, share, 25, 0.25, 70, 0.2, 1.31)


FEED = Feed(6000, (part("dark", 0.2), part("silver", 0.8)), 24)


def slope(*labs):
    spectra = spectra_of_labs(np.array(labs, dtype=float), SEEN_IN)
    return slope_lab(spectra, FEED.shares, SEEN_IN, mixing=default_mixing(TABLES))


DARK_IN_SILVER = slope((25, 1, 3), (65, 0, 3))
NEAR = slope((63, 1, 3), (65, 0, 3))


def chosen(slope_lab=DARK_IN_SILVER, figures=FIGURES, feed=FEED, **more):
    return choose(
        feed,
        tables=TABLES,
        figures=figures,
        fibres=FIBRES,
        strand_tex=3000,
        slope_lab=slope_lab,
        **more,
    )


def limits(**changes):
    return dataclasses.replace(gentle_limits(TABLES, FIBRES), **changes)


def with_shared(value):
    return [
        dataclasses.replace(one, value=value, low=value, high=value, status=Status.OWN)
        if one.key == SHARED
        else one
        for one in FIGURES
    ]


@pytest.mark.parametrize("lot_g", [1500.0, 6000.0, 20000.0])
@pytest.mark.parametrize("shared", [0.0, 0.1])
def test_many_routes_at_once_are_the_routes_one_by_one(lot_g, shared):
    feed = dataclasses.replace(FEED, lot_dry_mass_g=lot_g)
    signals = with_colour(share_signals(feed.parts), DARK_IN_SILVER)
    machines = Machines((Pick(20, 0, 0.3), Pick(20, 0, 0.05)), Toss(10), Card(60), shared)
    feedings = (Feeding(24, 0.0), Feeding(60, 0.0), Feeding(60, 0.9 * lot_g / 60))
    eye = Eye(10, 3000, 400, np.array([1.0, 100.0]))
    left = variance_left(
        feed, feedings, (1, 24, 216), machines=machines, signals=signals, eye=eye, tables=TABLES
    )
    drawings = ((), (4, 6), (6, 6, 6))
    for at, feeding in enumerate(feedings):
        for passes in (0, 1, 2):
            picked = [
                step
                for number, pick in enumerate(machines.picks[:passes])
                for step in (
                    dataclasses.replace(pick, sandwich_g=0.0 if number else feeding.sandwich_g),
                    Toss(10),
                )
            ]
            for drawn, ends in enumerate(drawings):
                steps = (*picked, Card(60), *(Draw(n, n, shared) for n in ends))
                route = Passage(dataclasses.replace(feed, layers=feeding.layers), steps, 3000)
                after = through(route, signals)
                seen = seen_sd_de(after, TABLES, strand_tex=3000, distance_mm=400)
                assert math.sqrt(left.seen[at, passes, drawn]) == pytest.approx(seen, rel=0.02)
                between = between_variance(after, masses_g=eye.specimens_g)[:2].T
                assert left.shares[at, passes, drawn] == pytest.approx(between, rel=0.04, abs=1e-12)


def test_every_combination_is_tried_and_the_gentlest_wins():
    answer = chosen()
    assert answer.n_tried >= 240
    best = answer.best
    assert best.is_likely
    assert best.apart_de.mid <= 1.0
    assert best.passes == min(one.passes for one in answer.by_passes)
    assert 1 <= best.passes <= 3
    assert answer.sure.apart_de.high <= 1.0
    assert answer.sure.label_chance.high <= 0.05


def test_the_best_way_forecast_on_its_own_is_not_seen():
    best = chosen().best
    draws = tuple(Draw(n, n) for n in best.ends)
    steps = usual_steps(FIGURES, passes=best.passes, draws=draws, sandwich_g=0.9 * best.sandwich_g)
    route = Passage(dataclasses.replace(FEED, layers=best.layers), steps, 3000)
    last = forecast(route, tables=TABLES, figures=FIGURES, slope_lab=DARK_IN_SILVER).stages[-1]
    assert not last.is_visible
    assert last.apart_de.mid == pytest.approx(best.apart_de.mid, rel=0.02)


def test_smaller_sets_come_before_more_passes():
    no_belt = limits(most_sandwich_g=0.0)
    answer = chosen(limits=no_belt)
    assert answer.best.passes <= 2
    by_passes = {one.passes: one for one in answer.by_passes}
    fewest, most = min(by_passes), max(by_passes)
    assert by_passes[fewest].layers >= by_passes[most].layers or (
        by_passes[fewest].doublings > by_passes[most].doublings
    )


def test_a_sandwich_is_offered_only_where_the_nip_takes_it():
    assert all(one.sandwich_g == 0 for one in chosen(limits=limits(most_sandwich_g=0.0)).by_passes)
    assert chosen(limits=limits(most_sandwich_g=100.0)).best.sandwich_g in (0, 50, 100)


def test_lots_of_like_shade_need_less_work():
    easy, hard = chosen(NEAR).best, chosen().best
    assert (easy.passes, easy.doublings, easy.layers) < (hard.passes, hard.doublings, hard.layers)


def test_the_loose_limit_asks_less_than_the_strict_one():
    loose = chosen(wish=Wish(is_strict=False)).best
    strict = chosen().best
    assert (loose.passes, loose.doublings) < (strict.passes, strict.doublings) or (
        loose.layers < strict.layers
    )


def test_without_colours_only_the_label_counts():
    answer = chosen(None)
    assert answer.best.apart_de is None
    assert answer.best.label_chance.mid <= 0.05


def test_what_the_ends_share_is_said_to_be_beyond_drawing():
    no_belt = limits(most_sandwich_g=0.0)
    answer = chosen(20 * DARK_IN_SILVER, figures=with_shared(0.9), limits=no_belt)
    assert answer.best is None
    assert "drawing cannot mend it: pick and card again" in answer.sentence


def test_a_fibre_too_tender_for_the_passes_it_needs_is_said_so():
    sound, tender = (limits(most_passes=most, most_sandwich_g=0.0) for most in (3, 1))
    steep = 12 * DARK_IN_SILVER
    assert chosen(steep, limits=sound, figures=with_shared(0.0)).best.passes == 2
    answer = chosen(steep, limits=tender, figures=with_shared(0.0))
    assert answer.best is None
    assert "2 passes through the picker would do, but this fibre should see 1 at most" in answer.sentence


def test_when_nothing_will_do_it_says_how_far_the_best_gets():
    hopeless = chosen(400 * DARK_IN_SILVER, figures=with_shared(0.0))
    assert hopeless.best is None
    assert hopeless.sentence.startswith("No way will do: even ")
    assert " apart. Choose lots nearer in shade" in hopeless.sentence


def test_a_label_that_weighing_alone_misses_is_said_so():
    answer = chosen(NEAR, wish=Wish(bias_frac=0.03))
    assert answer.best is None
    assert answer.sentence.startswith("No way meets the label: weighing out")


def test_tender_and_fragile_fibre_sees_one_pass():
    assert gentle_limits(TABLES, ("wool",)).most_passes == 3
    assert gentle_limits(TABLES, ("wool", "angora_rabbit")).most_passes == 1
    tender = gentle_limits(TABLES, ("wool",), is_tender=True)
    assert (tender.most_passes, tender.break_rate.k) == (1, pytest.approx(0.2))


def test_length_is_lost_with_every_pass_and_counts_as_a_limit():
    answer = chosen(limits=limits(most_sandwich_g=0.0))
    lengths = [one.length_frac for one in answer.by_passes]
    assert lengths == sorted(lengths, reverse=True)
    assert chosen(limits=limits(least_length_frac=0.99)).best is None


def test_one_more_pass_has_its_price():
    extra = chosen().extra_pass
    loss = (0.2 * 10 / 3 + 0.8 * 6.5 / 3) / 100
    assert extra.lost_g == pytest.approx(6000 * (1 - loss) * loss)
    assert extra.minutes == pytest.approx(6 * (1 - loss) / 5 * 60)


def test_the_sentence_says_how_sure_it_is():
    assert "likely enough" in chosen().sentence
    assert chosen().best.words() in chosen().sentence
    assert "and also if the machines mix worse" in chosen(NEAR).sentence


def test_a_handful_of_fibre_is_refused():
    with pytest.raises(InputError, match="at least two sets"):
        chosen(feed=dataclasses.replace(FEED, lot_dry_mass_g=60))


def told_by_forecast(option, feed, slope_lab, figures=FIGURES, **more):
    """The forecast of the very same way."""
    draws = tuple(Draw(n, float(n)) for n in option.ends)
    laid_g = feed.lot_dry_mass_g / option.layers if option.sandwich_g else 0.0
    entering_g = sandwich_enters_g(figures, TABLES, laid_g=laid_g)
    steps = usual_steps(figures, passes=option.passes, draws=draws, sandwich_g=entering_g)
    route = Passage(dataclasses.replace(feed, layers=option.layers), steps, 3000)
    return forecast(route, tables=TABLES, figures=figures, slope_lab=slope_lab, **more)


def random_blend(seed):
    rng = np.random.default_rng(seed)
    k = int(rng.integers(2, 5))
    shares = rng.dirichlet(np.full(k, 3.0)) * (1 - 0.05 * k) + 0.05
    fibres = rng.choice(["wool", "alpaca", "suri", "mohair"], k).tolist()
    parts = tuple(
        dataclasses.replace(part(f"lot {at}", float(share)), fibre=fibre)
        for at, (share, fibre) in enumerate(zip(shares / shares.sum(), fibres, strict=True))
    )
    feed = Feed(float(rng.uniform(1000, 20000)), parts, 24, weighing_sd_g=1.0)
    labs = np.column_stack([rng.uniform(15, 90, k), rng.uniform(-3, 10, k), rng.uniform(0, 15, k)])
    spectra = spectra_of_labs(labs, SEEN_IN)
    return feed, fibres, slope_lab(spectra, feed.shares, SEEN_IN, mixing=default_mixing(TABLES))


@pytest.mark.parametrize("seed", range(8))
def test_what_is_chosen_has_the_verdict_of_its_own_forecast(seed):
    feed, fibres, slope_of = random_blend(seed)
    answer = choose(feed, tables=TABLES, figures=FIGURES, fibres=fibres, strand_tex=3000, slope_lab=slope_of)
    for option in {answer.best, answer.sure, *answer.by_passes} - {None}:
        told = told_by_forecast(option, feed, slope_of)
        last = told.stages[-1]
        chances = [max(getattr(one, end).chance for one in told.label) for end in ("mid", "high")]
        assert option.is_likely
        assert not last.is_visible
        assert chances[0] <= 0.05
        assert option.is_sure == (not last.may_be_visible and chances[1] <= 0.05)
        for end in ("low", "mid", "high"):
            assert getattr(option.apart_de, end) == pytest.approx(getattr(last.apart_de, end))
    assert answer.sure is None or answer.sure.is_sure


def test_two_lots_of_one_wool_need_no_care_for_the_label():
    lots = tuple(dataclasses.replace(part(name, 0.5), fibre="wool") for name in ("kettle 1", "kettle 2"))
    feed = dataclasses.replace(FEED, parts=lots)
    alike = choose(feed, tables=TABLES, figures=FIGURES, fibres=("wool",) * 2, strand_tex=3000)
    assert (alike.best.passes, alike.best.ends, alike.best.sandwich_g) == (1, (), 0)
    assert alike.best.label_chance.high == 0
    apart = tuple(dataclasses.replace(one, fibre=name) for one, name in zip(lots, FIBRES, strict=True))
    harder = chosen(None, feed=dataclasses.replace(FEED, parts=apart)).best
    assert harder.doublings > 1 or harder.passes > 1 or harder.layers > alike.best.layers


def test_loads_are_lots_of_their_own_and_told_together():
    whole, halves = chosen(), chosen(loads=2)
    alone = chosen(feed=dataclasses.replace(FEED, lot_dry_mass_g=3000))
    assert halves.best.layers == 2 * alone.best.layers
    assert (halves.best.passes, halves.best.ends, halves.best.set_g) == (
        alone.best.passes,
        alone.best.ends,
        alone.best.set_g,
    )
    assert halves.best.apart_de == alone.best.apart_de
    assert halves.extra_pass == whole.extra_pass
