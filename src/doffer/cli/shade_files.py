"""`doffer shade calibrate` and `doffer shade read`: what the instrument's files say."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from doffer.cli.mills import acting_owner, open_records
from doffer.cli.output import aligned, emit
from doffer.cli.shade_words import BlendWord, blend_word, lab_text, spectra_by_name, spectra_word
from doffer.cli.typed import whole_numbers


def calibrate_words(words: argparse.ArgumentParser) -> None:
    spectra_word(words)
    words.add_argument(
        "--blend",
        type=blend_word,
        action="append",
        default=[],
        metavar="A=50,B=50:NAME",
        help="sample blend: lots with their parts, and its name in the spectra files",
    )
    words.add_argument("--fibre", default="wool", help="with --mill: of this fibre")
    words.add_argument("--form", default="loose", help="with --mill: loose, roving or yarn")
    words.add_argument("--keep", action="store_true", help="with --mill: use the constant from now on")


def read_words(words: argparse.ArgumentParser) -> None:
    words.add_argument("file", type=Path, help="the instrument's file")
    words.add_argument("--keep", action="store_true", help="with --mill: keep them as readings of the lots")
    words.add_argument("--drop", type=whole_numbers, default=(), metavar="N,N", help="places to leave out")
    words.add_argument("--form", default="loose", help="loose, roving or yarn")
    words.add_argument("--geometry", default="", help="such as 45/0 or d/8, if the file does not say it")
    words.add_argument("--wet", action="store_true", help="the fibre was wet")
    words.add_argument("--behind-glass", action="store_true", help="it was read through glass")


def calibrate(args: argparse.Namespace) -> int:
    if args.mill:
        return _calibrate_mill(args)
    import numpy as np

    from doffer.errors import InputError
    from doffer.fibre.colour.calibrate import Observation, fit_m
    from doffer.fibre.colour.spectrum import light
    from doffer.tables.loader import load_tables

    known = spectra_by_name(args.spectra)
    observations = []
    for blend in args.blend:
        shares = np.array(list(blend.parts.values()))
        if len(shares) < 2 or not (shares > 0).all():
            raise InputError(f"parts of {blend.name}", f"{blend.parts}", "two lots or more, each above zero")
        observations.append(
            Observation(
                shares / shares.sum(), np.stack([known(name) for name in blend.parts]), known(blend.name)
            )
        )
    fit = fit_m(observations, light(load_tables(), "D65", observer_deg=args.observer))
    data = {
        "m": fit.m,
        "m_low": fit.m_low,
        "m_high": fit.m_high,
        "ln_m_se": fit.ln_m_se,
        "n_blends": len(observations),
        "residual_de": float(fit.residual_de.mean()),
        "left_out_de": float(fit.left_out_de.mean()),
        "is_settled": fit.is_settled,
    }
    emit(args, data, _fit_text(data, args.blend))
    return 0


def _calibrate_mill(args: argparse.Namespace) -> int:
    """Fit to the sample blends of the mill; without `--keep` only say what is there."""
    open_records(args)
    from doffer.mill.queries.recipes import mixing_fits, sample_blends

    if args.keep:
        from doffer.mill.commands.samples import fit_mixing
        from doffer.mill.queries.samples import mixing_book

        fit = fit_mixing(acting_owner(), fibre=args.fibre, form=args.form)
        data = {name: getattr(fit, name) for name in fit.__slots__}
        book = mixing_book(args.fibre, args.form)
        m_now, left_out = book.m_now, book.n_samples - fit.n_blends
        counts = (
            f"The bench counts with M {m_now:.3f} from now on: the fit, drawn towards the printed figure."
        )
        kept_out = [f"{left_out} of the samples stay out of it."] if left_out else []
        emit(
            args, {**data, "m_now": m_now, "n_left_out": left_out}, [*_fit_text(data, []), *kept_out, counts]
        )
        return 0
    samples, fits = sample_blends(fibre=args.fibre, form=args.form).rows, mixing_fits(fibre=args.fibre)
    lines = [f"{len(samples)} sample blends of {args.fibre}, {args.form}; --keep fits M to them."]
    lines += [f"M {fit.m:.3f} from {fit.n_blends} blends is in use." for fit in fits[:1]]
    emit(args, {"samples": samples, "fits": fits}, lines)
    return 0


def _fit_text(data: dict[str, Any], blends: list[BlendWord]) -> Iterator[str]:
    yield f"M {data['m']:.3f}, about 95 %: {data['m_low']:.3f} to {data['m_high']:.3f}."
    names = ": " + ", ".join(blend.name for blend in blends) if blends else ""
    yield f"{data['n_blends']} sample blends{names}."
    yield (
        f"CIEDE2000 after the fit {data['residual_de']:.1f}, for a blend that was left out of it "
        f"{data['left_out_de']:.1f}."
    )
    if not data.get("is_settled", True):
        yield (
            "These samples do not settle it, and the figure is not to be used: make four to eight of the "
            "darkest with the lightest lot, half and half."
        )


def read(args: argparse.Namespace) -> int:
    from doffer.errors import RefusedError
    from doffer.exchange.spectra import read_spectra_file

    if args.keep and not args.mill:
        raise RefusedError("No reading was kept", ("no mill is named",), "Name it with --mill")
    spectra = read_spectra_file(args.file)
    if args.mill:
        return _read_into(args)
    from doffer.fibre.colour.spectrum import ILLUMINANTS, lab_of_reflectance, light
    from doffer.tables.loader import load_tables

    tables = load_tables()
    labs = {
        name: lab_of_reflectance(spectra.reflectance, light(tables, name, observer_deg=args.observer))
        for name in ILLUMINANTS
    }
    data = {
        "names": spectra.names,
        "labs": labs,
        "reflectance": spectra.reflectance,
        "facts": spectra.facts,
        "remarks": spectra.remarks,
    }
    rows = [
        (name, *(lab_text(labs[light_name][place]) for light_name in ("D65", "A", "LED-B3")))
        for place, name in enumerate(spectra.names)
    ]
    emit(args, data, [*spectra.remarks, *aligned(("name", "D65", "A", "LED-B3"), rows)])
    return 0


def _read_into(args: argparse.Namespace) -> int:
    """Show which lot every spectrum is taken for, and keep them when asked to."""
    from doffer.cli.import_file import all_pages

    open_records(args)
    from doffer.exchange.readings import preview_readings, sittings_of
    from doffer.mill.commands.readings import record_file
    from doffer.mill.queries.lots import list_lots
    from doffer.mill.queries.tables import current_tables

    lots = [row.code for row in all_pages(list_lots, standing="all")]
    preview = preview_readings(
        args.file.read_bytes(), args.file.name, lots=lots, tables=current_tables(), observer_deg=args.observer
    )
    kept: tuple[Any, ...] = ()
    if args.keep:
        found = sittings_of(
            preview,
            drop=args.drop,
            form=args.form,
            is_wet=args.wet,
            is_behind_glass=args.behind_glass,
            geometry=args.geometry,
            observer_deg=args.observer,
        )
        kept = record_file(acting_owner(), found, file_name=args.file.name)
    rows = [
        (line.number, line.name, line.lot or "no lot", lab_text(line.lab), " ".join(line.sentences))
        for line in preview.lines
    ]
    lines = [*preview.remarks, *aligned(("", "name", "lot", "D65", "what was said of it"), rows)]
    are = "sitting is" if len(kept) == 1 else "sittings are"
    lines.append(f"{len(kept)} {are} kept." if kept else "Nothing was kept (--keep does that).")
    emit(args, {"lines": preview.lines, "remarks": preview.remarks, "kept": kept}, lines)
    return 0 if kept or not preview.n_refused else 1
