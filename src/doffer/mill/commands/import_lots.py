"""Lots from a file: lines that were read and shown before are kept, all or none."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import bridge, house
from doffer.mill.booking import Reading, announce, done_before, remember
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.intake import Bag, BagIn, FibreFacts, place_bag
from doffer.mill.import_rows import LotRow
from doffer.mill.models import Customer
from doffer.mill.models.weighings import Source
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

OWNER_NUMBER = re.compile(r"C[0-9]{2,6}", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class NewOwner:
    """An owner who was recorded with the lots of a file."""

    code: str
    name: str


@dataclass(frozen=True, slots=True)
class CameIn:
    """What an import kept: the lots in the file's order, and the owners recorded with them."""

    lots: tuple[BagIn, ...]
    owners: tuple[NewOwner, ...] = ()


def import_lots(
    by: Person | None,
    rows: Sequence[LotRow],
    *,
    file_name: str,
    new_owners: Sequence[str] = (),
    key: uuid.UUID | None = None,
) -> CameIn:
    """Keep every line as a lot with tag and weighing, in the file's order; all of it or nothing.

    `new_owners` are names, as the lines write them, of owners to be recorded first: only those who own a
    line, and not one whom somebody has recorded meanwhile.

    Raises
    ------
    InputError
        The first line that cannot be kept, with its place among the lines; then none is, and no owner.
    """
    person = require(by, Right.IMPORT)
    with write():
        body: dict[str, object] = {"rows": repr(tuple(rows)), "file": file_name}
        if new_owners:
            body["new_owners"] = list(new_owners)
        earlier = done_before(key, "import_lots", body)
        if earlier:
            return _as_kept(earlier)
        named = {row.owner for row in rows}
        owners = tuple(
            _recorded(person, name) for name in new_owners if name in named and not _is_known(name)
        )
        codes = {owner.name: owner.code for owner in owners}
        done = tuple(
            _placed(person, number, replace(row, owner=codes.get(row.owner, row.owner)))
            for number, row in enumerate(rows, start=1)
        )
        announce(person, "lot", "", f"{len(done)} lots from {file_name}"[:300])
        kept = [[getattr(bag, name) for name in BagIn.__slots__] for bag in done]
        result = {"lots": kept, "owners": [[owner.code, owner.name] for owner in owners]}
        remember(key, "import_lots", body, result, person)
        return CameIn(done, owners)


def _as_kept(earlier: Mapping[str, Any]) -> CameIn:
    return CameIn(
        tuple(BagIn(*values) for values in earlier["lots"]),
        tuple(NewOwner(*values) for values in earlier.get("owners", ())),
    )


def _recorded(person: Person, name: str) -> NewOwner:
    """A new owner; a name that is the number of an owner elsewhere stays the number here."""
    number = name.upper() if OWNER_NUMBER.fullmatch(name) else ""
    if number and Customer.objects.filter(code=number).exists():
        raise InputError("owner", name, "a name: this number belongs to an owner who was put away")
    made = house.everything()
    code = add_customer(
        person, code=number, name=name, units=made["units"], country_rules=made["country_rules"]
    )
    return NewOwner(code, name)


def _is_known(name: str) -> bool:
    try:
        return bool(_owner(name))
    except NotFoundError:
        return False


def _placed(person: Person, number: int, row: LotRow) -> BagIn:
    where = f"Lot {number} of the file{f' ({row.tag})' if row.tag else ''}"
    try:
        return place_bag(person, _bag(row))
    except InputError as wrong:
        raise InputError(wrong.field, wrong.value, wrong.allowed, where) from wrong
    except NotFoundError as missing:
        raise InputError(missing.kind, missing.key, "one that is recorded", where) from missing


def _bag(row: LotRow) -> Bag:
    """The bag on the scale as the line tells of it."""
    tare_mg = row.tare_mass_mg or 0
    gross_mg = row.gross_mass_mg
    if gross_mg is None:
        if row.net_mass_mg is None:
            raise InputError("weight", None, "the net weight, or the weight with the bag")
        gross_mg = row.net_mass_mg + tare_mg
    elif row.tare_mass_mg is None and row.net_mass_mg is not None:
        tare_mg = gross_mg - row.net_mass_mg
    return Bag(
        customer=_owner(row.owner),
        facts=FibreFacts(
            fibre=row.fibre,
            breed=row.breed or "",
            breed_typed=row.breed_typed,
            colour_name=row.colour,
            diameter_um=row.diameter_um,
            diameter_sd_um=row.diameter_sd_um,
            diameter_source=row.diameter_source,
            staple_mm=row.staple_mm,
        ),
        reading=Reading(
            gross_g=bridge.grams(gross_mg),
            tare_g=bridge.grams(tare_mg),
            rh_frac=row.rh_frac,
            source=Source.IMPORT,
        ),
        form=row.form,
        note=row.note,
        lot=(row.tag or "").strip(),
        received_on=row.received_on,
    )


def _owner(written: str) -> str:
    """Number of the owner that a file names by number or by name."""
    owners = Customer.objects.filter(archived_at=None)
    found = list(owners.filter(code__iexact=written.strip()).values_list("code", flat=True)) or list(
        owners.filter(name__iexact=written.strip()).values_list("code", flat=True)
    )
    if not found:
        raise NotFoundError("owner", written)
    if len(found) > 1:
        raise ConflictError(f"“{written}” is the name of {', '.join(found)}", "Write the number instead")
    return found[0]
