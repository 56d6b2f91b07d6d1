"""A count that was typed, said in the other systems: one sentence for screens, and its parts for tables."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.exchange.count_said import OWN_HANK, SaidOf, TypedCount, spell, spelt_as
from doffer.fibre.count import from_tex
from doffer.fibre.thickness import ThicknessClass, thickness_class
from doffer.pictures.wording import say
from doffer.pictures.words import say_list, sentence
from doffer.tables.loader import Tables

M_PER_100G_TEX = 100_000  # by definition: tex is g in 1000 m
THICKEST_YARN_TEX = 2_500.0  # beyond 40 m in 100 g a strand is roving and has no class of thickness
SPOKEN = ("tex", "nm", "m_per_100g", "yd_per_lb")
SPOKEN_OF_ROVING = ("ktex", "g_per_m", "grains_per_yd", "m_per_100g")


@dataclass(frozen=True, slots=True)
class CountSaid:
    """What stands beside a field in which a count is typed.

    Parameters
    ----------
    headline : str
        The count in the systems that are spoken, one sentence.
    notes : tuple of str
        On what it is reckoned, and how to say the other thing that may be meant.
    sold_as : str
        Class of thickness and the names that charts give it; empty for roving.
    """

    headline: str
    notes: tuple[str, ...]
    sold_as: str


def say_typed_count(count: TypedCount, tables: Tables, *, plies: int | None = None) -> CountSaid:
    """A typed count in the other systems: "2 strands of Nm 8: together 250 tex, Nm 4, 400 m in 100 g, ...".

    `plies` are the strands known from another field; they do not change what the count says itself.
    """
    is_of_single = count.said_of is SaidOf.SINGLE
    whole = count.with_plies(plies)
    is_folded_single = is_of_single and (count.plies or 1) > 1
    figures = _figures(count.yarn_tex, tables, without="" if is_folded_single else count.system)
    said = ", ".join(figures)
    if is_folded_single:
        headline = f"{count.plies} strands of {_name(count)}: together {said}; before washing."
    else:
        each = ""
        if whole.single_tex is not None and (whole.plies or 1) > 1:
            tex, metric, *_ = _figures(whole.single_tex, tables, without="")
            each = f"; each of {whole.plies} strands {tex}, {metric}"
        when = "; before washing" if is_of_single else ""
        headline = f"{_name(count)}: {said}{each}{when}."
    return CountSaid(headline, _notes(count, plies), _sold_as(count, tables))


def designation(count: TypedCount) -> tuple[str, ...]:
    """The yarn written in the style of ISO 1139: from its singles, and by its resultant; empty without plies.

    The style is from memory, unverified: "125 tex x 2" and "R 250 tex / 2". Take-up in plying, which would
    part the two, is not in it.
    """
    if count.plies is None or count.single_tex is None:
        return ()
    if count.plies == 1:
        return (spelt_as("tex", f"{count.single_tex:.4g}"),)
    made = [
        TypedCount(
            system="tex",
            number=float(f"{tex:.4g}"),
            said_of=of,
            plies=count.plies,
            yarn_tex=count.yarn_tex,
        )
        for tex, of in ((count.single_tex, SaidOf.SINGLE), (count.yarn_tex, SaidOf.YARN))
    ]
    return tuple(spell(each) for each in made)


def say_class(found: ThicknessClass) -> str:
    """A class with its other names: "class 3, Light; also sold as DK"."""
    also = say_list([name for name, _ in found.also])
    return f"class {found.number}, {found.name}" + (f"; also sold as {also}" if also else "")


def class_of(count: TypedCount, tables: Tables) -> ThicknessClass | None:
    """Class of thickness of a yarn; None for a roving."""
    if count.yarn_tex > THICKEST_YARN_TEX:
        return None
    return thickness_class(tables, length_m_per_100g=M_PER_100G_TEX / count.yarn_tex)


def _name(count: TypedCount) -> str:
    """The figure with its system as it is said: "Nm 8", "250 m in 100 g"."""
    if count.system == OWN_HANK:
        return f"{say(count.number)} hanks"
    return _said(count.system, count.number)


def _said(system: str, number: float) -> str:
    if system == "nm":
        return f"Nm {say(number)}"
    if system == "m_per_100g":
        return f"{say(number)} m in 100 g"
    if system == "yd_per_lb":
        return f"{say(number, digits=0)} yd/lb"
    return spelt_as(system, say(number))


def _figures(count_tex: float, tables: Tables, *, without: str) -> list[str]:
    return [
        _said(system, from_tex(tables, system=system, count_tex=count_tex))
        for system in (SPOKEN if count_tex <= THICKEST_YARN_TEX else SPOKEN_OF_ROVING)
        if system != without
    ]


def _notes(count: TypedCount, plies: int | None) -> tuple[str, ...]:
    """What to type where the other meaning was meant."""
    if count.plies is not None and plies is not None and plies != count.plies:
        return (
            f"This count says {count.plies} plies itself, so the {plies} in the field of plies do not hold.",
        )
    names_a_system = count.system in ("nm", "new_worsted", "ne_cotton", "tex")
    if count.plies is None and plies is not None and plies > 1 and names_a_system:
        single = TypedCount(
            system=count.system,
            number=count.number,
            said_of=SaidOf.SINGLE,
            plies=plies,
            yarn_tex=count.yarn_tex,
        )
        return (f"Taken of the whole yarn. If each strand is meant, type {spell(single)}.",)
    return ()


def _sold_as(count: TypedCount, tables: Tables) -> str:
    found = class_of(count, tables)
    return "" if found is None else sentence(say_class(found))
