"""Fibre that released blend recipes still wait for: it lies in its lot, but it is not free."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Max

from doffer.mill.booking import WHOLE_LOT_FRAC
from doffer.mill.models import BlendPart, RunInput
from doffer.mill.models.blends import RecipeState


@dataclass(frozen=True, slots=True)
class Promise:
    """Oven-dry fibre of a lot that a released recipe still takes [mg]."""

    recipe: str
    version: int
    dry_mg: int


def promised(lots: Collection[int]) -> dict[int, tuple[Promise, ...]]:
    """By lot, what released recipes still want of it; two queries.

    What went into a run since the release counts as taken for it, the recipe released first being served
    first; a part of which nearly all went in is made.
    """
    rows = BlendPart.objects.filter(
        lot__in=lots, recipe__state=RecipeState.RELEASED, recipe__steps__state=RecipeState.RELEASED
    ).annotate(released_at=Max("recipe__steps__at"))  # a release that was taken back does not count
    columns = ("lot_id", "recipe__code", "recipe__version", "dry_mg", "released_at")
    parts = list(rows.order_by("released_at", "pk").values_list(*columns))
    runs = RunInput.objects.filter(lot__in=[part[0] for part in parts], dry_mg__isnull=False)
    went = list(runs.order_by("run__started_at", "pk").values_list("lot_id", "run__started_at", "dry_mg"))
    found: dict[int, list[Promise]] = {}
    taken = [0] * len(went)
    for lot, code, version, want_mg, at in parts:
        left_mg = want_mg
        for k, (of, started_at, dry_mg) in enumerate(went):
            if of == lot and started_at >= at:
                share_mg = min(left_mg, dry_mg - taken[k])
                taken[k] += share_mg
                left_mg -= share_mg
        if left_mg > (1 - WHOLE_LOT_FRAC) * want_mg:
            found.setdefault(lot, []).append(Promise(code, version, left_mg))
    return {lot: tuple(promises) for lot, promises in found.items()}
