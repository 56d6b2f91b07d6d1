"""From understood lines to what the mill keeps: the confirmed list as rows of the import command."""

from __future__ import annotations

from collections.abc import Collection

from doffer.errors import InputError
from doffer.exchange.lots import ImportPreview, lots_of
from doffer.mill.booking import Reading
from doffer.mill.commands.import_lots import ImportedLot
from doffer.mill.commands.intake import Bag, FibreFacts
from doffer.mill.import_rows import LotRow

MG_PER_G = 1000


def confirmed_lots(preview: ImportPreview, *, drop: Collection[int] = ()) -> tuple[ImportedLot, ...]:
    """Every kept line for `import_lots`; `drop` holds the numbers of the lines a person left out.

    Raises
    ------
    RefusedError
        A refused line is neither mended nor dropped.
    """
    return tuple(
        ImportedLot(row=number, bag=bag_of(lot, number)) for number, lot in lots_of(preview, drop=drop)
    )


def bag_of(lot: LotRow, number: int) -> Bag:
    """A line as the closed bag that would stand on the door scale."""
    net_mg = lot.net_mass_mg
    gross_mg, tare_mg = lot.gross_mass_mg, lot.tare_mass_mg
    if gross_mg is None:
        if net_mg is None:
            raise InputError("weight", None, "the weight of the bag", f"Row {number}")
        tare_mg = tare_mg or 0
        gross_mg = net_mg + tare_mg
    facts = FibreFacts(
        fibre=lot.fibre,
        breed=lot.breed or "",
        breed_typed=lot.breed_typed,
        colour_name=lot.colour,
        diameter_um=lot.diameter_um,
        diameter_sd_um=lot.diameter_sd_um,
        diameter_source=lot.diameter_source,
        staple_mm=lot.staple_mm,
    )
    reading = Reading(
        gross_g=gross_mg / MG_PER_G, tare_g=(tare_mg or 0) / MG_PER_G, rh_frac=lot.rh_frac, note="from a file"
    )
    return Bag(
        customer=lot.owner,
        facts=facts,
        reading=reading,
        form=lot.form,
        note=lot.note,
        lot=lot.tag or "",
        received_on=lot.received_on,
    )
