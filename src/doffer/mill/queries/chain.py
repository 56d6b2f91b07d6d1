"""Is the record of weighings still as it was written?"""

from __future__ import annotations

from dataclasses import dataclass

from doffer.mill import chain
from doffer.mill.models import Weighing

ROWS_AT_ONCE = 2_000


@dataclass(frozen=True, slots=True)
class ChainVerdict:
    """How far the chain holds; `broken_id` names the first weighing that does not fit, `why` says how."""

    n_checked: int
    last_hash: str
    broken_id: int | None = None
    why: str = ""

    @property
    def is_whole(self) -> bool:
        """Nothing was changed, taken out or put between."""
        return self.broken_id is None


def verify_chain() -> ChainVerdict:
    """Walk all weighings in order and seal each again; memory does not grow with their number.

    A row removed at the very end leaves no trace inside: compare `last_hash` with one noted elsewhere (each
    backup notes it).
    """
    prev, checked, after = chain.FIRST_PREV_HASH, 0, 0
    while True:
        rows = list(
            Weighing.objects.filter(pk__gt=after)
            .order_by("pk")
            .values("pk", "prev_hash", "hash", *chain.SEALED)[:ROWS_AT_ONCE]
        )
        if not rows:
            return ChainVerdict(checked, prev)
        for row in rows:
            if row["prev_hash"] != prev:
                return ChainVerdict(
                    checked, prev, row["pk"], "the weighing before it is missing or was changed"
                )
            if chain.seal(prev, row) != row["hash"]:
                return ChainVerdict(checked, prev, row["pk"], "it was changed after it was written")
            prev, checked, after = row["hash"], checked + 1, row["pk"]
