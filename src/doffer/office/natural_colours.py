"""A small palette of undyed fibre, to point at while a bag is weighed in.

The Lab figures (D65, 10 degrees) are our own approximations by eye, for telling lots apart on a screen;
nothing is dyed or matched by them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Natural:
    """One colour of the palette: key, the word beside it, Lab, approximate."""

    key: str
    name: str
    lab: Lab

    @property
    def svg(self) -> str:
        """A tuft in this colour."""
        return tuft_icon(self.key, fibre_hex(*self.lab), size=44, label=self.name)


PALETTE: Final = (
    Natural("white", "white", (86.0, 0.5, 9.5)),
    Natural("cream", "cream", (80.0, 2.0, 16.0)),
    Natural("beige", "beige", (72.0, 4.0, 19.0)),
    Natural("fawn", "fawn", (62.0, 7.0, 21.0)),
    Natural("caramel", "caramel", (50.0, 12.0, 24.0)),
    Natural("brown", "brown", (34.0, 9.0, 14.0)),
    Natural("dark-brown", "dark brown", (24.0, 5.0, 7.0)),
    Natural("black", "black", (17.0, 1.0, 1.5)),
    Natural("charcoal", "charcoal", (33.0, 0.8, 2.5)),
    Natural("grey", "grey", (55.0, 0.8, 5.0)),
    Natural("silver", "silver grey", (70.0, 0.3, 6.0)),
    Natural("rose-grey", "rose grey", (55.0, 6.0, 9.0)),
)
BY_KEY: Final = {colour.key: colour for colour in PALETTE}


def lab_of_key(key: str) -> Lab | None:
    """Lab of a colour that was pointed at; None when none was."""
    return BY_KEY[key].lab if key in BY_KEY else None
