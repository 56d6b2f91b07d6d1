"""What a page says to people."""

import html
import re


def words(response) -> str:
    """The text of a page without its tags, with plain spaces."""
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", html.unescape(text).replace("\u202f", " "))
