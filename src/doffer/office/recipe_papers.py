"""The weigh-out sheet of a blend recipe as PDF: its trial card, and the full mix once that is released."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from doffer.errors import NotFoundError, RefusedError
from doffer.mill import clock, house
from doffer.mill.mix_checks import ANEW
from doffer.mill.queries.recipes import OneRecipe
from doffer.office.asked import units_of
from doffer.office.recipe_view import Line, lines_of
from doffer.paper import render
from doffer.paper.papers import BlendPortion, BlendSheet, Imprint, LotFace, PaperSize
from doffer.planning.layers import Layer, feed_sheet, layer_portions

N_LAYERS = 6  # as in every plan, unless a mill lays otherwise
TRIAL, MIX = "trial", "mix"


def weigh_out_pdf(request: HttpRequest, recipe: OneRecipe, what: str) -> HttpResponse:
    """The sheet for the trial card, or for the full mix.

    Raises
    ------
    NotFoundError
        There is no such sheet.
    RefusedError
        The full mix of a recipe that is not released, or whose fibre is gone or was dyed since.
    """
    if what not in (TRIAL, MIX):
        raise NotFoundError("sheet", what, f"There are {TRIAL} and {MIX}")
    is_trial = what == TRIAL
    if not is_trial and recipe.row.state != "released":
        raise RefusedError(
            f"The full mix of {recipe.row.code} is not weighed out",
            ("it is not released yet",),
            "Card and read its trial card first",
        )
    if not is_trial and recipe.against.stops:
        reasons = tuple(one.said() for one in recipe.against.stops)
        raise RefusedError(f"The full mix of {recipe.row.code} is not weighed out", reasons, ANEW)
    country = house.text("country_rules")
    imprint = Imprint(
        mill=house.text("name"),
        printed_at=clock.now(),
        version=f"version {recipe.row.version}",
        tables_sha256=recipe.tables.sha256,
        system=units_of(request),
        country=country,
        address=request.build_absolute_uri("/").rstrip("/"),
    )
    size = PaperSize.LETTER if country in ("US", "CA") else PaperSize.A4
    content = render.blend_sheets([sheet_of(recipe, is_trial=is_trial)], imprint, size=size)
    response = HttpResponse(content, content_type="application/pdf")
    name = f"{recipe.row.code}-{'trial-card' if is_trial else 'weigh-out'}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def sheet_of(recipe: OneRecipe, *, is_trial: bool) -> BlendSheet:
    """The sheet of a recipe; the full mix with its layers for the picker."""
    lines = lines_of(recipe)
    row = recipe.row
    owners = sorted({line.part.owner_name for line in lines})
    agreed = f"Fibre of {', '.join(owners)}, by agreement {recipe.join_decision}." if len(owners) > 1 else ""
    trial = "Weigh on the fine scale, card by hand until it is even, read it dry on four tufts or more."
    return BlendSheet(
        recipe=row.code,
        version=row.version,
        shade=row.shade_name or row.name or "a colour of its own",
        portions=tuple(_portion(line, recipe) for line in lines),
        layers=() if is_trial else _layers(lines),
        is_trial=is_trial,
        note=" ".join(part for part in (trial if is_trial else "", agreed, recipe.note) if part),
    )


def _portion(line: Line, recipe: OneRecipe) -> BlendPortion:
    part = line.part
    fibre = recipe.tables.fibres[part.fibre].name
    face = LotFace(part.lot, part.owner_name, fibre, part.colour_name, line.hex)
    return BlendPortion(face, line.weigh_g, part.share_frac, part.trial_g)


def _layers(lines: tuple[Line, ...]) -> tuple[Layer, ...]:
    portions = layer_portions({line.part.lot: round(line.weigh_g) for line in lines}, n_layers=N_LAYERS)
    return feed_sheet(portions)
