"""`doffer dose`: conditioner, wash, dye and acid for an amount of fibre."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from doffer.cli.output import add_json_option, emit, working_lines
from doffer.cli.typed import number, parts_of_water

EXAMPLE = """\
examples:
  doffer dose conditioner --kg 3.4 --pct 2 --dilution 1:4 --layers 4
  doffer dose dye --kg 2.6 --pct 1.5 --stock 1 --liquor-ratio 30
  doffer dose acid --kg 2.6 --pct 2 --product acetic_56
  doffer dose wash --kg 4 --grease low
"""
PERCENT = 100
G_PER_KG = 1000
MOST_KG = 1000


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb and of the doses below it."""
    words = verbs.add_parser(
        "dose",
        help="conditioner, wash, dye and acid doses",
        description="What goes on the fibre or into the bath. The supplier's sheet comes first.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    doses = words.add_subparsers(metavar="DOSE", required=True)
    conditioner = _dose(
        doses, "conditioner", "spinning oil and its water, for the picker's layers", _conditioner
    )
    conditioner.add_argument("--pct", type=number(0, 20), help="dose on the weight of fibre, %%")
    conditioner.add_argument(
        "--dilution", type=parts_of_water, metavar="1:N", help="one part product, N parts water"
    )
    conditioner.add_argument("--layers", type=int, default=1, help="layers it is spread over")
    dye = _dose(doses, "dye", "dye, stock solution and liquor for one kettle", _dye)
    dye.add_argument("--pct", type=number(0, 15), help="depth of shade on the weight of fibre, %%")
    dye.add_argument(
        "--stock", type=number(0.05, 20), metavar="PCT", help="strength of the stock, g in 100 mL"
    )
    dye.add_argument(
        "--liquor-ratio", type=number(5, 100), metavar="N", help="litres of bath to 1 kg of fibre"
    )
    dye.add_argument(
        "--water-in-fibre-pct",
        type=number(0, 400),
        default=0.0,
        metavar="PCT",
        help="wetted-out fibre holds this",
    )
    acid = _dose(doses, "acid", "acid for a dye bath, by its strength and density", _acid)
    acid.add_argument("--pct", type=number(0, 20), help="pure acid on the weight of fibre, %%")
    acid.add_argument(
        "--product", metavar="NAME", help="acetic_56, acetic_80 or vinegar_5 of table additives"
    )
    acid.add_argument(
        "--strength-pct", type=number(1, 100), metavar="PCT", help="strength on the bottle, by mass"
    )
    acid.add_argument("--density", type=number(0.5, 2), metavar="G_PER_ML", help="density on the bottle")
    wash = _dose(doses, "wash", "detergent and baths for greasy fibre", _wash)
    wash.add_argument("--grease", choices=("low", "greasy"), default="greasy", help="how much grease it has")
    wash.add_argument(
        "--liquor-ratio", type=number(5, 100), metavar="N", help="litres of bath to 1 kg of fibre"
    )


def _dose(
    doses: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    text: str,
    act: Callable[[argparse.Namespace, Any], Any],
) -> argparse.ArgumentParser:
    words = doses.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
    words.add_argument(
        "--kg", type=number(0, MOST_KG), required=True, help="fibre, conditioned (wash: greasy), kg"
    )
    add_json_option(words)
    words.set_defaults(run=run, act=act)
    return words


def run(args: argparse.Namespace) -> int:
    """Compute one dose and print it with its working."""
    from doffer.tables.loader import load_tables

    dose, sentence = args.act(args, load_tables())
    emit(args, dose, [sentence, *working_lines(dose.working, indent="  ")])
    return 0


def _usual(given: float | None, tables: Any, key: str) -> float:
    """What was typed, else the usual figure of table additives."""
    return float(tables.additives[key].value) if given is None else given


def _conditioner(args: argparse.Namespace, tables: Any) -> tuple[Any, str]:
    from doffer.process.doses import conditioner

    dose = conditioner(
        fibre_mass_g=args.kg * G_PER_KG,
        dose_frac_owf=_usual(args.pct, tables, "conditioner/dose") / PERCENT,
        water_parts=_usual(args.dilution, tables, "conditioner/water_parts"),
        n_layers=args.layers,
    )
    layers = f"; on {args.layers} layers: {' '.join(map(str, dose.layers_g))} g" if args.layers > 1 else ""
    return dose, (
        f"{dose.product_mass_g:.0f} g product + {dose.water_mass_g:.0f} g water = {dose.spray_mass_g:.0f} g "
        f"({dose.words}; {dose.wet_pickup_frac:.0%} of the fibre){layers}."
    )


def _dye(args: argparse.Namespace, tables: Any) -> tuple[Any, str]:
    from doffer.process.doses import dye, dye_words

    dose = dye(
        fibre_mass_g=args.kg * G_PER_KG,
        depth_frac_owf=_usual(args.pct, tables, "dye/depth") / PERCENT,
        stock_g_per_100ml=_usual(args.stock, tables, "dye/stock_strength"),
        liquor_ratio=_usual(args.liquor_ratio, tables, "dye_bath/liquor_ratio"),
        wet_pickup_frac=args.water_in_fibre_pct / PERCENT,
    )
    return dose, (
        f"Dye {dye_words(dose)} of stock solution in "
        f"{dose.liquor_volume_l:.1f} L of liquor: top up with {dose.top_up_volume_l:.2f} L water."
    )


def _acid(args: argparse.Namespace, tables: Any) -> tuple[Any, str]:
    from doffer.errors import InputError
    from doffer.process.doses import acid, measured

    strength, density = args.strength_pct, args.density
    if args.product:
        names = (f"{args.product}/strength", f"{args.product}/density")
        if any(name not in tables.additives for name in names):
            raise InputError(
                "product",
                args.product,
                "acetic_56, acetic_80 or vinegar_5, or give --strength-pct and --density",
            )
        strength, density = (
            _usual(g, tables, name) for g, name in zip((strength, density), names, strict=True)
        )
    if strength is None or density is None:
        raise InputError("acid", None, "named by --product, or described by --strength-pct and --density")
    dose = acid(
        fibre_mass_g=args.kg * G_PER_KG,
        dose_frac_owf=_usual(args.pct, tables, "acid/dose") / PERCENT,
        strength_frac=strength / PERCENT,
        density_g_per_ml=density,
    )
    return dose, f"{measured(dose.volume_ml)} mL ({measured(dose.pure_mass_g)} g pure acid): {dose.words}."


def _wash(args: argparse.Namespace, tables: Any) -> tuple[Any, str]:
    from doffer.process.doses import scour

    kind = "detergent_greasy" if args.grease == "greasy" else "detergent_low_grease"
    dose = scour(
        raw_mass_g=args.kg * G_PER_KG,
        detergent_frac=_usual(None, tables, f"{kind}/dose") / PERCENT,
        liquor_ratio=_usual(args.liquor_ratio, tables, "wash_bath/liquor_ratio"),
        n_baths=round(_usual(None, tables, "wash_bath/baths")),
        n_rinses=round(_usual(None, tables, "wash_bath/rinses")),
    )
    baths = " + ".join(map(str, dose.baths_g))
    return dose, (
        f"{dose.detergent_mass_g:.0f} g detergent ({baths} g over {len(dose.baths_g)} baths of "
        f"{dose.bath_volume_l:.0f} L), then {dose.n_rinses} rinses."
    )
