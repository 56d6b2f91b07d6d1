"""The blending bench: choose a shade and lots, move the shares, see the blend; or have it found."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import DofferError, InputError
from doffer.mill import house
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.shades import TargetFacts
from doffer.mill.queries.bench import Bench, mixed_as
from doffer.mill.queries.bench import bench as bench_now
from doffer.mill.queries.plan_inputs import basis_of
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.bench_answers import answer_of
from doffer.office.bench_asked import (
    EVERY_FIBRE,
    MIX,
    MODELS,
    MOST_CHOICES,
    OWN_COLOUR,
    QUESTIONS,
    SHARE,
    STEPS_G,
    SUM_SLACK,
    TINTED,
    TWO_CONSTANT,
    Asked,
    read_asked,
    share_text,
)
from doffer.office.bench_blend import TELLABLE_DE, Aim, Blend, aim_of, blend_of, not_in_daylight
from doffer.office.bench_fibre import fibre_of_most, fibres_words, is_tinted, not_tinted
from doffer.office.bench_lots import (
    CHOOSING,
    choices_of,
    decision_for,
    known_lots,
    owners_apart,
    whose_options,
    with_usual_fibre,
)
from doffer.office.bench_stock import cannot_go_in, check_kept, lacking, less_of_it, whole_scaled
from doffer.people.rights import Right, may
from doffer.planning.shade.ways import by_model

ACTS = ("drop", "act")
KEPT_OTHERWISE = (
    "A recipe is corrected by its card, which two constants cannot be: reckon it the usual way first"
)


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """`/bench/?shade=S001&lot=L027&share_L027=40 ...`: the question stands in the address."""
    asked, bench = look(request, request.GET)
    if any(name in request.GET for name in ACTS) and not asked.errors:
        return HttpResponseRedirect(asked.address())
    return _page(request, asked, bench)


@require_safe
def answer(request: HttpRequest) -> HttpResponse:
    """What the blend is while shares are moved; puts the same question into the address."""
    asked, bench = look(request, request.GET, is_quick=True)
    shown = render(
        request, "office/bench_answer.html", {**_blend_context(request, asked, bench), "is_live": True}
    )
    if not asked.errors:
        shown["HX-Replace-Url"] = asked.address()
    return shown


def look(request: HttpRequest, data: QueryDict, *, is_quick: bool = False) -> tuple[Asked, Bench]:
    """The question and the bench it is asked of; quickly: with the chosen lots alone."""
    units = units_of(request)
    asked = read_asked(data, units)
    shade = None if not asked.shade else "" if asked.shade == OWN_COLOUR else asked.shade
    bench = bench_now(
        shade=shade,
        fibre=asked.only_fibre or "wool",
        first=asked.lots[0] if asked.lots else "",
        seek=asked.seek,
        also={*asked.lots, *asked.must},
        only=(asked.lots or ("-",)) if is_quick else (),
    )
    asked = read_asked(data, units, {lot.code: lot.free_dry_g for lot in bench.lots})
    if not asked.shade:
        asked = replace(asked, shade=bench.standards[0].shade if bench.standards else OWN_COLOUR)
    asked = with_usual_fibre(asked, bench)
    bench = mixed_as(bench, fibre_of_most(asked, bench))
    if asked.model == TWO_CONSTANT and not is_tinted(asked, bench):
        asked = replace(asked, model="")
    if asked.model:
        bench = replace(bench, ways=by_model(bench.ways, asked.model, bench.tables))
    return asked, bench


def _page(
    request: HttpRequest, asked: Asked, bench: Bench, *, wrong: str = "", status: int = 200
) -> HttpResponse:
    context = _blend_context(request, asked, bench)
    aim = context["aim"]
    found = answer_of(asked, bench, aim, system=units_of(request)) if asked.want != MIX else None
    whose = whose_options(bench)
    context |= {
        "questions": QUESTIONS,
        "shades": [*((one.shade, one.name) for one in bench.standards), (OWN_COLOUR, "A colour I type")],
        "own_colour": OWN_COLOUR,
        "fibres": [(key, bench.tables.fibres[key].name) for key in sorted({lot.fibre for lot in bench.lots})],
        "whose": whose,
        "whose_words": dict(whose).get(asked.whose, asked.whose),
        "fibre_words": bench.tables.fibres[asked.only_fibre].name
        if asked.only_fibre in bench.tables.fibres
        else "every fibre",
        # where the bench chooses lots, every fibre has a word of its own: nothing said is the usual
        "every": EVERY_FIBRE if asked.want in CHOOSING or asked.fibre == EVERY_FIBRE else "",
        "models": (*MODELS, TINTED) if is_tinted(asked, bench) else MODELS,
        "steps": STEPS_G,
        "mosts": MOST_CHOICES,
        "choices": choices_of(asked, bench, aim),
        "gone": known_lots(asked, bench),
        "found": found,
        "wrong": wrong,
        "currency": house.text("currency"),
        "is_live": False,
    }
    return render(request, "office/bench.html", context, status=status)


def _blend_context(request: HttpRequest, asked: Asked, bench: Bench) -> dict[str, Any]:
    """What the answer to a mix shows."""
    aim = aim_of(asked, bench)
    blend, problem = _blend(asked, bench, aim) if asked.want == MIX else (None, "")
    person = acting(request)
    return {
        "here": "bench",
        "asked": asked,
        "model_name": dict((*MODELS, TINTED))[asked.model],
        "not_tinted": not_tinted(asked, bench),
        "fibres_words": fibres_words(asked, bench) if asked.want == MIX else "",
        "unlit": not_in_daylight(asked, bench),
        "may_be_kept": asked.model != TWO_CONSTANT,
        "typed": asked.typed,
        "bench": bench,
        "aim": aim,
        "blend": blend,
        "less_of_it": less_of_it(asked, blend, units_of(request)),
        "is_enough": blend is None or not lacking(blend),
        "stopped": cannot_go_in(bench, asked.lots),
        "problem": problem,
        "apart": owners_apart(asked, bench),
        "sum_is_off": abs(asked.shares_sum - 1) > SUM_SLACK and bool(asked.lots),
        "tellable": TELLABLE_DE,
        "share_name": SHARE,
        "share_text": share_text,
        "state": asked.query(),
        "key": fresh_key(),
        "may_keep": may(person, Right.SHADES),
        "may_join": may(person, Right.JOIN),
        "sees_costs": may(person, Right.LOTS),
    }


def _blend(asked: Asked, bench: Bench, aim: Aim | None) -> tuple[Blend | None, str]:
    """The blend, or the sentence that says why there is none."""
    try:
        return blend_of(asked, bench, aim, basis=basis_of(house.text("country_rules"))), ""
    except DofferError as wrong:
        return None, str(wrong)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Write the blend down as a recipe, in the grams that the scale can weigh."""
    asked, bench = look(request, QueryDict(request.POST.get("state", "")))
    aim = aim_of(asked, bench)
    blend, problem = _blend(asked, bench, aim)
    if asked.model == TWO_CONSTANT:
        return _page(request, asked, bench, wrong=f"{KEPT_OTHERWISE}.", status=422)
    if blend is None or aim is None:
        sentence = problem or "Choose a shade, or type the colour you want, and put in two lots."
        return _page(request, asked, bench, wrong=sentence, status=422)
    try:
        check_kept(asked, bench, blend, units_of(request))
        made = propose_recipe(
            acting(request),
            _facts(asked, bench, blend, request.POST.get("name", "")),
            code=request.POST.get("version_of", ""),
            key=key_of(request),
        )
    except DofferError as refused:
        return _page(request, asked, bench, wrong=str(refused), status=422)
    return redirect("blend_recipe", code=made.code)


def _facts(asked: Asked, bench: Bench, blend: Blend, name: str) -> RecipeFacts:
    """The recipe as it will be weighed out: rounded to the scale, in the shares on the screen."""
    shares, total_g = whole_scaled(blend)
    is_own_colour = asked.shade == OWN_COLOUR and asked.lab is not None
    target = None
    if is_own_colour and asked.lab is not None:
        target = TargetFacts(
            labs={"D65": asked.lab},
            observer_deg=bench.pad.observer_deg,
            form=bench.pad.form,
            geometry=bench.pad.geometry,
            is_behind_glass=bench.pad.is_behind_glass,
        )
    in_order = [code for code in asked.lots if code in shares]
    return RecipeFacts(
        parts=tuple(PartFacts(code, shares[code]) for code in in_order),
        dry_mass_g=total_g,
        shade="" if is_own_colour else asked.shade,
        target=target,
        name=name.strip()[:80],
        join_decision=decision_for(asked, bench),
        mixing=bench.ways.mixing if asked.model else None,
    )


@require_POST
def agreement(request: HttpRequest) -> HttpResponse:
    """The owners agreed that their fibre comes together; then the same blend again."""
    asked, bench = look(request, QueryDict(request.POST.get("state", "")))
    try:
        decide_join(acting(request), lots=asked.lots, consent=request.POST.get("consent", ""))
    except InputError:
        sentence = "Say who agreed, how and when, such as “Ottoline by telephone, 2 March”."
        return _page(request, asked, bench, wrong=sentence, status=422)
    return HttpResponseRedirect(asked.address())


urlpatterns = [
    path("bench/", page, name="bench"),
    path("bench/answer/", answer, name="bench_answer"),
    path("bench/keep/", keep, name="bench_keep"),
    path("bench/agreement/", agreement, name="bench_agreement"),
]
