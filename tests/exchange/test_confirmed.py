"""A confirmed list is in the mill whole, or not at all."""

import dataclasses
import uuid
from datetime import date
from pathlib import Path

import pytest

from doffer.errors import InputError, RefusedError
from doffer.exchange.desk import Beside
from doffer.exchange.export import export_lots
from doffer.exchange.lots import lots_of, preview_lots
from doffer.mill.commands.import_lots import import_lots
from doffer.mill.models import Lot, Weighing
from doffer.mill.queries.lot_lines import lot_lines
from doffer.mill.queries.lots import one_lot
from doffer.tables.loader import load_tables

pytestmark = pytest.mark.django_db
FARM = Path(__file__).parent / "files" / "farm_pounds.csv"


@pytest.fixture
def shown(small_mill):
    known = Beside(tables=load_tables(), today=date(2026, 3, 2), owner=small_mill.moss)
    return preview_lots(FARM.read_bytes(), FARM.name, known)


def kept(preview, *, drop):
    return [lot for _, lot in lots_of(preview, drop=drop)]


def refused(preview):
    return [row.number for row in preview.rows if not row.is_understood]


def test_a_list_with_refused_lines_brings_nothing_in(small_mill, shown):
    before = Lot.objects.count(), Weighing.objects.count()
    with pytest.raises(RefusedError, match="Nothing was brought in"):
        import_lots(small_mill.owner, kept(shown, drop=()), file_name=shown.file_name)
    assert (Lot.objects.count(), Weighing.objects.count()) == before


def test_when_the_refused_lines_are_left_out_the_others_are_kept_as_they_were_read(small_mill, shown):
    done = import_lots(small_mill.owner, kept(shown, drop=refused(shown)), file_name=shown.file_name)
    assert [bag.lot for bag in done] == ["B-1", "B-4", "B-10"]
    lot = one_lot("B-1")
    assert (lot.row.mass_g, lot.row.form, lot.row.fibre) == (5669.905, "greasy", "wool")
    assert (lot.row.breed, lot.row.owner) == ("shetland", small_mill.moss)
    assert (lot.diameter_um, lot.diameter_source, lot.staple_mm) == (25.0, "typical", 89)
    assert lot.row.note == "Shorn by: own shears"
    assert [weighing.source for weighing in lot.weighings] == ["import"]
    assert one_lot("B-4").breed_typed == "BFL"


def test_a_line_the_mill_cannot_keep_takes_the_whole_list_back(small_mill, shown):
    rows = kept(shown, drop=refused(shown))
    stranger = dataclasses.replace(rows[-1], owner="C99")
    before = Lot.objects.count(), Weighing.objects.count()
    with pytest.raises(InputError, match=r"B-10.*owner is “C99”"):
        import_lots(small_mill.owner, [*rows[:-1], stranger], file_name=shown.file_name)
    assert (Lot.objects.count(), Weighing.objects.count()) == before


def test_a_list_confirmed_twice_is_kept_once(small_mill, shown):
    rows, key = kept(shown, drop=refused(shown)), uuid.uuid4()
    first = import_lots(small_mill.owner, rows, file_name=shown.file_name, key=key)
    assert import_lots(small_mill.owner, rows, file_name=shown.file_name, key=key) == first
    assert Lot.objects.filter(code__startswith="B-").count() == 3


def every_line():
    after, rows = None, []
    while True:
        page = lot_lines(after=after)
        rows += page.rows
        after = page.next_after
        if after is None:
            return rows


def test_the_list_of_a_whole_mill_comes_in_again(demo_mill):
    rows = [row for row in every_line() if row.net_mass_mg]
    assert len(rows) > 30
    known = Beside(tables=load_tables(), today=date(2026, 3, 2))
    preview = preview_lots(export_lots(rows, kind="xlsx"), "mill.xlsx", known)
    assert preview.refusals() == ()
    for row, (_, lot) in zip(rows, lots_of(preview), strict=True):
        for name in ("tag", "owner", "fibre", "colour", "form", "net_mass_mg", "staple_mm", "received_on"):
            assert getattr(lot, name) == getattr(row, name)
        if row.diameter_source in ("lab", "estimate", "typical"):
            assert (lot.diameter_um, lot.diameter_sd_um) == (row.diameter_um, row.diameter_sd_um)
            assert (lot.breed, lot.note) == (row.breed, row.note)
