"""A lot as a file tells of it: what an import hands to the mill and what an export writes out again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRow:
    """One understood line of a list of lots; masses in whole milligrams, unknown figures None.

    Parameters
    ----------
    tag : str or None
        The lot's number or the bag's label as the sender wrote it; None: the mill gives the next number.
    owner : str
        Number or name of the owner, as written.
    fibre, breed : str, str or None
        Keys of ``tables.fibres`` and ``tables.breeds``.
    breed_typed : str
        The sender's word for the breed where it says more than the key ("Suffolk cross").
    form : str
        A ``fibre.material.Form``.
    net_mass_mg, gross_mass_mg, tare_mass_mg : int or None
        What lay in the bag, the bag with it, the empty bag; as weighed, with its water.
    rh_frac : float or None
        Humidity of the room at weighing.
    diameter_source : str
        lab, estimate, or typical (of the breed or fibre, nothing was measured).
    """

    owner: str
    fibre: str
    tag: str | None = None
    breed: str | None = None
    breed_typed: str = ""
    colour: str = ""
    form: str = "greasy"
    net_mass_mg: int | None = None
    gross_mass_mg: int | None = None
    tare_mass_mg: int | None = None
    rh_frac: float | None = None
    diameter_um: float | None = None
    diameter_sd_um: float | None = None
    diameter_source: str = "typical"
    staple_mm: int | None = None
    received_on: date | None = None
    note: str = ""
