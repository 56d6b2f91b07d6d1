"""What lies before one's eyes: the kettle and its dip mark, the picker's layers, the water in the fibre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import colour, svg
from doffer.pictures.bench import say_grams
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

TEXT_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)
LAYERS_PX: Final = 328.0
STACK_PX: Final = 300.0
LEAST_LAYER_PX: Final = 24.0
MOST_LAYERS: Final = 18  # more are drawn as their beginning, their end and a word about what lies between
SHOWN_FIRST, SHOWN_LAST = 9, 6
MOST_TOLD: Final = 200  # nobody listens to more layers than these one by one
REGAIN_PX: Final = 328.0


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer on the feed: which lot, how many grams; the first one laid comes first."""

    code: str
    mass_g: float
    colour: str


def layers(laid: Sequence[Layer], *, system: str = "metric", width: float = LAYERS_PX) -> str:
    """The layers as they are laid, the first at the bottom; thickness = grams. Half layers show at both ends.

    Thin layers are drawn LEAST_LAYER_PX thick so that they can be read; the grams on them are the truth.
    Of more than MOST_LAYERS the first and the last are drawn.
    """
    whole = sum(layer.mass_g for layer in laid)
    if not laid or whole <= 0:
        raise InputError("layers", len(laid), "at least one layer with fibre in it")
    numbered = list(enumerate(laid, 1))
    is_long = len(laid) > MOST_LAYERS
    first, last = (numbered[:SHOWN_FIRST], numbered[-SHOWN_LAST:]) if is_long else ([], numbered)
    shown_g = sum(layer.mass_g for _, layer in (*first, *last))
    parts: list[str] = []
    y = 4.0
    for part in (last, first):
        for number, layer in reversed(part):
            height = max(LEAST_LAYER_PX, layer.mass_g / shown_g * STACK_PX)
            parts.append(_layer(number, layer, y, height, width))
            y += height
        if is_long and part is last:
            parts.append(_between(SHOWN_FIRST + 1, len(laid) - SHOWN_LAST, y, width))
            y += 2 * LEAST_LAYER_PX
    belt = y + 6
    parts.append(
        el(
            "path",
            d=f"M4 {num(belt)}H{num(width - 4)}",
            class_="p-ink-line",
            stroke_width=3,
            stroke_linecap="round",
        )
    )
    parts += [
        el("circle", cx=x, cy=belt + 9, r=6, fill="none", class_="p-ink-line", stroke_width=2)
        for x in (14, width - 14)
    ]
    parts.append(
        svg.words(
            "feed belt, layer 1 first",
            width / 2,
            belt + 17,
            size=SMALL_PX,
            css="p-soft",
            text_anchor="middle",
        )
    )
    return svg.picture(
        width, belt + 24, "Layers on the feed", _told(numbered, system), parts, css="picture picture-tall"
    )


def _told(numbered: Sequence[tuple[int, Layer]], system: str) -> str:
    """Every layer in words; of more than MOST_TOLD the first and the last, as they are drawn."""
    said = [f"layer {k} {layer.code} {say_grams(layer.mass_g, system)}" for k, layer in numbered]
    if len(said) > MOST_TOLD:
        said[SHOWN_FIRST:-SHOWN_LAST] = [_between_words(SHOWN_FIRST + 1, len(said) - SHOWN_LAST)]
    return say_list(said, "then")


def _between_words(first: int, last: int) -> str:
    return f"layers {first} to {last}, in the same turn"


def _between(first: int, last: int, y: float, width: float) -> str:
    """A word for the layers that are not drawn."""
    return svg.amid(
        _between_words(first, last), width / 2, y + LEAST_LAYER_PX + 5, size=SMALL_PX, css="p-soft"
    )


def _layer(number: int, layer: Layer, y: float, height: float, width: float) -> str:
    """A soft-edged band with its number, lot and grams."""
    chance = svg.steady_numbers(f"{layer.code}{number}", 9)
    top = [(4 + (width - 8) * i / 8, y + (chance[i] - 0.5) * 4) for i in range(9)]
    data = (
        f"M4 {num(y + height)}L"
        + "L".join(f"{num(x)} {num(up)}" for x, up in top)
        + f"L{num(width - 4)} {num(y + height)}Z"
    )
    ink = colour.ink_on(layer.colour)
    base = y + height / 2 + 5
    return "".join((
        el("path", d=data, fill=layer.colour, class_="fibre-fill tuft-edge layer", stroke_width=2),
        svg.words(str(number), 16, base, size=SMALL_PX, css="ink-fixed", fill=ink),
        svg.words(layer.code, 46, base, size=TEXT_PX, css="ink-fixed p-bold", fill=ink),
        svg.at_end(say_grams(layer.mass_g), width - 16, base, css="ink-fixed p-bold", fill=ink),
    ))  # fmt: skip


def kettle(
    *,
    water_l: float,
    holds_l: float,
    depth_cm: float | None = None,
    dip_cm: float | None = None,
    system: str = "metric",
) -> str:
    """A kettle filled to its mark: litres, and the wet length on a dip stick where its depth is known.

    Raises
    ------
    InputError
        More water than the kettle holds, or none.
    """
    if not 0 < water_l <= holds_l:
        raise InputError("water", water_l, f"above 0 and at most {holds_l} l, what the kettle holds")
    fill = water_l / holds_l
    top, floor, left, right = 24.0, 194.0, 26.0, 196.0
    level = floor - 6 - fill * (floor - top - 12)
    body = f"M{left} {top}V{floor - 18}q0 18 18 18H{right - 18}q18 0 18 -18V{top}"
    waves = "q21 -6 42.500 0t42.500 0 42.500 0 42.500 0"
    water = f"M{left} {num(level)}{waves}V{floor - 18}q0 18 -18 18H{left + 18}q-18 0 -18 -18Z"
    said = say(water_l, "l", system)
    parts = [
        el("path", d=water, class_="p-water kettle-water"),
        el("path", d=body, fill="none", class_="p-ink-line", stroke_width=3, stroke_linecap="round"),
        el(
            "path",
            d=f"M{left} 40h-14v26h14M{right} 40h14v26h-14",
            fill="none",
            class_="p-ink-line",
            stroke_width=3,
            stroke_linejoin="round",
        ),
        el("path", d=f"M{right - 34} 4V{floor - 6}", class_="p-edge", stroke_width=5, stroke_linecap="round"),
        el("path", d=f"M{right - 44} {num(level)}h22", class_="p-promise", stroke_width=4),
        svg.words(
            said,
            96,
            132 if fill > 0.45 else min(level - 14, 170),
            size=22,
            css="p-bold",
            text_anchor="middle",
        ),
        el(
            "path",
            d=f"M{right + 2} {num(level)}H228",
            class_="p-promise",
            stroke_width=2,
            stroke_dasharray="5 4",
        ),
    ]
    desc = f"{said} of {say(holds_l, 'l', system)}"
    if dip_cm is not None:
        mark = f"dip {say(dip_cm, 'cm', system, None if dip_cm == round(dip_cm) else 1)}"
        parts.append(svg.words(mark, 234, level + 5, size=TEXT_PX, css="p-bold p-promise-text"))
        desc += f", {mark}" + (f" of {say(depth_cm, 'cm', system)}" if depth_cm is not None else "")
    parts.append(svg.words(f"holds {say(holds_l, 'l', system)}", 234, top + 6, size=SMALL_PX, css="p-soft"))
    return svg.picture(340, 204, "Kettle", desc, parts, css="picture picture-tall")


def regain_bar(
    *,
    actual_frac: float,
    drying_frac: float,
    wetting_frac: float,
    agreed_frac: float,
    rh_frac: float,
    width: float = REGAIN_PX,
) -> str:
    """Water in the fibre: what it holds now, both branches of rest in this air, and the agreed allowance.

    `wetting_frac` is where fibre settles that takes water up, `drying_frac` where it settles drying: never
    below the other. All are regains, water over oven-dry fibre.
    """
    if drying_frac < wetting_frac:
        raise InputError("regain", f"drying {drying_frac}", f"not below taking up, {wetting_frac}")
    regains = {"now": actual_frac, "dry": drying_frac, "wet": wetting_frac, "agreed": agreed_frac}
    end = 1.06 * max(0.24, *regains.values())
    at = {name: 6 + value / end * (width - 12) for name, value in regains.items()}
    top = 40.0
    parts = [
        el("rect", x=6, y=top, width=width - 12, height=22, rx=11, class_="p-wash"),
        el("rect", x=6, y=top, width=max(1.0, at["now"] - 6), height=22, rx=11, class_="p-water regain-now"),
        el("rect", x=at["wet"], y=top - 5, width=max(3.0, at["dry"] - at["wet"]), height=32, rx=4,
           fill="none", class_="p-range-line regain-rest", stroke_width=2.5),
        svg.stroke(f"M{num(at['agreed'])} {num(top - 5)}v32", "p-promise regain-agreed", width=3, dash="6 4"),
        svg.words(f"{say(actual_frac, 'frac')} water now", 6, 20, size=16, css="p-bold"),
        svg.at_end(f"at {say(rh_frac, 'frac', digits=0)} RH", width - 6, 20, size=SMALL_PX, css="p-soft"),
    ]  # fmt: skip
    settled = f"rests at {say(wetting_frac, 'frac')} taking up, {say(drying_frac, 'frac')} drying"
    parts.append(_key(92, "p-range-line", settled, dash=None))
    parts.append(_key(118, "p-promise", f"agreed {say(agreed_frac, 'frac')}", dash="6 4"))
    desc = f"{say(actual_frac, 'frac')} now; {settled}; agreed {say(agreed_frac, 'frac')}"
    return svg.picture(width, 128, "Water in the fibre", desc, parts, css="picture picture-tall")


def _key(y: float, css: str, text: str, *, dash: str | None) -> str:
    return el("path", d=f"M6 {num(y - 5)}h20", class_=css, stroke_width=3, stroke_dasharray=dash) + svg.words(
        text, 34, y, size=SMALL_PX
    )
