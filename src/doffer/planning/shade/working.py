"""How a predicted shade came about, for a person who wants to know."""

from __future__ import annotations

from doffer.fibre.colour.blend import BlendModel, offset_of_m
from doffer.planning.shade.target import Recipe
from doffer.planning.shade.ways import ShadeWays
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

LIGHT_WORDS = {"D65": "daylight", "A": "lamp light", "LED-B3": "LED light", "FL11": "shop light"}


def recipe_working(recipe: Recipe, ways: ShadeWays, tables: Tables) -> Working:
    """The working of a recipe's difference to its shade: shares, model, constant, how wrong the model was."""
    shares = tuple(
        Term(f"share of {lot}", share, "frac", "by oven-dry weight")
        for lot, share in zip(recipe.lots, recipe.shares, strict=True)
    )
    first = next(iter(recipe.de))
    return Working(
        title="Shade of the blend",
        formula=_formula(ways),
        inputs=(*shares, *_constant(ways)),
        result=Term(
            f"difference in {LIGHT_WORDS.get(first, first)}",
            recipe.de[first],
            "",
            recipe.formula.name_in_print,
        ),
        source=tables.sources[_source(ways, tables)].title,
        status=Status.OWN if ways.is_fitted else _status(ways, tables),
        note=_note(recipe, ways, tables),
    )


def _formula(ways: ShadeWays) -> str:
    """The model in symbols."""
    return {
        BlendModel.STEARNS_NOECHEL: "1 ÷ (R + c) = Σ share ÷ (R of lot + c), at every wavelength",
        BlendModel.FRIELE: "exp(−σ K/S) = Σ share × exp(−σ K/S of lot), at every wavelength",
        BlendModel.KUBELKA_MUNK: "K/S = Σ share × K/S of lot, at every wavelength",
        BlendModel.PLAIN_AVERAGE: "R = Σ share × R of lot, at every wavelength",
        BlendModel.TWO_CONSTANT: "K/S = Σ share × K of lot ÷ Σ share × S of lot, at every wavelength",
    }[ways.mixing.model]


def _constant(ways: ShadeWays) -> tuple[Term, ...]:
    """The constant of the model, where it has one."""
    whose = "from the mill's own samples" if ways.is_fitted else "published for wool"
    if ways.mixing.model is BlendModel.STEARNS_NOECHEL:
        offset = offset_of_m(ways.mixing.constant)
        return (Term("M", ways.mixing.constant, "", whose), Term("c", offset, "", "0.01 × (1 − M) ÷ M"))
    if ways.mixing.model is BlendModel.FRIELE:
        return (Term("σ", ways.mixing.constant, "", whose),)
    return ()


def _row(ways: ShadeWays) -> str | None:
    """The row of table colour_models that holds the constant."""
    return {
        BlendModel.STEARNS_NOECHEL: "stearns_noechel/m/wool",
        BlendModel.FRIELE: "friele/sigma/wool",
    }.get(ways.mixing.model)


def _source(ways: ShadeWays, tables: Tables) -> str:
    row = _row(ways)
    return tables.colour_models[row].source if row else "practice"


def _status(ways: ShadeWays, tables: Tables) -> Status:
    row = _row(ways)
    return tables.colour_models[row].status if row else Status.PRACTICE


def _note(recipe: Recipe, ways: ShadeWays, tables: Tables) -> str:
    """How far off it may be, in one sentence or two."""
    told = []
    if ways.mixing.model is not BlendModel.PLAIN_AVERAGE:
        told.append(ways.error_words(tables))
    if recipe.band is not None:
        told.append(f"Within what is known of M the colour moves by {recipe.band.moved_de:.1f}.")
    told.append(f"Blends are searched for by {recipe.formula.name_in_print} over the lights.")
    told.append("Card and measure the trial card before the blend is made.")
    return " ".join(told)
