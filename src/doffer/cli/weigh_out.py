"""`doffer weigh-out`: what goes on the picker so that the finished blend is what was promised."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from doffer.cli.output import add_json_option, aligned, emit, working_lines
from doffer.cli.typed import named_numbers, number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from doffer.planning.weigh_out import Component
    from doffer.tables.loader import Tables

EXAMPLE = """\
example: 6 kg finished, labelled 50/30/20, with three regains and three losses, in six layers
  doffer weigh-out --finished-kg 6 --blend wool=50,alpaca=30,silk=20 \\
      --regain wool=14.7,alpaca=9.7,silk=9.8 --loss wool=12,alpaca=20,silk=8 --layers 6
"""
STAGES_AFTER_PICKER = ("pick", "card", "draw", "spin", "ply", "skein")
PERCENT = 100
G_PER_KG = 1000


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "weigh-out",
        help="weights for the picker, for a promised blend",
        description=(
            "Weights for the picker so that the finished blend has the promised shares at agreed regain. "
            "Regains not given are those of a room at 65 % humidity, losses not given are the usual ones "
            "from picker to skein."
        ),
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument(
        "--blend", type=named_numbers, required=True, metavar="FIBRE=PCT,...", help="shares on the label, %%"
    )
    words.add_argument(
        "--finished-kg",
        type=number(0.01, 1000),
        metavar="KG",
        help="finished weight; else as much as there is",
    )
    words.add_argument(
        "--regain", type=named_numbers, default={}, metavar="FIBRE=PCT,...", help="water now, %%"
    )
    words.add_argument(
        "--loss",
        type=named_numbers,
        default={},
        metavar="FIBRE=PCT,...",
        help="lost from here on, oven-dry, %%",
    )
    words.add_argument(
        "--on-hand",
        type=named_numbers,
        default={},
        metavar="FIBRE=KG,...",
        help="what there is, as weighed, kg",
    )
    words.add_argument(
        "--basis", default="eu_agreed", help="agreed regain: eu_agreed (usual), or another of table regain"
    )
    words.add_argument("--layers", type=int, default=1, help="layers on the picker's feed")
    words.add_argument("--working", action="store_true", help="show how each weight came about")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Compute and print the sheet."""
    from doffer.planning.layers import feed_sheet, layer_portions
    from doffer.planning.weigh_out import weigh_out
    from doffer.tables.loader import load_tables

    components = _components(args, load_tables())
    finished_g = None if args.finished_kg is None else args.finished_kg * G_PER_KG
    sheet = weigh_out(components, finished_mass_g=finished_g)
    portions = layer_portions(
        {line.name: round(line.weigh_mass_g) for line in sheet.lines}, n_layers=args.layers
    )
    data = {
        "sheet": sheet,
        "total_mass_g": sheet.total_mass_g,
        "portions_g": portions,
        "feed": feed_sheet(portions),
    }
    emit(args, data, _text(args, sheet, data))
    return 0


def _components(args: argparse.Namespace, tables: Tables) -> list[Component]:
    from doffer.errors import InputError, NotFoundError
    from doffer.fibre.moisture import agreed_regain_frac
    from doffer.planning.weigh_out import Component

    for name in (*args.blend, *args.regain, *args.loss, *args.on_hand):
        if name not in tables.fibres:
            raise NotFoundError("fibre", name, "`doffer table show fibres` lists them")
    for fibre, loss_pct in args.loss.items():
        if not 0 <= loss_pct < PERCENT:
            raise InputError(f"--loss of {fibre}", f"{loss_pct:g} %", "from 0 to below 100 %")
    return [
        Component(
            name=fibre,
            share_frac=share / PERCENT,
            actual_regain_frac=args.regain.get(fibre, tables.fibres[fibre].regain65_pct) / PERCENT,
            agreed_regain_frac=agreed_regain_frac(tables, fibre, basis=args.basis),
            loss_frac=args.loss[fibre] / PERCENT if fibre in args.loss else _usual_loss_frac(tables, fibre),
            available_mass_g=_grams(args.on_hand, fibre),
        )
        for fibre, share in args.blend.items()
    ]


def _grams(on_hand_kg: Mapping[str, float], fibre: str) -> float | None:
    return on_hand_kg[fibre] * G_PER_KG if fibre in on_hand_kg else None


def _usual_loss_frac(tables: Tables, fibre: str) -> float:
    """Share lost from picker to skein by the shipped losses (the machines' fixed grams apart)."""
    from doffer.process.losses import loss_range

    kept = 1.0
    for stage in STAGES_AFTER_PICKER:
        kept *= 1 - loss_range(tables, stage=stage, fibre=fibre).mean_frac
    return 1 - kept


def _text(args: argparse.Namespace, sheet: Any, data: dict[str, Any]) -> list[str]:
    rows = [
        (
            line.name,
            f"{line.weigh_mass_g / G_PER_KG:.3f}",
            f"{line.dry_mass_g / G_PER_KG:.3f}",
            f"{line.weighed_share_frac:.1%}",
            f"{line.label_share_frac:.1%}",
            f"{line.share_if_weighed_as_label_frac:.1%}",
        )
        for line in sheet.lines
    ]
    head = ("fibre", "weigh out kg", "oven-dry kg", "as weighed", "on the label", "label if weighed so")
    lines = [
        f"For {sheet.finished_mass_g / G_PER_KG:.3f} kg finished at agreed regain, weigh out "
        f"{sheet.total_mass_g / G_PER_KG:.3f} kg:",
        *aligned(head, rows),
    ]
    if sheet.limited_by:
        lines.append(f"{sheet.limited_by} is the limit: there is no more of it.")
    if args.layers > 1:
        lines += ["", f"In {args.layers} layers, grams each:"]
        lines += [f"  {name}: {' '.join(map(str, grams))}" for name, grams in data["portions_g"].items()]
        lines += ["", "Lay on the feed, from the bottom:"]
        lines += [f"  {layer.place:>3}  {layer.mass_g:>5} g  {layer.name}" for layer in data["feed"]]
    if args.working:
        lines += ["", "How it came about:"]
        for line in sheet.lines:
            lines += working_lines(line.working)
    return lines
