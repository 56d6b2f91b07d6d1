"""A run: lots go into one stage, lots and waste come out, and the figures are looked at before they stay."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.fibre.material import Form
from doffer.mill import bridge, clock
from doffer.mill.booking import (
    WHOLE_LOT_FRAC,
    Reading,
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
from doffer.mill.clean_fibre import counted_g
from doffer.mill.commands.join import join_allowed, refuse_held
from doffer.mill.commands.looked import ask_who_looked
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
from doffer.mill.commands.run_questions import (
    RunQuestionError,
    doubts_coming_out,
    doubts_going_in,
    expected_of,
    refuse_empty,
)
from doffer.mill.composition import Share, blended_columns, keep_shares, shares_of
from doffer.mill.doubt import Doubt, doubts_from
from doffer.mill.mix_checks import refuse_stale_mix
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
from doffer.mill.models.weighings import Branch, Moment
from doffer.mill.next_stage import settle_after
from doffer.mill.numbering import RUN, next_code, note_code
from doffer.mill.riding import PRODUCT, WATER, Riding, as_it_lies, riding_on, spray_of, spray_settings
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.planning.stage_ahead import Spray

ASKED = "asked"  # where a run keeps what it was asked about; the answer is its confirmation
ANSWERED_BY = "answered_by"


def begin_run(
    by: Person | None,
    facts: RunFacts,
    inputs: Sequence[RunIn],
    *,
    confirmation: str = "",
    answers: Collection[str] | None = None,
    key: uuid.UUID | None = None,
) -> str:
    """Lots go in and the machine starts; gives the run's number for `finish_run`.

    `confirmation` answers what is asked about; `answers` holds the marks of the questions it was written
    for (`RunQuestionError.marks`), so that a question nobody has seen yet is asked. None: all of them.
    """
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
        run, doubts = _begin(person, facts, inputs)
        _answer(run, doubts, confirmation, person, answers)
        run.save(update_fields=["settings", "confirmation"])
        remember(key, "begin_run", body, {"run": run.code}, person)
        return run.code


def finish_run(
    by: Person | None,
    run: str,
    *,
    outputs: Sequence[RunOut],
    wastes: Sequence[RunWasteRow] = (),
    spray: Spray | None = None,
    ended_at: datetime | None = None,
    confirmation: str = "",
    answers: Collection[str] | None = None,
    key: uuid.UUID | None = None,
) -> RunDone:
    """What came out is weighed and the run ends; `spray` when it was another than was said at its start.

    More dry fibre out than in, or a weight clearly outside of what was to be expected, is asked about
    (RunQuestionError) until `confirmation` says why; question and answer are kept with the run. `answers`
    as in `begin_run`.
    """
    person = require(by, Right.RUN)
    with write():
        body: dict[str, object] = {
            "run": run,
            "outputs": repr(tuple(outputs)),
            "wastes": repr(tuple(wastes)),
            "spray": repr(spray),
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
        if spray is not None:
            kept = {name: value for name, value in row.settings.items() if name not in (PRODUCT, WATER)}
            row.settings = kept | spray_settings(spray)
        done, doubts = _finish(person, row, outputs, wastes, ended_at or clock.now())
        _answer(row, doubts, confirmation, person, answers)
        row.save(update_fields=["settings", "confirmation"])
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
    answers: Collection[str] | None = None,
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
        run, doubts = _begin(person, facts, inputs)
        done, more = _finish(person, run, outputs, wastes, facts.ended_at or clock.now())
        _answer(run, [*doubts, *more], confirmation, person, answers)
        run.save(update_fields=["settings", "confirmation"])
        remember(key, "record_run", body, _plain(done), person)
        return done


def _answer(
    run: Run, doubts: Sequence[Doubt], confirmation: str, person: Person, answers: Collection[str] | None
) -> None:
    """Keep what was asked and what was answered, or ask; every doubt of an act is asked at once."""
    answer = confirmation.strip()
    unseen = answers is not None and not {doubt.mark for doubt in doubts} <= set(answers)
    if doubts and (unseen or not answer):
        raise RunQuestionError(doubts)
    if doubts:
        asked = (*doubts_from(run.settings.get(ASKED)), *doubts)
        run.settings = run.settings | {ASKED: [doubt.plain() for doubt in asked], ANSWERED_BY: person.name}
    if answer:
        run.confirmation = f"{run.confirmation}; {answer}" if run.confirmation else answer


def _begin(person: Person, facts: RunFacts, inputs: Sequence[RunIn]) -> tuple[Run, list[Doubt]]:
    """Check what goes in, weigh it in, take it off its lots; gives what is to be asked about it."""
    if facts.stage not in STAGES:
        raise InputError("stage", facts.stage, f"one of {', '.join(STAGES)}")
    if not inputs:
        raise InputError("what goes in", "", "at least one lot")
    codes = [item.lot for item in inputs]
    if len(set(codes)) < len(codes):
        raise InputError("what goes in", ", ".join(codes), "each lot once")
    lots = {item.lot: lot_of(item.lot) for item in sorted(inputs, key=lambda item: item.lot)}
    order = _found(Order, facts.order, "order")
    refuse_held(lots.values(), f"The {facts.stage} run does not start", order=order)
    ask_who_looked(lots.values(), f"The {facts.stage} run does not start")
    decision = join_allowed(list(lots.values()), facts.join_decision)
    refuse_empty(lots, inputs)
    refuse_stale_mix(facts.note, f"The {facts.stage} run does not start")
    doubts = doubts_going_in(facts.stage, lots, inputs)
    run = Run.objects.create(
        code=next_code(RUN),
        stage=facts.stage,
        machine=_machine_for(facts),
        order=order,
        started_at=facts.started_at or clock.now(),
        person=person,
        settings=facts.settings | spray_settings(facts.spray),
        cleaned_before=facts.cleaned_before,
        join_decision=decision,
        note=facts.note,
        recorded_at=clock.now(),
    )
    for item in inputs:
        _take_in(person, run, lots[item.lot], item)
    announce(person, "run", run.code, f"{facts.stage}: {', '.join(codes)} went in")
    return run, doubts


def _machine_for(facts: RunFacts) -> Machine | None:
    """The machine that was chosen, if it does this stage."""
    machine = _found(Machine, facts.machine, "machine")
    if machine is not None and machine.stage != facts.stage:
        raise InputError("machine", machine.name, f"one that does this stage, {facts.stage}")
    return machine


def _found(model: type[Machine] | type[Order], code: str, kind: str) -> Machine | Order | None:
    if not code:
        return None
    row = model.objects.filter(code=code).first()
    if row is None:
        raise NotFoundError(kind, code, "Choose it from the list")
    return row


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
) -> tuple[RunDone, list[Doubt]]:
    """Weigh out, name the lots, end the run; gives what is to be asked about its yield."""
    if not outputs:
        raise InputError("what comes out", "", "at least one weight, also when it is small")
    ins = list(run.inputs.select_related("lot__customer").order_by("id"))
    kept, riding = _keeps_number(ins, outputs), riding_on(run, ins)
    counted = counted_g(run, ins)
    shares = shares_of([(row.lot, mass_g) for row, mass_g in zip(ins, counted, strict=True)])
    expected = expected_of(run, ins)
    done = [_bring_out(person, run, out, kept=kept, ins=ins, shares=shares, riding=riding) for out in outputs]
    for waste in wastes:
        if waste.mass_g < 0:
            raise InputError(f"weight of {waste.kind}", f"{waste.mass_g:g} g", "zero or more")
        regain = waste.measured_regain_frac
        dry_mg = None if regain is None else bridge.mg(waste.mass_g / (1 + regain))
        RunWaste.objects.create(run=run, kind=waste.kind, mass_mg=bridge.mg(waste.mass_g), dry_mg=dry_mg)
    result = _result(run, ins, done)
    doubts = doubts_coming_out(run, ins, result, expected)
    _keep_dry_of_wet(ins, done)
    run.ended_at = ended_at
    run.save(update_fields=["ended_at", "settings"])
    settle_after(run)
    for out in done:
        announce(person, "lot", out.lot, f"out of {run.stage}, {out.net_g:g} g")
    announce(person, "run", run.code, f"{run.stage} ended")
    return result, doubts


def _keep_dry_of_wet(ins: Sequence[RunInput], done: Sequence[OutLot]) -> None:
    """Wet lots of a known dry weight keep it, each by its part: drying one must not make fibre."""
    wet = [out for out in done if out.dry_g is None]
    dry_in = [row.dry_mg for row in ins]
    if not wet or None in dry_in:
        return
    left_mg = sum(dry_in) - sum(bridge.mg(out.dry_g) for out in done if out.dry_g is not None)
    net_g = sum(out.net_g for out in wet)
    for out in wet:
        lot = lot_of(out.lot)
        share_mg = round(left_mg * out.net_g / net_g) if net_g else 0
        if lot.now_form not in bridge.RAW_FORMS and 0 < share_mg <= bridge.mg(out.net_g):
            lot.now_dry_mg = share_mg
            lot.save(update_fields=["now_dry_mg"])


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
    riding: Riding | None,
) -> OutLot:
    """One output: its lot, container and weighing."""
    form = out.form or FORM_AFTER.get(run.stage) or ins[0].lot.now_form
    if form not in list(Form):
        raise InputError("form", form, f"one of {', '.join(Form)}")
    lot = kept or _new_lot(person, out, form=form, ins=ins, shares=shares)
    reading = _reading_of(run, out, lot, form=form, riding=riding)
    if out.tag:
        container = container_of(out.tag)
        put_into(person, container, lot)
    else:
        kind, tare_g = out.kind, out.reading.tare_g
        container = new_container(person, lot, kind=kind, tare_g=tare_g, location=out.location)
    weighing = book_weighing(person, lot, reading, moment=Moment.OUT, form=form, run=run, container=container)
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
        lot.now_dry_mg = ins[0].dry_mg  # wet fibre keeps it; a dry weighing puts its own in its place
    stands_as(lot, weighing, place=PLACE_AFTER[run.stage], location=out.location)
    dry_g = bridge.maybe_grams(weighing.dry_mg)
    net_g = bridge.grams(weighing.net_mg)
    return OutLot(lot.code, container.tag, weighing.pk, net_g, dry_g, is_new=kept is None)


def _reading_of(run: Run, out: RunOut, lot: Lot, *, form: str, riding: Riding | None) -> Reading:
    """What the scale said of an output, with the oil and the water that ride on it.

    Sprayed fibre whose dry weight nobody knows is wet: the air says nothing about it yet.
    """
    if riding is None and out.is_fresh and spray_of(run).mass_g:
        return replace(out.reading, branch=Branch.WET)
    return as_it_lies(
        out.reading,
        riding,
        stage=run.stage,
        fibre=lot.fibre,
        form=form,
        is_fresh=out.is_fresh,
        is_oil_said=out.is_oil_said,
    )


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
    recovery = dry_out_g / dry_in_g if dry_in_g and dry_out_g is not None else None  # nothing over nothing
    return RunDone(run.code, tuple(done), dry_in_g, dry_out_g, recovery)


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
