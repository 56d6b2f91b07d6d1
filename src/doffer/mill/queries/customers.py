"""Owners of fibre, found by what somebody types."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Q

from doffer.errors import NotFoundError
from doffer.mill.models import Customer, Hold, Lot, Order
from doffer.mill.queries.lots import HoldRow, LotRow, held_now, hold_rows, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of


@dataclass(frozen=True, slots=True)
class CustomerRow:
    """One owner in a list."""

    code: str
    name: str
    contact: str
    kind: str
    units: str
    country_rules: str
    is_own: bool
    n_lots: int


@dataclass(frozen=True, slots=True)
class OneCustomer:
    """Everything about one owner."""

    row: CustomerRow
    email: str
    phone: str
    address: str
    notice_by: str
    credit_note: str
    remark: str
    is_archived: bool
    lots: tuple[LotRow, ...]
    orders: tuple[tuple[str, str, str], ...]  # code, product, state
    holds: tuple[HoldRow, ...]


_COLUMNS = ("pk", "code", "name", "contact", "kind", "units", "country_rules", "is_own", "n_lots")
_STANDING = Count("lots", filter=Q(lots__archived_at=None, lots__now_mass_mg__gt=0))


def find_customers(typed: str = "", *, after: int | None = None) -> Page[CustomerRow]:
    """Owners whose number, name, contact or kind holds every typed word; one query."""
    customers = Customer.objects.filter(archived_at=None).order_by("pk")
    for word in typed.split():
        customers = customers.filter(
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(contact__icontains=word)
            | Q(kind__icontains=word)
        )
    if after is not None:
        customers = customers.filter(pk__gt=after)
    rows = customers.annotate(n_lots=_STANDING).values_list(*_COLUMNS)[: ROWS_A_PAGE + 1]
    return page_of([(row[0], CustomerRow(*row[1:])) for row in rows])


def owner_choices() -> tuple[tuple[str, str], ...]:
    """Number and name of every owner who is not put away, by name; one light query for a list."""
    rows = Customer.objects.filter(archived_at=None).order_by("name", "pk")
    return tuple(rows.values_list("code", "name"))


def one_customer(code: str) -> OneCustomer:
    """One owner with what stands here and what was asked for; NotFoundError if there is none."""
    customer = Customer.objects.filter(code=code).annotate(n_lots=_STANDING).first()
    if customer is None:
        raise NotFoundError("owner", code, "Search the list of owners")
    lots = Lot.objects.filter(customer=customer, archived_at=None).order_by("-pk")[:ROWS_A_PAGE]
    orders = Order.objects.filter(customer=customer).order_by("-pk")
    return OneCustomer(
        row=CustomerRow(*(getattr(customer, name) for name in _COLUMNS[1:])),
        email=customer.email,
        phone=customer.phone,
        address=customer.address,
        notice_by=customer.notice_by,
        credit_note=customer.credit_note,
        remark=customer.remark,
        is_archived=customer.archived_at is not None,
        lots=tuple(row for _, row in rows_of(lots, held_now())),
        orders=tuple(orders.values_list("code", "product", "state")[:ROWS_A_PAGE]),
        holds=hold_rows(Hold.objects.filter(customer=customer).order_by("-pk")[:ROWS_A_PAGE]),
    )
