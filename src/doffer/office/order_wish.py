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
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.orders import OneOrder, one_order
from doffer.mill.queries.plan_inputs import plan_inputs
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
from doffer.office.new_order_form import batch_wish, plan_asked, read_counter, read_date
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
from doffer.planning.plan_json import to_plain

LONGEST = {"product": 120, "target": 200, "label_wanted": 200}


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O203/wish/`: what it is to become, to be changed; POST works it out or keeps it."""
    require(acting(request), Right.ORDERS)
    order = one_order(code)
    data = request.POST if request.method == "POST" else request.GET
    one, lots, counter = _look(request, order, data)
    if request.method == "POST" and data.get("act") == "keep" and _keep(request, order, one, counter):
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
        typed = Typed(typed_of(order, one, lots, tables, units), units)
    return one, lots, _counter(order, wish, one, lots, typed)


def _counter(order: OneOrder, wish: OrderWish, one: OneWish, lots: Candidates, typed: Typed) -> Counter:
    tables = plan_inputs().tables
    asked = read_counter(typed, tables, lots.stock, lots.mine)
    inputs = plan_inputs(lots=asked.all_lots)
    planned = Planned(None, None)
    if not typed.errors:
        wanted = {row.lot.code: row.wanted_g for row in order.lots}
        ways = inputs.ways_for(order.country_rules, wish.ways)
        name = one.batch.name if one.batch else name_of(asked)
        planned = plan_asked(asked, inputs, ways, name, wanted_g=wanted)
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
    new = batch_wish(asked, one.batch.name if one.batch else name_of(asked))
    said = changes(
        one.batch,
        new,
        days=(order.row.promised_on, wanted_on),
        fixed=(order.row.date_is_hard, is_fixed),
        system=typed.system,
    )
    if not said:  # nothing is kept twice: a form sent again finds its wish kept
        return True
    dated = {"promised_on": wanted_on, "date_is_hard": is_fixed}
    try:
        _change(request, order, one, new, note=say_list(said, "and"), dated=dated, counter=counter)
    except DofferError as error:
        typed.wrong("form", str(error))
        return False
    return True


def _change(
    request: HttpRequest,
    order: OneOrder,
    one: OneWish,
    new: BatchWish,
    *,
    note: str,
    dated: dict[str, Any],
    counter: Counter,
) -> None:
    wish = put_batch(read_wish(order.spec), one.number, new)
    before = set(one.batch.lots) if one.batch else set()
    mine = {row.lot.code for row in order.lots}
    go = tuple(sorted(before - set(new.lots)))
    rows = {lot.code: lot for lot in (*counter.mine, *counter.stock)}
    come = tuple(_facts(rows[code], counter) for code in new.lots if code not in mine)
    changed = replace(order, spec=wish_data(wish))
    kept = [code for code in (*mine, *(item.lot for item in come)) if code not in go]
    planned = plan_of_order(changed, plan_inputs(lots=kept))
    if planned.spec is None or planned.plan is None:
        counter.typed.wrong("form", " ".join(planned.problems))
        return
    title = f"{one.batch.name}: " if one.batch and len(one.names) > 1 else ""
    change_wish(
        acting(request),
        order.row.code,
        WishChange(spec=wish_data(wish), come=come, go=go, words={**_words(one, wish, counter), **dated}),
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


def _facts(lot: LotRow, counter: Counter) -> OrderLotFacts:
    is_own = lot.code in {row.code for row in counter.stock}
    return OrderLotFacts(lot=lot.code, role=MILL_FIBRE if is_own else OWN_FIBRE)


def _words(one: OneWish, wish: OrderWish, counter: Counter) -> dict[str, str]:
    """The order's own words for what it becomes, written anew when the wish itself was changed."""
    if one.batch is not None and one.batch.wish == counter.asked.wish:
        return {}
    said = [
        wish_words(each.wish, counter.typed.system).split(", ") for each in (*wish.batches, *wish.announced)
    ]
    words = {
        "product": say_list(list(dict.fromkeys(each[0] for each in said))),
        "target": "; ".join(dict.fromkeys(", ".join(each[1:]) for each in said)),
    }
    view = counter.view
    if view is not None and len(said) == 1:
        words["label_wanted"] = next((each.label.words for each in view.labels if each.is_printed), "")
    return {name: text[: LONGEST[name]] for name, text in words.items()}


urlpatterns = [
    path("orders/<str:code>/wish/", page, name="order_wish"),
    path("orders/<str:code>/wish/answer/", answer, name="order_wish_answer"),
]
