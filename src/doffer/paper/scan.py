"""The square code on papers: dense, forgiving of wet and greasy tags, drawn as lines that stay sharp."""

from __future__ import annotations

import io
from typing import Final
from urllib.parse import quote

import segno

# One capital letter keeps a code small; upper case alone needs 5.5 bits a sign instead of 8.
KINDS: Final = {"tag": "T", "lot": "L", "order": "O", "recipe": "B", "shade": "D"}
CORRECTION: Final = "q"  # a quarter of the signs may be lost: tags get wet and greasy
QUIET_MODULES: Final = 4  # ISO/IEC 18004 asks for four empty modules on each side (from memory, unverified)


def scan_address(address: str, *, kind: str, code: str) -> str:
    """The address a square code holds, in upper case: HTTPS://DOFFER.LOCAL/T/7Q4K2Y.

    Servers must read its path without regard to case. Signs outside A-Z, 0-9 are percent-encoded.
    """
    return f"{address.rstrip('/')}/{KINDS[kind]}/{quote(code.upper(), safe='')}".upper()


def scan_picture(payload: str) -> str:
    """SVG of the square code of a payload, black on white with its quiet border."""
    drawn = io.BytesIO()
    code = segno.make(payload, error=CORRECTION, micro=False, boost_error=False)
    code.save(
        drawn,
        kind="svg",
        border=QUIET_MODULES,
        dark="#000000",
        light="#ffffff",
        svgclass=None,
        lineclass=None,
    )
    return drawn.getvalue().decode("utf-8")
