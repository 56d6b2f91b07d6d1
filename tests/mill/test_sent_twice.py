"""Own figures of a whole row, and acts that are sent twice."""

import uuid

import pytest

from doffer.errors import NotFoundError, TableError
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.machines import MachineFacts, add_machine
from doffer.mill.commands.settings import add_person
from doffer.mill.commands.tables import override_row, withdraw_cell, withdraw_row
from doffer.mill.models import Hold
from doffer.mill.queries import house
from doffer.mill.queries.tables import current_tables, own_figures
from doffer.tables.loader import load_tables

pytestmark = pytest.mark.django_db


def test_low_usual_and_high_of_a_row_are_put_in_and_taken_back_together(people):
    row = {"table": "scour_yields", "row": "fine_wool"}
    values = {"yield_low_pct": "70", "yield_mode_pct": "75", "yield_high_pct": "80"}
    key = uuid.uuid4()
    entries = override_row(people.office, **row, values=values, reason="twelve lots", key=key)
    assert override_row(people.office, **row, values=values, reason="twelve lots", key=key) == entries
    assert len(own_figures()) == 3
    counts = current_tables().scour_yields["fine_wool"]
    assert (counts.yield_low_pct, counts.yield_mode_pct, counts.yield_high_pct) == (70, 75, 80)
    with pytest.raises(TableError, match="at least 75"):
        withdraw_cell(people.office, **row, column="yield_high_pct")
    assert current_tables().scour_yields["fine_wool"].yield_high_pct == 80
    withdraw_row(people.office, **row, reason="too few")
    assert current_tables().scour_yields["fine_wool"] == load_tables().scour_yields["fine_wool"]
    with pytest.raises(NotFoundError):
        withdraw_row(people.office, **row)


def test_a_hold_a_machine_and_a_person_sent_twice_are_made_once(small_mill):
    key = uuid.uuid4()
    facts = MachineFacts(name="spare card", stage="card")
    assert add_machine(small_mill.owner, facts, key=key) == add_machine(small_mill.owner, facts, key=key)
    key = uuid.uuid4()
    new = {"name": "Nell", "role": "floor", "key": key}
    assert add_person(small_mill.owner, **new) == add_person(small_mill.owner, **new)
    hold = {"kind": "moth", "reason": "larvae", "lot": "L001", "key": uuid.uuid4()}
    assert open_hold(small_mill.floor, **hold) == open_hold(small_mill.floor, **hold)
    assert [m.name for m in house.machines()].count("spare card") == 1
    assert [p.name for p in house.people()].count("Nell") == 1
    assert Hold.objects.count() == 1
