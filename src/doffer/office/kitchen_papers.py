"""The dye card on one page of paper."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse

from doffer.mill import clock, house
from doffer.mill.queries.kitchen import DyeRecipeRow
from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.tables import current_tables
from doffer.office import kitchen_card as view
from doffer.office.asked import units_of
from doffer.paper import render
from doffer.paper.papers import DyeCard, DyeCardLine, DyeCardLoad, DyeCardStep, Imprint, LotFace, PaperSize
from doffer.pictures.colour import fibre_hex
from doffer.pictures.wording import say, say_duration

US_PAPER = ("US", "CA")


def card_pdf(
    request: HttpRequest,
    recipe: DyeRecipeRow,
    cards: Sequence[view.LoadCard],
    basis: view.Basis,
    lot: LotRow | None,
) -> HttpResponse:
    """The card as PDF, for the wall above the kettle."""
    units = units_of(request)
    country = house.text("country_rules")
    imprint = Imprint(
        mill=house.text("name"),
        printed_at=clock.now(),
        version=f"recipe version {recipe.version}",
        tables_sha256=current_tables().sha256,
        system=units,
        country=country,
        address=request.build_absolute_uri("/").rstrip("/"),
    )
    size = PaperSize.LETTER if country in US_PAPER else PaperSize.A4
    content = render.dye_cards([card_of(recipe, cards, basis, lot, units)], imprint, size=size)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="dye-card-{recipe.shade}.pdf"'
    return response


def card_of(
    recipe: DyeRecipeRow,
    cards: Sequence[view.LoadCard],
    basis: view.Basis,
    lot: LotRow | None,
    units: str,
) -> DyeCard:
    """The card as its paper needs it."""
    course = view.course_of(recipe, units)
    face = None
    if lot is not None:
        hex_ = fibre_hex(*lot.lab) if lot.lab else ""
        face = LotFace(
            lot.code, lot.owner_name, (lot.breed or lot.fibre).replace("_", " "), lot.colour_name, hex_
        )
    return DyeCard(
        shade=recipe.shade,
        shade_name=recipe.shade_name,
        version=recipe.version,
        fibre_mass_g=basis.fibre_g,
        basis=basis.words,
        lot=face,
        loads=tuple(_load(card, units) for card in cards),
        steps=tuple(_step(part, units) for part in course.line) if course else (),
        course_svg=course.picture if course else "",
        ph="" if recipe.ph is None else f"{recipe.ph:g}",
        cautions=tuple(caution.text for caution in view.mind(current_tables())),
        note=" ".join(
            filter(None, (recipe.note, *(f"“{what}” needs more minutes." for what in _slow(course))))
        ),
    )


def _slow(course: view.Course | None) -> tuple[str, ...]:
    return course.too_short if course else ()


def _load(card: view.LoadCard, units: str) -> DyeCardLoad:
    return DyeCardLoad(
        name=card.name,
        n_alike=len(card.numbers),
        kettle=card.kettle_name,
        fibre_mass_g=card.load.fibre_g,
        liquor_volume_l=card.load.liquor_l,
        dip=view.say_mark(card.water, units),
        lines=tuple(DyeCardLine(row.what, row.amount, row.how) for row in card.adding),
    )


def _step(part: view.Stretch, units: str) -> DyeCardStep:
    end = say(part.end_c, "c", units)
    heat = f"at {end}" if part.end_c == part.start_c else f"from {say(part.start_c, 'c', units)} to {end}"
    return DyeCardStep(part.what, say_duration(part.end_min - part.start_min), heat)
