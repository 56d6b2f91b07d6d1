"""Blend recipes: the list, and one on its way from trial card to release and to the picker."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import ConflictError, DofferError, InputError
from doffer.mill.commands.readings import Seen
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.shades import TargetFacts
from doffer.mill.commands.trial_card import (
    card_trial,
    learn_from_card,
    measure_trial,
    refuse_recipe,
    release_recipe,
    withdraw_release,
)
from doffer.mill.queries import recipes
from doffer.mill.queries.recipes import OneRecipe
from doffer.office import recipe_view as view
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.office.bench_asked import USUAL_MODEL
from doffer.office.bench_blend import TELLABLE_DE
from doffer.office.colour_readings_form import form_of
from doffer.office.recipe_correct import Way, corrected_of
from doffer.office.recipe_papers import weigh_out_pdf
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon

STATES = tuple(view.STATE_WORDS.items())


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/bench/recipes/`: newest first."""
    state, shade = request.GET.get("state", ""), request.GET.get("shade", "")
    after = number_after(request, "after")
    found = recipes.list_recipes(state=state if state in view.STATE_WORDS else "", shade=shade, after=after)
    kept = {"state": state, "shade": shade}
    query = urlencode({**{k: v for k, v in kept.items() if v}, "after": found.next_after or ""})
    context = {
        "here": "bench",
        "found": found,
        "state": state,
        "shade": shade,
        "states": STATES,
        "state_words": view.STATE_WORDS,
        "first_page": after is None,
        "next_page": f"{reverse('blend_recipes')}?{query}" if found.next_after else "",
        "tufts": {
            row.code: tuft_icon(row.code, fibre_hex(*row.predicted_lab), size=44) for row in found.rows
        },
    }
    return render(request, "office/recipes.html", context)


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/bench/recipes/M0001/`; `?version=1` shows an older one."""
    if code != code.upper():
        return redirect("blend_recipe", code=code.upper())
    return _shown(request, recipes.one_recipe(code, number_after(request, "version")))


def _shown(
    request: HttpRequest, recipe: OneRecipe, *, wrong: dict[str, str] | None = None, status: int = 200
) -> HttpResponse:
    card = view.card_of(recipe)
    swatch, is_approximate = view.swatch_of(recipe, card)
    lines = view.lines_of(recipe)
    is_open = recipe.row.state not in ("released", "refused") and recipe.row.version == recipe.versions[0]
    person = acting(request)
    context: dict[str, Any] = {
        "here": "bench",
        "recipe": recipe,
        "row": recipe.row,
        "card": card,
        "swatch": swatch,
        "is_approximate": is_approximate,
        "lines": lines,
        "mix": view.mix_of(recipe),
        "state_words": view.STATE_WORDS,
        "is_open": is_open,
        "is_newest": recipe.row.version == recipe.versions[0],
        "corrected": corrected_of(recipe) if is_open and card and card.de >= TELLABLE_DE else None,
        "beyond": view.beyond_words(recipe, card),
        "stops": view.said_of(recipe.against.stops, units_of(request)),
        "asks": view.said_of(recipe.against.asks, units_of(request)),
        "bench_address": view.bench_address(recipe),
        "run_address": view.run_address(recipe, lines),
        "may_read": may(person, Right.READ_COLOUR),
        "may_decide": may(person, Right.SHADES),
        "n_tufts_asked": int(recipe.tables.constants["shade_card_tufts"].value),
        "may_run": may(person, Right.RUN),
        "typed": request.POST,
        "errors": wrong or {},
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(request, "office/recipe.html", context, status=status)


@require_POST
def card(request: HttpRequest, code: str) -> HttpResponse:
    """The trial card was weighed and carded."""
    card_trial(acting(request), code)
    return redirect("blend_recipe", code=code)


@require_POST
def measure(request: HttpRequest, code: str) -> HttpResponse:
    """The trial card was read: typed Lab of several tufts, or a file of the instrument."""
    recipe = recipes.one_recipe(code)
    upload = request.FILES.get("file")
    try:
        seen = _seen(request, recipe, upload)
        measure_trial(
            acting(request), code, seen=seen, note=request.POST.get("note", "").strip(), key=key_of(request)
        )
    except DofferError as refused:
        name = "file" if upload else "tufts"
        return _shown(request, recipe, wrong={name: str(refused)}, status=422)
    return redirect("blend_recipe", code=code)


def _seen(request: HttpRequest, recipe: OneRecipe, upload: Any) -> Seen:
    """The reading as the instrument or the person gives it, read in the way the target was."""
    alike = {
        "light": "D65",
        "form": recipe.pad.form,
        "observer": str(recipe.pad.observer_deg),
        "glass": "yes" if recipe.pad.is_behind_glass else "",
        "note": "",
    }
    return form_of({**request.POST.dict(), **alike}, upload).seen()


@require_POST
def release(request: HttpRequest, code: str) -> HttpResponse:
    """Let the full mix be made."""
    try:
        release_recipe(acting(request), code, note=request.POST.get("release_note", ""), key=key_of(request))
    except DofferError as refused:
        recipe = recipes.one_recipe(code)
        return _shown(request, recipe, wrong={"release_note": str(refused)}, status=422)
    return redirect("blend_recipe", code=code)


@require_POST
def refuse(request: HttpRequest, code: str) -> HttpResponse:
    """Say that it is not made."""
    try:
        refuse_recipe(acting(request), code, reason=request.POST.get("reason", ""))
    except InputError as wrong:
        return _shown(request, recipes.one_recipe(code), wrong={"reason": str(wrong)}, status=422)
    return redirect("blend_recipe", code=code)


@require_POST
def withdraw(request: HttpRequest, code: str) -> HttpResponse:
    """Take the release back: the fibre is free again."""
    try:
        withdraw_release(acting(request), code, reason=request.POST.get("withdraw_reason", ""))
    except DofferError as wrong:
        recipe = recipes.one_recipe(code)
        return _shown(request, recipe, wrong={"withdraw_reason": str(wrong)}, status=422)
    return redirect("blend_recipe", code=code)


@require_POST
def learn(request: HttpRequest, code: str) -> HttpResponse:
    """A card that its lots should not be able to make is right all the same: learn from it."""
    try:
        learn_from_card(acting(request), code, note=request.POST.get("right_note", ""))
    except DofferError as refused:
        return _shown(request, recipes.one_recipe(code), wrong={"right_note": str(refused)}, status=422)
    return redirect("blend_recipe", code=code)


@require_POST
def correct(request: HttpRequest, code: str) -> HttpResponse:
    """The next version: the shares that the trial card asks for, of its lots or with one more from stock."""
    recipe = recipes.one_recipe(code)
    found = corrected_of(recipe)
    way = None if found is None else found.added if request.POST.get("way") == "added" else found.own
    try:
        if way is None:
            raise ConflictError(
                "There is nothing to correct by", "Read the trial card, or look for other lots"
            )
        propose_recipe(acting(request), _next_version(recipe, way), code=code, key=key_of(request))
    except DofferError as refused:
        return _shown(request, recipe, wrong={"correct": str(refused)}, status=422)
    return redirect("blend_recipe", code=code)


def _next_version(recipe: OneRecipe, found: Way) -> RecipeFacts:
    target = None
    total_g = found.total_g
    near = found.de < TELLABLE_DE
    within = "as near as the model can tell" if near else f"within {found.de:.1f}"
    if not recipe.row.shade:
        spectrum = recipe.target_reflectance_ppm
        target = TargetFacts(
            labs={} if spectrum else recipe.target_labs,
            reflectance=tuple(value / view.PPM for value in spectrum) if spectrum else None,
            observer_deg=recipe.pad.observer_deg,
            form=recipe.pad.form,
            geometry=recipe.pad.geometry,
            is_behind_glass=recipe.pad.is_behind_glass,
        )
    return RecipeFacts(
        parts=tuple(PartFacts(one.lot, one.dry_g / total_g) for one in found.grams if one.dry_g > 0),
        dry_mass_g=total_g,
        shade=recipe.row.shade,
        target=target,
        name=recipe.row.name,
        note=f"Corrected by the trial card of version {recipe.row.version}: with what it taught, the blend "
        f"should come {within} to the shade",
        join_decision=recipe.join_decision,
        mixing=None if recipe.model == USUAL_MODEL else view.ways_of(recipe).mixing,
    )


@require_safe
def weigh_out(request: HttpRequest, code: str, what: str) -> HttpResponse:
    """The weigh-out sheet as PDF."""
    recipe = recipes.one_recipe(code, number_after(request, "version"))
    return weigh_out_pdf(request, recipe, what)


urlpatterns = [
    path("bench/recipes/", list_page, name="blend_recipes"),
    path("bench/recipes/<str:code>/", one, name="blend_recipe"),
    path("bench/recipes/<str:code>/card/", card, name="blend_recipe_card"),
    path("bench/recipes/<str:code>/measure/", measure, name="blend_recipe_measure"),
    path("bench/recipes/<str:code>/correct/", correct, name="blend_recipe_correct"),
    path("bench/recipes/<str:code>/learn/", learn, name="blend_recipe_learn"),
    path("bench/recipes/<str:code>/release/", release, name="blend_recipe_release"),
    path("bench/recipes/<str:code>/withdraw/", withdraw, name="blend_recipe_withdraw"),
    path("bench/recipes/<str:code>/refuse/", refuse, name="blend_recipe_refuse"),
    path("bench/recipes/<str:code>/<str:what>.pdf", weigh_out, name="blend_recipe_pdf"),
]
