"""Small line drawings for buttons and notices, on a 24 x 24 grid with a 2 px line in the text's colour."""

from __future__ import annotations

from typing import Final

from markupsafe import Markup, escape

from doffer.errors import NotFoundError

DRAWINGS: Final = {
    "today": "M3 17h18 M7 17a5 5 0 0 1 10 0 M12 5v3 M4.5 9l2 2 M19.5 9l-2 2 M7 21h10",
    "lots": "M12 4c4-1 7 2 7.5 5.5C22 12 20 18 15 19.5 10 21 4 19 4 13.5 3.500 9 7 5 12 4Z"
    " M8 11c1.500-2 2.500 1 4-.5s2.500 1 4-.5 M8.500 15c1.200-1.500 2.200.8 3.500-.4s2.200.8 3.300-.4",
    "orders": "M6 3h12v18l-3-2-3 2-3-2-3 2Z M9 8h6 M9 12h6",
    "bench": "M3 8.500a4.500 4.500 0 0 1 9 0 4.500 4.500 0 0 1-9 0Z"
    " M12 8.500a4.500 4.500 0 0 1 9 0 4.500 4.500 0 0 1-9 0Z"
    " M7.500 16a4.500 4.500 0 0 1 9 0 4.500 4.500 0 0 1-9 0Z",
    "shades": "M4 4h7v16H4Z M4 9.500h7 M4 14.500h7 M11 9l4.500-4.500 5 5L11 19 M14 20h6v-6h-3",
    "shape_round": "M12 5a7 7 0 1 0 0 14 7 7 0 0 0 0-14Z",
    "shape_three": "M12 4 21 19H3Z",
    "shape_square": "M5 5h14v14H5Z",
    "weigh": "M12 4v16 M8 20h8 M5 7h14 M5 7l-3 7h6Z M19 7l-3 7h6Z",
    "records": "M5 4h11a3 3 0 0 1 3 3v13H8a3 3 0 0 1-3-3Z M5 17a3 3 0 0 1 3-3h11 M9 8h6",
    "plus": "M12 5v14 M5 12h14",
    "print": "M7 9V3h10v6 M7 17H4v-8h16v8h-3 M7 14h10v7H7Z",
    "download": "M12 3v12 M7 10l5 5 5-5 M4 20h16",
    "upload": "M12 16V4 M7 9l5-5 5 5 M4 20h16",
    "check": "M4 12.500 9.500 18 20 6.500",
    "caution": "M12 3.500 22 20.500H2Z M12 10v5 M12 17.600v.2",
    "error": "M12 3a9 9 0 1 0 0 18 9 9 0 0 0 0-18Z M12 7.500v6 M12 16.400v.2",
    "hold": "M8 12V5.500a1.500 1.500 0 0 1 3 0V11 M11 11V4.500a1.500 1.500 0 0 1 3 0V11"
    " M14 11V6a1.500 1.500 0 0 1 3 0v8c0 4-2 7-5.500 7C8 21 7 19 4.500 14.500 4 13 6 12 8 14Z",
    "forward": "M5 12h14 M13 6l6 6-6 6",
    "back": "M19 12H5 M11 6l-6 6 6 6",
    "down": "M6 9l6 6 6-6",
    "search": "M10.500 4a6.500 6.500 0 1 0 0 13 6.500 6.500 0 0 0 0-13Z M15.500 15.500 21 21",
    "person": "M12 4a4 4 0 1 0 0 8 4 4 0 0 0 0-8Z M4 21c0-4 3.500-6.500 8-6.500s8 2.500 8 6.500",
    "look": "M12 3a9 9 0 1 0 0 18Z M12 3a9 9 0 0 1 0 18",
    "close": "M6 6l12 12 M18 6 6 18",
    "photo": "M4 7h4l2-3h4l2 3h4v13H4Z M12 10a3.500 3.500 0 1 0 0 7 3.500 3.500 0 0 0 0-7Z",
    "clock": "M12 3a9 9 0 1 0 0 18 9 9 0 0 0 0-18Z M12 7v5.500l3.500 2",
    "tag": "M3 12V4h8l10 10-7 7Z M7.500 8.500v.2",
}


def icon(name: str, label: str = "") -> Markup:
    """An icon as inline SVG; hidden from screen readers unless it stands alone and has a label.

    Raises
    ------
    NotFoundError
        There is no drawing of this name.
    """
    if name not in DRAWINGS:
        raise NotFoundError("icon", name, "Known are " + ", ".join(DRAWINGS))
    said = f'role="img" aria-label="{escape(label)}"' if label else 'aria-hidden="true"'
    return Markup(  # noqa: S704 - the drawings are ours, the label is escaped
        f'<svg class="icon" viewBox="0 0 24 24" width="24" height="24" fill="none" stroke="currentColor"'
        f' stroke-width="2" stroke-linecap="round" stroke-linejoin="round" focusable="false" {said}>'
        f'<path d="{DRAWINGS[name]}"/></svg>'
    )
