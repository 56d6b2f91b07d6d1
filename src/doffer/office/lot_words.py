"""What is written about a lot, put right: fibre, fineness, grade, note. Its weights stay as they are."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.exchange.quantities import parse_micron, parse_micron_sd
from doffer.fibre.kinds import Kind
from doffer.mill.commands.intake import FibreFacts
from doffer.mill.commands.lots import change_lot
from doffer.mill.queries import door
from doffer.mill.queries.lots import OneLot, one_lot
from doffer.office.asked import acting
from doffer.office.grade import SECOND_CUTS, SOUNDNESS, VM_GRADES
from doffer.office.natural_colours import PALETTE, lab_of_key
from doffer.office.readings import LENGTH_UNIT, Typed
from doffer.people.rights import Right, may

MM_PER_IN = 25.4
SOURCES = (
    ("lab", "Measured by a laboratory"),
    ("estimate", "Estimated by hand and eye"),
    ("breeder", "As the breeder says"),
    ("supplier", "As the supplier says"),
)
FIELD_OF = {"fibre diameter": "micron", "spread of the fibre diameter": "micron_sd", "staple": "staple"}


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L007/words/`."""
    lot = one_lot(code)
    if request.method == "GET":
        return _page(request, lot, Typed(_known(lot), lot.owner_units))
    typed = Typed(request.POST.dict(), lot.owner_units)
    facts = _facts(typed, lot)
    if facts is None:
        return _page(request, lot, typed, status=422)
    wants_back = bool(typed.text("want_waste_back"))
    change_lot(acting(request), code, facts, note=typed.text("note"), want_waste_back=wants_back)
    return redirect("lot", code=code)


def _kind_words(lot: OneLot) -> str:
    """Fibre or breed as it may be typed again."""
    try:
        door.kind_typed(lot.breed_typed)
    except DofferError:
        return lot.row.breed.replace("_", " ").title() or lot.fibre_name
    return lot.breed_typed


def _known(lot: OneLot) -> dict[str, str]:
    """The form as it is opened: what is known, in the owner's units."""

    def plain(value: float | None) -> str:
        return "" if value is None else f"{value:g}"

    staple = lot.staple_mm
    if staple is not None and lot.owner_units == "us":
        staple = round(staple / MM_PER_IN, 2)
    return {
        "fibre": _kind_words(lot),
        "animal": lot.name,
        "colour_name": lot.row.colour_name,
        "micron": plain(lot.diameter_um),
        "micron_sd": plain(lot.diameter_sd_um),
        "micron_source": lot.diameter_source,
        "staple": plain(staple),
        "soundness": lot.row.soundness,
        "vm_grade": plain(lot.vm_grade),
        "second_cuts": plain(lot.second_cuts),
        "note": lot.row.note,
        "want_waste_back": "yes" if lot.want_waste_back else "",
    }


def _kind(typed: Typed) -> Kind | None:
    if not typed.needed("fibre", "Say which fibre or breed it is, such as Shetland, alpaca or kid mohair."):
        return None
    try:
        return door.kind_typed(typed.text("fibre"))
    except NotFoundError as unknown:
        typed.wrong("fibre", str(unknown))
        return None


def _facts(typed: Typed, lot: OneLot) -> FibreFacts | None:
    """The facts as typed, or None with a sentence beside each field that is wrong."""
    kind = _kind(typed)
    um = typed.read("micron", parse_micron, "micron")
    sd_um = typed.read("micron_sd", parse_micron_sd, "micron SD")
    staple_mm = typed.length_mm("staple", "staple")
    vm_grade = typed.count("vm_grade", "vegetable matter", low=0, high=4)
    second_cuts = typed.count("second_cuts", "second cuts", low=0, high=3)
    if kind is None or typed.errors:
        return None
    is_same = typed.text("fibre") == _kind_words(lot)
    try:
        return FibreFacts(
            fibre=lot.row.fibre if is_same else kind.fibre.fibre,
            breed=lot.row.breed if is_same else kind.breed.breed if kind.breed else "",
            breed_typed=lot.breed_typed if is_same else typed.text("fibre"),
            name=typed.text("animal"),
            colour_name=typed.text("colour_name"),
            lab=lab_of_key(typed.text("colour")) or lot.row.lab,
            diameter_um=um,
            diameter_sd_um=sd_um,
            diameter_source=typed.text("micron_source") if um is not None else "",
            staple_mm=staple_mm,
            soundness=typed.text("soundness") or "unknown",
            vm_grade=vm_grade,
            second_cuts=second_cuts,
        )
    except InputError as wrong:
        typed.wrong(FIELD_OF.get(wrong.field, "__all__"), str(wrong))
        return None


def _sources(now: str) -> list[tuple[str, str]]:
    """On whose word a fineness may stand; what stands there now is kept in the list."""
    return [*SOURCES, *([(now, now.capitalize())] if now and now not in dict(SOURCES) else [])]


def _page(request: HttpRequest, lot: OneLot, typed: Typed, *, status: int = 200) -> HttpResponse:
    context = {
        "here": "lots",
        "lot": lot,
        "typed": typed,
        "kinds": door.door_day().kinds,
        "colours": [(colour.key, colour.name) for colour in PALETTE],
        "soundness": SOUNDNESS,
        "vm_grades": [("", "Not graded", ""), *VM_GRADES],
        "second_cuts": [("", "Not graded", ""), *SECOND_CUTS],
        "sources": _sources(typed.text("micron_source")),
        "length_unit": LENGTH_UNIT[lot.owner_units],
        "may_write": may(acting(request), Right.LOTS),
    }
    return render(request, "office/lot_words.html", context, status=status)


urlpatterns = [path("lots/<str:code>/words/", change, name="lot_words")]
