"""`doffer shade`: predict a blend, find a recipe, correct an off-shade batch, calibrate, read spectra."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from doffer.cli.mills import add_mill_option
from doffer.cli.output import add_json_option, aligned, emit
from doffer.cli.shade_files import calibrate, calibrate_words, read, read_words
from doffer.cli.shade_words import TELLABLE_DE, Fibre, Outfit, far, find_outfit, lab_text, spectra_word
from doffer.cli.typed import number

if TYPE_CHECKING:
    from doffer.planning.shade.correct import Correction
    from doffer.planning.shade.other_models import OtherAnswer
    from doffer.planning.shade.target import Recipe, Stock

EXAMPLE = """\
examples: four greens and a yellow (colours as L,a,b under D65/10, weights oven-dry)
  doffer shade correct --target 46.6,-20.9,19.2 --tolerance 1.2 \\
      --lot L027=46,-22,18:0.96kg --lot L028=42,-24,14:0.83kg --stock L031=74,4,58:1.72kg
  doffer shade predict --lot white=84,0,9:2kg --lot navy=22,3,-24:1kg
  doffer shade find --mill demo --shade Fern --batch-kg 2
  doffer shade calibrate --spectra pads.csv --blend white=50,black=50:mix1 --blend white=50,red=50:mix2
  doffer shade read pads.cxf --mill demo
"""
G_PER_KG = 1000
CG_PER_G = 100
PERCENT = 100
MODELS = ("stearns_noechel", "friele", "kubelka_munk", "plain_average")


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb and of those below it."""
    words = verbs.add_parser(
        "shade",
        help="colour of blends: predict, find a recipe, correct a batch",
        description="Colour of blends of dyed lots. Every recipe begins with a trial card that is measured.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    acts = words.add_subparsers(metavar="ACT", required=True)
    predict = _act(acts, "predict", "the colour of a blend, and how wrong that may be", _predict)
    _colour_words(predict)
    _lots(predict, "--lot", "in the blend")
    find = _act(acts, "find", "recipes from stock for a shade", _find)
    _colour_words(find)
    _lots(find, "--stock", "that may go in (with --mill: all of one fibre, unless named)")
    find.add_argument("--batch-kg", type=number(0.01, 1000), required=True, help="oven-dry weight, kg")
    find.add_argument("--most-lots", type=int, default=4, metavar="N", help="lots in a recipe, at most 5")
    find.add_argument("--must", action="append", default=[], metavar="LOT", help="lot that must be in it")
    find.add_argument("--never", action="append", default=[], metavar="LOT", help="lot that is left out")
    correct = _act(acts, "correct", "what to add to an off-shade batch", _correct)
    _colour_words(correct)
    _lots(correct, "--lot", "that must all go in")
    _lots(
        correct, "--stock", "that may be added (with --mill: all free of its fibre and owner, unless named)"
    )
    correct.add_argument(
        "--most-added-pct", type=number(0.1, 200), default=50.0, metavar="PCT", help="of the batch"
    )
    calibrate_words(_act(acts, "calibrate", "the mixing constant from sample blends", calibrate))
    read_words(_act(acts, "read", "spectra of a file (CGATS, CxF3 or CSV)", read))


def _act(
    acts: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    text: str,
    act: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    words = acts.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
    words.add_argument("--observer", type=int, choices=(2, 10), default=10, help="observer, degrees")
    add_mill_option(words)
    add_json_option(words)
    words.set_defaults(run=act)
    return words


def _colour_words(words: argparse.ArgumentParser) -> None:
    words.add_argument("--target", metavar="L,a,b", help="wanted colour, or its name in a spectra file")
    words.add_argument("--shade", metavar="NAME", help="wanted standard shade of the mill (with --mill)")
    words.add_argument(
        "--tolerance",
        type=number(0.05, 20),
        metavar="DE",
        help="CIEDE2000 on shade; else as the shade says",
    )
    words.add_argument("--model", choices=MODELS, help="blend model; else the one in use")
    words.add_argument("--m", type=number(0.01, 0.95), help="mixing constant M, if you know your own")
    words.add_argument("--ln-m-sd", type=number(0, 2), metavar="SD", help="standard error of ln M")
    spectra_word(words)
    words.add_argument(
        "--regain-pct",
        type=number(0, 40),
        metavar="PCT",
        help="water in the lots, for weights as weighed",
    )


def _lots(words: argparse.ArgumentParser, flag: str, text: str) -> None:
    words.add_argument(
        flag, action="append", default=[], metavar="NAME=L,a,b:KG", help=f"lot {text}, oven-dry weight"
    )


def _predict(args: argparse.Namespace) -> int:
    import numpy as np

    from doffer.errors import InputError
    from doffer.fibre.colour.predict import compare_models, usual_mixings
    from doffer.fibre.colour.spectrum import light
    from doffer.fibre.colour.words import difference_words
    from doffer.planning.shade.target import target_from_lab
    from doffer.planning.shade.tell import band_of, labs_under
    from doffer.planning.shade.trial import trial_card_cg

    outfit = find_outfit(args, needs_target=False)
    lots = outfit.fibres(args.lot, "--lot")
    if not lots:
        raise InputError("--lot", None, "given once for each lot in the blend")
    spectra, masses_g = _spectra(lots), np.array([lot.dry_mass_g for lot in lots])
    shares = masses_g / masses_g.sum()
    seen_in = light(outfit.tables, "D65", observer_deg=args.observer)
    target = outfit.target or target_from_lab(np.zeros(3), seen_in)  # without a wish only the Lab is told
    wanted = target.labs[0] if outfit.target else None
    lab = labs_under(spectra, shares, target, outfit.ways)[0]
    answers = compare_models(
        spectra,
        shares,
        seen_in,
        mixings=usual_mixings(outfit.tables, outfit.ways.mixing),
        standard_lab=wanted,
        constants=_tints(outfit, [lot.name for lot in lots]),
        formula=target.formula,
    )
    band = band_of(spectra, shares, target, outfit.ways)
    card = trial_card_cg(tuple(float(x) for x in shares), card_g=outfit.ways.trial_card_g)
    error = _printed_error(outfit)
    data = {
        "lab": lab,
        "shares": {lot.name: float(x) for lot, x in zip(lots, shares, strict=True)},
        "de_to_target": answers[0].de_to_standard,
        "words": () if wanted is None else difference_words(wanted, lab, least_de=TELLABLE_DE),
        "band": {"lab_low_m": band.lab_low_m, "lab_high_m": band.lab_high_m, "moved_de": band.moved_de}
        if band
        else None,
        "models": answers,
        "published_error": error,
        "model": outfit.ways.mixing.model,
        "left_out_de": outfit.ways.left_out_de,
        "error_words": _error_words(outfit, lots),
        "trial_card_g": _card(lots, card),
    }
    emit(args, data, _predict_text(data, outfit))
    return 0


def _predict_text(data: dict[str, Any], outfit: Outfit) -> Iterator[str]:
    yield f"Blend: {lab_text(data['lab'])} under D65, shares " + ", ".join(
        f"{name} {share:.1%}" for name, share in data["shares"].items()
    )
    if data["de_to_target"] is not None:
        yield f"{outfit.formula} to the target: {far(data['de_to_target'])}{_in_words(data['words'])}."
    yield _model_words(outfit)
    yield data["error_words"]
    if data["band"]:
        yield f"W{_m_text(outfit)[1:]} the colour may move by {data['band']['moved_de']:.1f}."
    rows = [
        (one.model.replace("_", " "), lab_text(one.lab), f"{one.de_to_first:.1f}") for one in data["models"]
    ]
    yield from aligned(("model", "Lab", "from the first"), rows)
    yield from _card_text(data["trial_card_g"])


def _find(args: argparse.Namespace) -> int:
    from doffer.planning.shade.missing import what_is_missing
    from doffer.planning.shade.search import search_recipes
    from doffer.planning.shade.target import Rules
    from doffer.planning.shade.tell import surest_first

    outfit = find_outfit(args, needs_target=True)
    named = outfit.fibres(args.stock, "--stock")
    outfit = outfit.with_owners_of(named)
    lots = named or outfit.everything(args.must)
    stock = _stock(lots)
    rules = Rules(
        batch_dry_mass_g=args.batch_kg * G_PER_KG,
        owners=outfit.owners,
        most_lots=args.most_lots,
        required=frozenset(args.must),
        forbidden=frozenset(args.never),
    )
    recipes = surest_first(search_recipes(outfit.target, stock, rules, outfit.ways), outfit.tables)
    missing = what_is_missing(
        outfit.target, stock, rules, outfit.ways, recipes, tolerance_de=outfit.tolerance_de
    )
    emit(
        args,
        {
            "model": outfit.ways.mixing.model,
            "recipes": recipes,
            "missing": missing,
            "tolerance_de": outfit.tolerance_de,
            "formula": outfit.formula,
            "error_words": (error_words := _error_words(outfit, lots)),
        },
        _find_text(recipes, missing, rules, outfit, error_words),
    )
    return 0


def _find_text(
    recipes: tuple[Recipe, ...], missing: Any, rules: Any, outfit: Outfit, error_words: str
) -> Iterator[str]:
    rows = [
        (
            place,
            far(recipe.de["D65"], outfit.tolerance_de),
            far(recipe.band.de_high) if recipe.band and recipe.band.de_high is not None else "",
            ", ".join(
                f"{lot} {share * rules.batch_dry_mass_g:.0f} g"
                for lot, share in zip(recipe.lots, recipe.shares, strict=True)
            ),
        )
        for place, recipe in enumerate(recipes, start=1)
    ]
    yield _model_words(outfit)
    worst = f"at worst {_m_text(outfit)}" if outfit.ways.has_m else ""
    yield from aligned(("", outfit.formula, worst, "oven-dry grams"), rows)
    yield error_words
    if missing is not None:
        least = far(missing.de, outfit.tolerance_de)
        yield (
            f"None is within {outfit.tolerance_de:g}. Even all lots together stay {least} off"
            + (f"; what is missing is {', '.join(missing.words)}." if missing.words else ".")
        )
    if recipes:
        yield from _card_text(dict(zip(recipes[0].lots, _grams(recipes[0].trial_card_cg), strict=True)))
    if outfit.is_lab_only:
        yield "The target is known as one Lab: nothing can be said of how it looks in other light."


def _correct(args: argparse.Namespace) -> int:
    from doffer.errors import InfeasibleError, InputError
    from doffer.planning.shade.correct import Batch, correct_batch
    from doffer.planning.shade.other_models import other_answers
    from doffer.planning.shade.sub_lots import sub_lots_together

    outfit = find_outfit(args, needs_target=True)
    lots, stock_lots = outfit.fibres(args.lot, "--lot"), outfit.fibres(args.stock, "--stock")
    if not lots:
        raise InputError("--lot", None, "given: what is off shade and must all go in")
    if not stock_lots:
        stock_lots = outfit.may_be_added(lots)
    if not stock_lots:
        raise InputError("--stock", None, "given: what may be added, or a mill that has fibre free")
    outfit = outfit.with_owners_of([*lots, *stock_lots])
    spectra, masses_g = _spectra(lots), _masses(lots)
    together = sub_lots_together(spectra, masses_g, target=outfit.target, mixing=outfit.ways.mixing)
    batch, stock = Batch(spectra, masses_g), _stock(stock_lots)
    most = args.most_added_pct / PERCENT
    found = correct_batch(
        batch,
        target=outfit.target,
        stock=stock,
        owners=outfit.owners,
        ways=outfit.ways,
        tolerance_de=outfit.tolerance_de,
        most_added_frac=most,
    )
    if not found:
        raise InfeasibleError(
            "This correction", "nothing in the stock may be added", "Name other lots with --stock"
        )
    best = found[0]
    names = [lot.name for lot in lots]
    data = {
        "formula": outfit.formula,
        "model": outfit.ways.mixing.model,
        "tolerance_de": outfit.tolerance_de,
        "alone_de": dict(zip(names, together.alone_de, strict=True)),
        "together_de": together.de_to_target,
        "without_de": dict(zip(names, together.without_de, strict=True)),
        "corrections": found,
        "total_dry_mass_g": batch.total_dry_mass_g + best.total_added_dry_mass_g,
        "trial_card_g": dict(zip([*names, *best.lots], _grams(best.trial_card_cg), strict=True)),
        "if_the_model_is_wrong": other_answers(
            batch,
            best,
            target=outfit.target,
            stock=stock,
            owners=outfit.owners,
            ways=outfit.ways,
            tolerance_de=outfit.tolerance_de,
            most_added_frac=most,
        ),
        "release": "refused until the trial card was measured",
    }
    emit(args, data, _correct_text(args, data, outfit))
    return 0


def _correct_text(args: argparse.Namespace, data: dict[str, Any], outfit: Outfit) -> Iterator[str]:
    best = data["corrections"][0]
    alone = ", ".join(f"{name} {far(de, outfit.tolerance_de)}" for name, de in data["alone_de"].items())
    yield _model_words(outfit)
    together = far(data["together_de"], outfit.tolerance_de)
    yield f"{outfit.formula} to the target, alone: {alone}; all together {together}."
    yield (
        f"Add {_added_text(best, args.regain_pct)}: then {far(best.de_after, outfit.tolerance_de)}, "
        f"{data['total_dry_mass_g'] / G_PER_KG:.2f} kg oven-dry in all."
    )
    if best.low_factor is None:
        yield f"Even so it does not come within {outfit.tolerance_de:g}: the stock cannot make this shade."
    else:
        total_kg = best.total_added_dry_mass_g / G_PER_KG
        yield (
            f"From {best.low_factor * total_kg:.2f} to {best.high_factor * total_kg:.2f} kg it stays within "
            f"{outfit.tolerance_de:g}."
        )
    yield "If the model is wrong:"
    rows = [
        (
            _model_text(row, outfit),
            ", ".join(f"{lot} {grams / G_PER_KG:.2f} kg" for lot, grams in row.added_dry_mass_g.items()),
            "" if row.this_plan_then_off_de is None else f"{row.this_plan_then_off_de:.1f}",
        )
        for row in data["if_the_model_is_wrong"]
    ]
    yield from aligned(("if true", "it would say: add", "and this plan is off by"), rows)
    yield from _card_text(data["trial_card_g"])
    yield "The full mix is not released before the trial card was measured."


def _error_words(outfit: Outfit, lots: list[Fibre]) -> str:
    """How far off the answer may be: by the model, or by the lots' readings where that is more."""
    lots_de = max((lot.error_de for lot in lots), default=0.0)
    return outfit.ways.error_words(outfit.tables, lots_de=lots_de)


def _model_words(outfit: Outfit) -> str:
    """Which model the answer is of."""
    mixing = outfit.ways.mixing
    constant = f", constant {mixing.constant:.3g}" if mixing.constant else ""
    return f"Model: {mixing.model.replace('_', ' ')}{constant}."


def _tints(outfit: Outfit, names: list[str]) -> Any:
    """Absorption and scattering of the mill's lots, where tints of all are known."""
    if outfit.bench is None:
        return None
    from doffer.mill.tints import constants_of

    return constants_of(names, outfit.bench.tints)


def _printed_error(outfit: Outfit) -> object:
    """What was printed of the model's errors; None where nothing was."""
    from doffer.errors import InputError
    from doffer.fibre.colour.predict import published_error

    try:
        return published_error(outfit.tables, str(outfit.ways.mixing.model))
    except InputError:
        return None


def _model_text(row: OtherAnswer, outfit: Outfit) -> str:
    if row.model == "without_spectra" and not outfit.ways.has_m:
        return "the same model, without spectra"
    if row.model == "without_spectra":
        return f"M {row.m:.2f}, without spectra"
    return "plain averaging" if row.m is None else f"M {row.m:.2f}"


def _added_text(best: Correction, regain_pct: float | None) -> str:
    parts = []
    for lot, grams in zip(best.lots, best.added_dry_mass_g, strict=True):
        weighed = ""
        if regain_pct is not None:
            weighed = f" ({grams / G_PER_KG * (1 + regain_pct / PERCENT):.2f} kg as weighed)"
        parts.append(f"{grams / G_PER_KG:.2f} kg oven-dry of {lot}{weighed}")
    return " and ".join(parts)


def _spectra(lots: list[Fibre]) -> Any:
    import numpy as np

    return np.stack([lot.reflectance for lot in lots])


def _masses(lots: list[Fibre]) -> Any:
    import numpy as np

    return np.array([lot.dry_mass_g for lot in lots])


def _stock(lots: list[Fibre]) -> Stock:
    import numpy as np

    from doffer.errors import InfeasibleError
    from doffer.planning.shade.target import Stock

    if not lots:
        raise InfeasibleError("This shade", "there is no lot to choose from", "Name some with --stock")
    return Stock(
        names=tuple(lot.name for lot in lots),
        reflectance=_spectra(lots),
        dry_mass_g=_masses(lots),
        owner=tuple(lot.owner for lot in lots),
        cost_cents_per_kg=np.zeros(len(lots)),
    )


def _grams(hundredths: tuple[int, ...]) -> list[float]:
    return [amount / CG_PER_G for amount in hundredths]


def _card(lots: list[Fibre], hundredths: tuple[int, ...]) -> dict[str, float]:
    return dict(zip([lot.name for lot in lots], _grams(hundredths), strict=True))


def _card_text(grams: dict[str, float]) -> Iterator[str]:
    amounts = ", ".join(f"{lot} {amount:.2f} g" for lot, amount in grams.items())
    yield f"Trial card first, {sum(grams.values()):g} g: {amounts}. Card it by hand, dry, measure."


def _in_words(words: tuple[str, ...]) -> str:
    return f" ({', '.join(words)})" if words else ""


def _m_text(outfit: Outfit) -> str:
    if outfit.is_m_typed:
        return f"with M {outfit.ways.mixing.constant:g} as typed"
    whose = "your own M" if outfit.ways.is_fitted else "M not your own"
    return f"with {whose}"
