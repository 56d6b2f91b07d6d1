"""A kept plan says when the tables are no longer those it was made with."""

from datetime import timedelta

import pytest
from pypdf import PdfReader
from tests.conftest import MONDAY
from tests.office.page_words import words
from tests.office.scenario_orders import SOCK, bag, order

from doffer.mill import clock
from doffer.mill.commands.tables import override_cell, withdraw_cell
from doffer.mill.models import OrderPlan
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.tables import tables_since

CELL = {"table": "stage_losses", "row": "card/wool", "column": "dry_loss_mode_pct"}
CHANGED = "Losses by stage, card, wool: usual loss"


@pytest.fixture
def planned(client_of, small_mill, key):
    """An order with one kept plan, and a client of the office."""
    client = client_of(small_mill.office)
    code = order(small_mill.owner, "sock", (bag(small_mill.owner, "wool", 9.3, 0.147),), SOCK)
    assert client.post(f"/orders/{code}/plan/", {"key": key}).status_code == 302
    return client, code


def now_is(days: int):
    return clock.frozen(MONDAY + timedelta(days=days))


def own_figure(by, value: str) -> str:
    """Put a figure in; gives what was shipped."""
    from doffer.mill.queries.tables import current_tables

    shipped = current_tables().original.stage_losses["card/wool"].dry_loss_mode_pct
    override_cell(by, **CELL, value=value, reason="ten runs")
    return f"{shipped:g}"


def test_a_plan_whose_tables_are_todays_says_nothing(planned):
    client, code = planned
    assert one_order(code).plans[0].version == 1
    assert "Figures changed since this plan" not in words(client.get(f"/orders/{code}/"))


def test_a_figure_changed_since_is_named_with_both_values_who_and_when_until_it_is_planned_again(
    planned, small_mill, key
):
    client, code = planned
    with now_is(1):
        shipped = own_figure(small_mill.owner, "6.5")
        text = words(client.get(f"/orders/{code}/"))
        assert "Figures changed since this plan" in text
        assert f"{CHANGED} {shipped} % → 6.5 %" in text
        assert "Ada, today 09:00: ten runs" in text
        assert "Plan again" in text
        again = client.post(
            f"/orders/{code}/plan/", {"key": key[:-4] + "0000", "note": "with the figures of today"}
        )
        assert again.status_code == 302
        assert [plan.version for plan in one_order(code).plans] == [2, 1]
        assert "Figures changed since" not in words(client.get(f"/orders/{code}/"))
        assert CHANGED in words(client.get(f"/orders/{code}/?plan=1"))


def test_a_figure_of_before_the_plan_is_what_the_change_starts_from(client_of, small_mill, key):
    override_cell(small_mill.owner, **CELL, value="5.5")
    with now_is(1):
        client = client_of(small_mill.office)
        code = order(small_mill.owner, "sock", (bag(small_mill.owner, "wool", 9.3, 0.147),), SOCK)
        client.post(f"/orders/{code}/plan/", {"key": key})
        assert "Figures changed" not in words(client.get(f"/orders/{code}/"))
    with now_is(2):
        own_figure(small_mill.owner, "6.5")
        assert f"{CHANGED} 5.5 % → 6.5 %" in words(client.get(f"/orders/{code}/"))
    with now_is(3):
        override_cell(small_mill.owner, **CELL, value="5.5")
        assert "Figures changed" not in words(client.get(f"/orders/{code}/")), "it is as it was"
        override_cell(small_mill.owner, **{**CELL, "row": "pick/wool"}, value="2.5")
        text = words(client.get(f"/orders/{code}/"))
        assert "pick, wool: usual loss" in text
        assert CHANGED not in text, "what was put back is no change"
        withdraw_cell(small_mill.owner, **CELL)
        assert f"{CHANGED} 5.5 % →" in words(client.get(f"/orders/{code}/"))


def test_shipped_tables_that_changed_with_an_update_are_said(planned):
    _, code = planned
    plan = OrderPlan.objects.get(order__code=code)
    assert tables_since(plan.tables_sha256, plan.made_at) is None
    since = tables_since("0" * 64, plan.made_at)
    assert since is not None
    assert (since.is_updated, since.changes) == (True, ())


def test_the_run_card_says_it_too(planned, small_mill, tmp_path):
    client, code = planned
    with now_is(1):
        own_figure(small_mill.owner, "6.5")
        paper = client.get(f"/orders/{code}/run-card.pdf?plan=1")
    (tmp_path / "card.pdf").write_bytes(paper.content)
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(tmp_path / "card.pdf").pages).split())
    assert "Figures changed since this plan was made on Monday 2 March 2026" in text


def test_figures_of_other_fibres_and_stages_stand_behind_those_of_this_plan(planned, small_mill):
    client, code = planned
    other = {"table": "stage_losses", "row": "card/alpaca", "column": "dry_loss_mode_pct"}
    with now_is(1):
        own_figure(small_mill.owner, "6.5")
        override_cell(small_mill.owner, **other, value="7.5", reason="ten runs")
        override_cell(small_mill.owner, **{**other, "row": "dehair/any"}, value="7.5", reason="ten runs")
        text = words(client.get(f"/orders/{code}/"))
    first, fold = text[text.index("Figures changed since this plan") :].split(
        "two figures of other fibres and stages"
    )
    assert CHANGED in first
    assert "alpaca" not in first
    assert "card, alpaca" in fold
    assert "dehair, any" in fold
