"""Names of owners: when two are the same, and how one is made to differ."""

from __future__ import annotations


def plain_name(name: str) -> str:
    """A name as it is compared: capitals and spaces make no difference.

    >>> plain_name("  Marra   ELLIN ")
    'marra ellin'
    """
    return " ".join(name.split()).casefold()


def told_apart(name: str, apart: str) -> str:
    """A name with the word that tells its owner from another one of that name.

    >>> told_apart("Marra Ellin", "Fellside")
    'Marra Ellin, Fellside'
    """
    return f"{name.strip()}, {apart.strip()}" if apart.strip() else name
