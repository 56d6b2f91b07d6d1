"""Owners of fibre: recorded, changed, archived."""

from __future__ import annotations

import uuid

from doffer.errors import InputError
from doffer.mill import clock
from doffer.mill.booking import announce, customer_of, done_before, remember
from doffer.mill.models import Customer
from doffer.mill.models.customers import Units
from doffer.mill.numbering import CUSTOMER, next_code, note_code
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

CHANGEABLE = (
    "name",
    "contact",
    "email",
    "phone",
    "address",
    "kind",
    "units",
    "country_rules",
    "notice_by",
    "credit_note",
    "remark",
)


def _checked(facts: dict[str, str]) -> dict[str, str]:
    unknown = set(facts) - set(CHANGEABLE)
    if unknown:
        raise InputError("owner", ", ".join(sorted(unknown)), f"described by {', '.join(CHANGEABLE)}")
    if "name" in facts and not facts["name"].strip():
        raise InputError("name of the owner", "", "a name, such as Saltwhistle Croft")
    if facts.get("units", Units.METRIC) not in Units.values:
        raise InputError("units", facts["units"], f"one of {', '.join(Units.values)}")
    return {name: value.strip() for name, value in facts.items()}


def add_customer(
    by: Person | None, *, code: str = "", is_own: bool = False, key: uuid.UUID | None = None, **facts: str
) -> str:
    """Record an owner (`name` and any of `CHANGEABLE`); gives the number, such as C13."""
    person = require(by, Right.CUSTOMERS)
    facts = _checked({"name": "", **facts})
    with write():
        body: dict[str, object] = {"code": code, "is_own": is_own, **facts}
        earlier = done_before(key, "add_customer", body)
        if earlier:
            return str(earlier["code"])
        note_code(code)
        customer = Customer.objects.create(
            code=code or next_code(CUSTOMER),
            is_own=is_own,
            created_at=clock.now(),
            created_by=person,
            **facts,
        )
        announce(person, "customer", customer.code, f"recorded {customer.name}")
        remember(key, "add_customer", body, {"code": customer.code}, person)
        return customer.code


def change_customer(by: Person | None, code: str, **facts: str) -> None:
    """Change what is written about an owner."""
    person = require(by, Right.CUSTOMERS)
    facts = _checked(facts)
    with write():
        customer = customer_of(code)
        for name, value in facts.items():
            setattr(customer, name, value)
        customer.save(update_fields=list(facts))
        announce(person, "customer", code, f"changed {', '.join(facts)}")


def archive_customer(by: Person | None, code: str) -> None:
    """Take an owner off the lists; every record stays."""
    person = require(by, Right.CUSTOMERS)
    with write():
        customer = customer_of(code)
        customer.archived_at = clock.now()
        customer.save(update_fields=["archived_at"])
        announce(person, "customer", code, "archived")
