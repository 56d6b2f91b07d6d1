"""A mill of one's own begins with five answers: its name, units, country, machines, and who you are."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.errors import ConflictError, InputError
from doffer.mill import bridge, clock, house
from doffer.mill.booking import announce
from doffer.mill.commands.machines import facts_of_kind, place_machine
from doffer.mill.commands.settings import keep_settings, new_person
from doffer.mill.models import Customer
from doffer.mill.numbering import CUSTOMER, next_code
from doffer.mill.write import write
from doffer.people.models import Person, Role


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The five answers; `machines` are keys of the table machine_kinds, one may be named twice."""

    name: str
    units: str
    country_rules: str
    machines: tuple[str, ...]
    your_name: str


def start_mill(answers: Answers) -> str:
    """Set up an empty mill; gives the code of its first owner.

    Raises
    ------
    ConflictError
        Somebody works here already: a mill is started once.
    """
    if not answers.name.strip():
        raise InputError("name of the mill", "", "a name, as it shall stand on tags and labels")
    settings = {
        key: house.checked(key, value)
        for key, value in (
            ("name", answers.name),
            ("units", answers.units),
            ("country_rules", answers.country_rules),
        )
    }
    kinds = bridge.load_tables().machine_kinds
    unknown = [kind for kind in answers.machines if kind not in kinds]
    if unknown:
        raise InputError("machines", ", ".join(unknown), f"chosen from {', '.join(kinds)}")
    with write():
        if Person.objects.exists():
            raise ConflictError("This mill was started already", "Open it and add people or machines there")
        owner = new_person(name=answers.your_name, role=Role.OWNER)
        keep_settings(owner, settings)
        Customer.objects.create(
            code=next_code(CUSTOMER),
            name=settings["name"],
            kind="own stock",
            units=settings["units"],
            country_rules=settings["country_rules"],
            is_own=True,
            created_at=clock.now(),
            created_by=owner,
        )
        for number, kind in enumerate(answers.machines):
            same = answers.machines[:number].count(kind)
            place_machine(
                owner, facts_of_kind(kinds[kind], name=f"{kinds[kind].name} {same + 1}" if same else "")
            )
        announce(owner, "setting", "name", f"{settings['name']} started")
        return owner.code
