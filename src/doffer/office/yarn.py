"""The yarn of an order: how it is made, what every machine is set to, and what its first metres say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods, require_safe

from doffer.errors import DofferError, InputError, NotFoundError, RefusedError
from doffer.mill.booking import QuestionError
from doffer.mill.commands.yarn_tests import correct_yarn_test, record_yarn_test
from doffer.mill.queries.orders import OneOrder, one_order
from doffer.mill.queries.plan_inputs import PlanInputs
from doffer.mill.queries.yarn import YarnTestRow, yarn_tests
from doffer.mill.queries.yarn_inputs import YarnInputs, yarn_inputs
from doffer.mill.queries.yarn_records import first_metres
from doffer.mill.yarn_facts import YarnTestFacts
from doffer.office.asked import acting, fresh_key, key_of, number_after, speak
from doffer.office.order_spec import BatchWish, plan_of_order, read_wish
from doffer.office.orders import shown_plan, units_for
from doffer.office.readings import Typed
from doffer.office.yarn_cards import MachineCard, cards_of
from doffer.office.yarn_tests_form import STATES, TEST_LENGTHS, TURN_LENGTHS, read_test, typed_again
from doffer.office.yarn_view import YarnView, yarn_view
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.planning.order_plan import BatchPlan, OrderPlan
from doffer.planning.yarn.first_metres import Corrected, correct_from_first_metres
from doffer.process.yarn.plan import YarnPlan


@dataclass(frozen=True, eq=False, slots=True)
class BatchYarn:
    """The yarn of one batch of an order as it is planned; `number` is that of the batch."""

    number: int
    batch: BatchWish
    inputs: YarnInputs
    made: BatchPlan
    plan: YarnPlan
    colours: Mapping[str, str]
    units: str

    @property
    def view(self) -> YarnView:
        """Ready to show."""
        return yarn_view(
            self.plan,
            self.inputs.parts,
            self.inputs.tables,
            colours=self.colours,
            system=self.units,
            piece_mass_g=self.batch.wish.piece_mass_g,
        )

    @property
    def cards(self) -> tuple[MachineCard, ...]:
        """A card for each machine."""
        return cards_of(self.plan, self.made, self.inputs, system=self.units)


def yarn_batches(order: OneOrder) -> tuple[tuple[int, BatchWish], ...]:
    """Batches that become yarn of a known count, with their numbers."""
    batches = enumerate(read_wish(order.spec).batches, start=1)
    return tuple((n, batch) for n, batch in batches if batch.wish.length_m_per_100g and batch.lots)


def yarn_of(order: OneOrder, *, batch_number: int | None, units: str) -> BatchYarn:
    """The yarn of a batch, the first unless one is named, as the order's plan has it.

    Raises
    ------
    RefusedError
        Nothing of the order becomes yarn of a known count, or none can be planned.
    NotFoundError
        No such batch.
    """
    batches = dict(yarn_batches(order))
    code = order.row.code
    if not batches:
        why = "its wish names no yarn with a count, or no lot has come for it"
        raise RefusedError(
            f"No yarn of {code} can be planned", (why,), "Say in its wish how thick it is to be"
        )
    number = next(iter(batches)) if batch_number is None else batch_number
    if number not in batches:
        raise NotFoundError("batch", number, f"Yarn is made of batch {', '.join(map(str, batches))}")
    batch = batches[number]
    inputs = yarn_inputs(order=code, batch=batch.name)
    made = planned_batch(order, inputs.plan, batch.name)
    if made.yarn is None:
        raise RefusedError(f"No yarn of {code} can be planned", (made.yarn_refused,), "Look at its wish")
    return BatchYarn(number, batch, inputs, made, made.yarn, colours_of(inputs.plan), units)


def planned_batch(order: OneOrder, inputs: PlanInputs, name: str) -> BatchPlan:
    """A batch as the newest kept plan has it; planned anew where that has no yarn yet, or none was kept.

    Raises
    ------
    RefusedError
        The batch cannot be planned: the sentences say why.
    """
    if order.plans:
        found = _batch_named(shown_plan(order, inputs).plan, name)
        if found is not None and found.yarn is not None:
            return found
    alone = [batch for batch in order.spec["batches"] if batch["name"] == name]
    fresh = plan_of_order(replace(order, spec={**order.spec, "batches": alone, "announced": []}), inputs)
    found = _batch_named(fresh.plan, name)
    if found is None:
        raise RefusedError(f"{name} of {order.row.code} has no plan", fresh.problems, "Mend that on its page")
    return found


def _batch_named(plan: OrderPlan | None, name: str) -> BatchPlan | None:
    batches = plan.batches if plan else ()
    return next((batch for batch in batches if batch.name == name), None)


def colours_of(inputs: PlanInputs) -> dict[str, str]:
    """Colours of the lots by number, where they were read."""
    return {lot.code: fibre_hex(*lot.lab) for lot in inputs.lots if lot.lab}


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O201/yarn/?batch=1`: the yarn, its settings and its tests; posting keeps a test.

    `?correct=12` fills the form with that test, to be written down anew in its place.
    """
    order = one_order(code)
    units = units_for(request, order)
    speak(request, units)
    try:
        made = yarn_of(order, batch_number=number_after(request, "batch"), units=units)
    except RefusedError as refused:
        return _nothing(request, code, str(refused))
    corrects = _test_to_correct(request, tests_of(code, made.batch))
    fresh = typed_again(corrects.facts, units) if corrects else {"state": STATES[0][0]}
    typed = Typed(request.POST or fresh, units)
    question = ""
    if request.method == "POST":
        try:
            if keep_test(request, code, made, typed, corrects=corrects):
                return redirect(f"{reverse('order_yarn', kwargs={'code': code})}?batch={made.number}#tests")
        except QuestionError as asked:
            question = str(asked)
        except DofferError as refused:
            typed.wrong("__all__", str(refused))
    return _shown(request, order, made, typed, question=question, corrects=corrects)


def _test_to_correct(request: HttpRequest, tests: Sequence[YarnTestRow]) -> YarnTestRow | None:
    """The test that is written down anew; None where a new one is.

    Raises
    ------
    NotFoundError
        No such test of this yarn.
    """
    data = request.POST if request.method == "POST" else request.GET
    number = data.get("correct", "")
    if not number:
        return None
    found = next((test for test in tests if str(test.id) == number), None)
    if found is None:
        raise NotFoundError("test of this yarn", number, "Choose it in the list of tests")
    return found


def keep_test(
    request: HttpRequest, code: str, made: BatchYarn, typed: Typed, *, corrects: YarnTestRow | None = None
) -> bool:
    """Keep a test as typed, or in the place of another; False with sentences beside what is wrong."""
    facts = read_test(typed, plies=corrects.facts.plies if corrects else made.plan.wish.plies)
    if facts is None:
        return False
    if corrects is not None:
        return _keep_in_its_place(request, corrects, facts, typed)
    record_yarn_test(
        acting(request),
        facts,
        order=code,
        lot=made.batch.lots[0] if len(made.batch.lots) == 1 else "",
        note=typed.text("note"),
        confirmation=typed.text("confirmation"),
        key=key_of(request),
    )
    return True


def _keep_in_its_place(request: HttpRequest, wrong: YarnTestRow, facts: YarnTestFacts, typed: Typed) -> bool:
    if not typed.needed("note", "Say what was wrong, such as “5 m and not 10 m”."):
        return False
    correct_yarn_test(
        acting(request),
        wrong.id,
        facts,
        reason=typed.text("note"),
        confirmation=typed.text("confirmation"),
        key=key_of(request),
    )
    return True


def _shown(
    request: HttpRequest,
    order: OneOrder,
    made: BatchYarn,
    typed: Typed,
    *,
    question: str = "",
    corrects: YarnTestRow | None = None,
) -> HttpResponse:
    tests = tests_of(order.row.code, made.batch)
    corrected, refused = corrected_by(made, tests)
    context: dict[str, Any] = {
        "here": "orders",
        "order": order,
        "made": made,
        "view": made.view,
        "cards": made.cards,
        "batches": yarn_batches(order),
        "tests": tests,
        "corrected": corrected,
        "refused": refused,
        "corrects": corrects,
        "states": STATES,
        "test_length": TEST_LENGTHS[made.units],
        "turn_length": TURN_LENGTHS[made.units],
        "typed": typed,
        "errors": typed.errors,
        "question": question,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.YARN),
    }
    status = 422 if question or typed.errors else 200
    return render(request, "office/yarn.html", context, status=status)


def tests_of(code: str, batch: BatchWish) -> tuple[YarnTestRow, ...]:
    """Tests of the order that tell of this batch: of its lots, or of no lot by name."""
    rows = yarn_tests(order=code).rows
    return tuple(row for row in rows if not row.lot or row.lot in batch.lots)


def corrected_by(made: BatchYarn, tests: Sequence[YarnTestRow]) -> tuple[Corrected | None, str]:
    """What the tests that count say of the plan, None where none does; and why they say nothing, "" if so."""
    counting = [test for test in tests if test.counts and test.state != "roller"]
    if not counting:
        return None, ""
    try:
        return correct_from_first_metres(made.plan, first_metres(counting), made.inputs.tables), ""
    except InputError as refused:
        return None, str(refused)


def _nothing(request: HttpRequest, code: str, sentence: str) -> HttpResponse:
    back = (f"Order {code}", reverse("order", kwargs={"code": code}))
    return render(request, "office/yarn_nothing.html", {"here": "orders", "sentence": sentence, "back": back})


@require_safe
def part(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O201/yarn/part/?batch=1`: the yarn in a fold of the order's page."""
    order = one_order(code)
    units = units_for(request, order)
    speak(request, units)
    try:
        made = yarn_of(order, batch_number=number_after(request, "batch"), units=units)
    except RefusedError as refused:
        return render(request, "office/yarn_none.html", {"sentence": str(refused)})
    return render(request, "office/yarn_part.html", {"order": order, "made": made, "view": made.view})


@require_safe
def card(request: HttpRequest, code: str, stage: str) -> HttpResponse:
    """`/orders/O201/yarn/spin/`: one machine's card, to be printed or read from the machine."""
    order = one_order(code)
    units = units_for(request, order)
    speak(request, units)
    made = yarn_of(order, batch_number=number_after(request, "batch"), units=units)
    found = next((each for each in made.cards if each.stage == stage), None)
    if found is None:
        known = ", ".join(each.stage for each in made.cards)
        raise NotFoundError("card of a machine", stage, f"This yarn goes through {known}")
    context = {"here": "orders", "order": order, "made": made, "card": found, "view": made.view}
    return render(request, "office/yarn_card.html", context)


urlpatterns = [
    path("orders/<str:code>/yarn/", page, name="order_yarn"),
    path("orders/<str:code>/yarn/part/", part, name="order_yarn_part"),
    path("orders/<str:code>/yarn/<slug:stage>/", card, name="order_yarn_card"),
]
