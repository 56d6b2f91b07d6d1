"""Owners of fibre: recorded, changed, archived."""

from __future__ import annotations

import uuid

from doffer.errors import InputError
from doffer.mill import clock
from doffer.mill.booking import QuestionError, announce, customer_of, done_before, remember
from doffer.mill.models import Customer, Lot
from doffer.mill.models.customers import Units
from doffer.mill.names import plain_name
from doffer.mill.numbering import CUSTOMER, next_code, note_code
from doffer.mill.write import serialise, write
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

LONGEST_NAME = 80  # a name must fit on a bag tag
SHOWN_OF_LONG = 40  # letters of what is too long that a sentence repeats


def _checked(facts: dict[str, str]) -> dict[str, str]:
    unknown = set(facts) - set(CHANGEABLE)
    if unknown:
        raise InputError("owner", ", ".join(sorted(unknown)), f"described by {', '.join(CHANGEABLE)}")
    if "name" in facts and not facts["name"].strip():
        raise InputError("name of the owner", "", "a name, such as Saltwhistle Croft")
    if facts.get("units", Units.METRIC) not in Units.values:
        raise InputError("units", facts["units"], f"one of {', '.join(Units.values)}")
    facts = {name: value.strip() for name, value in facts.items()}
    if "name" in facts:
        facts["name"] = " ".join(facts["name"].split())
    for name, value in facts.items():
        longest = LONGEST_NAME if name == "name" else Customer._meta.get_field(name).max_length
        if longest is not None and len(value) > longest:
            field = "name of the owner" if name == "name" else name.replace("_", " ")
            shown = f"{value[:SHOWN_OF_LONG].rstrip()} …"
            raise InputError(
                field, shown, f"at most {longest} letters long (it has {len(value)}): shorten it"
            )
    return facts


def _ask_about_same_name(name: str, *, but: str = "") -> None:
    """Two owners of one name cannot be told apart on a tag: ask whether they are the same person.

    Capitals and spaces make no difference. Somebody put away counts too: their fibre may still lie here.
    """
    serialise("names of owners")
    sought = plain_name(name)
    for code, other, archived in Customer.objects.order_by("pk").values_list("code", "name", "archived_at"):
        if code == but or plain_name(other) != sought:
            continue
        n_lots = Lot.objects.filter(customer__code=code, archived_at=None, now_mass_mg__gt=0).count()
        lots = "no lots" if not n_lots else "1 lot" if n_lots == 1 else f"{n_lots} lots"
        raise QuestionError(
            f"There is already a {other} ({code}, {lots}{', put away' if archived else ''})",
            ("it may be the same person",),
            f"If it is, choose {code}; if it is another, put a word behind the name that tells them "
            f"apart, such as the place: “{other}, Fellside”",
        )


def add_customer(
    by: Person | None, *, code: str = "", is_own: bool = False, key: uuid.UUID | None = None, **facts: str
) -> str:
    """Record an owner (`name` and any of `CHANGEABLE`); gives the number, such as C13.

    Raises
    ------
    InputError
        No name, or words that are too long.
    QuestionError
        There is an owner of this name: it is the same person, or the name needs a word that tells them apart.
    """
    person = require(by, Right.CUSTOMERS)
    facts = _checked({"name": "", **facts})
    with write():
        body: dict[str, object] = {"code": code, "is_own": is_own, **facts}
        earlier = done_before(key, "add_customer", body)
        if earlier:
            return str(earlier["code"])
        _ask_about_same_name(facts["name"])
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
    """Change what is written about an owner; another owner's name is asked about, as for a new one."""
    person = require(by, Right.CUSTOMERS)
    facts = _checked(facts)
    with write():
        customer = customer_of(code)
        if facts.get("name", customer.name) != customer.name:
            _ask_about_same_name(facts["name"], but=code)
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
