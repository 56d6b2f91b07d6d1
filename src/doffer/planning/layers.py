"""Layers for the picker: whole grams that sum exactly, and the order they are laid in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.process.portions import whole_portions


@dataclass(frozen=True, slots=True)
class Layer:
    """One band of the feed sheet: its place from the bottom, whose fibre, how many grams."""

    place: int
    name: str
    mass_g: int


def layer_portions(totals_g: Mapping[str, int], *, n_layers: int) -> dict[str, tuple[int, ...]]:
    """Split each component over the layers in whole grams; no two portions of one differ by more than 1 g.

    >>> layer_portions({"wool": 3342, "alpaca": 2110}, n_layers=6)["alpaca"]
    (352, 352, 352, 352, 351, 351)
    """
    return {name: whole_portions(total, n_portions=n_layers) for name, total in totals_g.items()}


def feed_sheet(portions_g: Mapping[str, tuple[int, ...]]) -> tuple[Layer, ...]:
    """The order to lay: the largest component begins and ends with half a layer, the others lie between.

    A full layer of the largest component first and last would leave the two ends of the lot off the blend.
    Of one of its portions, half (rounded down) goes first and the rest last; the other portions stay whole.
    """
    lengths = {len(portions) for portions in portions_g.values()}
    if len(lengths) != 1:
        raise InputError("layers", sorted(lengths), "the same number for every component")
    largest = max(portions_g, key=lambda name: (sum(portions_g[name]), name))
    others = [name for name in portions_g if name != largest]
    *whole, halved = portions_g[largest]
    if not others:
        return _placed([(largest, mass) for mass in portions_g[largest]])
    bands: list[tuple[str, int]] = [(largest, halved // 2)]
    for place in range(len(portions_g[largest])):
        bands += [(name, portions_g[name][place]) for name in others]
        bands.append((largest, whole[place] if place < len(whole) else halved - halved // 2))
    return _placed(bands)


def whole_sheet(portions_g: Mapping[str, tuple[int, ...]]) -> tuple[Layer, ...]:
    """The order to lay with whole layers only: every set begins with the largest component."""
    largest = max(portions_g, key=lambda name: (sum(portions_g[name]), name))
    names = [largest, *(name for name in portions_g if name != largest)]
    n_sets = min(len(portions) for portions in portions_g.values())
    return _placed([(name, portions_g[name][place]) for place in range(n_sets) for name in names])


def _placed(bands: Sequence[tuple[str, int]]) -> tuple[Layer, ...]:
    """Bands in their order, numbered from the bottom; empty ones left out."""
    return tuple(Layer(place, name, mass) for place, (name, mass) in enumerate(bands, start=1) if mass > 0)
