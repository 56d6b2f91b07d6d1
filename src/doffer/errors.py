"""Every deliberate error of Doffer: a sentence that says what, where, what was expected, how to mend it.

One class per way out: a page maps them to 400, 404, 409 and 422, the command line to exit code 1, a
worker to a failed job. Fields are kept beside the text so that forms can point at the right box.
"""

from __future__ import annotations


class DofferError(Exception):
    """Base of all deliberate errors; its text is a sentence for a mill person."""


class InputError(DofferError, ValueError):
    """A value that cannot be used: which field, what was given, what is allowed."""

    def __init__(self, field: str, value: object, allowed: str, where: str = "") -> None:
        super().__init__(field, value, allowed, where)
        self.field = field
        self.value = value
        self.allowed = allowed
        self.where = where

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        given = "is missing" if self.value in (None, "") else f"is “{self.value}”"
        return f"{place}{self.field} {given}; it must be {self.allowed}."


class NotFoundError(DofferError, LookupError):
    """Nothing is known under this name."""

    def __init__(self, kind: str, key: object, hint: str = "") -> None:
        super().__init__(kind, key, hint)
        self.kind = kind
        self.key = key
        self.hint = hint

    def __str__(self) -> str:
        tail = f" {self.hint}." if self.hint else ""
        return f"There is no {self.kind} “{self.key}”.{tail}"


class ConflictError(DofferError):
    """Somebody else was first, or a key was used again for something different."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what, mend)
        self.what = what
        self.mend = mend

    def __str__(self) -> str:
        return f"{self.what}. {self.mend}."


class RefusedError(DofferError):
    """A rule of the mill says no; every reason is listed."""

    def __init__(self, act: str, reasons: tuple[str, ...], mend: str = "") -> None:
        super().__init__(act, reasons, mend)
        self.act = act
        self.reasons = reasons
        self.mend = mend

    def __str__(self) -> str:
        tail = f" {self.mend}." if self.mend else ""
        return f"{self.act}: {'; '.join(self.reasons)}.{tail}"


class InfeasibleError(DofferError):
    """The wish cannot be met: what binds, and the smallest thing that would help."""

    def __init__(self, wish: str, binds: str, relax: str) -> None:
        super().__init__(wish, binds, relax)
        self.wish = wish
        self.binds = binds
        self.relax = relax

    def __str__(self) -> str:
        return f"{self.wish} cannot be done: {self.binds}. {self.relax}."


class TableError(DofferError, ValueError):
    """A shipped table or an override of it is broken: file, row, column, what was expected."""

    def __init__(self, table: str, row: str, column: str, expected: str) -> None:
        super().__init__(table, row, column, expected)
        self.table = table
        self.row = row
        self.column = column
        self.expected = expected

    def __str__(self) -> str:
        return f"Table {self.table}, row {self.row}, column {self.column}: expected {self.expected}."
