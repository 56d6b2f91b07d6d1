"""A sitting at the instrument as a page shows it: swatch, how it was read, how even its tufts are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.mill.colours import FIRST_LIGHT
from doffer.mill.sittings import Sitting
from doffer.office.shades_view import on_screen
from doffer.pictures.chip import chip
from doffer.tables.loader import Tables

FORM_WORDS = {"loose": "loose fibre", "roving": "roving", "yarn": "yarn"}


@dataclass(frozen=True, slots=True)
class SittingView:
    """A sitting in words; `spread` says whether the tufts agree."""

    chip: str
    how: str
    spread: str
    is_exact: bool
    is_shown: bool


def sitting_view(one: Sitting, tables: Tables) -> SittingView:
    """A sitting in words and with its swatch."""
    shown = on_screen(one.labs, one.reflectance_ppm, tables)
    lab = one.lab
    said = f"L {lab[0]:.1f}, a {lab[1]:.1f}, b {lab[2]:.1f}"
    return SittingView(
        chip(shown.hex, said, width=72), how(one), spread(one, tables), shown.is_exact, shown.is_shown
    )


def how(one: Sitting) -> str:
    """How it was read."""
    pad = one.pad
    words = ["wet" if pad.is_wet else "dry", FORM_WORDS[pad.form]]
    if one.kind == "photo":
        words.append("from a photo with a chart")
    words += [word for word in (pad.geometry, one.instrument) if word]
    if pad.is_behind_glass:
        words.append("behind glass")
    if pad.observer_deg != 10:
        words.append(f"{pad.observer_deg}°")
    return ", ".join(words)


def spread(one: Sitting, tables: Tables) -> str:
    """What the tufts say of evenness.

    Alike below what can be told, even up to the usual tolerance, uneven beyond.
    """
    if one.n_tufts < 2:
        return "one tuft alone says nothing of evenness: read four or more"
    apart, strictly = most_apart(one)
    if apart < tables.constants["shade_least_told"].value:
        return f"the {one.n_tufts} tufts are alike"
    words = f"these {one.n_tufts} tufts differ by up to {apart:.1f}"
    if strictly <= tables.constants["shade_pass_cmc"].value:
        return f"{words}: even enough"
    return f"{words}: the lot is uneven, so mix it well or dye it again"


def most_apart(one: Sitting) -> tuple[float, float]:
    """Largest difference between two tufts that count, as CIEDE2000 and as CMC(2:1), in a light all have."""
    counted = [tuft.labs for tuft in one.tufts if tuft.corrected_by is None]
    lights = [name for name in (FIRST_LIGHT, *counted[0]) if all(name in labs for labs in counted)]
    if not lights:
        return 0.0, 0.0
    rows = np.array([labs[lights[0]] for labs in counted])
    pairs = np.broadcast_arrays(rows[:, None, :], rows[None, :, :])
    return float(de2000(*pairs).max()), float(de_cmc(*pairs).max())
