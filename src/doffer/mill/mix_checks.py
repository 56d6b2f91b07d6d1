"""What speaks against the full mix of a blend recipe now: fibre dyed or gone since, a shade restated."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import RefusedError
from doffer.fibre.colour.blend import BlendModel, Mixing
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.verdict import Formula, Tolerance, judge
from doffer.mill import bridge, colours
from doffer.mill.colours import FIRST_LIGHT
from doffer.mill.doubt import Doubt
from doffer.mill.dyed import LotDyeing, dyeings_of, undyed_dry
from doffer.mill.models import BlendPart, BlendRecipe, ShadeVersion
from doffer.mill.models.blends import RecipeState
from doffer.mill.sittings import Sitting, measured_by_lot, newest_like
from doffer.planning.shade.reach import reach_of
from doffer.planning.shade.ways import ShadeWays
from doffer.tables.loader import Tables

ANEW = "Write the blend anew from what is there, as a new version, and card that"
MG_SLACK = 10  # a hundredth of a gram: no scale of a mill shows less
OF_A_RECIPE = re.compile(r"Blend recipe (\S+) version (\d+)\b")  # as a run that is weighed out by one says


@dataclass(frozen=True, slots=True)
class Against:
    """`stops` no note lets through; `asks` need somebody's word."""

    stops: tuple[Doubt, ...] = ()
    asks: tuple[Doubt, ...] = ()


def against_mix(recipe: BlendRecipe, card: Sitting | None, tolerance: Tolerance, tables: Tables) -> Against:
    """What speaks against making the full mix now; about ten queries.

    Stops: a lot was dyed whole since the recipe was written, or less of its undyed fibre is there than the
    mix takes. Asks: a lot was read again and is another colour by more than the tolerance passes; the shade
    was restated or taken out of the book.
    """
    parts = list(recipe.parts.select_related("lot"))
    dyed = dyeings_of([part.lot_id for part in parts])
    stops = (*_dyed_since(recipe, parts, dyed), *_too_little(parts, dyed))
    read = _read_since(recipe, parts, dyed, tolerance, tables)
    return Against(stops, (*read, *_standard_now(recipe, card)))


def _dyed_since(
    recipe: BlendRecipe, parts: Sequence[BlendPart], dyed: dict[int, tuple[LotDyeing, ...]]
) -> list[Doubt]:
    """Lots that were dyed whole since the recipe was written: it counts fibre that is no more."""
    return [
        Doubt(
            f"all of {part.lot.code} was dyed {one.shade} after {recipe.code} was written: "
            "neither the recipe nor its card says anything of it now"
        )
        for part in parts
        for one in dyed.get(part.lot_id, ())
        if one.is_whole and one.begun_at > recipe.made_at
    ]


def _too_little(parts: Sequence[BlendPart], dyed: dict[int, tuple[LotDyeing, ...]]) -> list[Doubt]:
    """Lots of which less is there than the mix takes, what lies dyed apart not counted."""
    there = undyed_dry([part.lot for part in parts], dyed)
    found = []
    for part in parts:
        have_mg, all_mg = there.get(part.lot_id, 0), part.lot.now_dry_mg or 0
        if part.dry_mg <= have_mg + MG_SLACK:
            continue
        apart = ", {} more of it was dyed apart" if all_mg > have_mg else ""
        masses_mg = (have_mg, all_mg - have_mg, part.dry_mg) if apart else (have_mg, part.dry_mg)
        words = f"{part.lot.code} holds {{}} oven-dry{apart}, and this mix takes {{}}"
        found.append(Doubt(words, tuple(bridge.grams(mass_mg) for mass_mg in masses_mg)))
    return found


def _read_since(
    recipe: BlendRecipe,
    parts: Sequence[BlendPart],
    dyed: dict[int, tuple[LotDyeing, ...]],
    tolerance: Tolerance,
    tables: Tables,
) -> list[Doubt]:
    """Lots that were read again since and are another colour than the recipe counts."""
    measured = measured_by_lot([part.lot_id for part in parts], dyed)
    newest = newest_like(measured, colours.pad_of(recipe))
    found = []
    for part in parts:
        sitting = newest.get(part.lot_id)
        if sitting is None or sitting.recorded_at <= recipe.made_at:
            continue
        spectra = (colours.spectrum_of_ppm(part.reflectance_ppm), sitting.known(tables).reflectance)
        counted, now = (
            colours.labs_under(one, tables, observer_deg=recipe.observer_deg)[FIRST_LIGHT] for one in spectra
        )
        off_de = float(de2000(np.array(counted), np.array(now)))
        if off_de > tolerance.pass_de:
            found.append(
                Doubt(f"{part.lot.code} was read again and is {off_de:.1f} from what {recipe.code} counts")
            )
    return found


def _standard_now(recipe: BlendRecipe, card: Sitting | None) -> list[Doubt]:
    """The shade was restated, or taken out of the book; two queries."""
    if recipe.standard is None:
        return []
    shade = recipe.standard.shade
    found = []
    if shade.archived_at is not None:
        found.append(Doubt(f"{shade.name} was taken out of the shade book"))
    newest = shade.versions.order_by("-version").first()
    if newest.pk != recipe.standard_id:
        far = ""
        wanted = colours.plain_labs(newest.labs_centi)
        light = next((name for name in wanted if card is not None and name in card.labs), None)
        if card is not None and light is not None:
            tolerance = standard_tolerance(newest)
            judged = judge(np.array(wanted[light]), np.array(card.labs[light]), tolerance)
            far = f", and the card is {judged.de:.1f} from it, where {tolerance.pass_de:.1f} is allowed"
        found.append(Doubt(f"{shade.name} was restated since: its standard {newest.version} counts now{far}"))
    return found


def standard_tolerance(version: ShadeVersion) -> Tolerance:
    """The tolerance of a standard."""
    parts = version.pass_centi / bridge.CENTI, version.ask_centi / bridge.CENTI
    return Tolerance(Formula(version.formula), *parts)


def out_of_reach(recipe: BlendRecipe, card: Sitting, tolerance: Tolerance, tables: Tables) -> float | None:
    """How near the lots can come to a card that they cannot make in any shares; None where they can.

    In the formula of the tolerance; a card that was not read in daylight is not judged by it.
    """
    if FIRST_LIGHT not in card.labs:
        return None
    spectra = np.array([part.reflectance_ppm for part in recipe.parts.all()]) / bridge.PPM
    ways = ShadeWays(
        mixing=Mixing(BlendModel(recipe.model), bridge.maybe_frac(recipe.constant_ppm) or 0.0),
        ln_m_sd=bridge.maybe_frac(recipe.ln_m_sd_ppm) or 0.0,
        is_fitted=recipe.fit_id is not None,
        trial_card_g=bridge.grams(recipe.trial_mg),
        lot_worth_de=tables.constants["shade_lot_worth"].value,
    )
    seen_in = colours.first_light(tables, observer_deg=recipe.observer_deg)
    measured = np.array(card.labs[FIRST_LIGHT])
    found = reach_of(spectra, measured, seen_in, ways=ways, formula=tolerance.formula)
    return found.de if found.de > tolerance.pass_de else None


def is_learnt(recipe: BlendRecipe, card: Sitting, tables: Tables) -> bool:
    """Whether this reading of the card was taken as a sample blend; one query."""
    kept = colours.whole_ppm(card.known(tables).reflectance)
    return any(list(one) == kept for one in recipe.samples.values_list("reflectance_ppm", flat=True))


def refuse_stale_mix(note: str, act: str) -> None:
    """No run is weighed out by a recipe whose lots were dyed since; one query for a run of none.

    Raises
    ------
    RefusedError
        A lot of the released recipe that the note names was dyed whole since.
    """
    match = OF_A_RECIPE.match(note)
    if match is None:
        return
    rows = BlendRecipe.objects.filter(code=match[1], version=int(match[2]), state=RecipeState.RELEASED)
    recipe = rows.first()
    if recipe is None:
        return
    parts = list(recipe.parts.select_related("lot"))
    stops = _dyed_since(recipe, parts, dyeings_of([part.lot_id for part in parts]))
    if stops:
        mend = f"Take the release of {recipe.code} back. {ANEW}"
        raise RefusedError(act, tuple(one.said() for one in stops), mend)
