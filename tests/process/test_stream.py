"""The simulated stream against the closed forms, and the laws it keeps."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.variation import share_signals
from doffer.process.evenness import kernels, stream
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through

CELL_G = 0.5
STRAND_TEX = 3000.0
ERRORS = 3.5  # standard errors of the simulation
CLOSE_FRAC = 0.01  # what cells, ends of the lot and finite sums may add
TOSS_FRAC = 0.1  # the closed form lets what varies within a grab keep its long waves: up to 5 % of the sd
FRAGMENT_FRAC = 0.05  # what all ends share is heard from a sixth of the lot, which varies less than the whole
ODD_G = (0.5, 3.5, 36.5)  # pieces whose cuts fall anywhere in a pair and in a grab


def part(name, share):
    return Part(name, share, 25.0, 0.25, 70.0, 0.3, 1.31)


TWO = (part("white", 0.2), part("grey", 0.8))
THREE = (part("white", 0.2), part("fawn", 0.3), part("grey", 0.5))
FIVE = tuple(part(name, 0.2) for name in ("white", "a", "b", "c", "d"))


def passage(*steps, set_g=100.0, lot_g=10_000.0, parts=TWO, **feed):
    return Passage(Feed(lot_g, parts, round(lot_g / set_g), **feed), steps, STRAND_TEX)


def variances(f, *, piece_g, cell_g=CELL_G, cut_g=0.0):
    """Variance of every part's share between pieces, ends of the lot left off."""
    off, per_piece = round(cut_g / cell_g), round(piece_g / cell_g)
    inner = f[off : len(f) - off].astype(np.float64)
    n = len(inner) // per_piece
    return inner[: n * per_piece].reshape(n, per_piece, -1).mean(axis=1).var(axis=0)


def apart(route, *, pieces_g, seeds, close_frac, cut_g):
    """Difference of simulated from closed variances, in units of what may differ, shape (seeds' parts, w)."""
    runs = [stream.run(route, cell_g=CELL_G, seed=seed)[-1] for seed in range(seeds)]
    found = np.array([[variances(f, piece_g=w, cut_g=cut_g) for w in pieces_g] for f in runs])
    closed = between_variance(through(route, share_signals(route.feed.parts)), masses_g=np.array(pieces_g)).T
    error = found.std(axis=0, ddof=1) / np.sqrt(seeds)
    return np.abs(found.mean(axis=0) - closed) / (ERRORS * error + close_frac * closed)


LAGS = (Pick(20.0), Card(60.0))
HANDFULS = {"parts": FIVE, "laying": Laying.HANDFULS}
LARGE = {"lot_g": 20_000.0, **HANDFULS}
ONE_TOSS = (Pick(20.0, 0.0, 0.3), Toss(10.0), Card(60.0))
TWO_TOSSES = (Pick(20.0, 0.0, 0.3), Toss(10.0), Pick(20.0, 0.0, 0.05), Toss(10.0), Card(60.0))
ODD_SET_G = 107.3
# name: passage, pieces [g], seeds, close to, ends left off [g]
AGREEING = {
    "pairs of 50 g": (passage(*LAGS, set_g=50.0), (0.5, 5.5), 2, CLOSE_FRAC, 400),
    "pairs of 100 g": (passage(*LAGS), ODD_G, 2, CLOSE_FRAC, 400),
    "pairs of 250 g": (passage(*LAGS, set_g=250.0), ODD_G, 2, CLOSE_FRAC, 500),
    "pairs of 500 g": (passage(*LAGS, set_g=500.0), ODD_G, 2, CLOSE_FRAC, 500),
    "three parts": (passage(*LAGS, set_g=200.0, parts=THREE), (0.5, 5.5), 2, CLOSE_FRAC, 400),
    "half a pair a sandwich": (passage(Pick(20.0, 50.0), Card(60.0)), (0.5, 5.5), 2, CLOSE_FRAC, 400),
    "a sandwich of 90 g": (passage(Pick(20.0, 90.0), Card(60.0)), (0.5, 5.5), 2, CLOSE_FRAC, 400),
    "two picks": (passage(Pick(20.0), Pick(40.0)), ODD_G, 2, CLOSE_FRAC, 400),
    "the card alone": (passage(Card(60.0)), ODD_G, 2, CLOSE_FRAC, 400),
    "handfuls through the card": (passage(Card(60.0), **HANDFULS), ODD_G, 16, CLOSE_FRAC, 0),
    "handfuls as large as the hold-up": (passage(Pick(20.0), **HANDFULS), ODD_G, 12, CLOSE_FRAC, 0),
    "larger handfuls": (passage(Pick(20.0), set_g=400.0, **HANDFULS), ODD_G, 24, CLOSE_FRAC, 0),
    "handfuls, picker and card": (passage(*LAGS, **HANDFULS), ODD_G, 16, CLOSE_FRAC, 0),
    "four ends": (passage(*LAGS, Draw(4, 4.0), **HANDFULS), ODD_G, 24, CLOSE_FRAC, 0),
    "six ends": (passage(*LAGS, Draw(6, 6.0), **HANDFULS), ODD_G, 24, CLOSE_FRAC, 0),
    "four by six ends": (passage(*LAGS, Draw(4, 4.0), Draw(6, 6.0), **HANDFULS), ODD_G, 40, CLOSE_FRAC, 0),
    "correlated ends": (passage(*LAGS, Draw(6, 6.0, 0.2), **LARGE), ODD_G, 16, FRAGMENT_FRAC, 0),
    "correlated ends twice": (
        passage(*LAGS, Draw(6, 6.0, 0.2), Draw(6, 6.0, 0.2), **LARGE),
        ODD_G,
        16,
        FRAGMENT_FRAC,
        0,
    ),
    "cans in step": (
        passage(*LAGS, Draw(4, 4.0, cans=Cans.IN_STEP), set_g=250.0),
        ODD_G,
        2,
        CLOSE_FRAC,
        1000,
    ),
    "clumps of 1.7 g": (passage(Pick(20.0, 0.0, 1.7)), ODD_G, 12, CLOSE_FRAC, 400),
    "clumps of 0.3 g": (passage(Pick(20.0, 0.0, 0.3)), ODD_G, 12, CLOSE_FRAC, 400),
    "clumps of 20 mg": (passage(Pick(20.0, 0.0, 0.02)), ODD_G, 12, CLOSE_FRAC, 400),
    "clumps, carded": (passage(Pick(200.0, 100.0, 1.7), Card(60.0)), ODD_G, 24, CLOSE_FRAC, 400),
    "a toss": (passage(Pick(20.0), Toss(10.0), set_g=ODD_SET_G), ODD_G, 12, TOSS_FRAC, 0),
    "a toss, carded": (passage(*ONE_TOSS, set_g=ODD_SET_G), ODD_G, 24, TOSS_FRAC, 0),
    "two tosses": (passage(*TWO_TOSSES, set_g=ODD_SET_G), ODD_G, 24, TOSS_FRAC, 0),
}


@pytest.mark.parametrize("name", AGREEING)
def test_the_stream_agrees_with_the_closed_form_within_its_own_error(name):
    route, pieces_g, seeds, close_frac, cut_g = AGREEING[name]
    found = apart(route, pieces_g=pieces_g, seeds=seeds, close_frac=close_frac, cut_g=cut_g)
    assert found.max() < 1


def half_the_hold_up(f, *, hold_up_ratio, loops, out):
    return RIGHT_TANK(f, hold_up_ratio=hold_up_ratio / 2, loops=loops, out=out)


def box_for_lag(f, *, hold_up_ratio, loops, out):
    return kernels.box(f, window_ratio=2 * hold_up_ratio)  # of the same mean delay


RIGHT_TANK = stream._through_tank


@pytest.mark.parametrize("wrong", [half_the_hold_up, box_for_lag])
@pytest.mark.parametrize(
    "name", ["pairs of 250 g", "handfuls, picker and card", "three parts", "a toss, carded"]
)
def test_the_comparison_finds_a_wrong_kernel(monkeypatch, wrong, name):
    monkeypatch.setattr(stream, "_through_tank", wrong)
    route, pieces_g, seeds, close_frac, cut_g = AGREEING[name]
    assert apart(route, pieces_g=pieces_g, seeds=seeds, close_frac=close_frac, cut_g=cut_g).max() > 1.2


@pytest.mark.parametrize(("set_g", "sd"), [(50.0, 0.01318), (100.0, 0.04363), (250.0, 0.14017)])
def test_layers_through_two_lags_leave_what_was_computed_elsewhere(set_g, sd):
    f = stream.run(passage(*LAGS, set_g=set_g), cell_g=0.25, seed=1)[-1]
    assert np.sqrt(variances(f, piece_g=0.25, cell_g=0.25, cut_g=500)[0]) == pytest.approx(sd, rel=0.005)


@pytest.mark.parametrize(("sandwich_g", "sd"), [(0.0, 0.0436), (50.0, 0.0269), (90.0, 0.0048), (100.0, 0.0)])
def test_a_sandwich_of_a_whole_pair_cancels_it(sandwich_g, sd):
    f = stream.run(passage(Pick(20.0, sandwich_g), Card(60.0)), cell_g=0.25, seed=1)[-1]
    found = np.sqrt(variances(f, piece_g=0.25, cell_g=0.25, cut_g=500)[0])
    assert found == pytest.approx(sd, rel=0.02, abs=1e-6)


STEPS = st.lists(
    st.one_of(
        st.builds(
            Pick,
            st.floats(0, 200),
            st.sampled_from([0.0, 3.0, 130.0]),
            st.sampled_from([0.0, 0.02, 0.3, 7.0]),
        ),
        st.builds(Toss, st.floats(0.1, 300)),
        st.builds(Card, st.floats(0, 5000)),
        st.builds(
            Draw,
            st.integers(1, 9),
            st.just(4.0),
            st.sampled_from([0.0, 0.2, 1.0]),
            st.sampled_from(list(Cans)),
        ),
    ),
    max_size=5,
)


@settings(max_examples=25, deadline=None)
@example([Pick(65.0), Toss(125.0), Pick(0.125, 0.0, 0.3)], TWO, Laying.LAYERS, (600.0, 7, 0.5), 0.0, 0)
@example([Pick(5.0, 0.0, 0.02)], TWO, Laying.LAYERS, (50.0, 1, 0.25), 0.0, 0)
@example([Toss(51.0)], TWO, Laying.LAYERS, (50.0, 1, 0.25), 0.0, 0)
@given(
    STEPS,
    st.sampled_from([TWO, THREE, FIVE]),
    st.sampled_from(list(Laying)),
    st.sampled_from([(600.0, 7, 0.5), (611.3, 3, 0.7), (50.0, 1, 0.25)]),
    st.sampled_from([0.0, 2.0]),
    st.integers(0, 9),
)
def test_every_step_keeps_the_total_of_every_part(steps, parts, laying, lot, weighing_sd_g, seed):
    lot_g, layers, cell_g = lot
    feed = Feed(lot_g, parts, layers, laying, weighing_sd_g=weighing_sd_g)
    for f in stream.run(Passage(feed, tuple(steps), STRAND_TEX), cell_g=cell_g, seed=seed):
        assert f.dtype == np.float32
        assert np.abs(f.mean(axis=0, dtype=np.float64) / feed.shares - 1).max() < 1e-6
        assert np.abs(f.sum(axis=1, dtype=np.float64) - 1).max() < 1e-6
        assert f.min() >= -1e-6


def stages(*steps, seed=1, **feed):
    return stream.run(passage(*steps, lot_g=6000.0, **feed), cell_g=0.25, seed=seed)


def test_a_machine_that_holds_nothing_changes_nothing():
    laid, picked, carded = stages(Pick(0.0), Card(0.0))
    assert np.array_equal(picked, laid)
    assert np.array_equal(carded, laid)
    assert stages(Card(1e-3))[-1][:-1] == pytest.approx(laid[1:], abs=0.005)


@pytest.mark.parametrize("hold_up_g", [6000.0, 1e9])
def test_a_machine_that_holds_the_whole_lot_evens_it(hold_up_g):
    assert stages(Card(hold_up_g))[-1] == pytest.approx(np.broadcast_to([0.2, 0.8], (24000, 2)), abs=1e-6)


def test_a_drawing_of_one_end_changes_nothing():
    laid, drawn = stages(Draw(1, 1.0))
    assert np.array_equal(drawn, laid)


def test_drawing_stretches_the_strand():
    drawn = stages(Card(60.0), Draw(4, 4.0))[-1].reshape(-1, 4, 2)
    assert np.array_equal(drawn, np.repeat(drawn[:, :1], 4, axis=1))


def test_cans_in_step_keep_the_stripe_that_cans_apart_lose():
    """Computed elsewhere: 24 layers into 4 and 6 cans, 13.7 points in step and about 2.9 apart."""
    for cans, low, high in ((Cans.IN_STEP, 0.134, 0.142), (Cans.APART, 0.024, 0.034)):
        found = [
            variances(
                stages(*LAGS, Draw(4, 4.0, cans=cans), Draw(6, 6.0, cans=cans), set_g=250.0, seed=seed)[-1],
                piece_g=1.0,
                cell_g=0.25,
            )[0]
            for seed in range(8)
        ]
        assert low < np.sqrt(np.mean(found)) < high


def test_pure_handfuls_tossed_stripe_more_than_the_same_in_turn():
    """Computed elsewhere: 14.0 points of handfuls of 20 g in any order, 4.4 in turn."""
    for laying, low, high in ((Laying.HANDFULS, 0.132, 0.148), (Laying.LAYERS, 0.0432, 0.0442)):
        route = passage(*LAGS, lot_g=20_000.0, parts=FIVE, laying=laying)
        found = [
            variances(stream.run(route, cell_g=0.5, seed=seed)[-1], piece_g=1.0, cut_g=400)[0]
            for seed in range(6)
        ]
        assert low < np.sqrt(np.mean(found)) < high


def opening_g(f, part):
    """How much comes off before the part is a twentieth of its mean."""
    return float(np.argmax(f[:, part] > f[:, part].mean() / 20)) * 0.25


def test_half_a_layer_at_the_ends_takes_away_the_opening_without_the_minor_part():
    grey_first = (TWO[1], TWO[0])
    whole = stages(*LAGS, set_g=200.0, parts=grey_first, has_half_layer_ends=False)[-1]
    half = stages(*LAGS, set_g=200.0, parts=grey_first)[-1]
    assert opening_g(whole, 1) == pytest.approx(84, abs=3)
    assert opening_g(half, 1) < 8
    assert opening_g(whole[::-1], 1) == opening_g(half[::-1], 1) == 0


def test_errors_of_weighing_stripe_a_little_and_keep_the_lot():
    """Computed elsewhere: 1 g on layers of pairs of 50 g, 3.85 points become 3.95."""
    sds = []
    for weighing_sd_g in (0.0, 1.0):
        route = passage(Card(60.0), set_g=50.0, lot_g=20_000.0, weighing_sd_g=weighing_sd_g)
        found = [
            variances(stream.run(route, cell_g=0.5, seed=s)[-1], piece_g=0.5, cut_g=400)[0] for s in range(6)
        ]
        sds.append(np.sqrt(np.mean(found)))
    assert sds[0] == pytest.approx(0.0382, abs=2e-4)
    assert 0.0005 < sds[1] - sds[0] < 0.0020


def test_the_same_seed_gives_the_same_stream_and_a_step_more_changes_none_before_it():
    steps = (Pick(20.0, 0.0, 0.3), Toss(10.0), Card(60.0), Draw(4, 4.0))
    first, again, longer = stages(*steps), stages(*steps), stages(*steps, Draw(6, 6.0))
    for a, b, c in zip(first, again, longer, strict=False):
        assert np.array_equal(a, b)
        assert np.array_equal(a, c)
    assert not np.array_equal(first[1], stages(*steps, seed=2)[1])


def test_a_seed_means_the_same_everywhere():
    """The order of handfuls is whole numbers from PCG64: alike on every machine."""
    laid = stages(parts=FIVE, laying=Laying.HANDFULS, seed=7)[0]
    assert np.argmax(laid[::80][:6], axis=1).tolist() == SEVENTH


SEVENTH = [3, 2, 1, 0, 3, 4]


def test_ply_is_the_mean_of_its_bobbins():
    single = stages(*LAGS, **HANDFULS)
    rng = np.random.Generator(np.random.PCG64(1))
    plied = [
        variances(stream.ply(single[-1], plies=3, rng=rng), piece_g=1.0, cell_g=0.25)[0] for _ in range(20)
    ]
    assert np.mean(plied) / variances(single[-1], piece_g=1.0, cell_g=0.25)[0] == pytest.approx(
        1 / 3, rel=0.15
    )


def test_a_cell_without_mass_is_refused():
    with pytest.raises(InputError, match="above zero grams"):
        stream.run(passage(), cell_g=0.0, seed=1)
