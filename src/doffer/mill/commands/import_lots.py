"""Lots from a file: lines that were read and shown before are kept, all or none."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import bridge
from doffer.mill.booking import Reading, announce, done_before, remember
from doffer.mill.commands.intake import Bag, BagIn, FibreFacts, place_bag
from doffer.mill.import_rows import LotRow
from doffer.mill.models import Customer
from doffer.mill.models.weighings import Source
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


def import_lots(
    by: Person | None, rows: Sequence[LotRow], *, file_name: str, key: uuid.UUID | None = None
) -> tuple[BagIn, ...]:
    """Keep every line as a lot with tag and weighing, in the file's order.

    Raises
    ------
    InputError
        The first line that cannot be kept, with its place among the lines; then none is.
    """
    person = require(by, Right.IMPORT)
    with write():
        body: dict[str, object] = {"rows": repr(tuple(rows)), "file": file_name}
        earlier = done_before(key, "import_lots", body)
        if earlier:
            return tuple(BagIn(*values) for values in earlier["lots"])
        done = tuple(_placed(person, number, row) for number, row in enumerate(rows, start=1))
        announce(person, "lot", "", f"{len(done)} lots from {file_name}"[:300])
        kept = [[getattr(bag, name) for name in BagIn.__slots__] for bag in done]
        remember(key, "import_lots", body, {"lots": kept}, person)
        return done


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
