"""A trial of evenness that was wrong is corrected: a new one takes its place, and both stay."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.mill.booking import QuestionError
from doffer.mill.commands.evenness import TrialFacts
from doffer.mill.commands.evenness_corrected import correct_found
from doffer.mill.evenness_facts import Facts, PhotoFacts, PulseFacts, SampleFacts, TrialResult
from doffer.mill.queries.evenness import TrialRow, one_trial
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.evenness_asked import TEX_PER_G_PER_M
from doffer.office.lot_strip import MOST_PASSES, STAGES
from doffer.office.machine_mixing import PERCENT, lines_as_typed, weighed_as_typed
from doffer.office.readings import Typed, as_typed_small_mass
from doffer.people.rights import Right, may

FIELDS = {"reason for the correction": "reason", "note": "note", "passes": "passes"}
NOTHING = "It tells nothing: the picture or its scale was wrong."


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, number: int) -> HttpResponse:
    """`/records/trials/12/correct/`."""
    trial = one_trial(number)
    units = units_of(request)
    if request.method != "POST":
        return _shown(request, trial, Typed(as_it_was(trial, units), units))
    typed = Typed(request.POST, units)
    question = ""
    try:
        _correct(request, trial, typed)
    except QuestionError as asked:
        question = str(asked)
    except InputError as wrong:
        typed.wrong(FIELDS.get(wrong.field, "__all__"), str(wrong))
    except DofferError as refused:
        typed.wrong("__all__", str(refused))
    if question or typed.errors:
        return _shown(request, trial, typed, question=question, status=422)
    return redirect(back_to(trial)[1])


def _correct(request: HttpRequest, trial: TrialRow, typed: Typed) -> None:
    typed.needed("reason", "Say what was wrong, such as “the scale stood on ounces”.")
    stage, passes = typed.text("stage"), typed.count("passes", "passes", low=0, high=MOST_PASSES)
    facts = _facts(trial, typed)
    if typed.errors or facts is None:
        return
    correct_found(
        acting(request),
        trial.id,
        TrialFacts(
            facts=facts,
            stage=stage if stage in dict(STAGES) and not trial.machine else trial.stage,
            passes=trial.passes if passes is None else passes,
            result=_result(trial, typed),
            photo=trial.photo,
        ),
        reason=typed.text("reason"),
        confirmation=typed.text("confirmation"),
        key=key_of(request),
    )


def _result(trial: TrialRow, typed: Typed) -> TrialResult | None:
    """What a photo told stays or goes; what was weighed is worked out anew."""
    if not isinstance(trial.facts, PhotoFacts):
        return None
    return TrialResult(words=(NOTHING,)) if typed.text("nothing") == "yes" else trial.result


def _facts(trial: TrialRow, typed: Typed) -> Facts | None:
    """What was measured, as typed now; None with sentences beside the fields that are wrong."""
    if isinstance(trial.facts, PhotoFacts):
        value = typed.read("roving", parse_number, "roving", allowed="grams in a metre, such as 3")
        return replace(trial.facts, strand_tex=None if value is None else float(value) * TEX_PER_G_PER_M)
    if isinstance(trial.facts, SampleFacts):
        return _samples(trial.facts, typed)
    weighed = weighed_as_typed(typed, trial.kind)
    return None if weighed is None else weighed.facts


def _samples(before: SampleFacts, typed: Typed) -> SampleFacts | None:
    lines = lines_as_typed(typed, columns=2 if before.shares_frac else 1)
    regain_frac = typed.share("regain", "water on the fibre") or 0.0
    typed.needed("weights", "Type the weights, one in a line.")
    if typed.errors:
        return None
    try:
        return replace(
            before,
            masses_g=tuple(line[0] for line in lines),
            shares_frac=tuple(line[1] / PERCENT for line in lines) if before.shares_frac else (),
            actual_regain_frac=regain_frac,
        )
    except InputError as wrong:
        typed.wrong("weights", str(wrong))
        return None


def as_it_was(trial: TrialRow, units: str) -> dict[str, str]:
    """The form filled with what was written down."""
    facts = trial.facts
    typed = {"stage": trial.stage, "passes": str(trial.passes)}
    if isinstance(facts, PhotoFacts):
        return typed | {"roving": f"{facts.strand_tex / TEX_PER_G_PER_M:g}" if facts.strand_tex else ""}
    shares = facts.shares_frac if isinstance(facts, PulseFacts | SampleFacts) else ()
    lines = [f"{mass:g}" for mass in facts.masses_g]
    if shares:
        lines = [f"{line} {share * PERCENT:g}" for line, share in zip(lines, shares, strict=True)]
    typed["weights"] = "\n".join(lines)
    typed["regain"] = f"{facts.actual_regain_frac * PERCENT:g}" if facts.actual_regain_frac else ""
    if isinstance(facts, PulseFacts):
        typed["pulse"] = as_typed_small_mass(facts.pulse_g, units)
    return typed


def back_to(trial: TrialRow) -> tuple[str, str]:
    """Where the trial is shown: its name and address."""
    if trial.kind == "photo" and trial.lot:
        return f"Strips of {trial.lot}", reverse("lot_strip", kwargs={"code": trial.lot})
    if trial.machine:
        return trial.machine_name, reverse("machine_mixing", kwargs={"code": trial.machine})
    if trial.lot:
        return trial.lot, reverse("lot", kwargs={"code": trial.lot})
    if trial.order:
        return trial.order, reverse("order", kwargs={"code": trial.order})
    return trial.run, reverse("run", kwargs={"code": trial.run})


def _shown(
    request: HttpRequest, trial: TrialRow, typed: Typed, *, question: str = "", status: int = 200
) -> HttpResponse:
    context: dict[str, Any] = {
        "here": "lots" if trial.kind == "photo" else "records",
        "trial": trial,
        "typed": typed,
        "stages": STAGES,
        "back": back_to(trial),
        "has_shares": isinstance(trial.facts, PulseFacts) or bool(getattr(trial.facts, "shares_frac", ())),
        "question": question,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.EVENNESS),
    }
    return render(request, "office/trial_correct.html", context, status=status)


urlpatterns = [path("records/trials/<int:number>/correct/", page, name="trial_correct")]
