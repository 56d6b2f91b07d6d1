"""The bench's further answers: a blend found, an off-shade lot corrected, sub-lots chosen, leftovers used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import DofferError, InfeasibleError
from doffer.fibre.colour.words import difference_words
from doffer.mill.queries.bench import Bench, BenchLot
from doffer.office.bench_asked import CORRECT, FIND, TOGETHER, Asked
from doffer.office.bench_blend import TELLABLE_DE, Aim, hex_of, lots_error_de, not_in_daylight, stock_of
from doffer.office.bench_lots import stock_lots
from doffer.office.bench_rules import none_to_use, owners_of_answer, stopped_by
from doffer.office.readings import as_typed_mass
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import swatch_pair
from doffer.planning.shade.correct import Batch, Correction, correct_batch
from doffer.planning.shade.leftovers import use_up
from doffer.planning.shade.missing import Missing, what_is_missing
from doffer.planning.shade.other_models import OtherAnswer, other_answers
from doffer.planning.shade.search import search_recipes
from doffer.planning.shade.sub_lots import Choice, SubLots, choose_sub_lots, sub_lots_together
from doffer.planning.shade.target import MOST_LOTS, Recipe, Rules
from doffer.planning.shade.tell import surest_first

USUAL_MIX_G = 1000.0
MOST_ANSWERS, MANY_ANSWERS = 5, 20
CENTS = 100
CG_PER_G = 100
WORTH_A_LOOK_DE = 3.0  # a blend that much farther off than the best is no answer
MOST_OTHER_WAYS = 2


@dataclass(frozen=True, slots=True)
class Share:
    """A lot in an answer: its colour, share, and weights on the scale now and oven-dry [g]."""

    lot: BenchLot
    hex: str
    share_frac: float
    weighed_g: float
    dry_g: float


@dataclass(frozen=True, slots=True)
class Answer:
    """One blend that was found; `address` opens it on the bench."""

    shares: tuple[Share, ...]
    de: float
    words: tuple[str, ...]
    lights: Mapping[str, float]
    band: tuple[float, float] | None
    swatch: str
    address: str
    total_g: float

    @property
    def lots_de(self) -> float:
        """What the lots' own readings let the prediction be off by, at worst of them."""
        return lots_error_de([one.lot for one in self.shares])

    @property
    def cost_cents_per_kg(self) -> int | None:
        """What a kilogram of it costs, oven-dry; None while a lot's cost is not known."""
        costs = [one.lot.cost_cents_per_kg for one in self.shares]
        if any(cost is None for cost in costs):
            return None
        return round(sum((cost or 0) * one.share_frac for cost, one in zip(costs, self.shares, strict=True)))


@dataclass(frozen=True, slots=True)
class Corrected:
    """An off-shade lot with additions: each part alone, together, and the best plans.

    `low_g` and `high_g` are the additions on the scale between which the plan stays within the tolerance.
    """

    alone: tuple[tuple[BenchLot, float, tuple[str, ...]], ...]
    together_de: float
    together_words: tuple[str, ...]
    best: Correction
    added: tuple[Share, ...]
    answer: Answer
    low_g: float | None
    high_g: float | None
    trial: tuple[tuple[str, float], ...]
    others: tuple[OtherAnswer, ...]
    more: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """Sub-lots blended whole: all, without each, and the choice that makes most of the shade."""

    all: SubLots
    lots: tuple[BenchLot, ...]
    words: tuple[str, ...]
    all_answer: Answer
    choice: Choice
    kept: tuple[BenchLot, ...]
    left_out: tuple[BenchLot, ...]
    answer: Answer


@dataclass(frozen=True, slots=True)
class Found:
    """What the bench says to a question.

    `problem` is a sentence where it cannot be answered; `ways_out` are links that lead on, with their words.
    """

    want: str
    problem: str = ""
    ways_out: tuple[tuple[str, str], ...] = ()
    mass_g: float = 0.0
    is_usual_mass: bool = False
    answers: tuple[Answer, ...] = ()
    missing: Missing | None = None
    corrected: Corrected | None = None
    together: Together | None = None
    used_g: float | None = None
    unused: tuple[str, ...] = ()
    more_lots: tuple[tuple[str, str], ...] = ()

    @property
    def lots_de(self) -> float:
        """What the lots' own readings let the predictions be off by, at worst of all answers."""
        shown = [*self.answers]
        shown += [self.together.all_answer] if self.together else []
        shown += [self.corrected.answer] if self.corrected else []
        return max((one.lots_de for one in shown), default=0.0)


def answer_of(asked: Asked, bench: Bench, aim: Aim | None, *, system: str) -> Found:
    """Answer a question that is more than a look at one blend."""
    if aim is None and not_in_daylight(asked, bench):
        return Found(
            asked.want, "This shade was not read in daylight, so nothing can be held against it yet."
        )
    if aim is None:
        return Found(asked.want, "Choose the shade, or type the colour you want as L, a and b.")
    if asked.errors:
        return Found(asked.want, next(iter(asked.errors.values())))
    if asked.want != FIND and not asked.lots:
        return Found(asked.want, NOTHING_CHOSEN[asked.want])
    stopped = stopped_by(asked, bench)
    if stopped is not None:
        return Found(asked.want, stopped.problem, stopped.ways)
    try:
        if asked.want == CORRECT:
            return _corrected(asked, bench, aim)
        if asked.want == TOGETHER:
            return _together(asked, bench, aim)
        return _searched(asked, bench, aim, system)
    except InfeasibleError as wrong:
        return Found(asked.want, str(wrong), _with_more_lots(asked) if asked.want == FIND else ())
    except DofferError as wrong:
        return Found(asked.want, str(wrong))


NOTHING_CHOSEN = {
    CORRECT: "Tick the lot that is off shade, or the sub-lots that must all go in.",
    TOGETHER: "Tick the lots that were dyed to this shade, two or more.",
    "leftovers": "Tick the lots you want used up.",
}


def _chosen(asked: Asked, bench: Bench) -> list[BenchLot]:
    """The ticked lots; `stopped_by` has seen that every one can go in."""
    return [bench.lot(code) for code in asked.lots]


def _stock(asked: Asked, bench: Bench, also: Sequence[BenchLot] = ()) -> list[BenchLot]:
    """Lots a search may use, with the ticked ones among them."""
    chosen = {lot.code for lot in also}
    return [lot for lot in bench.lots if lot.code in chosen or lot in stock_lots(asked, bench)]


def _searched(asked: Asked, bench: Bench, aim: Aim, system: str) -> Found:
    """A blend from stock, or one that uses up the ticked lots."""
    leftovers = [] if asked.want == FIND else _chosen(asked, bench)
    lots = _stock(asked, bench, leftovers)
    mass_g = asked.mass_g or USUAL_MIX_G
    if asked.most_cents_per_kg is not None:
        lots = [lot for lot in lots if lot.cost_cents_per_kg is not None]
    if not lots:
        if asked.most_cents_per_kg is not None:
            return Found(asked.want, NO_COST)
        return _nobody(asked, bench)
    stock = stock_of(lots)
    names = set(stock.names)
    rules = Rules(
        # the search counts oven-dry; by the driest lot, so that no lot is asked for more than there is of it
        batch_dry_mass_g=mass_g / (1 + min(lot.actual_regain_frac for lot in lots)),
        owners=owners_of_answer(asked, bench),
        most_lots=asked.most_lots,
        least_share=bench.tables.constants["shade_least_share"].value,
        required=asked.must if asked.want == FIND else frozenset(),
        forbidden=asked.never & names,
    )
    is_usual = asked.mass_g is None
    if asked.want == FIND:
        recipes = _cheap_enough(
            search_recipes(aim.target, stock, rules, bench.ways, n_results=MANY_ANSWERS), asked
        )
        missing = what_is_missing(aim.target, stock, rules, bench.ways, recipes, tolerance_de=aim.pass_de)
        near = recipes[0].score + WORTH_A_LOOK_DE
        answers = tuple(
            _answer(one, asked, bench, aim, mass_g, system)
            for one in surest_first([one for one in recipes if one.score <= near], bench.tables)
        )
        return Found(
            asked.want,
            "",
            (),
            mass_g,
            is_usual,
            answers,
            missing,
            more_lots=_with_more_lots(asked) if missing and missing.de <= aim.pass_de else (),
        )
    used = use_up(
        aim.target,
        stock,
        rules,
        bench.ways,
        leftovers=frozenset(lot.code for lot in leftovers),
        tolerance_de=aim.pass_de,
    )
    taken = {lot.code for lot in leftovers}
    made = _answer(used.recipe, asked, bench, aim, mass_g, system)
    used_g = sum(share.weighed_g for share in made.shares if share.lot.code in taken)
    unused = tuple(lot.code for lot in leftovers if lot.code not in used.recipe.lots)
    return Found(asked.want, "", (), mass_g, is_usual, (made,), used_g=used_g, unused=unused)


def _with_more_lots(asked: Asked) -> tuple[tuple[str, str], ...]:
    """The same question with as many lots as a blend may have; empty where they are allowed already."""
    return () if asked.most_lots >= MOST_LOTS else ((FIVE_LOTS, asked.address(most=MOST_LOTS)),)


FIVE_LOTS = "Allow five lots"


def _cheap_enough(recipes: tuple[Recipe, ...], asked: Asked) -> tuple[Recipe, ...]:
    """Those that cost no more than was said, a few of them.

    Raises
    ------
    InfeasibleError
        None does.
    """
    most = asked.most_cents_per_kg
    kept = [one for one in recipes if most is None or one.cost_cents_per_kg <= most]
    if not kept and recipes and most is not None:
        least = min(one.cost_cents_per_kg for one in recipes)
        raise InfeasibleError(
            f"This shade for {most / CENTS:.2f} a kilogram",
            f"the cheapest blend that was found costs {least / CENTS:.2f}",
            "Allow more, or write down what other lots cost",
        )
    return tuple(kept[:MOST_ANSWERS])


NO_COST = "No lot has a cost yet, so nothing can be kept below one. Write down what your fibre costs first."


def _nobody(asked: Asked, bench: Bench) -> Found:
    """No lot may go in, and why."""
    stopped = none_to_use(asked, bench)
    return Found(asked.want, stopped.problem, stopped.ways)


def _answer(recipe: Recipe, asked: Asked, bench: Bench, aim: Aim, mass_g: float, system: str) -> Answer:
    """A recipe as an answer, its weight as it lies on the scale."""
    regain = np.array([bench.lot(code).actual_regain_frac for code in recipe.lots])
    dry_g = np.array(recipe.shares) * mass_g / float(np.array(recipe.shares) @ (1 + regain))
    band = recipe.band
    ends = None
    if band is not None and band.de_low is not None and band.de_high is not None:
        ends = (band.de_low, band.de_high)
    return _made(
        [(bench.lot(code), float(mass)) for code, mass in zip(recipe.lots, dry_g, strict=True)],
        asked,
        bench,
        aim,
        lab=recipe.lab,
        de=recipe.de,
        band=ends,
        mass_text=as_typed_mass(mass_g, system),
    )


def _made(
    parts: Sequence[tuple[BenchLot, float]],
    asked: Asked,
    bench: Bench,
    aim: Aim,
    *,
    lab: Sequence[float],
    de: Mapping[str, float],
    band: tuple[float, float] | None = None,
    mass_text: str = "",
) -> Answer:
    """Lots with their oven-dry weights as an answer."""
    total_dry_g = sum(dry_g for _, dry_g in parts)
    shares = tuple(
        Share(
            lot,
            hex_of(lot, bench.tables),
            dry_g / total_dry_g,
            dry_g * (1 + lot.actual_regain_frac),
            dry_g,
        )
        for lot, dry_g in parts
    )
    wanted = aim.target.labs[0]
    pair = swatch_pair(
        fibre_hex(*(float(x) for x in wanted)), fibre_hex(*lab), first_name=aim.name, second_name="found"
    )
    opened = asked.with_blend({one.lot.code: one.share_frac for one in shares}, mass_text)
    return Answer(
        shares=shares,
        de=next(iter(de.values())),
        words=difference_words(wanted, np.array(lab), least_de=TELLABLE_DE),
        lights=de,
        band=band,
        swatch=pair,
        address=opened.address(),
        total_g=sum(one.weighed_g for one in shares),
    )


def _corrected(asked: Asked, bench: Bench, aim: Aim) -> Found:
    """What to add to lots that must all go in."""
    lots = _chosen(asked, bench)
    stock_rows = [
        lot for lot in stock_lots(asked, bench) if lot.code not in asked.lots and lot.code not in asked.never
    ]
    if not stock_rows:
        return _nobody(asked, bench)
    own = stock_of(lots)
    together = sub_lots_together(own.reflectance, own.dry_mass_g, target=aim.target, mixing=bench.ways.mixing)
    batch, stock = Batch(own.reflectance, own.dry_mass_g), stock_of(stock_rows)
    rules = {
        "target": aim.target,
        "stock": stock,
        "owners": owners_of_answer(asked, bench),
        "ways": bench.ways,
        "tolerance_de": aim.pass_de,
        "most_added_frac": asked.most_added_frac,
    }
    plans = correct_batch(batch, **rules)
    if not plans:
        return Found(asked.want, "Nothing that may be added brings it nearer.")
    best, wanted = plans[0], aim.target.labs[0]
    # the same addition with a little of a further lot is no other way
    plans = (best, *(plan for plan in plans[1:] if not set(best.lots) <= set(plan.lots)))
    made = [_plan(plan, lots, asked, bench, aim) for plan in plans[: 1 + MOST_OTHER_WAYS]]
    added = made[0].shares[len(lots) :]
    on_scale_g = sum(one.weighed_g for one in added)
    names = [*(lot.code for lot in lots), *best.lots]
    # no more is said to be right than was allowed to be added
    most_g = asked.most_added_frac * batch.total_dry_mass_g
    most_factor = max(1.0, most_g / best.total_added_dry_mass_g)
    corrected = Corrected(
        alone=tuple(
            (lot, de, difference_words(wanted, np.array(lot.lab), least_de=TELLABLE_DE))
            for lot, de in zip(lots, together.alone_de, strict=True)
        ),
        together_de=together.de_to_target,
        together_words=difference_words(wanted, np.array(together.lab), least_de=TELLABLE_DE),
        best=best,
        added=added,
        answer=made[0],
        low_g=None if best.low_factor is None else min(best.low_factor, most_factor) * on_scale_g,
        high_g=None if best.high_factor is None else min(best.high_factor, most_factor) * on_scale_g,
        trial=tuple(
            (code, amount / CG_PER_G) for code, amount in zip(names, best.trial_card_cg, strict=True)
        ),
        others=other_answers(batch, best, **rules),
        more=tuple(made[1:]),
    )
    return Found(asked.want, corrected=corrected)


def _plan(plan: Correction, lots: Sequence[BenchLot], asked: Asked, bench: Bench, aim: Aim) -> Answer:
    added = [(bench.lot(code), dry_g) for code, dry_g in zip(plan.lots, plan.added_dry_mass_g, strict=True)]
    band = plan.band
    ends = None
    if band is not None and band.de_low is not None and band.de_high is not None:
        ends = (band.de_low, band.de_high)
    return _made(
        [*((lot, lot.free_dry_g) for lot in lots), *added],
        asked,
        bench,
        aim,
        lab=plan.lab_after,
        de={aim.target.lights[0].illuminant: plan.de_after},
        band=ends,
    )


def _together(asked: Asked, bench: Bench, aim: Aim) -> Found:
    """Which whole lots make the shade together, and which to leave out."""
    lots = _chosen(asked, bench)
    own, mixing = stock_of(lots), bench.ways.mixing
    everything = sub_lots_together(own.reflectance, own.dry_mass_g, target=aim.target, mixing=mixing)
    choice = choose_sub_lots(
        own.reflectance, own.dry_mass_g, target=aim.target, mixing=mixing, tolerance_de=aim.pass_de
    )
    kept = tuple(lots[place] for place in choice.places)
    first = aim.target.lights[0].illuminant
    return Found(
        asked.want,
        together=Together(
            all=everything,
            lots=tuple(lots),
            words=difference_words(aim.target.labs[0], np.array(everything.lab), least_de=TELLABLE_DE),
            all_answer=_made(
                [(lot, lot.free_dry_g) for lot in lots],
                asked,
                bench,
                aim,
                lab=everything.lab,
                de={first: everything.de_to_target},
            ),
            choice=choice,
            kept=kept,
            left_out=tuple(lot for lot in lots if lot not in kept),
            answer=_made(
                [(lot, lot.free_dry_g) for lot in kept],
                asked,
                bench,
                aim,
                lab=choice.lab,
                de={first: choice.de_to_target},
            ),
        ),
    )
