"""Papers of the door: the bag tag, and the work order that owner and mill sign."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.http import require_safe

from doffer.errors import NotFoundError
from doffer.mill import clock
from doffer.mill.queries.customers import one_customer
from doffer.mill.queries.house import settings
from doffer.mill.queries.lots import ContainerRow, LotRow, OneLot, WeighingRow, list_lots, one_lot
from doffer.mill.queries.orders import OneOrder, one_order
from doffer.office.grade import SECOND_CUTS, VM_GRADES
from doffer.paper.papers import BagLine, BagTag, Imprint, LotFace, PaperSize, WorkOrder
from doffer.paper.render import bag_tags, work_orders
from doffer.pictures.colour import fibre_hex
from doffer.pictures.wording import say
from doffer.pictures.words import say_list
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain
from doffer.planning.spread import Spread

WISH_LEFT_OPEN = "To be agreed, written here by hand: " + "_" * 40
GIVEN_UP = "cancelled"
US_PAPER = ("US", "CA")


@require_safe
def tag(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/tag.pdf`: a tag for each container of the lot, or one by `?tag=`; label or plain sheet."""
    lot = one_lot(code)
    boxes = lot.containers
    if not boxes:
        raise NotFoundError("tag of lot", code, "It is in a machine or used up: weigh it out first")
    asked = request.GET.get("tag", "")
    tags = [_bag_tag(lot, box, number) for number, box in enumerate(boxes, start=1) if asked in ("", box.tag)]
    if not tags:
        raise NotFoundError("container of this lot", asked, "It holds another lot by now")
    imprint = _imprint(lot)
    size = _sheet(imprint) if request.GET.get("size") == "a4" else PaperSize.LABEL
    return _pdf(bag_tags(tags, imprint, size=size), f"tag-{code}")


def _bag_tag(lot: OneLot, box: ContainerRow, number: int) -> BagTag:
    """The tag of one container, with the weight it was filled with."""
    filled = next((w for w in lot.weighings if w.tag == box.tag and w.corrected_by is None), None)
    row = lot.row
    return BagTag(
        lot=_face(lot),
        tag=box.tag,
        place=number,
        of_places=len(lot.containers),
        received_on=row.received_on,
        gross_mass_g=filled.gross_g if filled else row.mass_g + box.tare_g,
        tare_mass_g=filled.tare_g if filled else box.tare_g,
        form=row.form,
        note=row.note,
    )


@require_safe
def work_order(_request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/work-order.pdf`: all bags that came with this one, to be signed by both sides."""
    lot = one_lot(code)
    imprint = _imprint(lot)
    return _pdf(work_orders([work_order_of(lot)], imprint, size=_sheet(imprint)), f"work-order-{code}")


def work_order_of(lot: OneLot) -> WorkOrder:
    """What both sides sign, word for word as the lot's order says it; without one, filled in by pen."""
    day, order = lot.row.received_on, _order_for(lot)
    bags = [one_lot(row.code) for row in _came_together(lot, day)]
    bags = [bag for bag in bags if bag.row.code == lot.row.code or _is_together(bag, order)]
    customer = one_customer(lot.row.owner)
    return WorkOrder(
        order=order.row.code if order else lot.row.code,
        owner=lot.row.owner_name,
        contact=", ".join(filter(None, (customer.row.contact, customer.phone))),
        taken_on=day,
        taken_by=_first(lot).person,
        bags=tuple(_line(bag) for bag in bags),
        wish=_wish(order) if order else WISH_LEFT_OPEN,
        expected=_expected(order) if order else None,
        grade_notes=tuple(filter(None, (_grade_words(bag) for bag in bags))),
        price_words=_price_words(order) if order else (),
        # not asked for: ticked by pen
        wants_waste_back=True if any(bag.want_waste_back for bag in bags) else None,
        promised_on=order.row.promised_on if order else None,
        is_hard_date=order.row.date_is_hard if order and order.row.promised_on else None,
    )


def _order_for(lot: OneLot) -> OneOrder | None:
    """The newest order of the lot's owner that the lot is for and that was not given up."""
    orders = (one_order(code) for code in lot.orders)
    mine = (order for order in orders if order.row.owner == lot.row.owner and order.row.state != GIVEN_UP)
    return next(mine, None)


def _is_together(bag: OneLot, order: OneOrder | None) -> bool:
    """Whether another bag stands on the same sheet: it is for the same order, or like this one for none."""
    other = _order_for(bag)
    return (other.row.code if other else "") == (order.row.code if order else "")


def _wish(order: OneOrder) -> str:
    """What the order asks for, and which fibre of the mill goes in."""
    row = order.row
    what = f"{order.label_wanted}: {row.product}" if order.label_wanted else row.product
    mixed = [each.lot.code for each in order.lots if each.lot.owner != row.owner]
    also = f"with {say_list(mixed)} of the mill" if mixed else ""
    return ", ".join(filter(None, (what, row.target, also)))


def _expected(order: OneOrder) -> Spread | None:
    """What the newest kept plan expects; a plan in several parts has no one figure."""
    if not order.plans:
        return None
    batches = from_plain(OrderPlan, order.plans[0].result).batches
    return batches[0].finished if len(batches) == 1 else None


def _price_words(order: OneOrder) -> tuple[str, ...]:
    """How it is counted and what was paid down."""
    counted = f"Counted by {order.price_basis}." if order.price_basis else ""
    paid = order.deposit_cents / 100
    deposit = f"Deposit: {paid:.2f} {_made()['currency']}." if paid else ""
    return tuple(filter(None, (counted, deposit)))


MOST_BAGS = 12  # bags of one day on one sheet; more than that is a second work order


def _came_together(lot: OneLot, day: date) -> list[LotRow]:
    """Bags of the same owner that came on the same day, in the order of their numbers."""
    rows = [row for row in list_lots(owner=lot.row.owner).rows if row.received_on == day]
    if lot.row.code not in [row.code for row in rows]:
        rows.append(lot.row)
    return sorted(rows, key=lambda row: row.code)[:MOST_BAGS]


def _first(lot: OneLot) -> WeighingRow:
    """The weighing the lot came in with, as it was corrected; else the newest one."""
    came = [w for w in lot.weighings if w.moment == "intake" and w.corrected_by is None]
    return (came or list(lot.weighings))[-1]


def _face(lot: OneLot) -> LotFace:
    row = lot.row
    fibre = row.breed.replace("_", " ") or lot.fibre_name
    lab = row.lab
    return LotFace(
        code=row.code,
        owner=row.owner_name,
        fibre=fibre,
        colour=row.colour_name,
        colour_hex=fibre_hex(*lab) if lab else "",
    )


def _line(lot: OneLot) -> BagLine:
    weighing = _first(lot)
    face = _face(lot)
    return BagLine(
        tag=lot.containers[0].tag if lot.containers else weighing.tag,
        lot=face.code,
        fibre=" ".join(filter(None, (face.colour, face.fibre))),
        gross_mass_g=weighing.gross_g,
        tare_mass_g=weighing.tare_g,
        note=lot.name or lot.row.note,
    )


def _grade_words(lot: OneLot) -> str:
    """What the skirting table said of a bag, in one line."""
    words = []
    if lot.staple_mm:
        words.append(f"staple {say(lot.staple_mm, 'mm', lot.owner_units)}")
    if lot.row.soundness not in ("", "unknown"):
        words.append(lot.row.soundness)
    if lot.vm_grade is not None:
        words.append(f"vegetable matter {lot.vm_grade} of 4 ({VM_GRADES[lot.vm_grade][2]})")
    if lot.second_cuts is not None:
        words.append(f"second cuts {lot.second_cuts} of 3 ({SECOND_CUTS[lot.second_cuts][2]})")
    kept = next((w for w in lot.weighings if w.moment == "skirted"), None)
    if kept is not None:
        words.append(f"{say(kept.net_g, 'g', lot.owner_units)} kept after skirting")
    return f"{lot.row.code}: {', '.join(words)}" if words else ""


def _made() -> dict[str, str]:
    return {row.key: row.value for row in settings()}


def _imprint(lot: OneLot) -> Imprint:
    made = _made()
    return Imprint(
        mill=made["name"],
        printed_at=clock.now(),
        version=f"lot {lot.row.code}",
        system=lot.owner_units,
        country=made["country_rules"],
        address=made["address"],
    )


def _sheet(imprint: Imprint) -> PaperSize:
    return PaperSize.LETTER if imprint.country in US_PAPER else PaperSize.A4


def _pdf(data: bytes, name: str) -> HttpResponse:
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


urlpatterns = [
    path("lots/<str:code>/tag.pdf", tag, name="lot_tag"),
    path("lots/<str:code>/work-order.pdf", work_order, name="lot_work_order"),
]
