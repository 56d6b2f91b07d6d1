"""Lots as lines of a list, with everything a list can hold: what an export writes out."""

from __future__ import annotations

from doffer.mill import bridge
from doffer.mill.import_rows import LotRow
from doffer.mill.models import Lot
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of

_COLUMNS = (
    "pk",
    "code",
    "customer__code",
    "fibre",
    "breed",
    "breed_typed",
    "colour_name",
    "now_form",
    "now_mass_mg",
    "diameter_nm",
    "diameter_sd_nm",
    "diameter_source",
    "staple_mm",
    "received_on",
    "note",
)


def lot_lines(*, after: int | None = None) -> Page[LotRow]:
    """Lots that are not archived, as they stand now, newest first; one query.

    Weights are those of the last weighing, without the bag; `after` is the `next_after` of the page before.
    """
    lots = Lot.objects.filter(archived_at=None).order_by("-pk")
    if after is not None:
        lots = lots.filter(pk__lt=after)
    return page_of([(row[0], _line(row)) for row in lots.values_list(*_COLUMNS)[: ROWS_A_PAGE + 1]])


def _line(values: tuple) -> LotRow:
    (_, code, owner, fibre, breed, breed_typed, colour, form, mass_mg, diameter_nm, sd_nm, *rest) = values
    source, staple_mm, received_on, note = rest
    return LotRow(
        tag=code,
        owner=owner,
        fibre=fibre,
        breed=breed or None,
        breed_typed=breed_typed,
        colour=colour,
        form=form,
        net_mass_mg=mass_mg,
        diameter_um=None if diameter_nm is None else diameter_nm / bridge.NM_PER_UM,
        diameter_sd_um=None if sd_nm is None else sd_nm / bridge.NM_PER_UM,
        diameter_source=source,
        staple_mm=staple_mm,
        received_on=received_on,
        note=note,
    )
