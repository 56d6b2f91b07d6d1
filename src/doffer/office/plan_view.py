"""A plan as its page and its papers show it: pictures, words and tables of every batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from doffer.fibre.content import Basis, LabelShares
from doffer.fibre.count import count_working, from_tex
from doffer.mill.queries.orders import RunRow
from doffer.office import plan_pictures
from doffer.pictures.bench import say_weighed_when
from doffer.pictures.colour import contrast, fibre_hex, mixed
from doffer.pictures.settings_words import first_settings
from doffer.pictures.wording import say
from doffer.pictures.words import say_list, say_many
from doffer.planning.order_plan import BatchPlan, OrderPlan, StagePlan
from doffer.planning.put_up import PutUp, put_up
from doffer.planning.raise_it import WaysToRaise
from doffer.planning.spec import BatchSpec, OrderSpec, Wish
from doffer.planning.spread import Spread
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

BASIS_NAMES = {
    Basis.EU_AGREED: "EU, agreed allowance",
    Basis.US_COMMERCIAL: "US, commercial regain",
    Basis.OVEN_DRY: "oven-dry",
}
COUNTS = (
    ("nm", "metric count (Nm), metres in a gram"),
    ("yd_per_100g", "yards in 100 g"),
    ("yd_per_lb", "yards in a pound"),
    ("yd_per_4oz", "yards in 4 oz"),
)
TOLD_APART = 1.25  # contrast of two bands below which an eye takes them for one
DARKER = "#5d4a3a"
PIECE_NAMES = {
    "yarn": ("skein", "skeins"),
    "singles": ("skein", "skeins"),
    "roving": ("bump", "bumps"),
    "batt": ("batt", "batts"),
}


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage with its name in words and the water in the fibre afterwards."""

    title: str
    plan: StagePlan
    weighed: str = ""  # what the runs since the plan weighed, beside the planned range
    first: tuple[tuple[str, str], ...] = ()  # what is set first at its machine


@dataclass(frozen=True, slots=True)
class LabelView:
    """The label on one basis; `is_printed` for the rule set of the owner's country."""

    basis: str
    label: LabelShares
    is_printed: bool

    @property
    def exact(self) -> str:
        """Shares with one decimal."""
        return " / ".join(f"{part.share * 100:.1f}" for part in self.label.parts)


@dataclass(frozen=True, slots=True)
class CountView:
    """The wished count in the ways people say it."""

    tex: float
    said: tuple[tuple[str, str], ...]
    working: Working


@dataclass(frozen=True, slots=True)
class BatchView:
    """One batch, ready to show."""

    plan: BatchPlan
    spec: BatchSpec
    title: str
    wish_words: str
    piece_name: str
    pieces_name: str
    source: str
    river: str
    river_tall: str
    ladder: str
    layers: str
    fineness: str
    stages: tuple[StageView, ...]
    labels: tuple[LabelView, ...]
    length_m: Spread | None
    length_shares_only_m: Spread | None
    shares_only_pieces: int
    fixed_words: str
    count: CountView | None
    weigh_total_g: int  # the sum of the lines as they are weighed, in whole grams
    weighed_when: Mapping[str, str]  # of lots still in the grease: what their line of the weigh-out means


def order_view(
    spec: OrderSpec,
    plan: OrderPlan,
    tables: Tables,
    *,
    colours: Mapping[str, str],
    system: str,
    runs: Sequence[RunRow] = (),
    made_at: datetime | None = None,
) -> tuple[BatchView, ...]:
    """Every batch of a plan; runs since `made_at` are shown beside what was planned."""
    views = []
    for batch, made in zip(spec.batches, plan.batches, strict=True):
        done = runs_of_stages(made, batch, runs, made_at)
        said = {
            stage.name: weighed_words(stage, done[stage.name], system)
            for stage in made.stages
            if stage.name in done
        }
        views.append(
            batch_view(batch, made, spec.ways.label_basis, tables, colours=colours, system=system,
                       weighed_g=weighed_since(made, done), run_words=said)
        )  # fmt: skip
    return tuple(views)


def batch_view(
    spec: BatchSpec,
    plan: BatchPlan,
    basis: Basis,
    tables: Tables,
    *,
    colours: Mapping[str, str],
    system: str,
    weighed_g: Mapping[str, float],
    run_words: Mapping[str, str],
) -> BatchView:
    """One batch with its pictures."""
    colour = blended_colour(plan, colours)
    wide, tall = plan_pictures.rivers(plan, colour=colour, system=system)
    apart = told_apart(plan, colours)
    one, many = PIECE_NAMES[plan.product]
    return BatchView(
        plan=plan,
        spec=spec,
        title=spec.name,
        wish_words=wish_words(spec.wish, system),
        piece_name=one,
        pieces_name=many,
        source=plan_pictures.source_words(plan),
        river=wide,
        river_tall=tall,
        ladder=plan_pictures.ladder(plan, weighed_g, colour=colour, system=system) if weighed_g else "",
        layers=plan_pictures.layers(plan, apart, system=system),
        fineness=plan_pictures.fineness(spec, plan, apart, tables),
        stages=tuple(
            StageView(
                _stage_title(stage),
                stage,
                run_words.get(stage.name, ""),
                tuple(first_settings(stage.suggestions, stage.stage, system)),
            )
            for stage in plan.stages
        ),
        labels=tuple(
            LabelView(BASIS_NAMES[label.basis], label, label.basis is basis) for label in plan.labels
        ),
        length_m=_rounded(plan.length_m),
        length_shares_only_m=_rounded(plan.length_shares_only_m),
        shares_only_pieces=_pieces(plan.finished_shares_only.safe, spec.wish),
        fixed_words=fixed_words(plan, system),
        count=count_view(spec.wish.length_m_per_100g, tables),
        weigh_total_g=sum(round(line.weigh_mass_g) for line in plan.weigh_out.lines) if plan.weigh_out else 0,
        weighed_when=weighed_when(plan),
    )


def weighed_when(plan: BatchPlan) -> dict[str, str]:
    """Of each lot that is still in the grease: what its line of the weigh-out sheet means."""
    if plan.weigh_out is None:
        return {}
    forms = {use.lot: use.form for use in plan.lots}
    meeting = plan.meeting_stage
    said = {
        line.name: say_weighed_when(forms[line.name], line.weigh_mass_g, meeting)
        for line in plan.weigh_out.lines
    }
    return {lot: words for lot, words in said.items() if words}


def _stage_title(stage: StagePlan) -> str:
    name = plan_pictures.STAGE_NAMES.get(stage.stage, stage.stage).capitalize()
    return f"{name} {stage.name.split()[-1]}" if " " in stage.name else name


def _rounded(length_m: Spread | None) -> Spread | None:
    """Metres to three figures: nobody knows the last metre of fifty thousand."""
    if length_m is None:
        return None
    return Spread(
        *(float(f"{value:.3g}") for value in (length_m.mean, length_m.low, length_m.high, length_m.safe))
    )


def _pieces(mass_g: float, wish: Wish) -> int:
    return put_up(
        mass_g=mass_g, piece_mass_g=wish.piece_mass_g, test_mass_g=min(wish.test_mass_g, mass_g)
    ).n_pieces


def fixed_words(plan: BatchPlan, system: str) -> str:
    """Why the two figures differ, in a sentence; empty where the machines keep nothing."""
    lost_g = plan.finished_shares_only.mean - plan.finished.mean
    if plan.fixed_mass_g <= 0 or lost_g <= 0:
        return ""
    keepers = [(stage.machine or stage.stage).split(",")[0] for stage in plan.stages if _held_g(stage) > 0]
    return (
        f"By shares alone it would be {say(plan.finished_shares_only.mean, 'g', system)}. But the machines "
        f"({say_list(list(dict.fromkeys(keepers)))}) keep about {say(plan.fixed_mass_g, 'g', system)} "
        "together, the same from a small lot as from a large one: fibre on the rollers, bobbin ends, "
        f"the first and last of every web. That leaves {say(plan.finished.mean, 'g', system)}."
    )


def _held_g(stage: StagePlan) -> float:
    return sum(loss.mass_g for loss in stage.losses if loss.kind == "held")


def wish_words(wish: Wish, system: str) -> str:
    """What it is to become, as one says it: "2-ply yarn, 250 m/100 g, in skeins of 100 g"."""
    names = {"yarn": f"{wish.plies}-ply yarn", "singles": "singles yarn", "batt": "batts", "roving": "roving"}
    words = [names[wish.product]]
    if wish.length_m_per_100g is not None:
        words.append(say(wish.length_m_per_100g, "m_per_100g", system))
    if wish.shares:
        words.append(
            " ".join(f"{share * 100:.0f} % {name.replace('_', ' ')}" for name, share in wish.shares.items())
        )
    words.append(f"in {PIECE_NAMES[wish.product][1]} of {say(wish.piece_mass_g, 'g', system)}")
    return ", ".join(words)


def raise_words(found: WaysToRaise, plan: BatchPlan, system: str) -> tuple[str, ...]:
    """What the owner can do so that more comes of it, in a sentence each."""
    one, many = PIECE_NAMES[plan.product]
    said = []
    if found.skirted is not None:
        mass = say(found.skirted.weighed_mass_g, "g", system)
        said.append(
            f"Skirt it hard before it comes: {mass} already skirted is safe for "
            f"{say_many(found.skirted.safe_then, one, many)}, not skirted for {found.skirted.safe_now}."
        )
    if found.together is not None:
        both = say(found.together.weighed_mass_g, "g", system)
        each = say(found.together.weighed_mass_g / 2, "g", system)
        said.append(
            f"Bring more of it together: {both} in one lot is safe for "
            f"{say_many(found.together.safe_then, one, many)}, two lots of {each} for "
            f"{found.together.safe_now}. The machines keep about {say(plan.fixed_mass_g, 'g', system)} of a "
            "lot, whatever its size."
        )
    return tuple(said)


def count_view(length_m_per_100g: float | None, tables: Tables) -> CountView | None:
    """The count in tex, Nm and yards; None where no count is wished."""
    if length_m_per_100g is None:
        return None
    working = count_working(tables, system="m_per_100g", count=length_m_per_100g)
    tex = float(working.result.value)
    said = tuple(
        (name, f"{from_tex(tables, system=system, count_tex=tex):.{2 if system == 'nm' else 1}f}")
        for system, name in COUNTS
    )
    return CountView(tex, said, working)


@dataclass(frozen=True, slots=True)
class SkeinsView:
    """Whole pieces out of a weight on the scale, and what is over."""

    mass_g: float
    test_g: float
    put_up: PutUp
    length_m: float | None
    working: Working


def skeins_view(*, mass_g: float, test_g: float, wish: Wish) -> SkeinsView:
    """Skeins out of set yarn that lies on the scale, after the test skein was taken."""
    made = put_up(mass_g=mass_g, piece_mass_g=wish.piece_mass_g, test_mass_g=test_g)
    length = None if wish.length_m_per_100g is None else wish.piece_mass_g / 100 * wish.length_m_per_100g
    working = Working(
        title="Skeins out of this weight",
        formula="(weight on the scale − test skein) ÷ weight of a skein, rounded down; the rest is over",
        inputs=(
            Term("weight on the scale", mass_g, "g"),
            Term("test skein", test_g, "g"),
            Term("weight of a skein", wish.piece_mass_g, "g"),
        ),
        result=Term("skeins", made.n_pieces, "count", f"{made.over_mass_g:.0f} g over"),
        source="arithmetic",
        status=Status.COMPUTED,
    )
    return SkeinsView(mass_g, test_g, made, length, working)


def blended_colour(plan: BatchPlan, colours: Mapping[str, str]) -> str:
    """An approximate colour of the blend for the river: parts mixed by their weight."""
    colour, total_g = "", 0.0
    for use in plan.lots:
        mine = colours.get(use.lot, fibre_hex(None, None, None))
        total_g += use.agreed.mean
        colour = mixed(colour, mine, use.agreed.mean / total_g) if colour and total_g > 0 else mine
    return colour or fibre_hex(None, None, None)


def told_apart(plan: BatchPlan, colours: Mapping[str, str]) -> dict[str, str]:
    """Colours of the lots in one picture: those that could not be told apart are darkened step by step."""
    chosen: dict[str, str] = {}
    for use in plan.lots:
        mine = colours.get(use.lot, fibre_hex(None, None, None))
        alike = sum(contrast(mine, other) < TOLD_APART for other in chosen.values())
        chosen[use.lot] = mixed(mine, DARKER, min(0.75, 0.22 * alike)) if alike else mine
    return chosen


def runs_of_stages(
    plan: BatchPlan, spec: BatchSpec, runs: Sequence[RunRow], made_at: datetime | None
) -> dict[str, list[RunRow]]:
    """Finished runs since the plan was made, by step name, with the lots that came of the batch's lots."""
    if made_at is None:
        return {}
    lots = {start.lot for start in spec.lots}
    found: dict[str, list[RunRow]] = {}
    for run in sorted(runs, key=lambda each: each.started_at):
        ins = {lot for lot, *_ in run.ins}
        if run.ended_at is None or run.ended_at < made_at or not lots & ins:
            continue
        lots |= {lot for lot, *_ in run.outs}
        steps = [stage.name for stage in plan.stages if stage.stage == run.stage]
        own = [name for name in steps if name.rpartition(" ")[2] in ins]
        for name in own or [name for name in steps if " " not in name]:
            found.setdefault(name, []).append(run)
    return found


def weighed_since(plan: BatchPlan, runs: Mapping[str, Sequence[RunRow]]) -> dict[str, float]:
    """Clean fibre at agreed regain after a stage, as weighed since the plan was made [g], by step name."""
    return {
        stage.name: sum(dry for run in runs[stage.name] for _, _, dry in run.outs if dry is not None)
        * stage.agreed.mean
        / stage.dry.mean
        for stage in plan.stages
        if stage.name in runs and stage.dry.mean > 0
    }


def weighed_words(stage: StagePlan, runs: Sequence[RunRow], system: str) -> str:
    """What came out on the scale beside the planned range: "2.31 kg so far, inside the range of the plan"."""
    in_g, out_g = (sum(mass for run in runs for _, mass, _ in getattr(run, side)) for side in ("ins", "outs"))
    plan = stage.weighed
    said = f"{say(out_g, 'g', system)}{f' in {len(runs)} runs' if len(runs) > 1 else ''}"
    if in_g < stage.weighed_in.low and out_g < plan.low:
        return f"{said} so far, of {say(in_g, 'g', system)} that went in"
    if out_g < plan.low:
        return f"{said}, outside the range: {say(plan.low - out_g, 'g', system)} below it"
    if out_g > plan.high:
        return f"{said}, outside the range: {say(out_g - plan.high, 'g', system)} above it"
    return f"{said}, inside the range"
