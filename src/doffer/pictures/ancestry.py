"""Where a lot came from and went: lots in columns by stage, ribbons between them as wide as their weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say

WIDE_PX: Final = 1240.0
COLUMN_PX: Final = 130.0
NODE_PX: Final = 18.0
GAP_PX: Final = 48.0
THROUGH_GAP_PX: Final = 14.0
TOP_PX: Final = 40.0
MOST_COLUMN_PX: Final = 200.0
ROW_PX: Final = 50.0
TALL_PX: Final = 328.0
TEXT_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)
SWEEPS: Final = 6
THROUGH: Final = "~"  # first letter of the key of a lot's way through a column that it skips


@dataclass(frozen=True, slots=True)
class FlowNode:
    """A lot (or a waste stream) in a column; `column` counts from the left, 0 = as it came in."""

    key: str
    label: str
    column: int
    mass_g: float
    colour: str = "#b9ad9a"
    href: str = ""
    note: str = ""
    is_waste: bool = False
    is_here: bool = False


@dataclass(frozen=True, slots=True)
class FlowLink:
    """Fibre that went from one lot into another [g]."""

    source: str
    target: str
    mass_g: float


def ancestry(
    nodes: Sequence[FlowNode], links: Sequence[FlowLink], *, columns: Sequence[str], system: str = "metric"
) -> str:
    """Lots through runs, from left (as received) to right; `columns` names the columns.

    Raises
    ------
    InputError
        A ribbon names a lot that is not there, or does not run from left to right.
    """
    _check(nodes, links)
    all_nodes, pieces = _through(nodes, links)
    order = _ordered(all_nodes, pieces, len(columns))
    scale = MOST_COLUMN_PX / max(1e-9, *(sum(node.mass_g for node in column) for column in order))
    tops, height = _tops(order, scale)
    step = max(COLUMN_PX, (WIDE_PX - 16) / max(1, len(columns)))
    xs = [8.0 + i * step for i in range(len(columns))]
    parts = [svg.words(name, x, 18, css="p-soft") for name, x in zip(columns, xs, strict=True)]
    parts += _ribbons({node.key: node for node in all_nodes}, pieces, tops, xs, scale)
    parts += [_node(node, xs[node.column], tops[node.key], scale, system) for node in nodes]
    title, desc = "Where the fibre came from and went", _words(nodes, links, system)
    return svg.picture(xs[-1] + step, height, title, desc, parts, has_links=any(node.href for node in nodes))


def ancestry_tall(
    nodes: Sequence[FlowNode], links: Sequence[FlowLink], *, columns: Sequence[str], system: str = "metric"
) -> str:
    """The same for a telephone: a row per lot from top to bottom, strands at the left show what joins."""
    _check(nodes, links)
    known = {node.key: node for node in nodes}
    rows = [node for column in _ordered(nodes, links, len(columns)) for node in column]
    scale = 18.0 / max((node.mass_g for node in nodes), default=1.0)
    ys = {node.key: 26.0 + ROW_PX * i for i, node in enumerate(rows)}
    parts = [_bow(ys[e.source], ys[e.target], known[e.source].colour, e.mass_g * scale) for e in links]
    parts += [_tall_row(node, ys[node.key], columns[node.column], system) for node in rows]
    title, desc = "Where the fibre came from and went", _words(nodes, links, system)
    has_links = any(node.href for node in nodes)
    css = "picture picture-tall"
    return svg.picture(TALL_PX, ROW_PX * len(rows) + 8, title, desc, parts, has_links=has_links, css=css)


def _check(nodes: Sequence[FlowNode], links: Sequence[FlowLink]) -> None:
    known = {node.key: node for node in nodes}
    for each in links:
        for end in (each.source, each.target):
            if end not in known:
                raise InputError("lot", end, "one of the lots in the picture")
        if known[each.source].column >= known[each.target].column:
            raise InputError("ribbon", f"{each.source} to {each.target}", "running from left to right")


def _through(nodes: Sequence[FlowNode], links: Sequence[FlowLink]) -> tuple[list[FlowNode], list[FlowLink]]:
    """Give a ribbon that skips columns its own room in each of them: it runs beside the lots there."""
    known = {node.key: node for node in nodes}
    all_nodes, pieces = list(nodes), []
    for each in links:
        source, target = known[each.source], known[each.target]
        before = source.key
        for column in range(source.column + 1, target.column):
            key = f"{THROUGH}{source.key}/{target.key}/{column}"
            way = replace(
                source, key=key, column=column, mass_g=each.mass_g, href="", is_waste=target.is_waste
            )
            all_nodes.append(way)
            pieces.append(FlowLink(before, key, each.mass_g))
            before = key
        pieces.append(FlowLink(before, target.key, each.mass_g))
    return all_nodes, pieces


def _ordered(nodes: Sequence[FlowNode], links: Sequence[FlowLink], count: int) -> list[list[FlowNode]]:
    """Columns, each sorted by the middle of its neighbours so that few ribbons cross; waste lies lowest."""
    columns = [[node for node in nodes if node.column == i] for i in range(count)]
    place = {node.key: (i + 0.5) / len(column) for column in columns for i, node in enumerate(column)}
    near = _neighbours(links)
    for sweep in range(SWEEPS):
        for column in columns if sweep % 2 == 0 else reversed(columns):
            pulls = {node.key: _pull(near.get(node.key, ()), place, place[node.key]) for node in column}
            column.sort(key=lambda node: (node.is_waste, pulls[node.key], node.key))
            place.update({node.key: (i + 0.5) / len(column) for i, node in enumerate(column)})
    return columns


def _neighbours(links: Sequence[FlowLink]) -> dict[str, list[tuple[str, float]]]:
    near: dict[str, list[tuple[str, float]]] = {}
    for each in links:
        near.setdefault(each.source, []).append((each.target, each.mass_g))
        near.setdefault(each.target, []).append((each.source, each.mass_g))
    return near


def _pull(near: Sequence[tuple[str, float]], place: dict[str, float], here: float) -> float:
    whole = sum(mass for _, mass in near)
    return sum(place[key] * mass for key, mass in near) / whole if whole else here


def _gap(node: FlowNode) -> float:
    return THROUGH_GAP_PX if node.key.startswith(THROUGH) else GAP_PX


def _tops(columns: Sequence[Sequence[FlowNode]], scale: float) -> tuple[dict[str, float], float]:
    """Upper edge of every lot, columns centred on each other, and the height of the whole."""
    heights = [sum(node.mass_g * scale + _gap(node) for node in column) for column in columns]
    tallest = max(heights, default=0.0)
    tops: dict[str, float] = {}
    for column, height in zip(columns, heights, strict=True):
        y = TOP_PX + (tallest - height) / 2
        for node in column:
            tops[node.key] = y
            y += node.mass_g * scale + _gap(node)
    return tops, tallest + TOP_PX


def _ribbons(
    known: dict[str, FlowNode],
    links: Sequence[FlowLink],
    tops: dict[str, float],
    xs: Sequence[float],
    scale: float,
) -> list[str]:
    """The ribbons, stacked at both ends in the order of where they lead."""
    leaving, arriving = dict(tops), dict(tops)
    starts = {}
    for each in sorted(links, key=lambda e: tops[e.target]):
        starts[each] = leaving[each.source]
        leaving[each.source] += each.mass_g * scale
    drawn = []
    for each in sorted(links, key=lambda e: tops[e.source]):
        source, target = known[each.source], known[each.target]
        thick = max(each.mass_g * scale, 1.5)
        from_x = xs[source.column] + (0 if source.key.startswith(THROUGH) else NODE_PX)
        path = svg.band((from_x, starts[each]), (xs[target.column], arriving[each.target]), thick, thick)
        arriving[each.target] += each.mass_g * scale
        look = {"opacity": "0.45" if target.is_waste else "0.72", "class_": "fibre-fill ribbon"}
        drawn.append(el("path", d=path, fill=source.colour, **look))
    return drawn


def _node(node: FlowNode, x: float, top: float, scale: float, system: str) -> str:
    height = max(4.0, node.mass_g * scale)
    label = _said(node, system)
    weight = "p-halo" if node.is_waste else "p-bold p-halo"
    room = max(48.0, height + GAP_PX - 6)
    drawn = (
        el("rect", x=x, y=top, width=NODE_PX, height=height, rx=3, fill=node.colour,
           class_="fibre-fill node-edge", stroke_width=5 if node.is_here else 2,
           stroke_dasharray="4 3" if node.is_waste else None),
        svg.words(node.label, x, top + height + 18, size=TEXT_PX, css=weight),
        svg.words(say(node.mass_g, "g", system), x, top + height + 35, size=SMALL_PX, css="p-halo"),
        svg.hit(x - 4, top - 6, COLUMN_PX - 16, room),
    )  # fmt: skip
    return svg.told(label, svg.link(node.href, *drawn, label=label) if node.href else "".join(drawn))


def _bow(y0: float, y1: float, colour: str, thick: float) -> str:
    """A strand from one row to a later one, bowed the further to the left the further it goes."""
    reach = 62 - min(58.0, 10 + (y1 - y0) * 0.19)
    path = f"M62 {num(y0)}C{num(reach)} {num(y0)} {num(reach)} {num(y1)} 62 {num(y1)}"
    width = max(2.0, thick)
    return el(
        "path", d=path, fill="none", stroke=colour, stroke_width=width, opacity=0.75, class_="fibre-stroke"
    )


def _tall_row(node: FlowNode, y: float, column: str, system: str) -> str:
    label = _said(node, system, column)
    drawn = (
        el("circle", cx=62, cy=y, r=9, fill=node.colour, class_="fibre-fill node-edge",
           stroke_width=5 if node.is_here else 2, stroke_dasharray="4 3" if node.is_waste else None),
        svg.words(node.label, 82, y - 2, size=TEXT_PX, css="" if node.is_waste else "p-bold"),
        svg.words(column, 82, y + 16, size=SMALL_PX, css="p-soft"),
        svg.at_end(say(node.mass_g, "g", system), TALL_PX - 2, y + 5, size=TEXT_PX, css="p-bold"),
        svg.hit(50, y - 24, TALL_PX - 52, 48),
    )  # fmt: skip
    return svg.told(label, svg.link(node.href, *drawn, label=label) if node.href else "".join(drawn))


def _said(node: FlowNode, system: str, column: str = "") -> str:
    parts = [node.label, column, say(node.mass_g, "g", system), node.note, "this lot" if node.is_here else ""]
    return ", ".join(part for part in parts if part)


def _words(nodes: Sequence[FlowNode], links: Sequence[FlowLink], system: str) -> str:
    labels = {node.key: node.label for node in nodes}
    return "; ".join(
        f"{labels[each.source]} gave {say(each.mass_g, 'g', system)} to {labels[each.target]}"
        for each in links
    )
