"""Find a fibre or a breed by what people type: names, breeds, aliases, near misses."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from doffer.errors import NotFoundError
from doffer.tables.loader import Tables
from doffer.tables.rows import Breed, Fibre

MOST_GUESSES = 3
LEAST_LIKENESS = 0.6  # difflib ratio; below it guesses look silly


@dataclass(frozen=True, slots=True)
class Kind:
    """A fibre, with the breed or type when that was said."""

    fibre: Fibre
    breed: Breed | None = None


def find_kind(tables: Tables, typed: str) -> Kind:
    """Fibre and, if it names one, breed or type of what was typed ("BFL", "kid mohair", "Suffolk cross").

    Case, accents, hyphens and spaces do not matter; a plural s neither. A fibre wins over a breed of the
    same name, except that the breed is then kept too ("suri").

    Raises
    ------
    NotFoundError
        Nothing like it; close names are offered.
    """
    wanted = _plain(typed)
    fibres, breeds = dict(_fibre_names(tables)), dict(_breed_names(tables))
    for name in (wanted, wanted.removesuffix("s")):
        breed = tables.breeds[breeds[name]] if name in breeds else None
        if name in fibres:
            fibre = tables.fibres[fibres[name]]
            return Kind(fibre, breed if breed is not None and breed.fibre == fibre.fibre else None)
        if breed is not None:
            return Kind(tables.fibres[breed.fibre], breed)
    raise NotFoundError("fibre or breed", typed, _guesses(wanted, _shown_names(tables)))


def find_fibre(tables: Tables, typed: str) -> Fibre:
    """Fibre of what was typed; a breed gives its fibre. NotFoundError with close names."""
    return find_kind(tables, typed).fibre


def find_breed(tables: Tables, typed: str) -> Breed:
    """Breed or type of what was typed; NotFoundError with close names."""
    wanted = _plain(typed)
    breeds = dict(_breed_names(tables))
    for name in (wanted, wanted.removesuffix("s")):
        if name in breeds:
            return tables.breeds[breeds[name]]
    raise NotFoundError(
        "breed", typed, _guesses(wanted, {n: tables.breeds[k].name for n, k in breeds.items()})
    )


def _plain(typed: str) -> str:
    """Small letters, no accents, single spaces instead of signs."""
    decomposed = unicodedata.normalize("NFKD", typed.casefold())
    letters = "".join(c for c in decomposed if not unicodedata.combining(c))
    return " ".join(re.findall(r"[a-z0-9]+", letters))


def _fibre_names(tables: Tables) -> Iterator[tuple[str, str]]:
    """Every plain name of every fibre, with its key."""
    for key, row in tables.fibres.items():
        for name in (key, row.name, *row.aliases.split(";")):
            if name:
                yield _plain(name), key


def _breed_names(tables: Tables) -> Iterator[tuple[str, str]]:
    """Every plain name of every breed, with its key."""
    for key, row in tables.breeds.items():
        for name in (key, row.name, *row.aliases.split(";")):
            if name:
                yield _plain(name), key


def _shown_names(tables: Tables) -> dict[str, str]:
    """Plain name to the name shown to people; fibres win."""
    breeds = {name: tables.breeds[key].name for name, key in _breed_names(tables)}
    return breeds | {name: tables.fibres[key].name for name, key in _fibre_names(tables)}


def _guesses(wanted: str, shown: dict[str, str]) -> str:
    """A hint with close names, or how to go on."""
    close = difflib.get_close_matches(wanted, shown, n=MOST_GUESSES, cutoff=LEAST_LIKENESS)
    names = list(dict.fromkeys(f"“{shown[name]}”" for name in close))
    if not names:
        return "Choose one from the list, or add your own to the fibres of the mill"
    return f"Did you mean {' or '.join(names)}? If not, choose one from the list"
