"""Lots from a file: rows that were read and shown before are kept, all or none."""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError, NotFoundError
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.commands.intake import Bag, BagIn, place_bag
from doffer.mill.models.weighings import Source
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedLot:
    """One row of the file as it was understood; `row` is its number there."""

    row: int
    bag: Bag


def import_lots(
    by: Person | None, rows: Sequence[ImportedLot], *, file_name: str, key: uuid.UUID | None = None
) -> tuple[BagIn, ...]:
    """Keep every row as a lot with tag and weighing, in the file's order.

    Raises
    ------
    InputError
        The first row that cannot be kept, with its number; then no row is.
    """
    person = require(by, Right.IMPORT)
    with write():
        body: dict[str, object] = {"rows": repr(tuple(rows)), "file": file_name}
        earlier = done_before(key, "import_lots", body)
        if earlier:
            return tuple(BagIn(*values) for values in earlier["lots"])
        done = tuple(_placed(person, item) for item in rows)
        announce(person, "lot", "", f"{len(done)} lots from {file_name}"[:300])
        kept = [[getattr(bag, name) for name in BagIn.__slots__] for bag in done]
        remember(key, "import_lots", body, {"lots": kept}, person)
        return done


def _placed(person: Person, item: ImportedLot) -> BagIn:
    reading = dataclasses.replace(item.bag.reading, source=Source.IMPORT)
    try:
        return place_bag(person, dataclasses.replace(item.bag, reading=reading))
    except InputError as wrong:
        raise InputError(wrong.field, wrong.value, wrong.allowed, f"Row {item.row}") from wrong
    except NotFoundError as missing:
        raise InputError(missing.kind, missing.key, "one that is recorded", f"Row {item.row}") from missing
