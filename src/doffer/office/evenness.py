"""How even it will be: the strips of a blend pass by pass, on the bench and for a batch of an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.mill.booking import QuestionError
from doffer.mill.queries.house import MachineRow
from doffer.mill.queries.house import machines as machines_now
from doffer.office.asked import acting, fresh_key, speak
from doffer.office.evenness_asked import (
    DRAWINGS,
    LAYINGS,
    ROW_UNITS,
    SEEN_FROM,
    Mixed,
    read_mixed,
)
from doffer.office.evenness_blend import Route, route_of
from doffer.office.evenness_learn import can_tell, tales_of
from doffer.office.evenness_pictures import Looks, cloth_png, opening_png, strips_png
from doffer.office.evenness_plan import keep_mixing, plan_it
from doffer.office.evenness_source import Blend, blend_of_order, blend_on_bench
from doffer.office.evenness_view import evenness_view, in_units
from doffer.people.rights import Right, may
from doffer.pictures.words import say_many
from doffer.planning.evenness.wish import Choice, Option

ROW_MM = 1200.0  # a row of a hand-knitted garment, when nobody says otherwise
FIND, LEARN = "find", "learn"
SECONDS_KEPT = 300  # a picture's address says all it shows, so a browser may keep it a little


@require_safe
def on_bench(request: HttpRequest) -> HttpResponse:
    """`/bench/evenness/?lot=L027&share_L027=40 ... &layers=24&passes=2`."""
    try:
        blend = blend_on_bench(request)
    except DofferError as refused:
        return _nothing(request, str(refused), ("Put lots on the bench", reverse("bench")), here="bench")
    return _page(request, blend, here="bench", place="bench_evenness")


@require_safe
def of_order(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O201/evenness/?batch=1&layers=24`."""
    back = (f"Order {code}", reverse("order", kwargs={"code": code}))
    try:
        blend = blend_of_order(request, code)
    except NotFoundError:
        raise
    except DofferError as refused:
        return _nothing(request, str(refused), back, here="orders")
    speak(request, blend.units)
    return _page(request, blend, here="orders", place="order_evenness", code=code)


@require_POST
def plan_so(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O201/evenness/plan/`: how it is mixed here becomes the order's own."""
    request.GET = QueryDict(request.POST.get("state", ""))  # type: ignore[assignment]
    blend = blend_of_order(request, code)
    try:
        keep_mixing(request, code, blend, _route(request, blend))
    except QuestionError as asked:
        speak(request, blend.units)
        return _page(
            request, blend, here="orders", place="order_evenness", code=code, question=str(asked), status=422
        )
    return redirect("order", code=code)


def _nothing(request: HttpRequest, sentence: str, back: tuple[str, str], *, here: str) -> HttpResponse:
    context = {"here": here, "sentence": sentence, "back": back}
    template = "office/evenness_none.html" if _is_part(request) else "office/evenness_nothing.html"
    return render(request, template, context)


def _is_part(request: HttpRequest) -> bool:
    """Whether only what changes is asked for, while somebody moves something."""
    return request.headers.get("HX-Request") == "true"


def _page(
    request: HttpRequest,
    blend: Blend,
    *,
    here: str,
    place: str,
    code: str = "",
    question: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page, or of it only what changes while somebody moves a slider."""
    where = {"code": code} if code else {}
    mixed = read_mixed(request.GET, blend.units, blend.usual)
    route = route_of(blend.inputs, mixed)
    query = urlencode([*blend.fields, *mixed.pairs()])
    machines = machines_now()
    foretold = route.foretold(machines)
    is_answer = _is_part(request)
    found, problem = (
        _found(route, machines) if request.GET.get(FIND) == "yes" and not is_answer else (None, "")
    )
    view = evenness_view(
        route,
        foretold,
        strips_href=f"{reverse(f'{place}_strips', kwargs=where)}?{query}&v={blend.change}",
        weighed_g=blend.weighed_g,
        colours=blend.colours,
        measured=blend.measured,
        system=blend.units,
    )
    address = reverse(place, kwargs=where)
    context: dict[str, Any] = {
        "here": here,
        "blend": blend,
        "mixed": mixed,
        "view": view,
        "route": route,
        "address": address,
        "opening_href": f"{reverse(f'{place}_opening', kwargs=where)}?{query}&v={blend.change}",
        "cloth_href": f"{reverse(f'{place}_cloth', kwargs=where)}?{query}&v={blend.change}",
        "query": query,
        "drawings": DRAWINGS,
        "layings": LAYINGS,
        "seen_from": SEEN_FROM,
        "row_unit": ROW_UNITS[blend.units][0],
        "question": question,
        "one_more": route.one_more(machines),
        "found": found,
        "problem": problem,
        "ways": ways_of(found, mixed, blend.units) if found else (),
        "found_words": in_units(found.sentence, blend.units) if found else "",
        "find_name": FIND,
        "is_summary": request.GET.get("part") == "strips",
        **_to_keep(request, blend, route, where),
    }
    template = "office/evenness_answer.html" if is_answer else "office/evenness.html"
    shown = render(request, template, context, status=422 if mixed.errors and not is_answer else status)
    if is_answer and not context["is_summary"] and not mixed.errors:
        shown["HX-Replace-Url"] = f"{address}?{query}"
    return shown


def _to_keep(request: HttpRequest, blend: Blend, route: Route, where: dict[str, str]) -> dict[str, Any]:
    """What can be kept from here: figures that trials tell, and the plan of an order."""
    tells = bool(blend.trials) and can_tell(route, blend.trials)
    tales = tales_of(route, blend.trials) if tells and request.GET.get(LEARN) == "yes" else None
    person = acting(request)
    return {
        "can_tell": tells,
        "tales": tales,
        "keep_at": reverse("order_evenness_keep", kwargs=where) if tales else "",
        "plan_it": plan_it(blend, route.mixed) if where else None,
        "plan_at": reverse("order_evenness_plan", kwargs=where) if where else "",
        "samples_at": reverse("order_samples", kwargs=where) if where else "",
        "key": request.POST.get("key") or fresh_key(),
        "may_order": may(person, Right.ORDERS),
        "may_write": may(person, Right.EVENNESS),
    }


def _found(route: Route, machines: Sequence[MachineRow]) -> tuple[Choice | None, str]:
    """The ways to mix it, or the sentence that says why none can be looked for."""
    try:
        return route.chosen(machines), ""
    except DofferError as refused:
        return None, str(refused)


@dataclass(frozen=True, slots=True)
class Way:
    """One way to mix it: what it is to whom, the way itself in words, and the address's end that shows it."""

    title: str
    option: Option
    words: str
    query: str


def ways_of(found: Choice, mixed: Mixed, system: str) -> tuple[Way, ...]:
    """The gentlest way, the one that is sure, and the gentlest with more passes; each once."""
    named = [
        ("Gentlest that will likely do", found.best),
        ("Sure, even if the machines mix worse", found.sure),
    ]
    named += [
        (f"The gentlest with {say_many(option.passes, 'pass', 'passes')}", option)
        for option in found.by_passes
    ]
    ways: dict[Option, Way] = {}
    for title, option in named:
        if option is not None and option not in ways:
            these = mixed.with_these(
                layers=option.layers, passes=option.passes, ends=option.ends, sandwich_g=option.sandwich_g
            )
            ways[option] = Way(title, option, in_units(option.words(), system), these.query())
    return tuple(ways.values())


def _png(data: bytes) -> HttpResponse:
    shown = HttpResponse(data, content_type="image/png")
    shown["Cache-Control"] = f"private, max-age={SECONDS_KEPT}"
    return shown


def _strips(request: HttpRequest, blend: Blend) -> HttpResponse:
    route = _route(request, blend)
    return _png(strips_png(_looks(route)))


def _opening(request: HttpRequest, blend: Blend) -> HttpResponse:
    return _png(opening_png(_looks(_route(request, blend))))


def _cloth(request: HttpRequest, blend: Blend) -> HttpResponse:
    route = _route(request, blend)
    return _png(
        cloth_png(
            _looks(route),
            route.inputs.tables,
            row_mm=route.mixed.row_mm or ROW_MM,
            yarn_tex=blend.yarn_tex or route.mixed.strand_tex,
            distance_mm=route.mixed.distance_mm,
        )
    )


def _route(request: HttpRequest, blend: Blend) -> Route:
    return route_of(blend.inputs, read_mixed(request.GET, blend.units, blend.usual))


def _looks(route: Route) -> Looks:
    looks = route.looks
    if looks is None:
        unknown = ", ".join(route.inputs.without_colour)
        raise InputError("colours of the lots", f"none for {unknown}", "read by the instrument, or typed")
    return looks


@require_safe
def bench_strips(request: HttpRequest) -> HttpResponse:
    """The strips of the bench's blend, one below the other, as a picture."""
    return _strips(request, blend_on_bench(request))


@require_safe
def bench_opening(request: HttpRequest) -> HttpResponse:
    """The first metres of the bench's blend off the card."""
    return _opening(request, blend_on_bench(request))


@require_safe
def bench_cloth(request: HttpRequest) -> HttpResponse:
    """A swatch of cloth of the bench's blend."""
    return _cloth(request, blend_on_bench(request))


@require_safe
def order_strips(request: HttpRequest, code: str) -> HttpResponse:
    """The strips of a batch."""
    return _strips(request, blend_of_order(request, code))


@require_safe
def order_opening(request: HttpRequest, code: str) -> HttpResponse:
    """The first metres of a batch off the card."""
    return _opening(request, blend_of_order(request, code))


@require_safe
def order_cloth(request: HttpRequest, code: str) -> HttpResponse:
    """A swatch of cloth of a batch."""
    return _cloth(request, blend_of_order(request, code))


urlpatterns = [
    path("bench/evenness/", on_bench, name="bench_evenness"),
    path("bench/evenness/strips.png", bench_strips, name="bench_evenness_strips"),
    path("bench/evenness/opening.png", bench_opening, name="bench_evenness_opening"),
    path("bench/evenness/cloth.png", bench_cloth, name="bench_evenness_cloth"),
    path("orders/<str:code>/evenness/", of_order, name="order_evenness"),
    path("orders/<str:code>/evenness/plan/", plan_so, name="order_evenness_plan"),
    path("orders/<str:code>/evenness/strips.png", order_strips, name="order_evenness_strips"),
    path("orders/<str:code>/evenness/opening.png", order_opening, name="order_evenness_opening"),
    path("orders/<str:code>/evenness/cloth.png", order_cloth, name="order_evenness_cloth"),
]
