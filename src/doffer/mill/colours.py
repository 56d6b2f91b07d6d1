"""Between colour records and the science: whole numbers and spectra, and what may be compared with what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import lru_cache

import numpy as np

from doffer.errors import InputError, RefusedError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.recover import recover_from_lights, recover_reflectance
from doffer.fibre.colour.spectrum import (
    Light,
    check_reflectance,
    lab_of_reflectance,
    lab_of_xyz,
    light,
    xyz_of_lab,
)
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.models.colour import PadForm, ReadingKind
from doffer.tables.loader import Tables

Lab = tuple[float, float, float]
LIGHTS = ("D65", "A", "LED-B3")  # Lab is kept under these beside every spectrum
FIRST_LIGHT = "D65"
OBSERVER_DEG = 10
READING_SD = 0.1  # of a Lab printed to one decimal; how far two lights may disagree
WORST_LAST = ("spectrum", "lab2", "lab", "photo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad:
    """What must be alike in two readings before their colours may be compared."""

    form: str = PadForm.LOOSE
    is_wet: bool = False
    is_behind_glass: bool = False
    geometry: str = ""
    observer_deg: int = OBSERVER_DEG

    def __post_init__(self) -> None:
        if self.form not in PadForm.values:
            raise InputError("form of the pad", self.form, f"one of {', '.join(PadForm.values)}")
        if self.observer_deg not in (2, 10):
            raise InputError("observer", f"{self.observer_deg}°", "2° or 10°, as the instrument says")


def unlike(one: Pad, other: Pad) -> tuple[str, ...]:
    """Why two readings may not be compared; empty when they may."""
    reasons = []
    if one.is_wet != other.is_wet:
        reasons.append("one was read wet and the other dry")
    if one.is_behind_glass != other.is_behind_glass:
        reasons.append("one was read behind glass and the other not")
    if one.form != other.form:
        names = [PadForm(pad.form).label for pad in (one, other)]
        reasons.append(f"one is a {names[0]} and the other a {names[1]}")
    if one.geometry != other.geometry:
        names = [pad.geometry or "a geometry nobody wrote down" for pad in (one, other)]
        reasons.append(f"one was read with {names[0]} and the other with {names[1]}")
    if one.observer_deg != other.observer_deg:
        reasons.append(
            f"one is told for the {one.observer_deg}° observer, the other for {other.observer_deg}°"
        )
    return tuple(reasons)


def check_alike(one: Pad, other: Pad, act: str, *, anyhow: str = "") -> None:
    """Let two readings be compared, or say why not.

    Parameters
    ----------
    anyhow : str
        A person's reason to compare all the same; wet and dry are never compared, whatever the reason.

    Raises
    ------
    RefusedError
        They differ in something that changes what the instrument sees.
    """
    reasons = unlike(one, other)
    if not reasons or (anyhow.strip() and one.is_wet == other.is_wet):
        return
    mend = "Read both in the same way"
    if one.is_wet == other.is_wet:
        mend += ", or write why they may be compared all the same"
    raise RefusedError(act, reasons, mend)


def pad_of(record: object) -> Pad:
    """The pad of a reading, a standard or a recipe."""
    return Pad(
        **{name: getattr(record, name) for name in (f.name for f in fields(Pad)) if hasattr(record, name)}
    )


def whole_ppm(reflectance: Floats | Sequence[float]) -> list[int]:
    """A spectrum as 31 whole numbers; refused when it cannot be one."""
    return [
        round(float(value) * PPM) for value in check_reflectance(np.asarray(reflectance, dtype=np.float64))
    ]


def spectrum_of_ppm(parts_ppm: Sequence[int]) -> Floats:
    """A spectrum from its whole numbers, shape (31,)."""
    return np.asarray(parts_ppm, dtype=np.float64) / PPM


def centi(labs: Mapping[str, Sequence[float]]) -> dict[str, list[int]]:
    """Lab by light in hundredths."""
    return {name: [round(float(x) * CENTI) for x in lab] for name, lab in labs.items()}


def plain_labs(labs_centi: Mapping[str, Sequence[int]]) -> dict[str, Lab]:
    """Lab by light from hundredths."""
    return {name: (row[0] / CENTI, row[1] / CENTI, row[2] / CENTI) for name, row in labs_centi.items()}


def labs_under(reflectance: Floats, tables: Tables, *, observer_deg: int) -> dict[str, Lab]:
    """Lab of a spectrum under the usual lights."""
    labs = {}
    for name in LIGHTS:
        lab = lab_of_reflectance(reflectance, light(tables, name, observer_deg=observer_deg))
        labs[name] = (float(lab[0]), float(lab[1]), float(lab[2]))
    return labs


def check_white(lab: Lab, name: str) -> None:
    """Refuse what gives back more light than falls on it: no screen and no blend model knows it.

    Raises
    ------
    InputError
        Lighter than white.
    """
    if lab[0] > WHITE_L:
        allowed = (
            "at most 100, as light as white: it has a brightener on it, or the instrument wants its white "
            "tile; read it again, or leave it out of the file"
        )
        raise InputError("spectrum", f"{name}, lightness {lab[0]:.1f}", allowed)


WHITE_L = 100.005  # half a hundredth: lightness is kept in hundredths


def check_labs(labs: Mapping[str, Sequence[float]], tables: Tables, *, observer_deg: int) -> dict[str, Lab]:
    """Typed Lab by light, if colours can be so.

    Raises
    ------
    InputError
        None at all, lightness outside 0..100, or a and b beyond what any fibre shows.
    NotFoundError
        A light the tables do not know.
    """
    if not labs:
        raise InputError("colour", None, "a spectrum, or L, a and b under a light")
    good = {}
    for name, lab in labs.items():
        light(tables, name, observer_deg=observer_deg)
        lightness, a, b = (float(x) for x in lab)
        if not 0 < lightness <= 100:
            raise InputError("lightness L", lightness, "above 0 and at most 100", f"Lab under {name}")
        if not (abs(a) <= MOST_AB and abs(b) <= MOST_AB):
            raise InputError(
                "a and b", f"{a:g} and {b:g}", f"from -{MOST_AB} to {MOST_AB}", f"Lab under {name}"
            )
        good[name] = (lightness, a, b)
    return good


MOST_AB = 130  # no surface colour lies farther from grey


@dataclass(frozen=True, eq=False, slots=True)
class Known:
    """A colour as the science wants it: spectrum (31,) measured or recovered; how known; its error.

    `error_de` is what a prediction from such a reading may be off by, CIEDE2000 (table colour_models).
    """

    reflectance: Floats
    kind: str
    error_de: float


def known_spectrum(
    *,
    kind: str,
    reflectance_ppm: Sequence[int] | None,
    labs: Mapping[str, Lab],
    observer_deg: int,
    tables: Tables,
) -> Known:
    """The spectrum that was measured, else one recovered from Lab under one or two lights."""
    if reflectance_ppm is not None:
        measured = ReadingKind.SPECTRUM
        return Known(spectrum_of_ppm(reflectance_ppm), measured, _usual_error_de(measured, tables))
    asked = _Recovered(tables.sha256, observer_deg, tuple(labs.items()), tables)
    return Known(_recovered(asked), kind, _usual_error_de(kind, tables))


@dataclass(frozen=True, slots=True)
class _Recovered:
    """What a spectrum is recovered from; tables count by their fingerprint."""

    sha256: str
    observer_deg: int
    labs: tuple[tuple[str, Lab], ...]
    tables: Tables = field(compare=False, repr=False)


@lru_cache(maxsize=4096)
def _recovered(asked: _Recovered) -> Floats:
    """The spectrum behind Lab under one or two lights; every look at the bench asks for the same ones."""
    lights = [light(asked.tables, name, observer_deg=asked.observer_deg) for name, _ in asked.labs]
    labs = [lab for _, lab in asked.labs]
    if len(lights) == 1:
        found = recover_reflectance(np.array(labs), lights[0])
    else:
        found = recover_from_lights(np.array([labs]), tuple(lights), sd=READING_SD)
    spectrum = found.reflectance[0]
    spectrum.setflags(write=False)
    return spectrum


def _usual_error_de(kind: str, tables: Tables) -> float:
    return tables.colour_models[f"any/error_mean/read_{kind}"].value


def mean_labs(rows: Sequence[Mapping[str, Lab]], tables: Tables, *, observer_deg: int) -> dict[str, Lab]:
    """Mean colour of tufts under each light that all have: of the light, not of the Lab figures."""
    shared = [name for name in rows[0] if all(name in row for row in rows)]
    means = {}
    for name in shared:
        white = light(tables, name, observer_deg=observer_deg).white_xyz
        mean = lab_of_xyz(xyz_of_lab(np.array([row[name] for row in rows]), white).mean(axis=0), white)
        means[name] = (float(mean[0]), float(mean[1]), float(mean[2]))
    return means


def worst_kind(kinds: Sequence[str]) -> str:
    """The least sure of several ways of knowing."""
    return max(kinds, key=WORST_LAST.index)


def first_light(tables: Tables, *, observer_deg: int) -> Light:
    """Daylight for an observer."""
    return light(tables, FIRST_LIGHT, observer_deg=observer_deg)
