"""A planned yarn as its pages show it: drawn, counted on every basis, its twist and draft in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from doffer.mill.queries.yarn_inputs import FibrePart
from doffer.pictures import section, spin_limit, wraps, yarn
from doffer.pictures.colour import fibre_hex, mixed
from doffer.pictures.wording import say
from doffer.pictures.words import say_many
from doffer.process.evenness.fibres import fibre_tex
from doffer.process.yarn.basis import State, StrandCount
from doffer.process.yarn.dimensions import Wrapping, diameter_mm, wraps_per_inch
from doffer.process.yarn.limits import Verdict
from doffer.process.yarn.plan import YarnPlan
from doffer.process.yarn.roving import system_words
from doffer.tables.loader import Tables

TEX_PER_G_PER_M: Final = 1000.0
M_PER_100G_TEX: Final = 100_000.0
TEST_LENGTH_M: Final = 10.0  # what is reeled and weighed
STATE_WORDS: Final = {
    State.ROLLER: ("At the front rolls", "without twist; the draft is set for this"),
    State.BOBBIN: ("Single on the bobbin", "twisted; weigh ten metres of this"),
    State.PLIED: ("Plied, before the wash", "in grease and oil, not relaxed"),
    State.FINISHED: ("Finished", "washed, set, dry; the label tells this"),
}
VERDICTS: Final = {
    Verdict.OK: ("It can be spun", "done"),
    Verdict.MARGINAL: ("It can be spun, with care", "caution"),
    Verdict.NO: ("It cannot be spun like this", "error"),
}
METHODS: Final = {
    Wrapping.RELAXED: "laid side by side, not pressed",
    Wrapping.TIGHT: "pushed tight together",
}


@dataclass(frozen=True, slots=True)
class CountRow:
    """A count on its basis: where in its life, what water and oil it carries."""

    name: str
    what: str
    count: StrandCount
    basis: str

    @property
    def tex(self) -> float:
        """[tex]."""
        return self.count.tex

    @property
    def metric_count(self) -> float:
        """Metres in a gram."""
        return TEX_PER_G_PER_M / self.count.tex

    @property
    def test_g(self) -> float:
        """What ten metres weigh [g]."""
        return self.count.tex * TEST_LENGTH_M / TEX_PER_G_PER_M


@dataclass(frozen=True, slots=True)
class YarnView:
    """A planned yarn, ready to show."""

    plan: YarnPlan
    verdict: str
    verdict_kind: str
    limit_words: str
    section_words: str
    drawn: str
    section: str
    gauge: str
    wraps: str
    wraps_words: tuple[str, ...]
    thick_mm: float
    counts: tuple[CountRow, ...]
    system_words: str
    guessed: tuple[str, ...]
    skein_m: float | None

    @property
    def is_possible(self) -> bool:
        """Whether it can be spun at all."""
        return self.plan.verdict is not Verdict.NO

    @property
    def single_angle_deg(self) -> float:
        """Slope of the outer fibres of a single [degrees]."""
        return math.degrees(self.plan.single_twist.angle_rad)


def yarn_view(
    plan: YarnPlan,
    parts: Sequence[FibrePart],
    tables: Tables,
    *,
    colours: Mapping[str, str],
    system: str,
    piece_mass_g: float | None = None,
) -> YarnView:
    """Everything a page shows of a plan; `colours` by lot, grey-cream where none was read."""
    thick = washed_yarn(plan, tables, name=f"{plan.wish.plies}-ply", colour=blend_hex(parts, colours))
    single = bobbin_single(plan, tables, colour=thick.colour)
    words, kind = VERDICTS[plan.verdict]
    shown = [thick] if plan.wish.plies == 1 else [single, thick]
    rows = wrap_rows(plan, tables)
    across = section_parts(plan, parts, colours)
    return YarnView(
        plan=plan,
        verdict=words,
        verdict_kind=kind,
        limit_words=spin_limit.verdict_words(
            fibres=plan.fibres, fewest=plan.fewest.hard, comfortable=plan.fewest.comfortable
        ),
        section_words=section.words_of(across),
        drawn=yarn.yarns(shown, system=system),
        section=section.section(across),
        gauge=spin_limit.spin_limit(
            fibres=plan.fibres, fewest=plan.fewest.hard, comfortable=plan.fewest.comfortable
        ),
        wraps=wraps.wraps(rows, thick_mm=thick.thick_mm, colour=thick.colour, system=system),
        wraps_words=tuple(f"{wraps.say_wraps(row.per_inch, system)}, {row.method}" for row in rows),
        thick_mm=thick.thick_mm,
        counts=counts_of(plan),
        system_words=system_words(plan.machine.system),
        guessed=guesses(parts),
        skein_m=None if piece_mass_g is None else piece_mass_g * TEX_PER_G_PER_M / plan.finished.tex,
    )


def washed_yarn(plan: YarnPlan, tables: Tables, *, name: str, colour: str) -> yarn.DrawnYarn:
    """The finished yarn to draw: singles as thick as the usual packing of their way of spinning."""
    packing = tables.yarn_figures[f"packing/{plan.machine.system}"].value
    strand = diameter_mm(
        count_tex=plan.finished.tex / plan.wish.plies,
        packing_frac=packing,
        density_g_cm3=plan.fibre.density_g_cm3,
    )
    twist = plan.single_twist if plan.wish.plies == 1 else plan.ply_twist
    return yarn.DrawnYarn(
        name="the yarn" if plan.wish.plies > 1 else "the single",
        strand_mm=strand,
        plies=plan.wish.plies,
        twist_tpm=twist.tpm,
        way=_way(str(twist.direction)),
        fibre_tpm=plan.residual_tpm,
        colour=colour,
        note=f"{name}, washed" if plan.wish.plies > 1 else "washed",
    )


def bobbin_single(plan: YarnPlan, tables: Tables, *, colour: str) -> yarn.DrawnYarn:
    """One single as it lies on the bobbin."""
    strand = diameter_mm(
        count_tex=plan.single.tex,
        packing_frac=tables.yarn_figures["packing/twist"].value,
        density_g_cm3=plan.fibre.density_g_cm3,
    )
    way = _way(str(plan.single_twist.direction))
    return yarn.DrawnYarn(
        "a single", strand, 1, plan.single_twist.tpm, way, colour=colour, note="on the bobbin"
    )


def _way(letter: str) -> yarn.Way:
    return "Z" if letter == "Z" else "S"


def blend_hex(parts: Sequence[FibrePart], colours: Mapping[str, str]) -> str:
    """About how the blend looks: the lots' colours mixed by their share."""
    colour, total = "", 0.0
    for part in parts:
        total += part.share_frac
        mine = colours.get(part.lot, fibre_hex(None, None, None))
        colour = mixed(colour, mine, part.share_frac / total) if colour and total > 0 else mine
    return colour or fibre_hex(None, None, None)


def section_parts(
    plan: YarnPlan, parts: Sequence[FibrePart], colours: Mapping[str, str]
) -> tuple[section.SectionPart, ...]:
    """How many fibres of every lot lie across a single: by mass share over the weight of its fibre."""
    number = [
        part.share_frac
        / fibre_tex(
            diameter_um=part.diameter_um,
            density_g_cm3=part.density_g_cm3,
            diameter_cv_frac=part.diameter_cv_frac,
        )
        for part in parts
    ]
    total = math.fsum(number)
    return tuple(
        section.SectionPart(
            part.lot,
            plan.fibres * each / total,
            part.diameter_um,
            part.diameter_cv_frac,
            colours.get(part.lot, fibre_hex(None, None, None)),
        )
        for part, each in zip(parts, number, strict=True)
    )


def wrap_rows(plan: YarnPlan, tables: Tables) -> tuple[wraps.WrapRow, ...]:
    """The yarn round a ruler, each way of wrapping."""
    return tuple(
        wraps.WrapRow(words, wraps_per_inch(tables, count_tex=plan.finished.tex, method=method))
        for method, words in METHODS.items()
    )


def counts_of(plan: YarnPlan) -> tuple[CountRow, ...]:
    """The count from the front rolls to the finished yarn, each on its own basis."""
    strands = [plan.roller, plan.single, plan.greige, plan.finished]
    if plan.wish.plies == 1:
        strands.remove(plan.greige)
    return tuple(CountRow(*STATE_WORDS[each.basis.state], each, basis_words(each)) for each in strands)


def basis_words(count: StrandCount) -> str:
    """Water and oil that a count carries."""
    water = f"{say(count.basis.regain_frac, 'frac')} water"
    return f"{water}, {say(count.basis.oil_frac, 'frac')} oil" if count.basis.oil_frac > 0 else water


def guesses(parts: Sequence[FibrePart]) -> tuple[str, ...]:
    """Which figures of the fibre nobody measured, lot by lot."""
    return tuple(f"{part.lot}: {', '.join(part.guessed)}" for part in parts if part.guessed)


def plies_words(plies: int) -> str:
    """Plies in words."""
    return "one single" if plies == 1 else say_many(plies, "ply", "plies")
