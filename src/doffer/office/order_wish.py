"""An order's wish is changed on its page: the counter's form filled with it, and the same live answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_POST

from doffer import __version__
from doffer.errors import DofferError
from doffer.mill.commands.counter import FirstPlan, WishChange, change_wish
from doffer.mill.commands.orders import MILL_FIBRE, OWN_FIBRE, OrderLotFacts
from doffer.mill.queries.arrivals import arrival_of
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.orders import OneOrder, one_order
from doffer.mill.queries.plan_inputs import LEAST_MASS_G, PlanInputs, plan_inputs
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.new_order import (
    SYSTEMS,
    Counter,
    Owner,
    counter_context,
    name_of,
    raised_of,
    told_of,
    view_of,
)
from doffer.office.new_order_form import Asked, batch_wish, plan_asked, read_counter, read_date
from doffer.office.order_spec import BatchWish, OrderWish, Planned, plan_of_order, read_wish, wish_data
from doffer.office.order_wish_form import (
    Candidates,
    OneWish,
    candidates,
    changes,
    one_wish,
    put_batch,
    typed_of,
)
from doffer.office.orders import units_for
from doffer.office.plan_view import wish_words
from doffer.office.readings import Typed
from doffer.people.rights import Right, require
from doffer.pictures.words import say_list
from doffer.planning.expected import Expected
from doffer.planning.plan_json import to_plain

HERE_BEFORE = "it was here before more was announced"
LEAST_TO_REMOVE = 2  # parts an order has when one of them can be taken out
ASKED = ("product", "plies", "thick")  # what an address may ask of the form, over what was wished
LONGEST = {"product": 120, "target": 200, "label_wanted": 200}


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O203/wish/`: what it is to become, to be changed; POST works it out or keeps it.

    `?batch=1&product=yarn&plies=2&thick=400+m/100+g` fills the form with another yarn, which nobody kept yet.
    """
    require(acting(request), Right.ORDERS)
    order = one_order(code)
    data = request.POST if request.method == "POST" else request.GET
    one, lots, counter = _look(request, order, data)
    if request.method == "POST":
        done = {"keep": _keep, "remove": _remove}.get(data.get("act", ""))
        if done and done(request, order, one, counter):
            return redirect("order", code=code)
    status = 422 if request.method == "POST" and counter.typed.errors else 200
    return render(
        request, "office/order_wish.html", _context(request, order, one, lots, counter), status=status
    )


@require_POST
def answer(request: HttpRequest, code: str) -> HttpResponse:
    """What the fibre becomes, for the panel beside the form."""
    order = one_order(code)
    _, _, counter = _look(request, order, request.POST)
    return render(request, "office/new_order_answer.html", counter_context(request, counter))


def _context(
    request: HttpRequest, order: OneOrder, one: OneWish, lots: Candidates, counter: Counter
) -> dict[str, Any]:
    return {
        **counter_context(request, counter),
        "order": order,
        "one": one,
        "lots": lots,
        "key": request.POST.get("key") or fresh_key(),
    }


def _look(request: HttpRequest, order: OneOrder, data: QueryDict) -> tuple[OneWish, Candidates, Counter]:
    """Read the form, or fill it with what was wished, and plan that."""
    wish = read_wish(order.spec)
    number = data.get("batch", "")
    one = one_wish(wish, int(number) if number.isdecimal() and len(number) < 4 else 1)  # digits
    tables = plan_inputs().tables
    lots = candidates(order, wish, one, tables)
    units = units_for(request, order)
    if request.method == "POST":
        speaks = data.get("speak", "")
        typed = Typed(
            {name: str(value) for name, value in data.items()}, speaks if speaks in SYSTEMS else units
        )
    else:
        asked = {name: data[name] for name in ASKED if data.get(name)}
        ticked = {f"lot_{data['lot']}": "yes"} if data.get("lot") in {lot.code for lot in lots.mine} else {}
        typed = Typed({**typed_of(order, one, lots, tables, units), **asked, **ticked}, units)
    return one, lots, _counter(order, wish, one, lots, typed)


def _counter(order: OneOrder, wish: OrderWish, one: OneWish, lots: Candidates, typed: Typed) -> Counter:
    tables = plan_inputs().tables
    asked = read_counter(typed, tables, lots.stock, lots.mine)
    inputs = plan_inputs(lots=asked.all_lots)
    planned = Planned(None, None)
    told = _still_told(order, one, lots, typed, asked)
    if not typed.errors:
        wanted = {row.lot.code: row.wanted_g for row in order.lots}
        ways = inputs.ways_for(order.country_rules, wish.ways)
        name = _name(one, asked)
        planned = plan_asked(_with_rest(order, asked, told, inputs), inputs, ways, name, wanted_g=wanted)
    return Counter(
        typed=typed,
        owner=Owner(order.row.owner_name, None, False, ()),
        mine=lots.mine,
        stock=lots.stock,
        asked=asked,
        inputs=inputs,
        planned=planned,
        view=view_of(planned, inputs, (*lots.mine, *lots.stock), typed.system),
        told=told_of(typed, asked),
        raised=raised_of(planned, inputs, typed.system),
    )


def _still_told(
    order: OneOrder, one: OneWish, lots: Candidates, typed: Typed, asked: Asked
) -> Expected | None:
    """What was announced for this batch, as the form says it, while some has come and not all of it."""
    if one.batch is None or not one.batch.fibre or not asked.lots or arrival_of(order.row.code).is_all:
        return None
    without_bags = read_counter(Typed(typed.data, typed.system), plan_inputs().tables, lots.stock, ())
    return without_bags.expected or one.batch.fibre[0]


def _with_rest(order: OneOrder, asked: Asked, told: Expected | None, inputs: PlanInputs) -> Asked:
    """What is asked, with what is still to come of announced fibre beside the bags that came."""
    if told is None:
        return asked
    came_g = {lot.code: lot.came_g for lot in arrival_of(order.row.code).lots}
    here_g = sum(came_g.get(lot.code, lot.mass_g) for lot in inputs.lots if lot.code in asked.lots)
    rest_g = told.mass_g - here_g
    if rest_g < LEAST_MASS_G:
        return asked
    return replace(asked, expected=replace(told, lot=f"{told.lot} to come", mass_g=rest_g))


def _name(one: OneWish, asked: Asked) -> str:
    return one.batch.name if one.batch else one.free_name(name_of(asked))


def _remove(request: HttpRequest, order: OneOrder, one: OneWish, counter: Counter) -> bool:
    """Take this part out of the order and keep the plan of the rest; False with a sentence if not."""
    counter.typed.errors.clear()  # what stands in the fields does not matter any more
    if one.batch is None or len(one.names) < LEAST_TO_REMOVE:
        counter.typed.wrong(
            "form", "An order keeps at least one part. Give the order up instead, on its page."
        )
        return False
    try:
        _change(request, order, one, None, note=f"{one.batch.name} taken out", dated={}, counter=counter)
    except DofferError as error:
        counter.typed.wrong("form", str(error))
    return not counter.typed.errors


def _keep(request: HttpRequest, order: OneOrder, one: OneWish, counter: Counter) -> bool:
    """Keep the changed wish with its plan; False where a sentence says what is wrong."""
    typed, asked = counter.typed, counter.asked
    wanted_on = read_date(typed)
    if not asked.lots and asked.expected is None:
        typed.wrong("fibre", "Tick a lot above, or type the fibre and its weight.")
    if not typed.is_said("piece"):
        typed.wrong("piece", "Type the weight of a skein, bump or batt, such as 100 g.")
    for problem in counter.planned.problems:
        typed.wrong("form", problem)
    if typed.errors or asked.wish is None:
        return False
    is_fixed = typed.text("date_kind") == "hard"
    new = batch_wish(asked, _name(one, asked))
    told = _still_told(order, one, Candidates(counter.mine, counter.stock), typed, asked)
    if told is not None:  # bags that came belong to the order; what was announced stays announced
        new = replace(new, fibre=(told,), lots=tuple(code for code, _ in asked.stock))
    said = changes(
        one.batch,
        new,
        days=(order.row.promised_on, wanted_on),
        fixed=(order.row.date_is_hard, is_fixed),
        system=typed.system,
    )
    brought = set(asked.lots) - {row.lot.code for row in order.lots}
    said += tuple(f"with {code}" for code in sorted(brought) if told is not None)
    if not said:  # nothing is kept twice: a form sent again finds its wish kept
        return True
    dated = {"promised_on": wanted_on, "date_is_hard": is_fixed}
    try:
        _change(request, order, one, new, note=say_list(said, "and"), dated=dated, counter=counter)
    except DofferError as error:
        typed.wrong("form", str(error))
    return not typed.errors


def _change(
    request: HttpRequest,
    order: OneOrder,
    one: OneWish,
    new: BatchWish | None,
    *,
    note: str,
    dated: dict[str, Any],
    counter: Counter,
) -> None:
    wish = put_batch(read_wish(order.spec), one.number, new)
    if one.is_new and new is not None and new.fibre:
        wish = _apart_from_here(wish, order)
    before = set(one.batch.lots) if one.batch else set()
    mine = {row.lot.code for row in order.lots}
    named = new.lots if new else ()
    go = tuple(sorted(before - set(named)))
    rows = {lot.code: lot for lot in (*counter.mine, *counter.stock)}
    come = tuple(_facts(rows[code], counter) for code in counter.asked.all_lots if code not in mine)
    changed = replace(order, spec=wish_data(wish))
    kept = [code for code in (*mine, *(item.lot for item in come)) if code not in go]
    planned = plan_of_order(changed, plan_inputs(lots=kept))
    if planned.spec is None or planned.plan is None or _fails(new, planned):
        counter.typed.wrong("form", " ".join(planned.problems))
        return
    title = _title(one, new)
    change_wish(
        acting(request),
        order.row.code,
        WishChange(
            spec=wish_data(wish), come=come, go=go, words={**_words(one, new, wish, counter), **dated}
        ),
        plan=FirstPlan(
            spec=to_plain(planned.spec),
            result=to_plain(planned.plan),
            tables_sha256=planned.plan.tables_sha256,
            seed=planned.plan.seed,
            code_version=__version__,
        ),
        note=f"{title}{note}",
        key=key_of(request),
    )


def _apart_from_here(wish: OrderWish, order: OneOrder) -> OrderWish:
    """What lies in the order and goes into no part is not what a further part was announced of."""
    used = {code for each in (*wish.batches, *wish.announced) for code in each.lots}
    here = {row.lot.code: HERE_BEFORE for row in order.lots if row.lot.code not in used}
    return replace(wish, waits={**here, **wish.waits})


def _fails(new: BatchWish | None, planned: Planned) -> bool:
    """Whether the part that is to be kept is one of those that cannot be planned."""
    return new is not None and any(problem.startswith(f"{new.name}: ") for problem in planned.problems)


def _title(one: OneWish, new: BatchWish | None) -> str:
    """Which part a change is about, where an order has several."""
    if new is None or not one.names:
        return ""
    if one.batch is None:
        return f"one more part, {new.name}: "
    return f"{one.batch.name}: " if len(one.names) > 1 else ""


def _facts(lot: LotRow, counter: Counter) -> OrderLotFacts:
    is_own = lot.code in {row.code for row in counter.stock}
    return OrderLotFacts(lot=lot.code, role=MILL_FIBRE if is_own else OWN_FIBRE)


def _words(one: OneWish, new: BatchWish | None, wish: OrderWish, counter: Counter) -> dict[str, str]:
    """The order's own words for what it becomes, written anew when the wish itself was changed."""
    if new is not None and one.batch is not None and one.batch.wish == new.wish:
        return {}
    said = [
        wish_words(each.wish, counter.typed.system).split(", ") for each in (*wish.batches, *wish.announced)
    ]
    words = {
        "product": say_list(list(dict.fromkeys(each[0] for each in said))),
        "target": "; ".join(dict.fromkeys(", ".join(each[1:]) for each in said)),
    }
    view = counter.view
    if view is not None and new is not None and len(said) == 1:
        words["label_wanted"] = next((each.label.words for each in view.labels if each.is_printed), "")
    return {name: text[: LONGEST[name]] for name, text in words.items()}


urlpatterns = [
    path("orders/<str:code>/wish/", page, name="order_wish"),
    path("orders/<str:code>/wish/answer/", answer, name="order_wish_answer"),
]
