"""What the shade verbs are given: lots as words, spectra files or a mill's records, the target, the model."""

from __future__ import annotations

import argparse
import dataclasses
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from doffer.cli.typed import named_numbers

if TYPE_CHECKING:
    from doffer.fibre.colour.verdict import Tolerance
    from doffer.mill.queries.bench import Bench
    from doffer.planning.shade.target import Target
    from doffer.planning.shade.ways import ShadeWays
    from doffer.tables.loader import Tables

OWN = "own"
G_PER_KG = 1000
READ_LAB = "any/error_mean/read_lab"  # row of table colour_models


@dataclass(frozen=True, eq=False, slots=True)
class Fibre:
    """A lot with its spectrum, oven-dry mass [g], owner, and what its reading lets a prediction be off by."""

    name: str
    reflectance: Any
    dry_mass_g: float
    owner: str = OWN
    error_de: float = 0.0


@dataclass(frozen=True, slots=True)
class BlendWord:
    """A sample blend as typed: parts by lot, and the name of its spectrum."""

    parts: dict[str, float]
    name: str


def blend_word(text: str) -> BlendWord:
    """`white=50,black=50:mix1`."""
    parts, colon, name = text.rpartition(":")
    if not colon or not name.strip():
        raise argparse.ArgumentTypeError(f"“{text}” must look like white=50,black=50:mix1")
    return BlendWord(named_numbers(parts), name.strip())


def spectra_by_name(files: Sequence[Path]) -> Callable[[str], Any]:
    """A look-up of spectra by name in some files; NotFoundError for a name in none of them."""
    from doffer.errors import NotFoundError
    from doffer.exchange.spectra import read_spectra_file

    found: dict[str, Any] = {}
    for path in files:
        spectra = read_spectra_file(path)
        found.update(zip(spectra.names, spectra.reflectance, strict=True))

    def known(name: str) -> Any:
        if name not in found:
            hint = f"There are {', '.join(found)}" if found else "Name a file with --spectra"
            raise NotFoundError("spectrum", name, hint)
        return found[name]

    return known


@dataclass(frozen=True, eq=False, slots=True)
class Outfit:
    """Everything a shade verb works with.

    `target` is None where none is wanted; `is_lab_only` says that it is known under one light only.
    """

    tables: Tables
    ways: ShadeWays
    target: Target | None
    tolerance_de: float
    owners: frozenset[str]
    observer_deg: int
    bench: Bench | None
    spectrum: Callable[[str], Any]
    is_m_typed: bool = False

    @property
    def formula(self) -> str:
        """What differences are counted in: the formula of the tolerance."""
        return "CIEDE2000" if self.target is None else self.target.formula.name_in_print

    @property
    def is_lab_only(self) -> bool:
        """Nothing can be said of other lights."""
        return self.target is not None and not self.target.has_spectrum

    def with_owners_of(self, lots: Sequence[Fibre]) -> Outfit:
        """The same, for fibre of the owner of these lots alone, or of those who agreed to all of them.

        Raises
        ------
        RefusedError
            Lots of two owners without their recorded yes.
        """
        from doffer.errors import RefusedError

        owners = {lot.owner for lot in lots}
        if self.bench is not None and len(owners) > 1:
            names = {lot.name for lot in lots}
            if not any(names <= set(one.lots) for one in self.bench.agreements):
                whose = tuple(f"{lot.name} is {self._whose(lot.name)}" for lot in lots)
                mend = "Name lots of one owner, or record on the bench that the owners agreed"
                raise RefusedError("Fibre of two owners does not go into one blend", whose, mend)
        return dataclasses.replace(self, owners=frozenset(owners) or self.owners)

    def _whose(self, code: str) -> str:
        found = [lot for lot in self.bench.lots if lot.code == code] if self.bench else []
        return f"fibre of {found[0].owner_name}" if found and not found[0].is_own else "the mill's own"

    def everything(self, also: Sequence[str] = ()) -> list[Fibre]:
        """Every usable lot on the mill's bench of the fibre of most of them, and those named."""
        if self.bench is None:
            return []
        kind = {lot.code: lot.fibre for lot in self.bench.lots if lot.is_usable}
        every = [self._of_bench(code, None) for code in kind]
        counted = Counter(kind[one.name] for one in every if one.owner in self.owners)
        most = counted.most_common(1)[0][0] if counted else ""
        return [one for one in every if kind[one.name] == most or one.name in also]

    def may_be_added(self, to: Sequence[Fibre]) -> list[Fibre]:
        """Every usable lot on the mill's bench of the fibre and owner of some lots, but not those."""
        if self.bench is None:
            return []
        names = {lot.name for lot in to}
        here = [lot for lot in self.bench.lots if lot.is_usable and lot.free_dry_g > 0]
        kinds = {(lot.fibre, lot.owner) for lot in here if lot.code in names}
        more = [lot.code for lot in here if (lot.fibre, lot.owner) in kinds and lot.code not in names]
        return [self._of_bench(code, None) for code in more]

    def fibres(self, typed: Sequence[str], flag: str) -> list[Fibre]:
        """Lots from words such as `L027=46,-22,18:0.96kg`, `white:2kg` or, with a mill, `L027`.

        Raises
        ------
        InputError
            A word that lacks its colour or weight, or a lot that is named twice.
        """
        from doffer.errors import InputError

        lots = [self._fibre(text, flag) for text in typed]
        if len({lot.name for lot in lots}) < len(lots):
            raise InputError(flag, ", ".join(lot.name for lot in lots), "each lot once")
        return lots

    def _fibre(self, text: str, flag: str) -> Fibre:
        from doffer.errors import InputError
        from doffer.exchange.lab import parse_lab
        from doffer.exchange.quantities import parse_mass_g

        words, _, mass = text.partition(":")
        name, sign, colour = (piece.strip() for piece in words.partition("="))
        if not name:
            raise InputError(flag, text, "a lot such as L027=46,-22,18:0.96kg")
        mass_g = parse_mass_g(mass, f"weight of {name}", unit="kg") if mass else None
        if self.bench is not None and not sign:
            return self._of_bench(name, mass_g)
        if mass_g is None or mass_g <= 0:
            raise InputError(f"weight of {name}", mass, "given behind a colon, such as L027=46,-22,18:0.96kg")
        if not sign:
            return Fibre(name, self.spectrum(name), mass_g)
        spectrum = self._recovered(parse_lab(colour, f"colour of {name}"))
        return Fibre(name, spectrum, mass_g, error_de=self.tables.colour_models[READ_LAB].value)

    def _of_bench(self, code: str, mass_g: float | None) -> Fibre:
        from doffer.errors import RefusedError
        from doffer.mill.queries.bench import spectra

        assert self.bench is not None
        lot = self.bench.lot(code)
        if not lot.is_usable:
            raise RefusedError(
                f"{code} cannot go into a blend", lot.why_not, "Read it again, or leave it out"
            )
        grams = lot.free_dry_g if mass_g is None else mass_g
        error_de = 0.0 if lot.kind == "spectrum" else lot.error_de or 0.0
        return Fibre(code, spectra([lot])[0], grams, OWN if lot.is_own else lot.owner, error_de)

    def _recovered(self, lab: tuple[float, float, float]) -> Any:
        import numpy as np

        from doffer.fibre.colour.recover import recover_reflectance
        from doffer.fibre.colour.spectrum import light

        seen_in = light(self.tables, "D65", observer_deg=self.observer_deg)
        return recover_reflectance(np.array([lab]), seen_in).reflectance[0]


def find_outfit(args: argparse.Namespace, *, needs_target: bool) -> Outfit:
    """Tables, model, target and records as the words say.

    Raises
    ------
    InputError
        No target where one is needed, or a shade without a mill.
    """
    from doffer.errors import InputError
    from doffer.fibre.colour.verdict import Formula, Tolerance, usual_tolerance
    from doffer.planning.shade.ways import by_model, usual_ways
    from doffer.tables.loader import load_tables

    if args.shade and not args.mill:
        raise InputError("--shade", args.shade, "used with --mill, or give the colour with --target")
    known = spectra_by_name(args.spectra)
    bench, tables, ways, target, tolerance = None, load_tables(), None, None, None
    if args.mill:
        bench, tables, target, tolerance = _of_mill(args)
        ways = bench.ways
    ways = _own_m(args, ways or usual_ways(tables))
    if args.model:
        ways = by_model(ways, args.model, tables)
    if args.target:
        target = _typed_target(args, tables, known)
    if needs_target and target is None:
        raise InputError("wanted colour", None, "given with --target L,a,b (or --shade with --mill)")
    if tolerance is None:
        tolerance = usual_tolerance(tables)
    if args.tolerance:
        tolerance = Tolerance(Formula.DE2000, args.tolerance, args.tolerance)
    if target is not None:
        target = target.counted_in(tolerance.formula)
    return Outfit(
        tables=tables,
        ways=ways,
        target=target,
        tolerance_de=tolerance.pass_de,
        owners=frozenset({OWN}),
        observer_deg=args.observer,
        bench=bench,
        spectrum=known,
        is_m_typed=args.m is not None,
    )


def _own_m(args: argparse.Namespace, ways: ShadeWays) -> ShadeWays:
    from doffer.errors import InputError
    from doffer.fibre.colour.blend import stearns_noechel

    if args.model and args.model != "stearns_noechel" and (args.m is not None or args.ln_m_sd is not None):
        raise InputError("--m", args.m, "left out: only the model stearns_noechel has it")
    if args.m is not None:
        ways = dataclasses.replace(ways, mixing=stearns_noechel(args.m))
    if args.ln_m_sd is not None:
        ways = dataclasses.replace(ways, ln_m_sd=args.ln_m_sd, is_fitted=True)
    return ways


def _typed_target(args: argparse.Namespace, tables: Tables, known: Callable[[str], Any]) -> Target:
    """The wanted colour: typed Lab, or a name in a spectra file."""
    import numpy as np

    from doffer.errors import InputError
    from doffer.exchange.lab import parse_lab
    from doffer.fibre.colour.spectrum import light
    from doffer.planning.shade.target import target_from_lab, target_from_spectrum, usual_lights

    try:
        lab = parse_lab(args.target, "wanted colour")
    except InputError:
        if not args.spectra:
            raise
        lights, weights = usual_lights(tables, observer_deg=args.observer)
        return target_from_spectrum(known(args.target), lights, weights)
    return target_from_lab(np.array(lab), light(tables, "D65", observer_deg=args.observer))


def _of_mill(args: argparse.Namespace) -> tuple[Bench, Tables, Target | None, Tolerance | None]:
    """Bench, tables, target and tolerance from the records of a mill."""
    from doffer.cli.mills import open_records
    from doffer.errors import NotFoundError

    open_records(args)
    from doffer.fibre.colour.verdict import Formula, Tolerance
    from doffer.mill.queries.bench import bench
    from doffer.mill.queries.tables import current_tables

    tables, found = current_tables(), bench()
    if not args.shade:
        return found, tables, None, None
    wanted = args.shade.casefold()
    for one in found.standards:
        if wanted in (one.shade.casefold(), one.name.casefold()):
            tolerance = Tolerance(Formula(one.row.formula), one.row.pass_de, one.row.ask_de)
            return bench(shade=one.shade), tables, found.target(one.shade, tables), tolerance
    raise NotFoundError("shade", args.shade, f"There are {', '.join(one.name for one in found.standards)}")


def spectra_word(words: argparse.ArgumentParser) -> None:
    """`--spectra`, alike in every shade verb that takes files."""
    words.add_argument(
        "--spectra", type=Path, action="append", default=[], metavar="FILE", help="spectra by name"
    )


def far(de: float, tolerance_de: float | None = None) -> str:
    """A difference as it may be said: no less than models can tell, never rounded into the tolerance."""
    if de < TELLABLE_DE:
        return f"{TELLABLE_DE:.1f} or less"
    if tolerance_de is not None and de > tolerance_de and f"{de:.1f}" == f"{tolerance_de:.1f}":
        return f"{de:.2f}"
    return f"{de:.1f}"


TELLABLE_DE = 0.5  # the models cannot tell less; two readings of one tuft differ by as much


def lab_text(lab: Any) -> str:
    """L, a and b to one decimal."""
    return f"{lab[0]:.1f}, {lab[1]:.1f}, {lab[2]:.1f}"
