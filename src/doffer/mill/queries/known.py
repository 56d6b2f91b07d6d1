"""What a list from outside is held against: every owner's name, every lot number that was given out.

The two readings here that grow with the records: an import must know all of them, and happens seldom.
"""

from __future__ import annotations

from doffer.mill.models import Customer, Lot


def owner_names() -> dict[str, str]:
    """Number by name of every owner who is not put away; one query."""
    return dict(Customer.objects.filter(archived_at=None).order_by("-pk").values_list("name", "code"))


def lot_numbers() -> frozenset[str]:
    """Every lot number that is taken, also by lots put away; one query."""
    return frozenset(Lot.objects.values_list("code", flat=True))
