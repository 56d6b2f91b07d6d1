"""The tables by name, with a title and one sentence on what each is for."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from doffer.tables import colour_rows, rows


@dataclass(frozen=True, slots=True)
class TableInfo:
    """A table's name (its CSV and its attribute), its title, its purpose, and the type of its rows."""

    name: str
    title: str
    purpose: str
    row_type: type


_ALL = (
    TableInfo("fibres", "Fibres", "Kinds of fibre and what is typical of each.", rows.Fibre),
    TableInfo("breeds", "Breeds and types", "First guesses for a fleece that was not tested.", rows.Breed),
    TableInfo("regain", "Regain", "Water per dry fibre by law, by contract and by physics.", rows.Regain),
    TableInfo(
        "sorption", "Moisture curves", "Constants of regain against the room's humidity.", rows.Sorption
    ),
    TableInfo("isotherm", "Moisture points", "The points behind the moisture curves.", rows.IsothermPoint),
    TableInfo("scour_yields", "Washing yields", "Clean fibre to expect from a raw fleece.", rows.ScourYield),
    TableInfo(
        "stage_losses", "Losses by stage", "Dry fibre to expect as lost in each stage.", rows.StageLoss
    ),
    TableInfo("fibre_names", "Fibre names on labels", "Names the law allows on a label.", rows.FibreName),
    TableInfo("counts", "Yarn counts", "Ways to say how fine a yarn is.", rows.CountSystem),
    TableInfo("wool_grades", "Wool grades", "Grades by fineness and evenness of wool.", rows.WoolGrade),
    TableInfo("mohair_grades", "Mohair grades", "Grades of mohair by fineness.", rows.MohairGrade),
    TableInfo("alpaca_classes", "Alpaca classes", "Trade classes of alpaca by fineness.", rows.AlpacaClass),
    TableInfo(
        "yarn_classes", "Yarn thickness names", "From lace to jumbo, by several charts.", rows.YarnClass
    ),
    TableInfo("yarn_limits", "Limits of spinning", "What a fibre and a frame can make.", rows.YarnLimit),
    TableInfo("yarn_figures", "Yarn", "What the plan of a yarn starts from.", rows.YarnFigure),
    TableInfo("rates", "Time", "What minutes are reckoned from until a mill has its own.", rows.WorkRate),
    TableInfo("settings", "Machine settings", "What to set for which fibre, and why.", rows.Setting),
    TableInfo("twist", "Twist", "Twist factors and usual twist.", rows.Twist),
    TableInfo(
        "cross_section", "Fibres in a yarn", "Worked examples to check the formulas.", rows.CrossSection
    ),
    TableInfo(
        "tristimulus",
        "Colour weights",
        "From a measured spectrum to a colour.",
        colour_rows.TristimulusWeight,
    ),
    TableInfo(
        "ciede2000",
        "Colour difference check",
        "Published pairs to check the formula.",
        colour_rows.ColourPair,
    ),
    TableInfo(
        "colour_models",
        "Blend models",
        "Constants and published errors of blending.",
        colour_rows.ColourModel,
    ),
    TableInfo("grey_scale", "Grey scale", "Grades of a change in colour.", colour_rows.GreyScaleGrade),
    TableInfo(
        "additives", "Additives and baths", "Doses, strengths, liquor and temperatures.", rows.Additive
    ),
    TableInfo("cautions", "Cautions", "Reminders shown beside the work of each stage.", rows.Caution),
    TableInfo(
        "machine_kinds", "Machines", "Usual rates, cleaning and hold-up of machines.", rows.MachineKind
    ),
    TableInfo(
        "machine_settings",
        "Settings of machines",
        "What a machine can be set to, until the mill writes down its own.",
        rows.MachineSetting,
    ),
    TableInfo("run_settings", "Settings of runs", "What a run can be set to.", rows.RunSetting),
    TableInfo("plan_defaults", "Planning defaults", "What a plan starts from.", rows.PlanDefault),
    TableInfo("evenness_figures", "Evenness", "What a forecast of stripes starts from.", rows.EvennessFigure),
    TableInfo("constants", "Constants", "Single figures that formulas need.", rows.Constant),
    TableInfo("sources", "Sources", "Where the figures come from and how much was read.", rows.Source),
)

TABLES = MappingProxyType({info.name: info for info in _ALL})
