"""How much two colours that match under one light part under another."""

from __future__ import annotations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import Light, lab_of_xyz, xyz_of_lab


def metamerism_de(standard_labs: Floats, sample_labs: Floats, lights: tuple[Light, ...]) -> dict[str, float]:
    """Metamerism index by illuminant: CIEDE2000 under further lights once the pair is equal under the first.

    What still differs under the first light is taken out with a factor on X, Y and Z
    (``XYZ' = XYZ_test XYZ_standard,first / XYZ_sample,first``; CIE 15, from memory, unverified). Only for
    pairs known as spectra: a Lab under one light says nothing about another.

    Parameters
    ----------
    standard_labs, sample_labs : ndarray, shape (m, 3)
        Lab under each light, the first being the one in which they should match.

    Raises
    ------
    InputError
        Fewer than two lights, or Lab values that do not go with them.
    """
    n_lights = len(lights)
    if n_lights < 2 or standard_labs.shape != (n_lights, 3) or sample_labs.shape != (n_lights, 3):
        raise InputError("lights", n_lights, "two or more, with one Lab of each colour under each")
    first = lights[0]
    wanted, found = xyz_of_lab(standard_labs[0], first.white_xyz), xyz_of_lab(sample_labs[0], first.white_xyz)
    factor = wanted / np.maximum(found, LEAST_XYZ)
    index = {}
    for place, one in enumerate(lights[1:], start=1):
        moved = lab_of_xyz(factor * xyz_of_lab(sample_labs[place], one.white_xyz), one.white_xyz)
        index[one.illuminant] = float(de2000(standard_labs[place], moved))
    return index


LEAST_XYZ = 1e-6  # of 100: black has no ratio
