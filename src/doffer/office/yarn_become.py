"""What a lot, or a blend on the bench, can be spun to: ranked, with metres, skeins, risk and hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from doffer.errors import DofferError
from doffer.mill import house
from doffer.mill.queries.lots import OneLot, one_lot
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.own_stock import YARN, open_orders_of
from doffer.mill.queries.plan_inputs import basis_of
from doffer.mill.queries.yarn_inputs import YarnInputs, yarn_inputs
from doffer.mill.queries.yarn_partners import frames_of, spin_lot_of
from doffer.office.asked import units_of
from doffer.office.bench import look
from doffer.office.bench_blend import aim_of, blend_of
from doffer.office.order_spec import read_wish
from doffer.office.order_wish_form import batches_of
from doffer.office.yarn import colours_of
from doffer.office.yarn_finer import finer_yarns
from doffer.office.yarn_view import blend_hex
from doffer.pictures import yarn
from doffer.planning.yarn.become import Becoming, RankBy, becomings, one_each, possible
from doffer.process.yarn.dimensions import diameter_mm
from doffer.tables.loader import Tables

MOST_DRAWN = 5
RANKS = (
    (RankBy.FINEST, "Finest first"),
    (RankBy.SOFTEST, "Softest first"),
    (RankBy.EVENEST, "Most even first"),
    (RankBy.QUICKEST, "Quickest first"),
)
RISK_WORDS = {"low": "runs well", "some": "some risk", "high": "near the limit"}


@dataclass(frozen=True, slots=True)
class BecomingView:
    """A yarn of the list, and where it is ordered."""

    row: Becoming
    href: str

    @property
    def length_m(self) -> tuple[float, float, float]:
        """Metres, likely and the ends of the range, to three figures: nobody knows the last metre [m]."""
        length = self.row.length
        mean_m, low_m, high_m = (float(f"{m:.3g}") for m in (length.mean, length.low, length.high))
        return mean_m, low_m, high_m

    @property
    def risk_words(self) -> str:
        """The risk in two words."""
        return RISK_WORDS.get(str(self.row.risk.level), str(self.row.risk.level))


def rows_of(inputs: YarnInputs, rank_by: RankBy) -> tuple[Becoming, ...]:
    """Every usual yarn on every frame, ranked."""
    return becomings(spin_lot_of(inputs), frames_of(inputs), inputs.tables, rank_by=rank_by)


def drawn_row(rows: Sequence[Becoming], inputs: YarnInputs, *, system: str) -> str:
    """The first few side by side at one scale; empty where there is none."""
    colour = blend_hex(inputs.parts, colours_of(inputs.plan))
    shown = [_drawn(row, inputs, colour) for row in rows[:MOST_DRAWN]]
    return yarn.yarns(shown, system=system, title="What it can become, drawn") if shown else ""


def _drawn(row: Becoming, inputs: YarnInputs, colour: str) -> yarn.DrawnYarn:
    """One of them as the washed yarn."""
    tables: Tables = inputs.tables
    strand = diameter_mm(
        count_tex=row.finished.tex / row.plies,
        packing_frac=tables.yarn_figures[f"packing/{row.frame.machine.system}"].value,
        density_g_cm3=inputs.fibre.density_g_cm3,
    )
    twist = row.single_twist_tpm if row.plies == 1 else row.ply_twist_tpm
    left = max(0.0, row.single_twist_tpm - row.ply_twist_tpm)
    return yarn.DrawnYarn(
        name=row.product.name,
        strand_mm=strand,
        plies=row.plies,
        twist_tpm=twist,
        way="Z" if row.plies == 1 else "S",
        fibre_tpm=left,
        colour=colour,
        note="one single" if row.plies == 1 else f"{row.plies}-ply",
    )


@dataclass(frozen=True, slots=True)
class Planning:
    """Where a yarn of the list is planned: a form and the fields it begins with; `say` where none can be."""

    address: str
    fields: tuple[tuple[str, str], ...] = ()
    order: str = ""
    say: str = ""


def planning_of(lot: OneLot) -> Planning:
    """The wish of the open order that a lot is in or was made for, else a new order with the lot.

    The mill's own fibre goes into an order by a share, beside the owner's: the form cannot be filled with it.
    """
    code, origins = lot.row.code, [part.lot for part in lot.parts]
    orders = [one_order(each) for each in open_orders_of((code,), lot.made_for)]
    mine = [order for order in orders if not lot.is_own or order.row.owner == lot.row.owner]
    if mine:
        order = mine[0]
        batches = batches_of(read_wish(order.spec))
        numbers = [n for n, each in enumerate(batches, start=1) if {code, *origins} & set(each.lots)]
        is_named = code in {row.lot.code for row in order.lots}
        number = next(iter(numbers), len(batches) + 1 if is_named else 1)
        fields = (("batch", str(number)), *((("lot", code),) if is_named else ()))
        return Planning(reverse("order_wish", kwargs={"code": order.row.code}), fields, order.row.code)
    if lot.is_own:
        say = (
            f"{code} is the mill’s own: it goes into an order by its share, beside the owner’s fibre. "
            f"Begin an order or open one, and type the share of {code} under the mill’s fibre."
        )
        return Planning(reverse("new_order"), say=say)
    return Planning(reverse("new_order"), (("lot", code),))


def _order_href(row: Becoming, planning: Planning) -> str:
    """A form for this yarn, its wish filled in; empty where none can be."""
    if planning.say:
        return ""
    fields = {
        **dict(planning.fields),
        "product": "yarn" if row.plies > 1 else "singles",
        "plies": str(row.plies),
        "thick": f"{row.product.length_m_per_100g:g} m/100 g",
    }
    return f"{planning.address}?{urlencode(fields)}"


def _context(
    request: HttpRequest,
    inputs: YarnInputs,
    *,
    lot: OneLot | None,
    title: str,
    back: tuple[str, str],
    here: str,
) -> dict[str, Any]:
    asked = request.GET.get("by", "")
    rank_by = RankBy(asked) if asked in list(RankBy) else RankBy.FINEST
    rows = rows_of(inputs, rank_by)
    best = one_each(possible(rows))
    planning = planning_of(lot) if lot else Planning(reverse("new_order"))
    return {
        "here": here,
        "title": title,
        "back": back,
        "inputs": inputs,
        "drawn": drawn_row(best, inputs, system=units_of(request)),
        "rows": [BecomingView(row, _order_href(row, planning)) for row in best],
        "planning": planning,
        "never": [row for row in one_each(rows) if not row.is_possible],
        "finer": finer_yarns(rows, inputs, lot.row) if lot else (),
        "ranks": RANKS,
        "rank_by": rank_by,
        "kept": [(name, value) for name, values in request.GET.lists() if name != "by" for value in values],
    }


@require_safe
def of_lot(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L004/yarns/`: what this lot can be spun to."""
    lot = one_lot(code)
    back = (f"Lot {lot.row.code}", reverse("lot", kwargs={"code": lot.row.code}))
    if lot.row.form in YARN:
        sentence = f"{lot.row.code} is yarn already: nothing more is spun from it."
        return _nothing(request, sentence, back, here="lots")
    try:
        inputs = yarn_inputs(lots=(lot.row.code,))
        context = _context(request, inputs, lot=lot, title=lot.row.code, back=back, here="lots")
    except DofferError as refused:
        return _nothing(request, str(refused), back, here="lots")
    return render(request, "office/yarn_become.html", context)


@require_safe
def on_bench(request: HttpRequest) -> HttpResponse:
    """`/bench/yarn/?lot=L027&share_L027=40 ...`: what the blend on the bench can be spun to."""
    asked, bench = look(request, request.GET, is_quick=True)
    back = ("The bench", asked.address())
    try:
        blend = blend_of(asked, bench, aim_of(asked, bench), basis=basis_of(house.text("country_rules")))
        if blend is None:
            return _nothing(
                request,
                "Put two lots or more on the bench first.",
                ("The bench", reverse("bench")),
                here="bench",
            )
        weighed = {one.lot.code: one.weighed_g for one in blend.portions}
        inputs = portioned(yarn_inputs(lots=tuple(weighed)), weighed)
        title = f"{blend.total_g / 1000:.2f} kg of {', '.join(weighed)}"
        context = _context(request, inputs, lot=None, title=title, back=back, here="bench")
    except DofferError as refused:
        return _nothing(request, str(refused), back, here="bench")
    return render(request, "office/yarn_become.html", context)


def portioned(inputs: YarnInputs, weighed_g: dict[str, float]) -> YarnInputs:
    """The inputs with as much of every lot as goes into the blend, shares by oven-dry fibre."""
    lots = tuple(
        replace(
            lot,
            mass_g=weighed_g[lot.code],
            wanted_g=None,
            start=replace(lot.start, weighed_mass_g=weighed_g[lot.code], finish_mass_g=0.0),
        )
        for lot in inputs.plan.lots
    )
    shares: dict[str, float] = {}
    for lot in lots:
        dry = lot.start.weighed_mass_g / (1 + lot.start.actual_regain_frac)
        for part, share in lot.start.blend or ((lot.start.part, 1.0),):
            shares[part.lot] = shares.get(part.lot, 0.0) + dry * share
    total = sum(shares.values())
    parts = tuple(
        replace(part, share_frac=shares.get(part.lot, 0.0) / total)
        for part in inputs.parts
        if shares.get(part.lot, 0.0) > 0
    )
    return replace(inputs, plan=replace(inputs.plan, lots=lots), parts=parts)


def _nothing(request: HttpRequest, sentence: str, back: tuple[str, str], *, here: str) -> HttpResponse:
    return render(request, "office/yarn_nothing.html", {"here": here, "sentence": sentence, "back": back})


urlpatterns = [
    path("lots/<str:code>/yarns/", of_lot, name="lot_yarns"),
    path("bench/yarn/", on_bench, name="bench_yarn"),
]
