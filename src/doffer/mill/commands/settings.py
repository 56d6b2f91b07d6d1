"""Settings of the mill and the people who work in it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping

from doffer.errors import InputError, NotFoundError
from doffer.mill import clock, house
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.models import Setting
from doffer.mill.numbering import PERSON, next_code, note_code
from doffer.mill.write import write
from doffer.people.models import Person, Role
from doffer.people.rights import Right, require


def keep_settings(person: Person, values: Mapping[str, str]) -> None:
    """Write settings; called inside a command's `write()`."""
    for key, value in values.items():
        Setting.objects.update_or_create(
            key=key, defaults={"value": value, "changed_at": clock.now(), "changed_by": person}
        )


def change_settings(by: Person | None, values: Mapping[str, str]) -> None:
    """Change settings; all or none."""
    person = require(by, Right.SETTINGS)
    checked = {key: house.checked(key, value) for key, value in values.items()}
    with write():
        keep_settings(person, checked)
        for key, value in checked.items():
            announce(person, "setting", key, f"{house.SETTINGS[key].title}: {value}")


def new_person(
    *, name: str, role: str, code: str = "", duties: str = "", can_run: tuple[str, ...] = (), days: str = ""
) -> Person:
    """Make the row of a person; called inside a command's `write()`."""
    if not name.strip():
        raise InputError("name", "", "a first name")
    if role not in Role.values:
        raise InputError("role", role, f"one of {', '.join(Role.values)}")
    note_code(code)
    return Person.objects.create_user(
        code or next_code(PERSON), name.strip(), role=role, duties=duties, can_run=list(can_run), days=days
    )


def add_person(
    by: Person | None,
    *,
    name: str,
    role: str,
    duties: str = "",
    can_run: tuple[str, ...] = (),
    days: str = "",
    key: uuid.UUID | None = None,
) -> str:
    """Somebody starts to work here; gives the code, such as P5."""
    person = require(by, Right.PEOPLE)
    with write():
        body: dict[str, object] = {"name": name, "role": role, "more": [duties, list(can_run), days]}
        earlier = done_before(key, "add_person", body)
        if earlier:
            return str(earlier["code"])
        new = new_person(name=name, role=role, duties=duties, can_run=can_run, days=days)
        announce(person, "person", new.code, f"{new.name} works here as {role}")
        remember(key, "add_person", body, {"code": new.code}, person)
        return new.code


def archive_person(by: Person | None, code: str) -> None:
    """Somebody leaves; what they did stays with their name. The last owner cannot leave."""
    person = require(by, Right.PEOPLE)
    with write():
        leaver = Person.objects.select_for_update().filter(code=code, archived_at=None).first()
        if leaver is None:
            raise NotFoundError("person", code, "Choose a name from the list")
        owners = Person.objects.filter(role=Role.OWNER, archived_at=None).exclude(pk=leaver.pk)
        if leaver.role == Role.OWNER and not owners.exists():
            raise InputError("person", leaver.name, "somebody else: a mill keeps at least one owner")
        leaver.archived_at = clock.now()
        leaver.save(update_fields=["archived_at"])
        announce(person, "person", code, f"{leaver.name} left")
