"""A dyeing that was written down by mistake, taken back: it stays on record and counts no more."""

from __future__ import annotations

import uuid

from django.db.models import Sum

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import clock, colours
from doffer.mill.booking import announce, done_before, lot_of, remember
from doffer.mill.colours import FIRST_LIGHT
from doffer.mill.commands.kitchen import DYEING
from doffer.mill.models import ColourReading, DyeBatch, DyeingUndone, DyeLoad, Lot, RunInput, TubUse
from doffer.mill.sittings import newest_by_lot
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

MOST_REASON = 400
STILL_IT_FRAC = 0.9  # what went through a run and what its kettle was dosed for differ by water and scale


def take_back_dyeing(by: Person | None, dyeing: int, *, reason: str, key: uuid.UUID | None = None) -> None:
    """Say that a dyeing was not done: its fibre counts as undyed again and its kettles are free.

    Tufts that were read of its loads stay and tell nothing of the lot any more.

    Raises
    ------
    ConflictError
        It was taken back already, or a run of dyeing closed it: then it was done.
    """
    person = require(by, Right.KITCHEN)
    if not reason.strip():
        raise InputError("reason", "", "a few words that the next person understands")
    with write():
        body: dict[str, object] = {"undone": [dyeing, reason]}
        if done_before(key, "take_back_dyeing", body):
            return
        found = DyeBatch.objects.select_related("lot", "recipe__shade").filter(pk=dyeing).first()
        if found is None:
            raise NotFoundError("dyeing", dyeing, "Look in the list of dyeings")
        lot = lot_of(found.lot.code)
        if DyeingUndone.objects.filter(batch=found).exists():
            raise ConflictError("This dyeing was taken back already", "There is nothing more to do")
        _refuse_closed(found)
        now = clock.now()
        DyeingUndone.objects.create(
            batch=found, reason=reason.strip()[:MOST_REASON], undone_at=now, person=person
        )
        _free_kettles(person, found, reason)
        _show_again(found, lot)
        words = f"dyeing {found.recipe.shade.name} taken back: {reason.strip()}"
        announce(person, "lot", lot.code, words[:300])
        remember(key, "take_back_dyeing", body, {"dyeing": dyeing}, person)


def _refuse_closed(batch: DyeBatch) -> None:
    """A run of dyeing that only this dyeing explains says that it was done."""
    runs = RunInput.objects.filter(lot=batch.lot, run__stage="dye", run__recorded_at__gte=batch.begun_at)
    ran_mg = runs.aggregate(total=Sum("mass_mg"))["total"] or 0
    others = DyeLoad.objects.filter(batch__lot=batch.lot, batch__undone=None).exclude(batch=batch)
    others_mg = others.aggregate(total=Sum("fibre_mg"))["total"] or 0
    if others_mg < STILL_IT_FRAC * ran_mg:
        run = runs.select_related("run").order_by("-pk").first()
        what = f"Run {run.run.code} closed this dyeing"
        raise ConflictError(what, "It was done: put the run right if that was the mistake")


def _free_kettles(person: Person, batch: DyeBatch, reason: str) -> None:
    """Kettles that it took itself; a lot that was put in by hand stays where it is."""
    kettles = batch.loads.values("kettle")
    uses = TubUse.objects.filter(
        machine__in=kettles,
        lot=batch.lot,
        out_at=None,
        in_at=batch.begun_at,
        baths__number=1,
        baths__what__startswith=DYEING,
    ).select_related("machine")
    for use in uses:
        use.out_at, use.out_by = max(clock.now(), use.in_at), person
        use.note = "; ".join(filter(None, (use.note, f"not dyed: {reason.strip()}")))[:MOST_REASON]
        use.save(update_fields=["out_at", "out_by", "note"])
        announce(person, "tub", use.machine.code, f"{batch.lot.code}: dyeing taken back")


def _show_again(batch: DyeBatch, lot: Lot) -> None:
    """The lot's patch, where tufts of this dyeing had changed it: as it was read otherwise."""
    if not ColourReading.objects.filter(load__batch=batch).exists():
        return
    left = newest_by_lot([lot.pk]).get(lot.pk)
    if left is None or FIRST_LIGHT not in left.labs:
        return
    lab = colours.centi({FIRST_LIGHT: left.labs[FIRST_LIGHT]})[FIRST_LIGHT]
    lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi = lab
    lot.save(update_fields=["lab_l_centi", "lab_a_centi", "lab_b_centi"])
