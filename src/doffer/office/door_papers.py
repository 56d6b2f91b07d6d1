"""Papers of the door: the bag tag, and the work order that owner and mill sign."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.http import require_safe

from doffer.errors import NotFoundError
from doffer.mill import clock
from doffer.mill.queries.house import settings
from doffer.mill.queries.lots import ContainerRow, LotRow, OneLot, WeighingRow, list_lots, one_lot
from doffer.mill.queries.orders import one_order
from doffer.office.grade import SECOND_CUTS, VM_GRADES
from doffer.paper.papers import BagLine, BagTag, Imprint, LotFace, PaperSize, WorkOrder
from doffer.paper.render import bag_tags, work_orders
from doffer.pictures.colour import fibre_hex
from doffer.pictures.wording import say

WISH_LEFT_OPEN = "To be agreed, written here by hand: " + "_" * 40
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
    imprint = _imprint(request, lot)
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
def work_order(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/work-order.pdf`: all bags that came with this one, to be signed by both sides."""
    lot = one_lot(code)
    day = lot.row.received_on
    bags = [one_lot(row.code) for row in _came_together(lot, day)]
    order = WorkOrder(
        order=lot.orders[0] if lot.orders else code,
        owner=lot.row.owner_name,
        taken_on=day,
        taken_by=_first(lot).person,
        bags=tuple(_line(bag) for bag in bags),
        wish=_wish(lot),
        grade_notes=tuple(filter(None, (_grade_words(bag) for bag in bags))),
        wants_waste_back=True if lot.want_waste_back else None,  # not asked for: ticked by pen
    )
    imprint = _imprint(request, lot)
    return _pdf(work_orders([order], imprint, size=_sheet(imprint)), f"work-order-{code}")


def _wish(lot: OneLot) -> str:
    """What the order asks for, else a line to write on."""
    if not lot.orders:
        return WISH_LEFT_OPEN
    order = one_order(lot.orders[0]).row
    return ", ".join(filter(None, (order.product, order.target)))


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


def _imprint(request: HttpRequest, lot: OneLot) -> Imprint:
    made = {row.key: row.value for row in settings()}
    return Imprint(
        mill=made["name"],
        printed_at=clock.now(),
        version=f"lot {lot.row.code}",
        system=lot.owner_units,
        country=made["country_rules"],
        address=f"{request.scheme}://{request.get_host()}",
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
