"""Lots of which a tint is known: a sample blend with white says how a lot takes in and scatters light."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import absorption_of, two_constants
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.mill import colours
from doffer.mill.models import SampleBlend
from doffer.mill.models.colour import ReadingKind
from doffer.tables.loader import Tables

MOST_LOOKED_AT = 200
Constants = tuple[Floats, Floats]


def tints_of(fibre: str, form: str, tables: Tables) -> dict[str, Constants]:
    """Absorption and scattering by lot, from the newest sample blend of it with a white lot alone; one query.

    White counts as scattering 1 at every wavelength, so white lots are in it too. A sample known from L, a
    and b under one light is left out: its spectrum was made up to fit.
    """
    found: dict[str, Constants] = {}
    rows = SampleBlend.objects.filter(fibre=fibre, form=form).exclude(kind=ReadingKind.LAB).order_by("-id")
    for row in rows[:MOST_LOOKED_AT]:
        for name, constants in _told_by(row, tables).items():
            found.setdefault(name, constants)
    return found


def constants_of(codes: Sequence[str], tints: Mapping[str, Constants]) -> Constants | None:
    """Absorption and scattering of lots, shape (k, n) each; None while a tint of one is not known."""
    if not codes or any(code not in tints for code in codes):
        return None
    absorption, scattering = zip(*(tints[code] for code in codes), strict=True)
    return np.stack(absorption), np.stack(scattering)


def _told_by(row: SampleBlend, tables: Tables) -> dict[str, Constants]:
    """What a sample says of its coloured and of its white lot; nothing where it is no tint."""
    if len(row.parts) != 2:
        return {}
    spectra = [colours.spectrum_of_ppm(part["reflectance_ppm"]) for part in row.parts]
    white = _white_of(spectra, row.observer_deg, tables)
    if white is None:
        return {}
    dyed = 1 - white
    shares = [part["share_ppm"] for part in row.parts]
    made = colours.spectrum_of_ppm(row.reflectance_ppm)
    constants = two_constants(spectra[dyed], made, spectra[white], tint_share=shares[dyed] / sum(shares))
    alone = absorption_of(spectra[white])
    return {
        str(row.parts[dyed]["name"]): constants,
        str(row.parts[white]["name"]): (alone, np.ones_like(alone)),
    }


def _white_of(spectra: Sequence[Floats], observer_deg: int, tables: Tables) -> int | None:
    """Which of two lots is white; None where neither or both are."""
    labs = lab_of_reflectance(np.stack(spectra), colours.first_light(tables, observer_deg=observer_deg))
    least, most = (tables.constants[f"shade_white_{name}"].value for name in ("lightness", "chroma"))
    whites = [k for k, lab in enumerate(labs) if lab[0] >= least and np.hypot(lab[1], lab[2]) <= most]
    return whites[0] if len(whites) == 1 else None
