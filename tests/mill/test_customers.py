"""Owners of fibre: two of one name are told apart, and a name fits on a tag."""

import pytest

from doffer.errors import InputError
from doffer.mill.booking import QuestionError
from doffer.mill.commands.customers import add_customer, archive_customer, change_customer
from doffer.mill.models import Customer
from doffer.mill.queries.customers import owners_called


@pytest.mark.parametrize("name", ["Moss Edge Farm", " moss   edge FARM ", "MOSS EDGE FARM"])
def test_a_second_owner_of_a_name_is_asked_about_whatever_its_capitals_and_spaces(small_mill, name):
    with pytest.raises(QuestionError, match=r"There is already a Moss Edge Farm \(C02, 2 lots\)"):
        add_customer(small_mill.office, name=name)
    assert Customer.objects.count() == 3
    assert [row.code for row in owners_called(name)] == ["C02"]


def test_a_word_behind_the_name_tells_two_owners_apart(small_mill):
    code = add_customer(small_mill.office, name="Moss Edge Farm, Fellside")
    assert Customer.objects.get(code=code).name == "Moss Edge Farm, Fellside"


def test_somebody_put_away_is_asked_about_too(small_mill):
    archive_customer(small_mill.office, small_mill.moss)
    with pytest.raises(QuestionError, match="put away"):
        add_customer(small_mill.office, name="Moss Edge Farm")


def test_an_owner_may_be_written_with_other_capitals_but_not_like_another_one(small_mill):
    change_customer(small_mill.office, small_mill.moss, name="MOSS EDGE farm")
    with pytest.raises(QuestionError, match="Fern Bank Alpacas"):
        change_customer(small_mill.office, small_mill.moss, name="fern bank alpacas")
    assert Customer.objects.get(code=small_mill.moss).name == "MOSS EDGE farm"


def test_the_same_form_sent_twice_is_not_taken_for_a_second_person(small_mill):
    import uuid

    key = uuid.uuid4()
    first = add_customer(small_mill.office, name="Dew Lane", key=key)
    assert add_customer(small_mill.office, name="Dew Lane", key=key) == first


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"name": "N" * 81}, "at most 80 letters long"),
        ({"name": "Dew Lane", "phone": "1" * 61}, "at most 60 letters long"),
        ({"name": "Dew Lane", "address": "a" * 401}, "at most 400 letters long"),
    ],
)
def test_words_too_long_are_refused_with_how_long_they_may_be(small_mill, facts, sentence):
    with pytest.raises(InputError, match=sentence):
        add_customer(small_mill.office, **facts)


def test_a_name_is_kept_with_single_spaces(small_mill):
    code = add_customer(small_mill.office, name="  Dew    Lane ")
    assert Customer.objects.get(code=code).name == "Dew Lane"
