"""The square code on papers: dense, forgiving of wet and greasy tags, drawn as lines that stay sharp.

What it holds does not grow old: the kind and number of what it is stuck to. Only where the mill has an
address that its other screens use, it holds that address too, so that a phone's camera opens the page.
"""

from __future__ import annotations

import io
import re
from typing import Final
from urllib.parse import quote, unquote

import segno

# One capital letter keeps a code small; upper case alone needs 5.5 bits a sign instead of 8.
KINDS: Final = {"tag": "T", "lot": "L", "order": "O", "recipe": "B", "shade": "D"}
OWN_SCHEME: Final = "DOFFER:"
CORRECTION: Final = "q"  # a quarter of the signs may be lost: tags get wet and greasy
QUIET_MODULES: Final = 4  # ISO/IEC 18004 asks for four empty modules on each side (from memory, unverified)
# A scanner acts as a keyboard, often as one of another country: signs between the letters may come out wrong.
_OWN: Final = re.compile(r"DOFFER[^A-Z0-9]+([TLOBD])[^A-Z0-9]+([^\s/]+)/?", re.IGNORECASE)
_ADDRESS: Final = re.compile(r"https?://[^/\s]+/([TLOBD])/([^/\s?#]+)/?", re.IGNORECASE)


def scan_text(address: str, *, kind: str, code: str) -> str:
    """What a square code holds, in upper case: DOFFER:T/7Q4K2Y, or HTTPS://MILL.LOCAL/T/7Q4K2Y.

    Servers must read its path without regard to case. Signs outside A-Z, 0-9 are percent-encoded.
    """
    place = f"{address.rstrip('/')}/" if address else OWN_SCHEME
    return f"{place}{KINDS[kind]}/{quote(code.upper(), safe='')}".upper()


def read_scan(text: str) -> tuple[str, str] | None:
    """Kind and number that a scanned text names; None where it is no square code of a mill.

    Tags printed with any address the mill ever had are read too: the address does not matter.
    """
    found = _OWN.fullmatch(text.strip()) or _ADDRESS.fullmatch(text.strip())
    if found is None:
        return None
    letter = found[1].upper()
    return next(kind for kind, sign in KINDS.items() if sign == letter), unquote(found[2]).upper()


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
