"""Lots: the list, and one with everything that is known of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import InputError, NotFoundError
from doffer.fibre.kinds import Kind, find_kind, guess_words
from doffer.mill.commands.holds import clear_hold, open_hold
from doffer.mill.commands.looked import NobodyLookedError
from doffer.mill.commands.lots import move_lot
from doffer.mill.queries import customers, lots
from doffer.mill.queries.ancestry import ancestry
from doffer.mill.queries.house import mill_places
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.mill.queries.tables import current_tables
from doffer.office import lot_figures, lot_pictures
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.office.holds import KINDS
from doffer.people.rights import Right, may
from doffer.pictures.swatch import tuft_icon
from doffer.tables.loader import Tables

SPINNABLE = ("greasy", "skirted", "scoured", "opened", "roving", "batt")  # what is not yarn yet
STANDINGS = (
    ("standing", "Here now"),
    ("held", "On hold"),
    ("all", "Also empty"),
    ("archived", "Put away"),
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the list was asked for."""

    search: str = ""
    place: str = ""
    owner: str = ""
    fibre: str = ""
    standing: str = "standing"

    @property
    def is_everything(self) -> bool:
        """Nothing was narrowed down."""
        return self == Asked()

    @property
    def is_narrowed(self) -> bool:
        """Something beyond the words of the search was asked for."""
        return replace(self, search="") != Asked()

    def address(self, **more: object) -> str:
        """The same list, or its next page."""
        kept = {name: getattr(self, name) for name in self.__slots__}
        return "/lots/?" + urlencode({k: v for k, v in {**kept, **more}.items() if v})


def asked_of(request: HttpRequest) -> Asked:
    """The filter in an address; a standing nobody knows counts as the usual one."""
    typed = {name: request.GET.get(name, "").strip() for name in Asked.__slots__}
    known = typed["standing"] in dict(STANDINGS)
    return replace(Asked(**typed), standing=typed["standing"] if known else "standing")


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """The list; a lot's own number or a tag typed into the search opens the lot."""
    asked = asked_of(request)
    after = number_after(request, "after")
    found = lots.list_lots(
        search=asked.search,
        place=asked.place,
        owner=asked.owner,
        fibre=asked.fibre,
        standing=asked.standing,
        after=after,
    )
    if len(found.rows) == 1 and found.rows[0].code == asked.search.upper():
        return redirect("lot", code=found.rows[0].code)
    context = {
        "here": "lots",
        "asked": asked,
        "found": found,
        "first_page": after is None,
        "next_page": asked.address(after=found.next_after) if found.next_after else "",
        "stands": mill_places(),
        "stand_names": dict(mill_places()),
        "owner_options": [(code, f"{name} ({code})") for code, name in customers.owner_choices()],
        "fibres": [(key, row.name) for key, row in current_tables().fibres.items()],
        "standings": STANDINGS,
        "tufts": {lot.code: _tuft(lot) for lot in found.rows},
    }
    return render(request, "office/lots.html", context)


def _tuft(lot: lots.LotRow, size: float = 48.0) -> str:
    said = f"{lot.colour_name or 'unknown colour'}, approximate"
    return tuft_icon(lot.code, lot_pictures.colour_of(lot.lab), size=size, label=said)


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L007/`."""
    if code != code.upper():
        return redirect("lot", code=code.upper())
    return _shown(request, code)


def _shown(
    request: HttpRequest, code: str, *, wrong: dict[str, str] | None = None, status: int = 200
) -> HttpResponse:
    units = units_of(request)
    lot = lots.one_lot(code)
    story = ancestry(code)
    inputs = plan_inputs(lots=(code,))
    figures = lot_figures.figures_of(lot, inputs, lot_pictures.colours_of(story))
    person = acting(request)
    kind = _own_kind(lot, inputs.tables)
    measured_um = lot.diameter_um if lot.diameter_source != "typical" else None
    context: dict[str, Any] = {
        "here": "lots",
        "lot": lot,
        "own_breed": f"{kind.unlisted} {kind.fibre.name}" if kind else "",
        "guess": guess_words(kind, diameter_um=measured_um) if kind else "",
        "row": lot.row,
        "stand": dict(mill_places()).get(lot.row.place, lot.row.place),
        "tuft": _tuft(lot.row, 150.0),
        "figures": figures,
        "story": lot_pictures.run_lines(story),
        "flow": lot_pictures.flow(story, units=units),
        "stands": mill_places(),
        "lot_can_spin": lot.row.form in SPINNABLE,
        "open_holds": [hold for hold in lot.holds if hold.cleared_at is None],
        "past_holds": [hold for hold in lot.holds if hold.cleared_at is not None],
        "hold_kinds": KINDS,
        "may_hold": may(person, Right.HOLD),
        "may_clear": may(person, Right.CLEAR_HOLD),
        "may_weigh": may(person, Right.WEIGH),
        "typed": request.POST,
        "errors": wrong or {},
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(request, "office/lot.html", context, status=status)


def _own_kind(lot: lots.OneLot, tables: Tables) -> Kind | None:
    """The kind of a lot whose breed is in no table; None where it is, or was not said."""
    if lot.row.breed or not lot.breed_typed or lot.row.fibre not in tables.fibres:
        return None
    try:
        unlisted = find_kind(tables, lot.breed_typed).unlisted
    except NotFoundError:
        unlisted = lot.breed_typed
    return Kind(tables.fibres[lot.row.fibre], unlisted=unlisted) if unlisted else None


@require_safe
def weighings(request: HttpRequest, code: str) -> HttpResponse:
    """All weighings of a lot, page by page."""
    before = number_after(request, "before")
    lot = lots.one_lot(code)
    context = {
        "here": "lots",
        "lot": lot,
        "found": lots.list_weighings(code, before=before),
        "first_page": before is None,
    }
    return render(request, "office/lot_weighings.html", context)


@require_POST
def hold(request: HttpRequest, code: str) -> HttpResponse:
    """Stop a lot."""
    kind, reason = request.POST.get("kind", ""), request.POST.get("reason", "")
    try:
        open_hold(acting(request), kind=kind, reason=reason, lot=code, key=key_of(request))
    except InputError as wrong:
        field = "kind" if wrong.field.startswith("kind") else "reason"
        return _shown(request, code, wrong={field: str(wrong)}, status=422)
    return redirect("lot", code=code)


@require_POST
def clear(request: HttpRequest, code: str, hold_id: int) -> HttpResponse:
    """Let a lot go on; the person in the page head answers for it by name."""
    try:
        clear_hold(acting(request), hold_id, clearance=request.POST.get("clearance", ""))
    except InputError as wrong:
        return _shown(request, code, wrong={f"clearance-{hold_id}": str(wrong)}, status=422)
    return redirect("lot", code=code)


@require_POST
def move(request: HttpRequest, code: str) -> HttpResponse:
    """Write down that a lot stands somewhere else now."""
    try:
        where = request.POST.get("place", ""), request.POST.get("location", "").strip()
        move_lot(acting(request), code, place=where[0], location=where[1])
    except (InputError, NobodyLookedError) as wrong:
        return _shown(request, code, wrong={"place": str(wrong)}, status=422)
    return redirect("lot", code=code)


urlpatterns = [
    path("lots/", list_page, name="lots"),
    path("lots/<str:code>/", one, name="lot"),
    path("lots/<str:code>/weighings/", weighings, name="lot_weighings"),
    path("lots/<str:code>/hold/", hold, name="lot_hold"),
    path("lots/<str:code>/holds/<int:hold_id>/clear/", clear, name="lot_clear"),
    path("lots/<str:code>/move/", move, name="lot_move"),
]
