"""A yarn as it is: plies wound about each other, as thick as they are and with the turns they have.

Every yarn of a picture has one scale, so a lace single stands as a thread beside a bulky ply. Yarns hang
upright: the slope in front is then that of the middle stroke of Z or of S.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from doffer.errors import InputError
from doffer.pictures import colour, svg
from doffer.pictures.svg import Point, el
from doffer.pictures.wording import say
from doffer.pictures.words import say_many

TALL_PX: Final = 300.0
COLUMN_PX: Final = 108.0
LEAST_WIDTH_PX: Final = 328.0
LABELS_PX: Final = 52.0
MOST_THICK_PX: Final = 74.0  # the thickest yarn of a picture
MOST_SCALE: Final = 34.0  # pixels in a millimetre: finer yarn is not drawn larger than this
RULE_PX: Final = 44.0
STEPS_A_TURN: Final = 20
MOST_STEPS: Final = 90
FIBRE_LINES: Final = 3  # drawn on the face of a ply, beside each other
LEAST_TWIST_TPM: Final = 1.0  # below, fibres are drawn straight
MOST_PLIES: Final = 8
HAIR_MM: Final = 6.0  # one stray fibre in so many millimetres, for the eye only
MM_M: Final = 1000.0
QUARTER: Final = 0.25  # of a turn
LAP: Final = 0.012  # of a turn that pieces of a ply lie over each other, so that no seam shows
KEPT: Final = 256

Way = Literal["Z", "S"]
Placed = Callable[[float, float], Point]


@dataclass(frozen=True, slots=True)
class DrawnYarn:
    """A yarn to draw.

    Parameters
    ----------
    name : str
        What stands below it.
    strand_mm : float
        Diameter of one of its singles [mm].
    plies : int
        1 to 8 strands.
    twist_tpm : float
        Turns of the yarn: of the ply, or of the single where it is one [turns/m].
    way : "Z" or "S"
        Way of those turns.
    fibre_tpm : float
        Turns left in the singles after plying, their own way above zero [turns/m]; not read for one ply.
    colour : str
        The fibre's, as #rrggbb.
    note : str
        A second line below the name.
    """

    name: str
    strand_mm: float
    plies: int
    twist_tpm: float
    way: Way = "S"
    fibre_tpm: float = 0.0
    colour: str = "#cfc6b6"
    note: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.strand_mm < math.inf or not 1 <= self.plies <= MOST_PLIES:
            raise InputError(
                "yarn", (self.strand_mm, self.plies), f"thicker than zero, of 1 to {MOST_PLIES} plies"
            )
        if not 0 <= self.twist_tpm < math.inf:
            raise InputError("twist", self.twist_tpm, "zero or more turns per metre")

    @property
    def centre_radius_mm(self) -> float:
        """From the yarn's axis to the middle of a ply [mm]: ``d / (2 sin(pi / n))``, 0 for one."""
        return 0.0 if self.plies == 1 else self.strand_mm / (2 * math.sin(math.pi / self.plies))

    @property
    def thick_mm(self) -> float:
        """Across the whole yarn [mm], 2 or more round strands that touch."""
        return self.strand_mm + 2 * self.centre_radius_mm

    @property
    def angle_rad(self) -> float:
        """Slope of what is seen in front to the yarn's axis [rad]: ``tan b = 2 pi r T``."""
        radius_mm = self.centre_radius_mm or self.strand_mm / 2
        return math.atan(2 * math.pi * radius_mm / MM_M * self.twist_tpm)


def yarns(drawn: Sequence[DrawnYarn], *, system: str = "metric", title: str = "The yarn, drawn") -> str:
    """Yarns side by side at one scale, with a rule of ten millimetres beside them.

    Raises
    ------
    InputError
        No yarn.
    """
    if not drawn:
        raise InputError("yarns to draw", 0, "one or more")
    scale = scale_of(drawn)
    width = max(LEAST_WIDTH_PX, RULE_PX + 8 + COLUMN_PX * len(drawn))
    column = (width - RULE_PX - 8) / len(drawn)
    parts = [_rule(scale)]
    for place, yarn in enumerate(drawn):
        x = RULE_PX + 8 + column * (place + 0.5)
        parts.append(_strand(yarn, x, scale))
        parts.append(svg.amid(yarn.name, x, TALL_PX + 26, css="p-bold"))
        if yarn.note:
            parts.append(svg.amid(yarn.note, x, TALL_PX + 46, size=svg.MIN_TEXT_PX, css="p-soft"))
    told = "; ".join(said(yarn, system) for yarn in drawn)
    desc = f"{times_words(scale)}. {told}" if len(drawn) > 1 else told
    css = "picture picture-tall" if len(drawn) <= 2 else "picture yarn-row"
    return svg.picture(width, TALL_PX + LABELS_PX, title, desc, parts, css=css)


def scale_of(drawn: Sequence[DrawnYarn]) -> float:
    """Pixels in a millimetre for all of them, so that the thickest just fits."""
    return min(MOST_SCALE, MOST_THICK_PX / max(yarn.thick_mm for yarn in drawn))


def times_words(scale: float) -> str:
    """How many times the picture is larger than life, at the usual 96 px to the inch."""
    return f"About {scale * svg.MM_PER_PX:.0f} times life size"


def said(yarn: DrawnYarn, system: str = "metric") -> str:
    """The yarn in words: thickness, plies, turns, way and slope."""
    twist = say(yarn.twist_tpm, "tpm", system)
    plies = f"{say_many(yarn.plies, 'ply', 'plies')}" if yarn.plies > 1 else "one single"
    return (
        f"{yarn.name}: {yarn.thick_mm:.1f} mm across, {plies}, {twist} {yarn.way}, "
        f"slope {math.degrees(yarn.angle_rad):.0f} degrees"
    )


@lru_cache(maxsize=KEPT)
def _strand(yarn: DrawnYarn, x: float, scale: float) -> str:
    """One hanging yarn around the upright line at x."""
    length_mm = TALL_PX / scale
    sign = 1.0 if yarn.way == "Z" else -1.0

    def at(along_mm: float, across_mm: float) -> Point:
        return x + across_mm * scale, TALL_PX - along_mm * scale

    parts = [_hairs(yarn, length_mm, at)]
    if yarn.plies == 1:
        parts.append(_single(yarn, length_mm, sign, at))
    else:
        turn_mm = MM_M / yarn.twist_tpm if yarn.twist_tpm > 0 else math.inf
        for layer in _layers(yarn.plies):
            parts += [_ply(yarn, k, sign, turn_mm, length_mm, at, layer) for k in range(yarn.plies)]
    return el("g", *parts)


def _single(yarn: DrawnYarn, length_mm: float, sign: float, at: Placed) -> str:
    half = yarn.strand_mm / 2
    left = [at(0, -half), at(length_mm, -half)]
    right = [at(length_mm, half), at(0, half)]
    lines = _fibres([(s, 0.0) for s in _steps(0, length_mm, length_mm / MOST_STEPS)], yarn.strand_mm, at,
                    fibre_tpm=sign * yarn.twist_tpm, n_lines=2 * FIBRE_LINES)  # fmt: skip
    return _body(left, right, lines, yarn.colour)


def _layers(plies: int) -> tuple[Point, ...]:
    """What is drawn one over the other: middle of a piece and its half length, in turns from the front.

    First what lies behind, then the front half of every ply, last of three and more what is foremost.
    """
    whole = ((0.5, QUARTER + LAP), (0.0, QUARTER + LAP))
    return whole if plies == 2 else (*whole, (0.0, 0.5 / plies + LAP))


def _ply(
    yarn: DrawnYarn, k: int, sign: float, turn_mm: float, length_mm: float, at: Placed, layer: Point
) -> str:
    """The pieces of one ply that belong to a layer, all the way up."""
    if math.isinf(turn_mm):
        return _straight_ply(yarn, k, length_mm, at) if layer[0] == 0 else ""
    middle, reach = layer
    first = k / yarn.plies + middle
    drawn = []
    turn = math.floor(-reach - first) - 1
    while (turn + first - reach) * turn_mm < length_mm:
        start, end = ((turn + first + edge) * turn_mm for edge in (-reach, reach))
        if end > 0:
            drawn.append(_arc(yarn, k, sign, turn_mm, max(0.0, start), min(length_mm, end), at))
        turn += 1
    return "".join(drawn)


def _arc(yarn: DrawnYarn, k: int, sign: float, turn_mm: float, start: float, end: float, at: Placed) -> str:
    """A piece of a ply, between two heights."""
    radius, half = yarn.centre_radius_mm, yarn.strand_mm / 2

    def across(s: float) -> float:
        return sign * radius * math.sin(2 * math.pi * (s / turn_mm - k / yarn.plies))

    centre = [(s, across(s)) for s in _steps(start, end, turn_mm / STEPS_A_TURN)]
    left = [at(*_beside(centre, i, -half)) for i in range(len(centre))]
    right = [at(*_beside(centre, i, half)) for i in range(len(centre))]
    own = -sign * yarn.fibre_tpm
    return _body(left, right[::-1], _fibres(centre, yarn.strand_mm, at, fibre_tpm=own), yarn.colour)


def _straight_ply(yarn: DrawnYarn, k: int, length_mm: float, at: Placed) -> str:
    """Strands side by side, without a turn."""
    middle = (k - (yarn.plies - 1) / 2) * 2 * yarn.centre_radius_mm / max(1, yarn.plies - 1)
    centre = [(0.0, middle), (length_mm, middle)]
    left = [at(*_beside(centre, i, -yarn.strand_mm / 2)) for i in range(2)]
    right = [at(*_beside(centre, i, yarn.strand_mm / 2)) for i in range(2)]
    return _body(left, right[::-1], "", yarn.colour)


def _beside(centre: Sequence[Point], i: int, away: float) -> Point:
    """A point beside the middle line, square to it."""
    before, after = centre[max(0, i - 1)], centre[min(len(centre) - 1, i + 1)]
    ds, dt = after[0] - before[0], after[1] - before[1]
    size = math.hypot(ds, dt) or 1.0
    return centre[i][0] - away * dt / size, centre[i][1] + away * ds / size


def _fibres(
    centre: Sequence[Point], strand_mm: float, at: Placed, *, fibre_tpm: float, n_lines: int = FIBRE_LINES
) -> str:
    """Path data of fibres on the face of a strand: at their own turns, Z above zero."""
    half = strand_mm / 2 * 0.86
    data = []
    for k in range(n_lines):
        line: list[Point] = []
        for i, (s, _) in enumerate(centre):
            turns = fibre_tpm * s / MM_M + k / n_lines * (1.0 if abs(fibre_tpm) >= LEAST_TWIST_TPM else 0.5)
            phase = (turns + 0.25) % 1.0 - 0.25
            if phase > 0.25:  # on the far side
                data.append(_open(line))
                line = []
                continue
            line.append(at(*_beside(centre, i, half * math.sin(2 * math.pi * phase))))
        data.append(_open(line))
    return "".join(data)


def _open(line: Sequence[Point]) -> str:
    if len(line) < 3:
        return ""
    return "M" + "L".join(f"{svg.near(x)} {svg.near(y)}" for x, y in line)


def _body(left: Sequence[Point], back: Sequence[Point], lines: str, fill: str) -> str:
    """A strand: filled, its two long edges drawn, its ends open."""
    shade = _shade(fill)
    outline = _open3(left) + "L" + "L".join(f"{svg.near(x)} {svg.near(y)}" for x, y in back) + "Z"
    edges = _open3(left) + _open3(back)
    return (
        el("path", d=outline, fill=fill, class_="fibre-fill")
        + el("path", d=lines, fill="none", stroke=shade, stroke_width=2, opacity=0.45) * bool(lines)
        + el("path", d=edges, fill="none", class_="tuft-edge", stroke_width=2)
    )


def _open3(line: Sequence[Point]) -> str:
    return "M" + "L".join(f"{svg.near(x)} {svg.near(y)}" for x, y in line)


def _shade(fill: str) -> str:
    is_light = colour.contrast(fill, colour.BLACK) > 4
    return colour.mixed(fill, "#3a2a18", 0.45) if is_light else colour.mixed(fill, "#e9dcc6", 0.4)


def _hairs(yarn: DrawnYarn, length_mm: float, at: Placed) -> str:
    """A few fibres that stand off: for the eye, they say nothing of this yarn's hairiness."""
    count = max(2, round(length_mm / HAIR_MM))
    chance = svg.steady_numbers(f"hair{yarn.name}{yarn.plies}", 4 * count)
    data = []
    for k in range(count):
        place, side, long, bend = chance[4 * k : 4 * k + 4]
        out = (1 if side > 0.5 else -1) * yarn.thick_mm / 2
        start = length_mm * (0.04 + 0.88 * place)
        reach = min(yarn.thick_mm, 1.2) * (0.35 + 0.5 * long)
        (x0, y0), (x1, y1), (x2, y2) = (
            at(start, out * 0.9),
            at(start + reach * 0.8, out + math.copysign(reach * 0.5, out)),
            at(start + reach * (1.0 + bend), out + math.copysign(reach * 0.4 * bend, out)),
        )
        numbers = (f"{svg.near(x)} {svg.near(y)}" for x, y in ((x0, y0), (x1, y1), (x2, y2)))
        data.append("M{}Q{} {}".format(*numbers))
    return el("path", d="".join(data), fill="none", stroke=_shade(yarn.colour), stroke_width=2, opacity=0.4)


def _steps(start: float, end: float, step: float) -> list[float]:
    count = max(2, math.ceil((end - start) / step))
    return [start + (end - start) * i / count for i in range(count + 1)]


def _rule(scale: float) -> str:
    """A rule beside the yarns: a mark for every millimetre, long ones at five and ten."""
    whole = min(10, math.floor(TALL_PX / scale))
    data = [f"M{svg.num(RULE_PX - 8)} {svg.num(TALL_PX)}V{svg.num(TALL_PX - whole * scale)}"]
    for k in range(whole + 1):
        long = 16 if k % 5 == 0 else 8
        data.append(f"M{svg.num(RULE_PX - 8 - long)} {svg.num(TALL_PX - k * scale)}h{long}")
    top = TALL_PX - whole * scale
    label = svg.words(
        f"{whole} mm", 0, top - 8 if top > 24 else TALL_PX + 22, size=svg.MIN_TEXT_PX, css="p-soft"
    )
    return svg.stroke("".join(data), "p-ink-line") + label
