"""The papers of an order as PDF: run card, weigh-out sheet, bag tags."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpResponse

from doffer.errors import NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.queries.lots import OneLot, one_lot
from doffer.mill.queries.orders import OneOrder
from doffer.mill.queries.plan_inputs import PlanInputs
from doffer.paper import render
from doffer.paper.papers import BagTag, Imprint, LotFace, PaperSize, RunCard, WeighOutSheet
from doffer.pictures.colour import fibre_hex
from doffer.planning.order_plan import BatchPlan, OrderPlan

FILE_NAMES = {"run-card": "run-card", "weigh-out": "weigh-out", "bag-tags": "bag-tags"}
MOST_NAME_SIGNS = 400


def pdf(
    order: OneOrder,
    plan: OrderPlan | None,
    *,
    name: str,
    batch_number: int,
    version: str,
    units: str,
    inputs: PlanInputs,
    address: str,
) -> HttpResponse:
    """One paper of an order, to be printed or kept.

    Raises
    ------
    NotFoundError, RefusedError
        No such paper, or nothing to print on it.
    """
    if name not in FILE_NAMES:
        raise NotFoundError("paper", name, "There are the run card, the weigh-out sheet and bag tags")
    imprint = Imprint(
        mill=inputs.settings["name"],
        printed_at=clock.now(),
        version=version,
        tables_sha256=plan.tables_sha256 if plan else inputs.tables.sha256,
        system=units,
        country=order.country_rules,
        address=address,
    )
    size = PaperSize.LETTER if order.country_rules in ("US", "CA") else PaperSize.A4
    if name == "bag-tags":
        content = render.bag_tags(_tags(order, inputs), imprint)
    elif name == "weigh-out":
        content = render.weigh_out_sheets(_weigh_out(order, plan, inputs), imprint, size=size)
    else:
        content = render.run_cards(_run_cards(order, plan, inputs, batch_number), imprint, size=size)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{order.row.code}-{FILE_NAMES[name]}.pdf"'
    return response


def _run_cards(
    order: OneOrder, plan: OrderPlan | None, inputs: PlanInputs, batch_number: int
) -> list[RunCard]:
    batches = _batches(order, plan)
    chosen = batches[batch_number - 1 : batch_number] if len(batches) > 1 else batches
    return [
        RunCard(
            order=order.row.code,
            owner=order.row.owner_name,
            product=product_words(order),
            lots=_faces(order, batch, inputs),
            batch=batch,
            promised_on=order.row.promised_on,
            is_hard_date=order.row.date_is_hard,
            note=order.row.note,
        )
        for batch in chosen or batches
    ]


def _weigh_out(order: OneOrder, plan: OrderPlan | None, inputs: PlanInputs) -> list[WeighOutSheet]:
    sheets = [
        WeighOutSheet(
            order=order.row.code,
            owner=order.row.owner_name,
            product=product_words(order),
            lots=_faces(order, batch, inputs),
            batch=batch,
            note=order.row.note,
        )
        for batch in _batches(order, plan)
        if batch.weigh_out is not None
    ]
    if not sheets:
        raise RefusedError(
            f"{order.row.code} has no weigh-out sheet",
            ("its lots go in whole and are not blended by shares",),
            "Print the run card instead",
        )
    return sheets


def _batches(order: OneOrder, plan: OrderPlan | None) -> Sequence[BatchPlan]:
    if plan is None:
        raise RefusedError(
            f"Nothing can be printed for {order.row.code}", ("it has no plan",), "See its page for the reason"
        )
    return plan.batches


def product_words(order: OneOrder) -> str:
    """Product and target in one line."""
    return ", ".join(part for part in (order.row.product, order.row.target) if part)[:MOST_NAME_SIGNS]


def _faces(order: OneOrder, batch: BatchPlan, inputs: PlanInputs) -> tuple[LotFace, ...]:
    known = {row.lot.code: row.lot for row in order.lots}
    faces = []
    for use in batch.lots:
        lot = known.get(use.lot)
        fibre = inputs.tables.fibres[use.fibre].name
        if lot is None:
            faces.append(LotFace(use.lot, order.row.owner_name, fibre, "not weighed in yet"))
        else:
            colour = fibre_hex(*lot.lab) if lot.lab else ""
            faces.append(LotFace(lot.code, lot.owner_name, fibre, lot.colour_name, colour))
    return tuple(faces)


@dataclass(frozen=True, slots=True)
class _Bag:
    tag: str
    gross_g: float
    tare_g: float
    form: str


def _tags(order: OneOrder, inputs: PlanInputs) -> list[BagTag]:
    """A tag for every container that holds fibre of the order's owner."""
    tags: list[BagTag] = []
    for row in order.lots:
        if row.lot.owner != order.row.owner or row.lot.mass_g <= 0:
            continue
        lot = one_lot(row.lot.code)
        bags = _bags(lot)
        fibre = lot.row.breed.replace("_", " ") or inputs.tables.fibres[lot.row.fibre].name
        colour = fibre_hex(*lot.row.lab) if lot.row.lab else ""
        face = LotFace(lot.row.code, lot.row.owner_name, fibre, lot.row.colour_name, colour)
        tags += [
            BagTag(
                lot=face,
                tag=bag.tag,
                place=place,
                of_places=len(bags),
                received_on=lot.row.received_on,
                gross_mass_g=bag.gross_g,
                tare_mass_g=bag.tare_g,
                form=bag.form,
            )
            for place, bag in enumerate(bags, start=1)
        ]
    if not tags:
        raise RefusedError(
            f"{order.row.code} has no bags to tag",
            ("none of its fibre stands here in a tagged container",),
            "Weigh the bags in first: each gets its tag there",
        )
    return tags


def _bags(lot: OneLot) -> list[_Bag]:
    """Containers that hold the lot with what the scale said of each; one alone holds all there is."""
    bags = []
    for container in lot.containers:
        last = next((w for w in lot.weighings if w.tag == container.tag and w.corrected_by is None), None)
        gross_g = last.gross_g if last else lot.row.mass_g + container.tare_g
        tare_g = last.tare_g if last else container.tare_g
        bags.append(_Bag(container.tag, gross_g, tare_g, lot.row.form))
    return bags
