"""The list of owners to choose from: all of them, by one light question, however many lots they have."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from doffer.mill.commands.customers import add_customer
from doffer.mill.models import Customer
from doffer.mill.queries.customers import owner_choices
from doffer.mill.queries.pages import ROWS_A_PAGE

pytestmark = pytest.mark.django_db


def asked():
    """What is offered, and the question that the database was asked for it."""
    with CaptureQueriesContext(connection) as questions:
        choices = owner_choices()
    (question,) = questions.captured_queries
    return choices, question["sql"]


def test_owners_are_offered_by_name_and_those_put_away_are_not(small_mill, monday):
    Customer.objects.filter(code=small_mill.moss).update(archived_at=monday)
    add_customer(small_mill.office, name="Alder Holt")
    choices, _ = asked()
    assert choices == (
        ("C04", "Alder Holt"),
        (small_mill.fern, "Fern Bank Alpacas"),
        (small_mill.own, "Thimble End Mill (fictional)"),
    )


def test_every_owner_is_offered_not_only_a_page_of_them(small_mill, monday):
    Customer.objects.bulk_create(
        Customer(code=f"C{n}", name=f"Farm {n}", created_at=monday, created_by=small_mill.owner)
        for n in range(100, 101 + ROWS_A_PAGE)
    )
    choices, _ = asked()
    assert len(choices) == 3 + ROWS_A_PAGE + 1


def test_one_question_reads_two_columns_of_one_table(small_mill):
    _, question = asked()
    columns = question.split("FROM")[0]
    assert columns.count('"code"') >= 1
    assert columns.count(",") == 1
    assert not {"JOIN", "COUNT", "GROUP"} & set(question.replace("(", " ").upper().split())


def test_the_list_of_lots_offers_every_owner(client, small_mill, monday):
    Customer.objects.bulk_create(
        Customer(code=f"C{n}", name=f"Farm {n}", created_at=monday, created_by=small_mill.owner)
        for n in range(100, 101 + ROWS_A_PAGE)
    )
    page = client.get("/lots/").content.decode()
    assert f"Farm {100 + ROWS_A_PAGE} (C{100 + ROWS_A_PAGE})" in page
    assert f"Fern Bank Alpacas ({small_mill.fern})" in page
