"""What a forecast of evenness starts from: parts with their fibre and colour, layers, passes, machines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from doffer.errors import InputError, NotFoundError
from doffer.fibre.content import Basis, basis_regain_frac
from doffer.fibre.material import Constituent
from doffer.mill import bridge
from doffer.mill.colours import Lab
from doffer.mill.dyed import dyeings_of
from doffer.mill.evenness_figures import FigureRow, figure_row, figures_now, figures_of_stage, usual_figure
from doffer.mill.models import BlendRecipe, Lot, Machine
from doffer.mill.models.colour import PadForm
from doffer.mill.models.lots import Soundness
from doffer.mill.palette import mixing_now
from doffer.mill.queries.evenness import MachineFigures
from doffer.mill.queries.lots import lab_of
from doffer.mill.queries.plan_inputs import LEAST_MASS_G
from doffer.mill.sittings import newest_by_lot
from doffer.planning.order_plan import BatchPlan
from doffer.planning.shade.ways import ShadeWays
from doffer.planning.spec import BatchSpec, LotStart, MillWays
from doffer.process.evenness.passage import Feed, Part
from doffer.tables.loader import Tables

MIXING_STAGES = ("pick", "card", "draw")
USUAL = {one.name: one.default for one in fields(MillWays)}


@dataclass(frozen=True, slots=True)
class Passes:
    """How it is fed and how often it goes through; as the mill's ways say when nobody says otherwise."""

    layers: int = USUAL["n_layers"]
    pick_passes: int = USUAL["pick_passes"]
    draw_passes: int = USUAL["draw_passes"]
    draw_ends: tuple[int, ...] = ()
    is_tossed: bool | None = None

    @classmethod
    def of_ways(cls, ways: MillWays) -> Passes:
        """As a plan has them."""
        return cls(
            layers=ways.n_layers,
            pick_passes=ways.pick_passes,
            draw_passes=ways.draw_passes,
            draw_ends=ways.draw_ends,
            is_tossed=ways.is_tossed,
        )


@dataclass(frozen=True, slots=True)
class MixingPart:
    """One component of a blend as it comes to the picker: its fibre, its share, its colour.

    `reflectance_ppm` is the spectrum the lot counts as having, measured or recovered, of kind `colour_kind`;
    empty where it was never read dry by an instrument, and `lab` is then what was written down, or None.
    `is_tender`: it broke when it was snapped, and should see few passes.
    """

    lot: str
    fibre: str
    colour_name: str
    share_frac: float
    dry_mass_g: float
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float
    density_g_cm3: float
    lab: Lab | None
    colour_kind: str
    reflectance_ppm: tuple[int, ...]
    is_tender: bool = False

    @property
    def part(self) -> Part:
        """As the passage takes it."""
        return Part(
            self.lot,
            self.share_frac,
            self.diameter_um,
            self.diameter_cv_frac,
            self.staple_mm,
            self.staple_cv_frac,
            self.density_g_cm3,
            self.fibre,
        )


@dataclass(frozen=True, slots=True)
class MixingInputs:
    """Everything a forecast of evenness needs.

    `parts` in the order they are laid, the largest first; `machines` the picker, card and drawing that count
    in this mill, each with its figures (usual ones where it has none); `ways` how the fibre's colours mix;
    `loads` the equal loads that the plan picks it in, each by itself.
    """

    name: str
    parts: tuple[MixingPart, ...]
    dry_mass_g: float
    passes: Passes
    machines: tuple[MachineFigures, ...]
    ways: ShadeWays
    tables: Tables
    loads: int = 1

    @property
    def feed(self) -> Feed:
        """What is laid on the belt, with half layers of the largest part at both ends."""
        return Feed(self.dry_mass_g, tuple(one.part for one in self.parts), self.passes.layers)

    @property
    def figures(self) -> tuple[FigureRow, ...]:
        """Figures of all machines."""
        return tuple(row for machine in self.machines for row in machine.figures)

    def figure(self, key: str) -> FigureRow:
        """The figure of this key; NotFoundError when no machine of the passage has it."""
        found = next((row for row in self.figures if row.key == key), None)
        if found is None:
            raise NotFoundError("figure", key, f"There are {', '.join(row.key for row in self.figures)}")
        return found

    @property
    def without_colour(self) -> tuple[str, ...]:
        """Lots whose colour nobody knows: stripes of them cannot be foretold in dE."""
        return tuple(one.lot for one in self.parts if one.lab is None and not one.reflectance_ppm)


def mixing_of_batch(batch: BatchSpec, plan: BatchPlan, ways: MillWays) -> MixingInputs:
    """A batch of an order with its plan: the oven-dry fibre that comes to the picker, lot by lot; 17 queries
    at most.

    Raises
    ------
    InputError
        A plan of other lots, or one without a picker.
    """
    tables = bridge.current_tables()
    dry_g = _dry_at_picker_g(batch, plan, ways, tables)
    parts = [(start.part, dry_g.get(start.lot, 0.0)) for start in batch.lots]
    picker = next((stage for stage in plan.stages if stage.stage == "pick"), None)
    loads = picker.loads.count if picker is not None and picker.loads is not None else 1
    return replace(_mixing(batch.name, parts, Passes.of_ways(ways), tables), loads=loads)


def mixing_of_recipe(code: str, version: int | None = None, passes: Passes | None = None) -> MixingInputs:
    """A blend recipe, its newest version unless one is named; 19 queries at most.

    Raises
    ------
    NotFoundError
        There is none.
    """
    rows = BlendRecipe.objects.filter(code=code).order_by("-version").prefetch_related("parts__lot")
    row = (rows.filter(version=version) if version else rows).first()
    if row is None:
        raise NotFoundError("blend recipe", code, "Look in the list of recipes")
    tables = bridge.current_tables()
    parts = [
        (bridge.constituent_of(part.lot, tables), bridge.grams(part.dry_mg) or part.share_ppm / bridge.PPM)
        for part in row.parts.all()
    ]
    return _mixing(f"{code} version {row.version}", parts, passes or Passes(), tables, form=row.form)


def mixing_of_lots(
    dry_mass_g: Mapping[str, float],
    *,
    passes: Passes | None = None,
    form: str = PadForm.LOOSE,
    name: str = "",
) -> MixingInputs:
    """Lots of the bench with the oven-dry grams taken of each; 17 queries at most.

    Raises
    ------
    NotFoundError
        A lot that is not there.
    InputError
        Nothing of any of them.
    """
    tables = bridge.current_tables()
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=dry_mass_g)}
    missing = [code for code in dry_mass_g if code not in lots]
    if missing:
        raise NotFoundError("lot", ", ".join(missing), "Search the list of lots")
    parts = [(bridge.constituent_of(lots[code], tables), mass_g) for code, mass_g in dry_mass_g.items()]
    return _mixing(name, parts, passes or Passes(), tables, form=form)


def mixing_of_blended_lot(code: str) -> MixingInputs | None:
    """What a lot was joined of, with the fibre there is of it now; None where it was never joined, or was
    dyed since: its parts are then of another colour. Four queries at most for None, 20 else.

    Raises
    ------
    NotFoundError
        There is no such lot.
    """
    row = Lot.objects.filter(code=code).first()
    if row is None:
        raise NotFoundError("lot", code, "Search the list of lots")
    origins = bridge.origins_of([row])[row.pk]
    if len(origins) < 2 or dyeings_of([row.pk]):
        return None
    tables = bridge.current_tables()
    dry_g = max(bridge.grams(row.now_dry_mg or row.now_mass_mg), LEAST_MASS_G)
    parts = [(bridge.constituent_of(one.lot, tables), one.share_frac * dry_g) for one in origins]
    return _mixing(code, parts, Passes(), tables)


def _dry_at_picker_g(batch: BatchSpec, plan: BatchPlan, ways: MillWays, tables: Tables) -> dict[str, float]:
    """Oven-dry fibre of each lot as it comes to the picker [g], the mean of the plan."""
    picker = next((stage for stage in plan.stages if stage.stage == "pick"), None)
    if picker is None:
        raise InputError(
            "stages", ", ".join(stage.stage for stage in plan.stages), "with a picker", plan.name
        )
    if [use.lot for use in plan.lots] != [start.lot for start in batch.lots] or len(picker.comes_from) != len(
        batch.lots
    ):
        raise InputError("lots of the plan", ", ".join(use.lot for use in plan.lots), "those of the batch")
    after = {stage.name: stage.dry.mean for stage in plan.stages}
    return {
        use.lot: after[source]
        if source in after
        else use.agreed.mean / (1 + _regain_frac(start, ways.label_basis, tables))
        for start, use, source in zip(batch.lots, plan.lots, picker.comes_from, strict=True)
    }


def _regain_frac(start: LotStart, basis: Basis, tables: Tables) -> float:
    """Regain that a lot's agreed weight counts with, the mean of its fibres by oven-dry share [frac]."""
    made_of = start.blend or ((start.part, 1.0),)
    return sum(share * basis_regain_frac(tables, part.fibre, basis=basis) for part, share in made_of)


def _mixing(
    name: str,
    made_of: Sequence[tuple[Constituent, float]],
    passes: Passes,
    tables: Tables,
    *,
    form: str = PadForm.LOOSE,
) -> MixingInputs:
    there = [(part, mass_g) for part, mass_g in made_of if mass_g > 0]
    total_g = sum(mass_g for _, mass_g in there)
    if total_g < LEAST_MASS_G:
        raise InputError("fibre of the blend", f"{total_g:g} g", "one gram or more", name)
    there.sort(key=lambda one: -one[1])  # stable: equal parts stay as they were named
    colours = _colours([part.lot for part, _ in there], tables)
    return MixingInputs(
        name=name,
        parts=tuple(
            MixingPart(
                lot=part.lot,
                fibre=part.fibre,
                share_frac=mass_g / total_g,
                dry_mass_g=mass_g,
                diameter_um=part.diameter_um,
                diameter_cv_frac=part.diameter_cv_frac,
                staple_mm=part.staple_mm,
                staple_cv_frac=part.staple_cv_frac,
                density_g_cm3=tables.fibres[part.fibre].density_g_cm3,
                **colours.get(part.lot, NO_COLOUR),
            )
            for part, mass_g in there
        ),
        dry_mass_g=total_g,
        passes=passes,
        machines=mixing_machines(tables),
        ways=mixing_now(there[0][0].fibre, form, tables).ways,
        tables=tables,
    )


BREAKS = (Soundness.TENDER, Soundness.FRAGILE)
NO_COLOUR: dict[str, Any] = {"colour_name": "", "lab": None, "colour_kind": "", "reflectance_ppm": ()}


def _colours(codes: Sequence[str], tables: Tables) -> dict[str, dict[str, Any]]:
    """What colour each lot counts as having, and whether it breaks; not known of fibre still to come."""
    lots = list(Lot.objects.filter(code__in=codes))
    newest = newest_by_lot(lot.pk for lot in lots)
    found: dict[str, dict[str, Any]] = {}
    for lot in lots:
        typed = lab_of(lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi)
        found[lot.code] = NO_COLOUR | {
            "colour_name": lot.colour_name,
            "lab": typed,
            "is_tender": lot.soundness in BREAKS,
        }
        if lot.pk in newest:
            known = newest[lot.pk].known(tables)
            found[lot.code] |= {
                "lab": newest[lot.pk].lab,
                "colour_kind": known.kind,
                "reflectance_ppm": tuple(round(float(value) * bridge.PPM) for value in known.reflectance),
            }
    return found


def mixing_machines(tables: Tables) -> tuple[MachineFigures, ...]:
    """The first picker, card and drawing of the mill, as its plans count them; usual figures without one."""
    first: dict[str, Machine] = {}
    for row in Machine.objects.filter(archived_at=None, stage__in=MIXING_STAGES).order_by("pk"):
        first.setdefault(row.stage, row)
    written = figures_now(first.values())
    found = []
    for stage in MIXING_STAGES:
        machine = first.get(stage)
        own = written.get(machine.pk, {}) if machine else {}
        figures = tuple(
            figure_row(usual_figure(key, tables), own.get(key)) for key in figures_of_stage(stage, tables)
        )
        found.append(
            MachineFigures(machine.code if machine else "", machine.name if machine else "", stage, figures)
        )
    return tuple(found)
