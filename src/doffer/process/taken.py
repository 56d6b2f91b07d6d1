"""Which fibre a stage takes: by what it looks like, and whether it may come wet."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.material import Form

_RAW = frozenset({Form.GREASY, Form.SKIRTED})
_LOOSE = frozenset({Form.SCOURED, Form.OPENED})
_STRAND = frozenset({Form.ROVING, Form.BATT})
_YARN = frozenset({Form.SINGLE, Form.PLIED, Form.SKEIN})
_ALL_CLEAN = _LOOSE | _STRAND | _YARN


@dataclass(frozen=True, slots=True)
class Taken:
    """What goes into a stage without a question: forms, and whether wet and air-dry fibre do."""

    forms: frozenset[Form]
    wet: bool = False
    dry: bool = True


_TAKEN = {
    "skirt": Taken(_RAW),
    "tumble": Taken(_RAW | _LOOSE),
    "wash": Taken(_RAW | {Form.SCOURED}, wet=True),
    "extract": Taken(_ALL_CLEAN, wet=True, dry=False),
    "dry": Taken(_RAW | _ALL_CLEAN, wet=True),
    "dye": Taken(_LOOSE | _STRAND | {Form.SKEIN}, wet=True),
    "pick": Taken(_LOOSE | _STRAND),
    "rest": Taken(_ALL_CLEAN, wet=True),
    "dehair": Taken(_LOOSE),
    "card": Taken(_LOOSE | _STRAND),
    "draw": Taken(frozenset({Form.ROVING})),
    "spin": Taken(_STRAND),
    "ply": Taken(frozenset({Form.SINGLE, Form.PLIED})),
    "set": Taken(_YARN, wet=True),
    "skein": Taken(_YARN),
}


def forms_taken(stage: str) -> Taken:
    """What a stage takes without a question: raw, loose, strand or yarn, and wet or dry.

    Anything else is asked about, never impossible: somebody spins in the grease. A washed lot may be carded
    unpicked, roving may be picked and carded again. Source: common practice.

    Raises
    ------
    InputError
        No such stage.
    """
    if stage not in _TAKEN:
        raise InputError("stage", stage, f"one of {', '.join(_TAKEN)}")
    return _TAKEN[stage]


def state_of(form: Form) -> str:
    """The state fibre is joined in: raw, clean fibre, or yarn; source: common practice.

    Washed, picked and carded fibre of one blend meet at the picker: carded waste goes through it again.
    """
    if form in _RAW:
        return "raw"
    return "yarn" if form in _YARN else "fibre"
