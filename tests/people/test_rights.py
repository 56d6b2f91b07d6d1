"""Who may do what."""

import pytest

from doffer.errors import RefusedError
from doffer.mill import clock
from doffer.people.rights import Right, may, require


@pytest.mark.django_db
def test_a_viewer_may_write_nothing(people):
    assert not any(may(people.viewer, right) for right in Right)


@pytest.mark.django_db
def test_an_owner_may_do_everything_and_only_an_owner_changes_people(people):
    assert all(may(people.owner, right) for right in Right)
    assert [right for right in Right if not may(people.office, right)] == [Right.PEOPLE]


@pytest.mark.django_db
def test_the_floor_weighs_and_runs_but_neither_clears_holds_nor_decides_joins(people):
    allowed = {right for right in Right if may(people.floor, right)}
    assert {Right.WEIGH, Right.RUN, Right.INTAKE} <= allowed
    assert not {Right.CLEAR_HOLD, Right.JOIN, Right.ORDERS, Right.SETTINGS} & allowed


@pytest.mark.django_db
def test_a_refusal_names_who_could(people):
    with pytest.raises(RefusedError) as caught:
        require(people.floor, Right.JOIN)
    assert str(caught.value) == (
        "Flo may not decide that lots of two owners are joined: Flo is floor."
        " Ask a person who is owner or office."
    )


@pytest.mark.django_db
def test_somebody_who_left_acts_no_more(people):
    people.owner.archived_at = clock.now()
    with pytest.raises(RefusedError, match="no longer works here"):
        require(people.owner, Right.WEIGH)
