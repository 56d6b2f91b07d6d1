"""Instants as records keep them: stored as they are, handed out in the mill's own time of day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import models
from django.utils import timezone


class MomentField(models.DateTimeField):
    """An instant whose hour and day, once read, are those of the clock on the mill's wall."""

    def from_db_value(self, value: datetime | None, *_: object) -> datetime | None:
        """The same instant in the mill's time zone."""
        return None if value is None else timezone.localtime(value)

    def deconstruct(self) -> tuple[str, str, list[Any], dict[str, Any]]:
        """To the database it is a date and time like any other."""
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.DateTimeField", args, kwargs
