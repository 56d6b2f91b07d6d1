"""The only clock. The invented mill lives at its own date, by a shift of whole days."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

from django.utils import timezone

from doffer.mill.models import Change, Setting

DEMO_TODAY = "demo_today"
_frozen_at: datetime | None = None


@lru_cache(maxsize=1)
def _shift() -> timedelta:
    """Whole days between the real date and the mill's; zero in a real mill, read once per process."""
    first = Setting.objects.filter(key=DEMO_TODAY).values_list("value", flat=True).first()
    if first is None:
        return timedelta(0)
    latest = Change.objects.order_by("-id").values_list("at", flat=True).first()
    day = date.fromisoformat(first)
    if latest is not None:
        day = max(day, timezone.localdate(latest))
    return timedelta(days=(day - timezone.localdate(datetime.now(UTC))).days)


def forget_shift() -> None:
    """Read the shift again: after a demo mill was loaded or another database was opened."""
    _shift.cache_clear()


def now() -> datetime:
    """The instant it is, aware, in UTC."""
    if _frozen_at is not None:
        return _frozen_at
    return datetime.now(UTC) + _shift()


def today() -> date:
    """The day it is in the mill."""
    return timezone.localdate(now())


@contextmanager
def frozen(at: datetime | None) -> Iterator[None]:
    """Hold the clock still at an aware instant (None: let it run), for tests and records of other days."""
    global _frozen_at
    before, _frozen_at = _frozen_at, at
    try:
        yield
    finally:
        _frozen_at = before
