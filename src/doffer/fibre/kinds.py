"""Find a fibre or a breed by what people type: names, breeds, aliases, near misses."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from doffer.errors import NotFoundError
from doffer.tables.loader import Tables
from doffer.tables.rows import Breed, Fibre

MOST_GUESSES = 3
LEAST_LIKENESS = 0.6  # difflib ratio; below it guesses look silly


@dataclass(frozen=True, slots=True)
class Kind:
    """A fibre, with the breed or type when that was said; `unlisted` is what else was said beside the fibre.

    So a breed that is in no table keeps its own name: "Zwartbles wool" is wool, unlisted "Zwartbles".
    """

    fibre: Fibre
    breed: Breed | None = None
    unlisted: str = ""


def find_kind(tables: Tables, typed: str) -> Kind:
    """Fibre and, if it names one, breed or type of what was typed ("BFL", "kid mohair", "Romney cross").

    Case, accents, signs and a plural s do not matter. A fibre wins over a breed of the same name, except
    that the breed is then kept too ("suri"). Longer words may surround the name when only one kind fits.

    Raises
    ------
    NotFoundError
        Nothing like it, or several; close names are offered.
    """
    wanted = _plain(typed)
    fibres, breeds = _fibre_names(tables), _breed_names(tables)
    name = _named(wanted, fibres | breeds) or _breed_with_its_fibre(wanted, tables)
    if name is None:
        raise NotFoundError("fibre or breed", typed, _guesses(wanted, _shown(tables)))
    breed = tables.breeds[breeds[name]] if name in breeds else None
    if name not in fibres and breed is not None:
        return Kind(tables.fibres[breed.fibre], breed)
    fibre = tables.fibres[fibres[name]]
    if breed is not None and breed.fibre == fibre.fibre:
        return Kind(fibre, breed)
    return Kind(fibre, unlisted="" if wanted.removesuffix("s") == name else _beyond(typed, name))


def close_names(tables: Tables, typed: str) -> tuple[str, ...]:
    """Names of fibres and breeds like what was typed, the likest first."""
    return _close(_plain(typed), _shown(tables))


def guess_words(kind: Kind, *, diameter_um: float | None = None) -> str:
    """What is assumed of a breed that is in no table, as a sentence without its full stop; else nothing.

    `diameter_um` is the fineness that somebody gave [um]; without it that of the fibre is guessed.
    """
    if not kind.unlisted:
        return ""
    words = f"“{kind.unlisted}” is not in our list: taken as {kind.fibre.name} of unknown breed"
    guessed = f", {kind.fibre.diameter_um:g} micron guessed until measured"
    return words if diameter_um is not None else words + guessed


def find_fibre(tables: Tables, typed: str) -> Fibre:
    """Fibre of what was typed; a breed gives its fibre. NotFoundError with close names."""
    return find_kind(tables, typed).fibre


def find_breed(tables: Tables, typed: str) -> Breed:
    """Breed or type of what was typed; NotFoundError with close names."""
    wanted, breeds = _plain(typed), _breed_names(tables)
    name = _named(wanted, breeds)
    if name is None:
        shown = {n: tables.breeds[k].name for n, k in breeds.items()}
        raise NotFoundError("breed", typed, _guesses(wanted, shown))
    return tables.breeds[breeds[name]]


def kind_of(tables: Tables, *, fibre: str, breed: str = "") -> Kind:
    """Kind of a lot from two columns; a breed that is unknown or of another fibre is left out.

    A breed may make the fibre narrower: alpaca with breed suri is suri.
    """
    row = find_fibre(tables, fibre)
    try:
        found = find_breed(tables, breed) if breed.strip() else None
    except NotFoundError:
        return Kind(row)
    if found is None or tables.fibres[found.fibre].agreed_as != row.agreed_as:
        return Kind(row)
    return Kind(tables.fibres[found.fibre], found)


def _named(wanted: str, names: Mapping[str, str]) -> str | None:
    """The known name that was typed: whole, without a plural s, or the only kind named inside it."""
    for name in (wanted, wanted.removesuffix("s")):
        if name in names:
            return name
    inside = [name for name in names if f" {name} " in f" {wanted} "]
    longest = [name for name in inside if not any(name != other and name in other for other in inside)]
    return longest[0] if len({names[name] for name in longest}) == 1 else None


def _breed_with_its_fibre(wanted: str, tables: Tables) -> str | None:
    """The breed that was typed with nothing but its own fibre behind it ("Romney wool")."""
    breeds = _breed_names(tables)
    name = _named(wanted, breeds)
    fibre = _named(wanted, _fibre_names(tables))
    if name is None or fibre is None:
        return None
    own = tables.fibres[tables.breeds[breeds[name]].fibre]
    return name if tables.fibres[_fibre_names(tables)[fibre]].agreed_as == own.agreed_as else None


def _plain(typed: str) -> str:
    """Small letters, no accents, single spaces instead of signs."""
    decomposed = unicodedata.normalize("NFKD", typed.casefold())
    letters = "".join(c for c in decomposed if not unicodedata.combining(c))
    return " ".join(re.findall(r"[a-z0-9]+", letters))


def _fibre_names(tables: Tables) -> dict[str, str]:
    """Every plain name of every fibre, with its key."""
    return {
        _plain(name): key
        for key, row in tables.fibres.items()
        for name in (key, row.name, *row.aliases.split(";"))
        if name
    }


def _breed_names(tables: Tables) -> dict[str, str]:
    """Every plain name of every breed, with its key."""
    return {
        _plain(name): key
        for key, row in tables.breeds.items()
        for name in (key, row.name, *row.aliases.split(";"))
        if name
    }


def _shown(tables: Tables) -> dict[str, str]:
    """Every plain name of every breed and fibre, with the name it is shown under."""
    shown = {name: tables.breeds[key].name for name, key in _breed_names(tables).items()}
    return shown | {name: tables.fibres[key].name for name, key in _fibre_names(tables).items()}


def _beyond(typed: str, name: str) -> str:
    """What was typed beside a name, as it was typed."""
    said = set(name.split())
    words = [word.strip("()[]{},;:") for word in typed.split()]
    return " ".join(word for word in words if _plain(word) and not set(_plain(word).split()) <= said)


def _close(wanted: str, shown: Mapping[str, str]) -> tuple[str, ...]:
    close = difflib.get_close_matches(wanted, shown, n=MOST_GUESSES, cutoff=LEAST_LIKENESS)
    return tuple(dict.fromkeys(shown[name] for name in close))


OWN_BREED = "write the fibre behind the name of a breed that is not in it, as in “Zwartbles wool”"


def _guesses(wanted: str, shown: Mapping[str, str]) -> str:
    """A hint with close names, or how to go on."""
    names = _close(wanted, shown)
    if not names:
        return f"Choose one from the list, or {OWN_BREED}"
    likely = " or ".join(f"“{name}”" for name in names)
    return f"Did you mean {likely}? If not, choose one from the list, or {OWN_BREED}"
