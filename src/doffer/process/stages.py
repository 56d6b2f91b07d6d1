"""The stages of the mill in the order fibre meets them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from doffer.process.card import card, draw
from doffer.process.dye import dye
from doffer.process.finish import skein, twist_set
from doffer.process.pick import dehair, pick, rest
from doffer.process.prepare import skirt, tumble
from doffer.process.spin import ply, spin
from doffer.process.stage import Stage
from doffer.process.wash import dry, extract, wash

STAGES: Mapping[str, Stage] = MappingProxyType(
    {
        "skirt": skirt,
        "tumble": tumble,
        "wash": wash,
        "extract": extract,
        "dry": dry,
        "dye": dye,
        "pick": pick,
        "rest": rest,
        "dehair": dehair,
        "card": card,
        "draw": draw,
        "spin": spin,
        "ply": ply,
        "set": twist_set,
        "skein": skein,
    }
)
