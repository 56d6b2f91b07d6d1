"""Where a blend that is to be mixed comes from: the bench, or a batch of an order's plan.

What is read is kept for a moment, since a slider asks for the same blend again and again: until anything in
the mill's books changes.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace

from django.http import HttpRequest, QueryDict
from django.urls import reverse

from doffer.errors import InputError, RefusedError
from doffer.mill import house
from doffer.mill.queries.evenness import TrialRow, trials
from doffer.mill.queries.house import latest_change
from doffer.mill.queries.mixing import MixingInputs, mixing_of_batch, mixing_of_lots
from doffer.mill.queries.orders import planned_order
from doffer.mill.queries.plan_inputs import basis_of, plan_inputs
from doffer.office.asked import UNITS_KEY, number_after, units_of
from doffer.office.bench import look
from doffer.office.bench_blend import aim_of, blend_of, hex_of
from doffer.office.evenness_asked import NAMES, Usual
from doffer.office.evenness_blend import usual_of
from doffer.office.evenness_measured import Photographed, measured_of
from doffer.office.orders import shown_plan, units_for
from doffer.pictures.colour import fibre_hex
from doffer.planning.order_plan import BatchPlan

ASIDE = frozenset({*NAMES, "find", "learn", "part", "v"})  # fields of the address that change no blend
MOST_KEPT = 16
_kept: OrderedDict[Hashable, Blend] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True, eq=False, slots=True)
class Blend:
    """A blend that is to be mixed: where it comes from, what is weighed out, its colours, its yarn.

    `fields` are those of the address that say which blend it is; `batches` are those of an order that are
    mixed: number, name, whether it is this one; `measured` what a photo of a strip showed; `change`
    the newest change of the mill's books, so that a browser keeps no picture of before; `is_newest_plan`
    whether it is as the newest kept plan of an order has it.
    """

    inputs: MixingInputs
    title: str
    weighed_g: Mapping[str, float]
    colours: Mapping[str, str]
    fields: tuple[tuple[str, str], ...]
    back: tuple[str, str]
    yarn_tex: float | None = None
    batches: tuple[tuple[int, str, bool], ...] = ()
    measured: Photographed | None = None
    units: str = "metric"
    change: int = 0
    trials: tuple[TrialRow, ...] = ()
    is_newest_plan: bool = False

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
    fields = tuple((name, tuple(values)) for name, values in request.GET.lists() if name not in ASIDE)
    return _of(("bench", fields, units_of(request)), lambda: _on_bench(request))


def blend_of_order(request: HttpRequest, code: str) -> Blend:
    """A batch of an order's plan, the first whose lots come together at the picker unless one is named.

    Raises
    ------
    RefusedError
        There is no plan, or nothing of it comes to the picker.
    """
    asked = (request.GET.get("batch"), request.GET.get("plan"), request.session.get(UNITS_KEY))
    return _of(("order", code, *asked), lambda: _of_order(request, code))


def _of(key: tuple[Hashable, ...], read: Callable[[], Blend]) -> Blend:
    """The blend as it was read while nothing changed since, else read anew."""
    change = latest_change()
    key = (change, *key)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    blend = replace(read(), change=change)
    with _lock:
        _kept[key] = blend
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return blend


def forget() -> None:
    """Keep nothing: for tests, which undo what they wrote."""
    with _lock:
        _kept.clear()


def _on_bench(request: HttpRequest) -> Blend:
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
        units=units_of(request),
    )


def _of_order(request: HttpRequest, code: str) -> Blend:
    order = planned_order(code)
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
    tried = tuple(trials(order=code).rows)
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
        measured=measured_of(tried, found.tables),
        trials=tried,
        units=units_for(request, order),
        batches=tuple((n, pairs[n - 1][0].name, n == chosen) for n in mixed),
        is_newest_plan=shown.version is not None and shown.version == order.plans[0],
        yarn_tex=100_000 / length / spec.wish.plies if length else None,
    )


def is_mixed(plan: BatchPlan) -> bool:
    """Whether a batch has lots to be mixed at the picker."""
    return len([use for use in plan.lots if use.share_frac > 0]) > 1 and any(
        stage.stage == "pick" for stage in plan.stages
    )
