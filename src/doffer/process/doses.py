"""Doses: what goes on the fibre or into the bath, in grams, millilitres and litres.

All doses are on the weight of fibre (owf): ``product = fibre x dose``. The fibre is conditioned fibre at
agreed regain unless said otherwise; oven-dry and conditioned differ by about 17 % for wool. Doses: table
additives, common practice; the supplier's sheet rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.process.portions import whole_portions
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working, percent


@dataclass(frozen=True, slots=True)
class ConditionerDose:
    """Spinning oil and its water for one lot."""

    product_mass_g: float
    water_mass_g: float
    spray_mass_g: float
    wet_pickup_frac: float
    layers_g: tuple[int, ...]
    words: str
    working: Working


def conditioner(
    *, fibre_mass_g: float, dose_frac_owf: float, water_parts: float, n_layers: int = 1
) -> ConditionerDose:
    """Conditioner to spray on the layers: product, water, and the share for each layer.

    ``product = fibre x dose``, ``water = product x water parts``: "1:4" is one part product and four parts
    water, never one part in four. Common practice.

    Parameters
    ----------
    fibre_mass_g : float
        Conditioned fibre [g], > 0.
    dose_frac_owf : float
        Product on the weight of fibre [frac], 0 to 0.2.
    water_parts : float
        Parts of water to one part of product, 0 to 20.
    n_layers : int
        Layers it is spread over, >= 1.

    Examples
    --------
    >>> conditioner(fibre_mass_g=3400, dose_frac_owf=0.02, water_parts=4, n_layers=4).layers_g
    (85, 85, 85, 85)

    """
    _in_range("fibre", fibre_mass_g, 0, MOST_FIBRE_G, "grams")
    _share_in_range("conditioner dose", dose_frac_owf, 0.2)
    _in_range("parts of water", water_parts, 0, 20, "parts to one part of product")
    product = fibre_mass_g * dose_frac_owf
    water = product * water_parts
    spray = product + water
    return ConditionerDose(
        product_mass_g=product,
        water_mass_g=water,
        spray_mass_g=spray,
        wet_pickup_frac=spray / fibre_mass_g if fibre_mass_g else 0.0,
        layers_g=whole_portions(round(spray), n_portions=n_layers),
        words=f"1 part product + {water_parts:g} parts water",
        working=Working(
            title="Conditioner",
            formula="product = fibre × dose; water = product × parts of water",
            inputs=(
                Term("fibre, conditioned", fibre_mass_g, "g"),
                Term("dose", dose_frac_owf, "frac", "on the weight of fibre"),
                Term("parts of water", water_parts),
            ),
            result=Term("spray", spray, "g", f"{product:.0f} g product and {water:.0f} g water"),
            source="follow the supplier's sheet",
            status=Status.PRACTICE,
        ),
    )


@dataclass(frozen=True, slots=True)
class CohesiveAdvice:
    """Whether fibre needs a cohesive to hold together in the card, and why (not)."""

    applies: bool
    why: str


def cohesive(constituents: Sequence[Constituent], shares: Sequence[float], tables: Tables) -> CohesiveAdvice:
    """Cohesive only for slippery fibre; everywhere else the reason against it is said.

    Slippery kinds are marked in table fibres; they must make up the least share of table additives. Common
    practice, no source.
    """
    least_share = tables.additives["cohesive/least_share"].value / 100
    slippery = [
        (tables.fibres[part.fibre].name, share)
        for part, share in zip(constituents, shares, strict=True)
        if tables.fibres[part.fibre].slippery
    ]
    share_sum = sum(share for _, share in slippery)
    if slippery and share_sum >= least_share:
        names = ", ".join(sorted({name for name, _ in slippery}))
        return CohesiveAdvice(
            applies=True, why=f"{names} slides in the card and is {percent(share_sum)} of the blend"
        )
    if slippery:
        why = f"only {percent(share_sum)} of the blend is slippery; the other fibre carries it"
        return CohesiveAdvice(applies=False, why=why)
    return CohesiveAdvice(applies=False, why="this fibre holds together by itself; cohesive would only stick")


@dataclass(frozen=True, slots=True)
class ScourDose:
    """Detergent and water for washing one load."""

    detergent_mass_g: float
    baths_g: tuple[int, ...]
    bath_volume_l: float
    n_rinses: int
    working: Working


def scour(
    *, raw_mass_g: float, detergent_frac: float, liquor_ratio: float, n_baths: int, n_rinses: int
) -> ScourDose:
    """Detergent for a load of greasy fibre, split over the baths; all baths at about one temperature.

    ``detergent = greasy fibre x dose``, ``litres = liquor ratio x kg``. Common practice; dose by grease,
    table additives.
    """
    _in_range("greasy fibre", raw_mass_g, 0, MOST_FIBRE_G, "grams")
    _share_in_range("detergent", detergent_frac, 0.2)
    _in_range("liquor ratio", liquor_ratio, 5, 100, "litres to one kilogram")
    detergent = raw_mass_g * detergent_frac
    return ScourDose(
        detergent_mass_g=detergent,
        baths_g=whole_portions(round(detergent), n_portions=n_baths),
        bath_volume_l=raw_mass_g / 1000 * liquor_ratio,
        n_rinses=n_rinses,
        working=Working(
            title="Detergent",
            formula="detergent = greasy fibre × dose, split over the baths; litres = kg × liquor ratio",
            inputs=(
                Term("greasy fibre", raw_mass_g, "g"),
                Term("dose", detergent_frac, "frac", "on the weight of fibre"),
                Term("baths", n_baths),
            ),
            result=Term("detergent", detergent, "g"),
            source="by grease class, table additives",
            status=Status.PRACTICE,
        ),
    )


@dataclass(frozen=True, slots=True)
class DyeDose:
    """Dye, stock solution and liquor for one load."""

    dye_mass_g: float
    stock_volume_ml: float
    liquor_volume_l: float
    fibre_water_l: float
    top_up_volume_l: float
    working: Working


def dye(
    *,
    fibre_mass_g: float,
    depth_frac_owf: float,
    stock_g_per_100ml: float,
    liquor_ratio: float,
    wet_pickup_frac: float = 0.0,
) -> DyeDose:
    """Dye for a depth of shade, as millilitres of stock solution, and water to top the kettle up with.

    ``dye = fibre x depth``; ``stock mL = 100 dye / strength``; ``liquor = ratio x kg``; ``top-up = liquor -
    stock - water in the fibre``. Common practice. Recipes scale on fibre, never on volume.

    Parameters
    ----------
    fibre_mass_g : float
        Conditioned fibre [g].
    depth_frac_owf : float
        Dye on the weight of fibre [frac], 0 to 0.15.
    stock_g_per_100ml : float
        Strength of the stock solution [g per 100 mL], 0.05 to 20.
    liquor_ratio : float
        Litres of bath per kg of fibre, 5 to 100.
    wet_pickup_frac : float
        Water the wetted-out fibre already holds, over its mass [frac].
    """
    _in_range("fibre", fibre_mass_g, 0, MOST_FIBRE_G, "grams")
    _share_in_range("depth of shade", depth_frac_owf, 0.15)
    _in_range("stock solution", stock_g_per_100ml, 0.05, 20, "g in 100 mL")
    _in_range("liquor ratio", liquor_ratio, 5, 100, "litres to one kilogram")
    _in_range("water in the fibre", wet_pickup_frac, 0, 4, "of its mass")
    dye_mass_g = fibre_mass_g * depth_frac_owf
    stock_ml = 100 * dye_mass_g / stock_g_per_100ml
    liquor_l = fibre_mass_g / 1000 * liquor_ratio
    fibre_water_l = fibre_mass_g / 1000 * wet_pickup_frac
    top_up_l = liquor_l - stock_ml / 1000 - fibre_water_l
    if top_up_l < 0:
        raise InputError(
            "liquor ratio",
            liquor_ratio,
            f"large enough for {stock_ml / 1000:.2f} L of stock solution; use a stronger stock or more water",
        )
    return DyeDose(
        dye_mass_g=dye_mass_g,
        stock_volume_ml=stock_ml,
        liquor_volume_l=liquor_l,
        fibre_water_l=fibre_water_l,
        top_up_volume_l=top_up_l,
        working=Working(
            title="Dye bath",
            formula="dye = fibre × depth; stock = dye ÷ strength; top-up = liquor − stock − water in it",
            inputs=(
                Term("fibre, conditioned", fibre_mass_g, "g"),
                Term("depth", depth_frac_owf, "frac", "on the weight of fibre"),
                Term(
                    "stock solution", 10 * stock_g_per_100ml, "g_per_l", f"{stock_g_per_100ml:g} g in 100 mL"
                ),
                Term("liquor ratio", liquor_ratio, "l_per_kg"),
                Term("water already in the fibre", fibre_water_l, "l"),
            ),
            result=Term(
                "top up with", top_up_l, "l", f"{dye_mass_g:.1f} g dye = {stock_ml / 1000:.2f} L stock"
            ),
            source="arithmetic of owf and liquor ratio",
            status=Status.PRACTICE,
        ),
    )


@dataclass(frozen=True, slots=True)
class AcidDose:
    """Acid of a given strength, as grams of pure acid and millilitres to measure."""

    pure_mass_g: float
    volume_ml: float
    words: str
    working: Working


def acid(
    *, fibre_mass_g: float, dose_frac_owf: float, strength_frac: float, density_g_per_ml: float
) -> AcidDose:
    """Acid for a dye bath: ``mL = fibre x dose / (strength x density)``; always acid into water.

    Strength is the mass share of pure acid in the product: 56 % acetic acid taken for pure acid would be
    dosed at half.
    """
    _in_range("fibre", fibre_mass_g, 0, MOST_FIBRE_G, "grams")
    _share_in_range("acid dose", dose_frac_owf, 0.2)
    _in_range("strength", strength_frac, 0.01, 1, "(1 to 100 %)")
    _in_range("density", density_g_per_ml, 0.5, 2, "g per mL")
    pure = fibre_mass_g * dose_frac_owf
    volume = pure / (strength_frac * density_g_per_ml)
    return AcidDose(
        pure_mass_g=pure,
        volume_ml=volume,
        words=f"{measured(volume)} mL at {percent(strength_frac)}, acid into water",
        working=Working(
            title="Acid",
            formula="mL = fibre × dose ÷ (strength × density)",
            inputs=(
                Term("fibre, conditioned", fibre_mass_g, "g"),
                Term("dose", dose_frac_owf, "frac", "as pure acid on the weight of fibre"),
                Term("strength", strength_frac, "frac", "by mass"),
                Term("density", density_g_per_ml, "g_cm3"),
            ),
            result=Term("acid to measure", volume, "ml"),
            source="arithmetic; strength and density from table additives or the bottle",
            status=Status.PRACTICE,
        ),
    )


def measured(amount_ml: float) -> str:
    """Millilitres, and grams alike, as they are measured: whole from 20, tenths from 2, hundredths below."""
    return f"{amount_ml:.{0 if amount_ml >= 20 else 1 if amount_ml >= 2 else 2}f}"


def dye_words(dose: DyeDose) -> str:
    """Dye and its stock solution as they are measured, however little it is."""
    stock_ml = dose.stock_volume_ml
    grams = f"{dose.dye_mass_g:.{1 if dose.dye_mass_g >= 2 else 2}f}"
    stock = f"{stock_ml / 1000:.2f} L" if stock_ml >= 1000 else f"{measured(stock_ml)} mL"
    return f"{grams} g = {stock}"


def salt_mass_g(*, fibre_mass_g: float, dose_frac_owf: float) -> float:
    """Glauber's salt [g]: ``fibre x dose`` (common practice)."""
    _in_range("salt dose", dose_frac_owf, 0, 1, "of the fibre")
    return fibre_mass_g * dose_frac_owf


MOST_FIBRE_G = 1_000_000  # a tonne at once is a typing error in a small mill


def _share_in_range(field: str, share_frac: float, most_frac: float) -> None:
    """A share of the fibre, refused in percent, as it is typed."""
    if not 0 <= share_frac <= most_frac:
        raise InputError(field, f"{share_frac * 100:g} %", f"from 0 to {most_frac * 100:g} % of the fibre")


def _in_range(field: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise InputError(field, value, f"from {low:g} to {high:g} {unit}")
