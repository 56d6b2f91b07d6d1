"""Runs: a plain form for every stage, what is running, and what each run lost beside what is usual."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import DofferError, InputError, NotFoundError, RefusedError
from doffer.mill.booking import QuestionError
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.looked import NobodyLookedError
from doffer.mill.commands.run_facts import RunFacts
from doffer.mill.commands.run_stage import begin_run, finish_run, record_run
from doffer.mill.commands.yarn_settings import record_run_settings
from doffer.mill.queries import runs
from doffer.mill.queries.door import last_air
from doffer.mill.queries.lots import LotRow, lot_by_tag
from doffer.mill.queries.planned_stage import PlannedStage, planned_stage
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.office.looked import LOOKS, write_down_look
from doffer.office.readings import Typed, first_typed, scale_units
from doffer.office.run_form import MOST_OUT, sprayed_on, ways_out, went_in
from doffer.office.run_set import doubts, panel, read_run_set
from doffer.office.run_words import (
    AFTER_A_BATH,
    CONTAINER_AFTER,
    CONTAINERS,
    FORMS_OUT,
    NEXT_STAGE,
    OILED,
    SPRAYED_AT,
    STAGE_WORDS,
    asked_words,
    marks_of,
    question_words,
    wastes_of,
    water_after,
    water_words_of,
)
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon


@require_safe
def all_runs(request: HttpRequest) -> HttpResponse:
    """`/runs/`: what runs now, and the last runs, of one stage or of every one."""
    stage = request.GET.get("stage", "")
    stage = stage if stage in STAGE_WORDS else ""
    page = {
        "here": "today",
        "running": runs.list_runs(state="running").rows,
        "ended": runs.list_runs(state="ended", stage=stage, after=number_after(request, "after")),
        "stages": STAGE_WORDS,
        "stage": stage,
        "is_first_page": number_after(request, "after") is None,
    }
    return render(request, "office/runs.html", page)


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/runs/X0012/`: what went in and came out, what was lost; while it runs, the form to weigh out."""
    run = runs.one_run(code)
    typed = first_typed(last_air(), scale_units())
    return render(request, "office/run.html", _run_page(request, run, typed))


def _run_page(
    request: HttpRequest,
    run: runs.OneRun,
    typed: Typed,
    question: str = "",
    marks: Sequence[str] = (),
    *,
    run_set: dict[str, Any] | None = None,
) -> dict[str, Any]:
    stage = run.row.stage
    facts = runs.stage_facts(stage, [lot for lot, _, _ in run.row.ins])
    return {
        "here": "today",
        "run": run,
        "stage_words": STAGE_WORDS.get(stage, stage),
        "facts": facts,
        "owners": _owners(facts.lots),
        "planned": planned_stage(stage, [row.code for row in facts.lots]),
        **_out_side(typed, stage),
        "typed": typed,
        "asked": asked_words(run.doubts, units_of(request)),
        "question": question,
        "marks": marks,
        "key": typed.text("key") or fresh_key(),
        "may_write": may(acting(request), Right.RUN),
        "run_set": {
            **(run_set or panel(run.row.run, stage, Typed({}, scale_units()))),
            "key": (run_set or {}).get("key") or fresh_key(),
            "may_write": may(acting(request), Right.YARN),
        },
    }


@require_POST
def settings(request: HttpRequest, code: str) -> HttpResponse:
    """`/runs/X0012/settings/`: what the run was set to, its end breaks and a rating are written down."""
    run = runs.one_run(code)
    stage = run.row.stage
    typed = Typed(request.POST.dict(), scale_units())
    question = ""
    facts = read_run_set(typed, stage)
    if facts is not None:
        why = typed.text("confirmation")
        try:
            record_run_settings(acting(request), code, facts, confirmation=why, key=key_of(request))
            return HttpResponseRedirect(f"{reverse('run', args=[code])}#settings")
        except QuestionError as asked:
            question = doubts(facts, stage, typed.system) or str(asked)
        except (InputError, NotFoundError, RefusedError) as wrong:
            _put(typed, wrong)
    told = {**panel(code, stage, typed, question=question), "key": typed.text("key")}
    page = _run_page(request, run, first_typed(last_air(), scale_units()), run_set=told)
    return render(request, "office/run.html", page, status=422)


@require_POST
def finish(request: HttpRequest, code: str) -> HttpResponse:
    """What came out of a running stage is weighed, and the run ends."""
    run = runs.one_run(code)
    typed = Typed(request.POST.dict(), scale_units())
    question, marks = "", ()
    outs, wastes = ways_out(typed, run.row.stage)
    spray = sprayed_on(typed, run.row.stage, is_told=run.spray.mass_g > 0)
    if not typed.text("more_out") and not typed.errors:
        try:
            finish_run(
                acting(request),
                code,
                outputs=outs,
                wastes=wastes,
                spray=spray,
                confirmation=typed.text("confirmation"),
                answers=_answers(typed),
                key=key_of(request),
            )
        except QuestionError as asked:
            question, marks = question_words(asked, units_of(request)), marks_of(asked)
        except (InputError, NotFoundError, RefusedError) as wrong:
            _put(typed, wrong)
        else:
            return HttpResponseRedirect(reverse("run", args=[code]))
    status = 200 if typed.text("more_out") else 422
    if typed.text("more_out"):
        typed.errors.clear()
    return render(request, "office/run.html", _run_page(request, run, typed, question, marks), status=status)


def _answers(typed: Typed) -> tuple[str, ...] | None:
    """Marks of the questions that stood on the form an answer came from; None where none did."""
    return tuple(typed.text("answers").split()) or None


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """`/runs/new/?stage=card&lot=L010`: the plain form of a stage, whole run or only its start."""
    if request.method == "POST":
        return _write_down(request)
    stage = request.GET.get("stage", "")
    lots = _codes(request.GET)
    if stage == "skirt" and len(lots) == 1:
        return HttpResponseRedirect(reverse("lot_grade", args=[lots[0]]))
    ready = {name: value for name, value in request.GET.items() if name.startswith("in_") or name == "note"}
    typed = first_typed(last_air(), scale_units(), **ready)
    _add_typed_lot(typed, lots, request.GET.get("add_lot", ""))
    return _form(request, stage or _next_stage(lots), lots, typed, order=request.GET.get("order", ""))


def _next_stage(lots: list[str]) -> str:
    """The stage that usually follows for the first of these lots."""
    facts = runs.stage_facts("card", lots)
    if not facts.lots:
        return "card"
    first = facts.lots[0]
    if first.code in facts.wet:
        return AFTER_A_BATH.get(first.place, "dry")
    return NEXT_STAGE.get(first.form, "card")


def _codes(data: QueryDict) -> list[str]:
    """Lots named in an address or a form, each once, without those to be left out."""
    dropped = data.get("drop", "")
    return [code for code in dict.fromkeys(data.getlist("lot")) if code and code != dropped]


def _add_typed_lot(typed: Typed, lots: list[str], word: str) -> None:
    """Put a lot that was typed, or the lot under a scanned tag, behind the others."""
    word = word.strip().upper()
    if not word:
        return
    try:
        runs.stage_facts("card", [word])
        code = word
    except NotFoundError as unknown:
        try:
            code = lot_by_tag(word)
        except DofferError:
            typed.wrong("add_lot", str(unknown))
            return
    if code not in lots:
        lots.append(code)


def _write_down(request: HttpRequest) -> HttpResponse:
    """A sent form: one more line, the start of a run, or the whole run."""
    data = request.POST
    stage, lots = data.get("stage", ""), _codes(data)
    typed = Typed(data.dict(), scale_units())
    act = data.get("act", "")
    if act not in ("begin", "record"):
        _add_typed_lot(typed, lots, data.get("add_lot", "") if act == "more" else "")
        return _form(request, stage, lots, typed, status=422 if typed.errors else 200)
    facts = runs.stage_facts(stage, lots)
    ins = went_in(typed, facts.lots, facts.wet)
    sprayed_on(typed, stage, is_told=True)
    outs, wastes = ways_out(typed, stage) if act == "record" else ((), ())
    if not lots:
        typed.wrong("add_lot", "Say which lot goes in: its number, or the tag on its bag or bin.")
    if typed.errors:
        return _form(request, stage, lots, typed, status=422)
    machine = _machine(typed, facts) if typed.text("machine") else ""
    expected = _expected(stage, facts.lots, typed, machine, planned_stage(stage, lots))
    how = RunFacts(
        stage=stage,
        machine=machine,
        order=typed.text("order"),
        spray=expected.spray if expected else sprayed_on(typed, stage, is_told=False) or runs.NO_SPRAY,
        cleaned_before=typed.text("cleaned_before"),
        join_decision=facts.decision,
        note=typed.text("note"),
    )
    said = {"confirmation": typed.text("confirmation"), "answers": _answers(typed)}
    key = key_of(request)
    person = acting(request)
    try:
        write_down_look(person, typed, lots)
        if act == "begin":
            code = begin_run(person, how, ins, key=key, **said)
        else:
            code = record_run(person, how, inputs=ins, outputs=outs, wastes=wastes, key=key, **said).run
    except NobodyLookedError as asked:
        return _form(request, stage, lots, typed, unlooked=asked.lots, status=422)
    except QuestionError as asked:
        question, marks = question_words(asked, units_of(request)), marks_of(asked)
        return _form(request, stage, lots, typed, question=question, marks=marks, status=422)
    except (InputError, NotFoundError, RefusedError) as wrong:
        _put(typed, wrong)
        return _form(request, stage, lots, typed, status=422)
    return HttpResponseRedirect(reverse("run", args=[code]))


def _put(typed: Typed, wrong: DofferError) -> None:
    typed.wrong("__all__", str(wrong))


def _form(
    request: HttpRequest,
    stage: str,
    lots: list[str],
    typed: Typed,
    *,
    order: str = "",
    question: str = "",
    marks: Sequence[str] = (),
    unlooked: tuple[str, ...] = (),
    status: int = 200,
) -> HttpResponse:
    facts = runs.stage_facts(stage, lots)
    machine = _machine(typed, facts)
    planned, order = planned_stage(stage, lots), typed.text("order") or order
    page = {
        "here": "today",
        "stage": stage,
        "stages": STAGE_WORDS,
        "stage_words": STAGE_WORDS[stage],
        "facts": facts,
        "machines": [(each.code, each.name) for each in facts.machines],
        "owners": _owners(facts.lots),
        "tufts": {row.code: _tuft(row) for row in facts.lots},
        "expected": _expected(stage, facts.lots, typed, machine, planned, order=order),
        "planned": planned,
        "told_by": order or (planned.order if planned else ""),
        **_out_side(typed, stage),
        "typed": typed,
        "machine": machine,
        "order": order,
        "question": question,
        "marks": marks,
        "unlooked": unlooked,
        "looks": LOOKS,
        "key": typed.text("key") or fresh_key(),
        "may_write": may(acting(request), Right.RUN),
        "may_join": may(acting(request), Right.JOIN),
    }
    return render(request, "office/run_new.html", page, status=status)


def _machine(typed: Typed, facts: runs.StageFacts) -> str:
    """The machine that was chosen where it does this stage, else the first that does."""
    codes = [each.code for each in facts.machines]
    chosen = typed.text("machine")
    return chosen if chosen in codes else codes[0] if codes else ""


def _owners(rows: tuple[LotRow, ...]) -> list[tuple[str, str]]:
    """Owners of these lots as choices."""
    return list({row.owner: (row.owner, row.owner_name) for row in rows}.values())


def _tuft(row: LotRow) -> str:
    return tuft_icon(row.code, fibre_hex(*(row.lab or (None, None, None))), size=44)


def _out_side(typed: Typed, stage: str) -> dict[str, Any]:
    """What the side of the outputs needs: how many lines, which wastes, which choices."""
    asked = typed.text("n_out")
    n_out = int(asked) if asked.isdecimal() and 1 <= int(asked) <= MOST_OUT else 1
    return {
        "n_out": min(n_out + 1, MOST_OUT) if typed.text("more_out") else n_out,
        "wastes": wastes_of(stage),
        "containers": CONTAINERS,
        "usual_container": CONTAINER_AFTER.get(stage, "bin"),
        "forms_out": FORMS_OUT.get(stage, ()),
        "water_words": water_words_of(stage),
        "water": typed.text("branch") or water_after(stage),
        "is_oiled": stage in OILED,
        "is_sprayed": stage == SPRAYED_AT,
    }


def _expected(
    stage: str,
    rows: tuple[LotRow, ...],
    typed: Typed,
    machine: str,
    planned: PlannedStage | None,
    *,
    order: str = "",
) -> runs.Expected | None:
    """What should come out of what is typed so far; lots without a weight count whole.

    Conditioner counts as typed, else by the dose of the order the run is for.
    """
    trial = Typed(typed.data, typed.system)
    parts = []
    for row in rows:
        gross_g = trial.mass_g(f"in_{row.code}_gross", "weight")
        tare_g = trial.mass_g(f"in_{row.code}_tare", "weight") or 0.0
        parts.append(runs.part_of(row, None if gross_g is None else max(0.0, gross_g - tare_g)))
    order = order or typed.text("order") or (planned.order if planned else "")
    spray = sprayed_on(trial, stage, is_told=bool(order))
    return runs.expected_out(stage, parts, machine=machine, order=order, spray=spray)


@require_safe
def expected(request: HttpRequest) -> HttpResponse:
    """The part of the form that says what should come out, while the weights are typed."""
    stage = request.GET.get("stage", "")
    typed = Typed(request.GET.dict(), scale_units())
    facts = runs.stage_facts(stage, _codes(request.GET))
    machine = _machine(typed, facts)
    planned = planned_stage(stage, [row.code for row in facts.lots])
    page = {
        "expected": _expected(stage, facts.lots, typed, machine, planned),
        "planned": planned,
        "stage": stage,
        "facts": facts,
    }
    return render(request, "office/run_expected.html", page)


@require_POST
def agreement(request: HttpRequest) -> HttpResponse:
    """The owners agreed that their fibre comes together: who, how and when, kept under a name."""
    lots = _codes(request.POST)
    stage = request.POST.get("stage", "card")
    consent = request.POST.get("consent", "").strip()
    query = QueryDict(mutable=True)
    query["stage"] = stage
    query.setlist("lot", lots)
    if not consent:
        typed = Typed(request.POST.dict(), scale_units())
        typed.wrong("consent", "Say who agreed, how and when, such as “Ottoline by telephone, 2 March”.")
        return _form(request, stage, lots, typed, status=422)
    decide_join(acting(request), lots=lots, consent=consent)
    return HttpResponseRedirect(f"{reverse('run_new')}?{query.urlencode()}")


urlpatterns = [
    path("runs/", all_runs, name="runs"),
    path("runs/new/", new, name="run_new"),
    path("runs/expected/", expected, name="run_expected"),
    path("runs/agreement/", agreement, name="run_agreement"),
    path("runs/<str:code>/", one, name="run"),
    path("runs/<str:code>/finish/", finish, name="run_finish"),
    path("runs/<str:code>/settings/", settings, name="run_settings"),
]
