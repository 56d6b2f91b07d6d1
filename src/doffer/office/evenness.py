"""How even it will be: the strips of a blend pass by pass, on the bench and for a batch of an order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from doffer.errors import DofferError, InputError, RefusedError
from doffer.mill import house
from doffer.mill.queries.evenness import trials
from doffer.mill.queries.house import MachineRow
from doffer.mill.queries.house import machines as machines_now
from doffer.mill.queries.mixing import MixingInputs, mixing_of_batch, mixing_of_lots
from doffer.mill.queries.orders import OneOrder, one_order
from doffer.mill.queries.plan_inputs import basis_of, plan_inputs
from doffer.office.asked import number_after, speak, units_of
from doffer.office.bench import look
from doffer.office.bench_blend import aim_of, blend_of, hex_of
from doffer.office.evenness_asked import (
    DRAWINGS,
    LAYINGS,
    ROW_UNITS,
    SEEN_FROM,
    Mixed,
    Usual,
    read_mixed,
)
from doffer.office.evenness_blend import Route, route_of, usual_of
from doffer.office.evenness_pictures import Looks, cloth_png, strips_png
from doffer.office.evenness_view import evenness_view, measured_of
from doffer.office.orders import shown_plan, units_for
from doffer.pictures.colour import fibre_hex
from doffer.pictures.variance_length import Measured
from doffer.planning.evenness.wish import Choice, Option
from doffer.planning.order_plan import BatchPlan

ROW_MM = 1200.0  # a row of a hand-knitted garment, when nobody says otherwise
FIND = "find"
SECONDS_KEPT = 300  # a picture's address says all it shows, so a browser may keep it a little


@dataclass(frozen=True, eq=False, slots=True)
class Blend:
    """A blend that is to be mixed: where it comes from, what is weighed out, its colours, its yarn.

    `fields` are those of the address that say which blend it is; `batches` are those of an order that are
    mixed: number, name, whether it is this one; `measured` what a photo of a strip showed.
    """

    inputs: MixingInputs
    title: str
    weighed_g: Mapping[str, float]
    colours: Mapping[str, str]
    fields: tuple[tuple[str, str], ...]
    back: tuple[str, str]
    yarn_tex: float | None = None
    batches: tuple[tuple[int, str, bool], ...] = ()
    measured: tuple[Measured, ...] = ()

    @property
    def usual(self) -> Usual:
        """What stands in the form first."""
        return usual_of(self.inputs)


def blend_on_bench(request: HttpRequest) -> Blend:
    """The blend that the bench shows.

    Raises
    ------
    InputError
        Nothing lies on the bench.
    """
    asked, bench = look(request, request.GET, is_quick=True)
    blend = blend_of(asked, bench, aim_of(asked, bench), basis=basis_of(house.text("country_rules")))
    if blend is None:
        raise InputError("blend", "nothing", "two lots or more; put them on the bench first")
    portions = blend.portions
    query = [(name, value) for name, value in QueryDict(asked.query()).lists() for value in value]
    return Blend(
        inputs=mixing_of_lots({one.lot.code: one.dry_g for one in portions}),
        title=f"{blend.total_g / 1000:.2f} kg of {', '.join(one.lot.code for one in portions)}",
        weighed_g={one.lot.code: one.weighed_g for one in portions},
        colours={one.lot.code: hex_of(one.lot, bench.tables) for one in portions},
        fields=tuple(query),
        back=("The bench", asked.address()),
    )


def blend_of_order(request: HttpRequest, order: OneOrder) -> Blend:
    """A batch of an order's plan, the first whose lots come together at the picker unless one is named.

    Raises
    ------
    RefusedError
        There is no plan, or nothing of it comes to the picker.
    """
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    shown = shown_plan(order, inputs, request.GET.get("plan", ""))
    if shown.spec is None or shown.plan is None:
        raise RefusedError(f"{order.row.code} has no plan yet", shown.problems, "Mend that on its page")
    pairs = list(zip(shown.spec.batches, shown.plan.batches, strict=True))
    mixed = [n for n, (_, plan) in enumerate(pairs, start=1) if is_mixed(plan)]
    chosen = number_after(request, "batch") or next(iter(mixed), 0)
    if chosen not in mixed:
        what = "one lot alone has nothing to mix, and what is carded is mixed already"
        raise RefusedError(f"Nothing of {order.row.code} is mixed from here on", (what,), "See its plan")
    spec, plan = pairs[chosen - 1]
    found = mixing_of_batch(spec, plan, shown.spec.ways)
    weighed: dict[str, float] = {}
    for layer in plan.layers:
        weighed[layer.name] = weighed.get(layer.name, 0.0) + layer.mass_g
    colours = {row.lot.code: fibre_hex(*row.lot.lab) for row in order.lots if row.lot.lab}
    length = spec.wish.length_m_per_100g
    return Blend(
        inputs=found,
        title=f"{order.row.code}, {spec.name}",
        weighed_g=weighed or {part.lot: part.dry_mass_g for part in found.parts},
        colours=colours,
        fields=(
            ("batch", str(chosen)),
            *((("plan", request.GET["plan"]),) if request.GET.get("plan") else ()),
        ),
        back=(f"Order {order.row.code}", reverse("order", kwargs={"code": order.row.code})),
        batches=tuple((n, pairs[n - 1][0].name, n == chosen) for n in mixed),
        yarn_tex=100_000 / length / spec.wish.plies if length else None,
    )


def is_mixed(plan: BatchPlan) -> bool:
    """Whether a batch has lots to be mixed at the picker."""
    return len([use for use in plan.lots if use.share_frac > 0]) > 1 and any(
        stage.stage == "pick" for stage in plan.stages
    )


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
    order = one_order(code)
    speak(request, units_for(request, order))
    back = (f"Order {code}", reverse("order", kwargs={"code": code}))
    try:
        blend = blend_of_order(request, order)
        measured = measured_of(trials(order=code).rows, blend.inputs.tables)
    except DofferError as refused:
        return _nothing(request, str(refused), back, here="orders")
    return _page(request, replace(blend, measured=measured), here="orders", place="order_evenness", code=code)


def _nothing(request: HttpRequest, sentence: str, back: tuple[str, str], *, here: str) -> HttpResponse:
    context = {"here": here, "sentence": sentence, "back": back}
    template = "office/evenness_none.html" if _is_part(request) else "office/evenness_nothing.html"
    return render(request, template, context)


def _is_part(request: HttpRequest) -> bool:
    """Whether only what changes is asked for, while somebody moves something."""
    return request.headers.get("HX-Request") == "true"


def _page(request: HttpRequest, blend: Blend, *, here: str, place: str, code: str = "") -> HttpResponse:
    """The page, or of it only what changes while somebody moves a slider."""
    where = {"code": code} if code else {}
    units = str(getattr(request, "page_units", "") or units_of(request))
    mixed = read_mixed(request.GET, units, blend.usual)
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
        strips_href=f"{reverse(f'{place}_strips', kwargs=where)}?{query}",
        weighed_g=blend.weighed_g,
        colours=blend.colours,
        measured=blend.measured,
        system=units,
    )
    address = reverse(place, kwargs=where)
    context: dict[str, Any] = {
        "here": here,
        "blend": blend,
        "mixed": mixed,
        "view": view,
        "route": route,
        "address": address,
        "cloth_href": f"{reverse(f'{place}_cloth', kwargs=where)}?{query}",
        "drawings": DRAWINGS,
        "layings": LAYINGS,
        "seen_from": SEEN_FROM,
        "row_unit": ROW_UNITS[units][0],
        "found": found,
        "problem": problem,
        "ways": ways_of(found, mixed) if found else (),
        "find_name": FIND,
        "is_summary": request.GET.get("part") == "strips",
    }
    template = "office/evenness_answer.html" if is_answer else "office/evenness.html"
    shown = render(request, template, context, status=422 if mixed.errors and not is_answer else 200)
    if is_answer and not context["is_summary"] and not mixed.errors:
        shown["HX-Replace-Url"] = f"{address}?{query}"
    return shown


def _found(route: Route, machines: Sequence[MachineRow]) -> tuple[Choice | None, str]:
    """The ways to mix it, or the sentence that says why none can be looked for."""
    try:
        return route.chosen(machines), ""
    except DofferError as refused:
        return None, str(refused)


@dataclass(frozen=True, slots=True)
class Way:
    """One way to mix it: what it is to whom, the way itself, and the end of the address that shows it."""

    title: str
    option: Option
    query: str


def ways_of(found: Choice, mixed: Mixed) -> tuple[Way, ...]:
    """The gentlest way, the one that is sure, and the gentlest with more passes; each once."""
    named = [
        ("Gentlest that will likely do", found.best),
        ("Sure, even if the machines mix worse", found.sure),
    ]
    named += [("The gentlest with as many passes", option) for option in found.by_passes]
    ways: dict[Option, Way] = {}
    for title, option in named:
        if option is not None and option not in ways:
            these = mixed.with_these(
                layers=option.layers, passes=option.passes, ends=option.ends, sandwich_g=option.sandwich_g
            )
            ways[option] = Way(title, option, these.query())
    return tuple(ways.values())


def _png(data: bytes) -> HttpResponse:
    shown = HttpResponse(data, content_type="image/png")
    shown["Cache-Control"] = f"private, max-age={SECONDS_KEPT}"
    return shown


def _strips(request: HttpRequest, blend: Blend) -> HttpResponse:
    route = _route(request, blend)
    return _png(strips_png(_looks(route)))


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
    return route_of(blend.inputs, read_mixed(request.GET, units_of(request), blend.usual))


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
def bench_cloth(request: HttpRequest) -> HttpResponse:
    """A swatch of cloth of the bench's blend."""
    return _cloth(request, blend_on_bench(request))


@require_safe
def order_strips(request: HttpRequest, code: str) -> HttpResponse:
    """The strips of a batch."""
    return _strips(request, blend_of_order(request, one_order(code)))


@require_safe
def order_cloth(request: HttpRequest, code: str) -> HttpResponse:
    """A swatch of cloth of a batch."""
    return _cloth(request, blend_of_order(request, one_order(code)))


urlpatterns = [
    path("bench/evenness/", on_bench, name="bench_evenness"),
    path("bench/evenness/strips.png", bench_strips, name="bench_evenness_strips"),
    path("bench/evenness/cloth.png", bench_cloth, name="bench_evenness_cloth"),
    path("orders/<str:code>/evenness/", of_order, name="order_evenness"),
    path("orders/<str:code>/evenness/strips.png", order_strips, name="order_evenness_strips"),
    path("orders/<str:code>/evenness/cloth.png", order_cloth, name="order_evenness_cloth"),
]
