"""Pictures of one lot: its tuft, and where its fibre came from and went."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from doffer.mill.queries.ancestry import Ancestry, Edge, LotNode, RunNode
from doffer.mill.queries.lots import Lab
from doffer.pictures.ancestry import FlowLink, FlowNode, ancestry, ancestry_tall
from doffer.pictures.colour import fibre_hex
from doffer.pictures.words import say_list

FIRST = "From"
LEAST_G = 1.0  # thinner ribbons cannot be seen
WASTE_COLOUR = "#b9ad9a"


@dataclass(frozen=True, slots=True)
class Flow:
    """The same picture for a wide and for a narrow screen."""

    wide: str
    tall: str


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run of the story in words: what went in, what came out [g oven-dry where known]."""

    run: RunNode
    came_from: tuple[Edge, ...]
    became: tuple[Edge, ...]


def colour_of(lab: Lab | None) -> str:
    """Screen colour of a fibre, approximate."""
    return fibre_hex(*(lab or (None, None, None)))


def colours_of(story: Ancestry) -> dict[str, str]:
    """Screen colour of every lot in a story."""
    return {lot.code: colour_of(lot.lab) for lot in story.lots}


def run_lines(story: Ancestry) -> tuple[RunLine, ...]:
    """The runs of a story in the order they began."""
    return tuple(
        RunLine(
            run,
            tuple(edge for edge in story.edges if edge.run == run.code and edge.into),
            tuple(edge for edge in story.edges if edge.run == run.code and not edge.into),
        )
        for run in story.runs
    )


def flow(story: Ancestry, *, units: str) -> Flow | None:
    """Lots in columns by how many runs lie before them, joined by ribbons; None when there is but one lot."""
    lines = run_lines(story)
    links = _links(lines)
    if not links:
        return None
    columns = _columns(story, links)
    waste = _waste(lines, columns)
    nodes = [*_nodes(story, lines, columns), *(node for node, _ in waste)]
    all_links = [*links, *(link for _, more in waste for link in more)]
    names = _names(lines, columns, 1 + max(node.column for node in nodes))
    return Flow(
        ancestry(nodes, all_links, columns=names, system=units),
        ancestry_tall(nodes, all_links, columns=names, system=units),
    )


def _mass_g(edge: Edge) -> float:
    return edge.mass_g if edge.dry_mass_g is None else edge.dry_mass_g


def _links(lines: Iterable[RunLine]) -> list[FlowLink]:
    """Each input's part in each output; one that keeps its number joins nothing to itself."""
    found: dict[tuple[str, str], float] = {}
    for line in lines:
        whole = sum(_mass_g(edge) for edge in line.came_from)
        for source in line.came_from:
            for target in line.became:
                if source.lot != target.lot and whole > 0:
                    mass = _mass_g(source) / whole * _mass_g(target)
                    key = source.lot, target.lot
                    found[key] = found.get(key, 0.0) + mass
    return [FlowLink(*key, mass) for key, mass in found.items() if mass >= LEAST_G]


def _columns(story: Ancestry, links: list[FlowLink]) -> dict[str, int]:
    """Column of each lot: the longest way from a bag; lots walk in a ring only if a record is wrong."""
    columns = {lot.code: 0 for lot in story.lots}
    for _ in range(len(columns)):
        before = dict(columns)
        for link in links:
            columns[link.target] = max(columns[link.target], columns[link.source] + 1)
        if columns == before:
            break
    return columns


def _flowing_g(lot: LotNode, lines: Iterable[RunLine], here: str) -> float:
    """How large a lot is drawn: what went on to other lots and, for the lot asked about, what is left of it.

    Stages in which it kept its number are not counted again.
    """
    made = [
        edge for line in lines for edge in line.became if edge.lot == lot.code and not _keeps(line, lot.code)
    ]
    gone = [
        edge
        for line in lines
        for edge in line.came_from
        if edge.lot == lot.code and not _keeps(line, lot.code)
    ]
    left = lot.mass_g if lot.dry_mass_g is None else lot.dry_mass_g
    went_on = sum(map(_mass_g, gone)) + (left if lot.code == here else 0.0)
    return max(sum(map(_mass_g, made)), went_on, LEAST_G)


def _keeps(line: RunLine, code: str) -> bool:
    """Whether a lot went into a run and came out of it under the same number."""
    return any(edge.lot == code for edge in line.came_from) and any(edge.lot == code for edge in line.became)


def _nodes(story: Ancestry, lines: tuple[RunLine, ...], columns: dict[str, int]) -> list[FlowNode]:
    return [
        FlowNode(
            key=lot.code,
            label=lot.code,
            column=columns[lot.code],
            mass_g=_flowing_g(lot, lines, story.lot),
            colour=colour_of(lot.lab),
            href=f"/lots/{lot.code}/",
            note=f"{lot.colour_name} {lot.fibre}, {lot.owner}".strip(),
            is_here=lot.code == story.lot,
        )
        for lot in story.lots
    ]


def _waste(lines: Iterable[RunLine], columns: dict[str, int]) -> list[tuple[FlowNode, tuple[FlowLink, ...]]]:
    """What fell out at each run that made new lots, one heap beside what it made."""
    found = []
    for line in lines:
        sources = [edge for edge in line.came_from if all(edge.lot != out.lot for out in line.became)]
        lost = sum(map(_mass_g, line.came_from)) - sum(map(_mass_g, line.became))
        whole = sum(map(_mass_g, sources))
        if not (line.became and sources and lost >= LEAST_G):
            continue
        column = max(columns[edge.lot] for edge in sources) + 1
        key = f"waste {line.run.code}"
        node = FlowNode(key, f"{line.run.stage} waste", column, lost, WASTE_COLOUR, is_waste=True)
        links = tuple(FlowLink(e.lot, key, lost * _mass_g(e) / whole) for e in sources)
        found.append((node, links))
    return found


def _names(lines: Iterable[RunLine], columns: dict[str, int], count: int) -> list[str]:
    """What is done to get into each column: "Pick", "Card"."""
    stages: dict[int, list[str]] = {}
    for line in lines:
        for edge in line.became:
            if all(edge.lot != source.lot for source in line.came_from):
                stages.setdefault(columns[edge.lot], []).append(line.run.stage)
    names = [say_list(list(dict.fromkeys(stages.get(i, [])))).capitalize() for i in range(count)]
    return [names[0] or FIRST, *(name or "Waste" for name in names[1:])]
