"""How the fibre on the bench mixes: whose constant counts, and whether tints of all lots are known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import BlendModel, with_scattering
from doffer.mill.palette import main_fibre
from doffer.mill.queries.bench import Bench, BenchLot, spectra
from doffer.mill.tints import constants_of
from doffer.office.bench_asked import FIND, MIX, TWO_CONSTANT, Asked
from doffer.pictures.words import say_list


def fibre_of_most(asked: Asked, bench: Bench) -> str:
    """The fibre whose constant counts: that which makes most of the mix, or that which is searched in."""
    lots = [lot for lot in bench.lots if lot.code in asked.lots]
    if asked.want == FIND or not lots:
        return asked.only_fibre if asked.only_fibre in bench.tables.fibres else bench.mixing.fibre
    if asked.want == MIX and any(asked.shares.get(lot.code) for lot in lots):
        return main_fibre((lot.fibre, asked.shares.get(lot.code, 0.0)) for lot in lots)
    return main_fibre((lot.fibre, lot.free_dry_g) for lot in lots)


def fibres_words(asked: Asked, bench: Bench) -> str:
    """Said where fibres differ: by which of them the mix is reckoned; empty where all are one."""
    fibres = {lot.fibre for lot in bench.lots if lot.code in asked.lots and asked.shares.get(lot.code)}
    if len(fibres) < 2:
        return ""
    names = bench.tables.fibres
    others = sorted(names[key].name for key in fibres if key != bench.mixing.fibre)
    return (
        f"It is of several fibres. It is reckoned as {names[bench.mixing.fibre].name} mixes, which makes "
        f"most of it; {say_list(others)} may mix otherwise."
    )


def is_tinted(asked: Asked, bench: Bench) -> bool:
    """Whether the mix can be reckoned by two constants: a tint in white of every lot is known."""
    return asked.want == MIX and constants_of(asked.lots, bench.tints) is not None


def not_tinted(asked: Asked, bench: Bench) -> tuple[str, ...]:
    """Lots for whose want the two constants that were asked for do not count."""
    if asked.typed.text("model") != TWO_CONSTANT or asked.model == TWO_CONSTANT:
        return ()
    return tuple(code for code in asked.lots if code not in bench.tints)


def pads_of(lots: Sequence[BenchLot], bench: Bench) -> Floats:
    """Lots as the model in use wants them: spectra, shape (k, n), or what their tints told, (k, 2n)."""
    if bench.ways.mixing.model is not BlendModel.TWO_CONSTANT:
        return spectra(lots)
    constants = constants_of([lot.code for lot in lots], bench.tints)
    return np.zeros((0, 0)) if constants is None else with_scattering(*constants)
