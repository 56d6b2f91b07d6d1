"""A run: lots go into one stage, lots and waste come out, and the figures are looked at before they stay."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.fibre.material import Form
from doffer.mill import bridge, clock, house
from doffer.mill.booking import (
    WHOLE_LOT_FRAC,
    QuestionError,
    announce,
    book_weighing,
    container_of,
    customer_of,
    done_before,
    lot_of,
    new_container,
    put_into,
    remember,
    stands_as,
)
from doffer.mill.commands.join import join_allowed, refuse_held
from doffer.mill.commands.run_facts import (
    FORM_AFTER,
    PLACE_AFTER,
    SERIES_OF,
    STAGES,
    OutLot,
    RunDone,
    RunFacts,
    RunIn,
    RunOut,
    RunWasteRow,
)
from doffer.mill.composition import Share, blended_columns, keep_shares, shares_of
from doffer.mill.models import (
    Customer,
    Lot,
    Machine,
    Order,
    Run,
    RunInput,
    RunOutput,
    RunWaste,
    Weighing,
)
from doffer.mill.models.weighings import Moment
from doffer.mill.numbering import RUN, next_code, note_code
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

MORE_THAN_THERE_FRAC = 1.10  # above this share of what the lot weighed last, it is asked about


def begin_run(
    by: Person | None,
    facts: RunFacts,
    inputs: Sequence[RunIn],
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> str:
    """Lots go in and the machine starts; gives the run's number for `finish_run`."""
    person = require(by, Right.RUN)
    with write():
        body: dict[str, object] = {
            "facts": repr(facts),
            "inputs": repr(tuple(inputs)),
            "confirmation": confirmation,
        }
        earlier = done_before(key, "begin_run", body)
        if earlier:
            return str(earlier["run"])
        run = _begin(person, facts, inputs, confirmation)
        remember(key, "begin_run", body, {"run": run.code}, person)
        return run.code


def finish_run(
    by: Person | None,
    run: str,
    *,
    outputs: Sequence[RunOut],
    wastes: Sequence[RunWasteRow] = (),
    ended_at: datetime | None = None,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> RunDone:
    """What came out is weighed and the run ends.

    More dry fibre out than in is asked about (QuestionError) until `confirmation` says why.
    """
    person = require(by, Right.RUN)
    with write():
        body: dict[str, object] = {
            "run": run,
            "outputs": repr(tuple(outputs)),
            "wastes": repr(tuple(wastes)),
            "ended_at": ended_at,
            "confirmation": confirmation,
        }
        earlier = done_before(key, "finish_run", body)
        if earlier:
            return _done_from(earlier)
        row = Run.objects.select_for_update(of=("self",)).filter(code=run).first()
        if row is None:
            raise NotFoundError("run", run, "Look in the list of runs")
        if row.ended_at is not None:
            raise ConflictError(f"Run {run} has ended already", "Weigh the lot again if a weight was wrong")
        done = _finish(person, row, outputs, wastes, ended_at or clock.now(), confirmation)
        remember(key, "finish_run", body, _plain(done), person)
        return done


def record_run(
    by: Person | None,
    facts: RunFacts,
    *,
    inputs: Sequence[RunIn],
    outputs: Sequence[RunOut],
    wastes: Sequence[RunWasteRow] = (),
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> RunDone:
    """A whole run in one act: what went in, what came out, what was lost."""
    person = require(by, Right.RUN)
    with write():
        body: dict[str, object] = {
            "facts": repr(facts),
            "inputs": repr(tuple(inputs)),
            "outputs": repr(tuple(outputs)),
            "wastes": repr(tuple(wastes)),
            "confirmation": confirmation,
        }
        earlier = done_before(key, "record_run", body)
        if earlier:
            return _done_from(earlier)
        run = _begin(person, facts, inputs, confirmation)
        done = _finish(person, run, outputs, wastes, facts.ended_at or clock.now(), confirmation)
        remember(key, "record_run", body, _plain(done), person)
        return done


def _begin(person: Person, facts: RunFacts, inputs: Sequence[RunIn], confirmation: str) -> Run:
    """Check what goes in, weigh it in, take it off its lots."""
    if facts.stage not in STAGES:
        raise InputError("stage", facts.stage, f"one of {', '.join(STAGES)}")
    if not inputs:
        raise InputError("what goes in", "", "at least one lot")
    codes = [item.lot for item in inputs]
    if len(set(codes)) < len(codes):
        raise InputError("what goes in", ", ".join(codes), "each lot once")
    lots = {item.lot: lot_of(item.lot) for item in sorted(inputs, key=lambda item: item.lot)}
    refuse_held(lots.values(), f"The {facts.stage} run does not start")
    decision = join_allowed(list(lots.values()), facts.join_decision)
    _ask_about_inputs(lots, inputs, confirmation)
    run = Run.objects.create(
        code=next_code(RUN),
        stage=facts.stage,
        machine=_found(Machine, facts.machine, "machine"),
        order=_found(Order, facts.order, "order"),
        started_at=facts.started_at or clock.now(),
        person=person,
        settings=facts.settings,
        cleaned_before=facts.cleaned_before,
        join_decision=decision,
        confirmation=confirmation,
        note=facts.note,
        recorded_at=clock.now(),
    )
    for item in inputs:
        _take_in(person, run, lots[item.lot], item)
    announce(person, "run", run.code, f"{facts.stage}: {', '.join(codes)} went in")
    return run


def _found(model: type[Machine] | type[Order], code: str, kind: str) -> Machine | Order | None:
    if not code:
        return None
    row = model.objects.filter(code=code).first()
    if row is None:
        raise NotFoundError(kind, code, "Choose it from the list")
    return row


def _ask_about_inputs(lots: dict[str, Lot], inputs: Sequence[RunIn], confirmation: str) -> None:
    """More fibre of a lot than there was is asked about."""
    if confirmation.strip():
        return
    for item in inputs:
        there_g = bridge.grams(lots[item.lot].now_mass_mg)
        if item.reading is not None and item.reading.net_g > there_g * MORE_THAN_THERE_FRAC:
            raise QuestionError(
                f"{item.lot} is heavier than it was",
                (f"it stood at {there_g:g} g, now {item.reading.net_g:g} g go in",),
                "Check the tag and the empty container, or say why it is right",
            )


def _take_in(person: Person, run: Run, lot: Lot, item: RunIn) -> None:
    """Weigh a lot into a run and leave the rest of it behind; unweighed it goes in whole as it stood."""
    if item.reading is None:
        RunInput.objects.create(run=run, lot=lot, mass_mg=lot.now_mass_mg, dry_mg=lot.now_dry_mg)
        lot.now_mass_mg, lot.now_dry_mg = 0, None if lot.now_dry_mg is None else 0
        lot.save(update_fields=["now_mass_mg", "now_dry_mg"])
        _empty_containers(person, lot)
        return
    weighing = book_weighing(person, lot, item.reading, moment=Moment.IN, form=lot.now_form, run=run)
    RunInput.objects.create(
        run=run,
        lot=lot,
        weighing=weighing,
        mass_mg=weighing.net_mg,
        dry_mg=weighing.dry_mg or _known_dry_mg(lot, weighing),
    )
    rest_mg = _rest_mg(lot, weighing, item.rest_g)
    had_mg = lot.now_mass_mg
    if lot.now_dry_mg is not None:
        lot.now_dry_mg = min(rest_mg, round(lot.now_dry_mg * rest_mg / had_mg)) if had_mg else 0
    lot.now_mass_mg = rest_mg
    lot.now_weighed_at = weighing.weighed_at
    lot.save(update_fields=["now_mass_mg", "now_dry_mg", "now_weighed_at"])
    if rest_mg == 0:
        _empty_containers(person, lot)


def _empty_containers(person: Person, lot: Lot) -> None:
    """Fibre that went in whole is no longer in its bag: an old tag must not name it."""
    for container in lot.containers.filter(archived_at=None):
        put_into(person, container, None)


def _known_dry_mg(lot: Lot, weighing: Weighing) -> int | None:
    """Dry fibre of a wet lot from its last dry weighing, by the share of the lot that went in."""
    if lot.now_dry_mg is None or not lot.now_mass_mg:
        return None
    return min(weighing.net_mg, round(lot.now_dry_mg * min(1.0, weighing.net_mg / lot.now_mass_mg)))


def _rest_mg(lot: Lot, weighing: Weighing, rest_g: float | None) -> int:
    if rest_g is not None:
        if rest_g < 0:
            raise InputError(f"what stays of {lot.code}", f"{rest_g:g} g", "zero or more")
        return bridge.mg(rest_g)
    if weighing.net_mg >= WHOLE_LOT_FRAC * lot.now_mass_mg:
        return 0
    return lot.now_mass_mg - weighing.net_mg


def _finish(
    person: Person,
    run: Run,
    outputs: Sequence[RunOut],
    wastes: Sequence[RunWasteRow],
    ended_at: datetime,
    confirmation: str,
) -> RunDone:
    """Weigh out, name the lots, look at the yield, end the run."""
    if not outputs:
        raise InputError("what comes out", "", "at least one weight, also when it is small")
    ins = list(run.inputs.select_related("lot__customer").order_by("id"))
    kept = _keeps_number(ins, outputs)
    shares = shares_of([(row.lot, bridge.grams(row.dry_mg or row.mass_mg)) for row in ins])
    done = [_bring_out(person, run, out, kept=kept, ins=ins, shares=shares) for out in outputs]
    for waste in wastes:
        if waste.mass_g < 0:
            raise InputError(f"weight of {waste.kind}", f"{waste.mass_g:g} g", "zero or more")
        regain = waste.measured_regain_frac
        dry_mg = None if regain is None else bridge.mg(waste.mass_g / (1 + regain))
        RunWaste.objects.create(run=run, kind=waste.kind, mass_mg=bridge.mg(waste.mass_g), dry_mg=dry_mg)
    result = _result(run, ins, done)
    _ask_about_yield(run, ins, result, confirmation)
    run.ended_at = ended_at
    run.confirmation = confirmation or run.confirmation
    run.save(update_fields=["ended_at", "confirmation"])
    for out in done:
        announce(person, "lot", out.lot, f"out of {run.stage}, {out.net_g:g} g")
    announce(person, "run", run.code, f"{run.stage} ended")
    return result


def _keeps_number(ins: Sequence[RunInput], outputs: Sequence[RunOut]) -> Lot | None:
    """The lot that keeps its number: taken whole, alone, into one output that is no product."""
    if len(ins) > 1 or len(outputs) > 1 or outputs[0].is_product or outputs[0].code:
        return None
    lot = ins[0].lot
    return lot if lot.now_mass_mg == 0 else None


def _bring_out(
    person: Person,
    run: Run,
    out: RunOut,
    *,
    kept: Lot | None,
    ins: Sequence[RunInput],
    shares: Sequence[Share],
) -> OutLot:
    """One output: its lot, container and weighing."""
    form = out.form or FORM_AFTER.get(run.stage) or ins[0].lot.now_form
    if form not in list(Form):
        raise InputError("form", form, f"one of {', '.join(Form)}")
    lot = kept or _new_lot(person, out, form=form, ins=ins, shares=shares)
    if out.tag:
        container = container_of(out.tag)
        put_into(person, container, lot)
    else:
        kind, tare_g = out.kind, out.reading.tare_g
        container = new_container(person, lot, kind=kind, tare_g=tare_g, location=out.location)
    weighing = book_weighing(
        person, lot, out.reading, moment=Moment.OUT, form=form, run=run, container=container
    )
    RunOutput.objects.create(
        run=run,
        lot=lot,
        container=container,
        weighing=weighing,
        mass_mg=weighing.net_mg,
        dry_mg=weighing.dry_mg,
    )
    if kept is not None:
        _recolour(lot, out)
    stands_as(lot, weighing, place=PLACE_AFTER[run.stage], location=out.location)
    dry_g = bridge.maybe_grams(weighing.dry_mg)
    net_g = bridge.grams(weighing.net_mg)
    return OutLot(lot.code, container.tag, weighing.pk, net_g, dry_g, is_new=kept is None)


def _recolour(lot: Lot, out: RunOut) -> None:
    if out.colour_name:
        lot.colour_name = out.colour_name
    if out.lab is not None:
        lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi = (round(v * bridge.CENTI) for v in out.lab)


def _new_lot(
    person: Person, out: RunOut, *, form: str, ins: Sequence[RunInput], shares: Sequence[Share]
) -> Lot:
    """A lot with a number of its own and its parents' fibre."""
    if out.code and Lot.objects.filter(code=out.code).exists():
        raise InputError("lot number", out.code, "one that is not taken yet")
    note_code(out.code)
    lot = Lot(
        code=out.code or next_code(SERIES_OF[Form(form)]),
        customer=_owner_of(out, ins),
        name=out.name,
        received_on=clock.today(),
        pest=ins[0].lot.pest,
        want_waste_back=any(row.lot.want_waste_back for row in ins),
        note=out.note,
        now_form=form,
        created_at=clock.now(),
        created_by=person,
        **blended_columns(shares),
    )
    _recolour(lot, out)
    lot.save()
    keep_shares(lot, shares)
    return lot


def _owner_of(out: RunOut, ins: Sequence[RunInput]) -> Customer:
    """Whose the outcome is: said, or the only owner beside the mill itself."""
    if out.customer:
        return customer_of(out.customer)
    owners = {row.lot.customer_id: row.lot.customer for row in ins}
    if len(owners) == 1:
        return next(iter(owners.values()))
    guests = [owner for owner in owners.values() if not owner.is_own]
    if len(guests) == 1:
        return guests[0]
    names = ", ".join(owner.name for owner in owners.values())
    raise InputError("owner of what comes out", "", f"said, because it was joined from fibre of {names}")


def _result(run: Run, ins: Sequence[RunInput], done: Sequence[OutLot]) -> RunDone:
    dry_ins = [row.dry_mg for row in ins]
    dry_in_g = None if None in dry_ins else bridge.grams(sum(dry_ins))
    dry_outs = [out.dry_g for out in done]
    dry_out_g = None if None in dry_outs else sum(dry_outs)
    recovery = dry_out_g / dry_in_g if dry_in_g and dry_out_g is not None else None
    return RunDone(run.code, tuple(done), dry_in_g, dry_out_g, recovery)


def _ask_about_yield(run: Run, ins: Sequence[RunInput], result: RunDone, confirmation: str) -> None:
    """No stage makes fibre: more dry fibre out than in is asked about, never silently kept."""
    if confirmation.strip():
        return
    limit = house.number("ask_above_yield_frac")
    raw_in_g = bridge.grams(sum(row.mass_mg for row in ins))
    out_g = result.dry_out_g
    if result.recovery_frac is not None and result.recovery_frac > limit:
        words = f"{out_g:.0f} g dry came out of {result.dry_in_g:.0f} g dry, {result.recovery_frac:.1%}"
    elif result.dry_in_g is None and out_g is not None and out_g > raw_in_g * limit:
        words = f"{out_g:.0f} g dry came out of {raw_in_g:.0f} g of raw fibre"
    else:
        return
    raise QuestionError(
        f"{run.stage.capitalize()} cannot make fibre",
        (words,),
        "Check the tags (two lots exchanged?) and the empty containers, or say why it is right",
    )


def _plain(done: RunDone) -> dict[str, object]:
    return {
        "run": done.run,
        "outputs": [[getattr(out, name) for name in OutLot.__slots__] for out in done.outputs],
        "dry_in_g": done.dry_in_g,
        "dry_out_g": done.dry_out_g,
        "recovery_frac": done.recovery_frac,
    }


def _done_from(kept: dict) -> RunDone:
    outputs = tuple(OutLot(*values) for values in kept["outputs"])
    return RunDone(kept["run"], outputs, kept["dry_in_g"], kept["dry_out_g"], kept["recovery_frac"])
