"""Sample blends and the mixing constant that is fitted to them."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.fibre.colour.calibrate import Observation, fit_m
from doffer.fibre.colour.predict import published_error
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.mill import bridge, clock, colours
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.colours import OBSERVER_DEG
from doffer.mill.models import BlendRecipe, Lot, MixingFit, SampleBlend
from doffer.mill.models.colour import PadForm, ReadingKind
from doffer.mill.sittings import Sitting
from doffer.mill.teaching import read_again, teaching
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.planning.shade.reach import reach_of
from doffer.planning.shade.ways import usual_ways
from doffer.tables.loader import Tables

MOST_SAMPLES = 200
LOOK_AGAIN = "Look whether the lots, the shares and the reading are right; if they are, say so and keep it"
UNSETTLED = ("these samples do not settle how the fibre mixes: they are too few, or their lots too alike",)
MORE_SAMPLES = "Make four to eight of the darkest with the lightest lot, half and half"


@dataclass(frozen=True, slots=True)
class SamplePart:
    """One fibre of a sample blend: name, share by oven-dry mass [frac], spectrum (31 fractions)."""

    name: str
    share_frac: float
    reflectance: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitted mixing constant: M with its 95 % ends, and CIEDE2000 left after the fit and when left out."""

    id: int
    fibre: str
    form: str
    m: float
    m_low: float
    m_high: float
    n_blends: int
    residual_de: float
    left_out_de: float


def keep_trial_as_sample(
    person: Person, recipe: BlendRecipe, sitting: Sitting, *, note: str = ""
) -> int | None:
    """A measured trial card as a sample blend; inside `write()`.

    None where it teaches nothing: one lot alone, or lots of several fibres.
    """
    parts = list(recipe.parts.select_related("lot"))
    if len(parts) < 2 or len({part.lot.fibre for part in parts}) > 1:
        return None
    known = sitting.known(bridge.current_tables())
    sample = SampleBlend.objects.create(
        fibre=parts[0].lot.fibre,
        form=recipe.form,
        kind=colours.worst_kind([known.kind, *(part.kind for part in parts)]),
        observer_deg=recipe.observer_deg,
        parts=[
            {"name": part.lot.code, "share_ppm": part.share_ppm, "reflectance_ppm": part.reflectance_ppm}
            for part in parts
        ],
        reflectance_ppm=[round(float(value) * PPM) for value in known.reflectance],
        recipe=recipe,
        note=note,
        made_at=clock.now(),
        person=person,
    )
    return sample.pk


def record_sample_blend(
    by: Person | None,
    *,
    fibre: str,
    parts: Sequence[SamplePart],
    blend: tuple[float, ...],
    form: str = PadForm.LOOSE,
    kind: str = ReadingKind.SPECTRUM,
    observer_deg: int = OBSERVER_DEG,
    note: str = "",
    is_looked_at: bool = False,
    key: uuid.UUID | None = None,
) -> int:
    """Keep a small blend that was carded and measured; gives its number.

    Best are 4 to 8 of 20 to 50 g, darkest with lightest, half and half.

    Parameters
    ----------
    kind : str
        How sure the spectra are: "spectrum" when all were measured, "lab2" or "lab" when one was recovered.
    is_looked_at : bool
        Somebody read it again: it is kept although no blend of its lots should look like it.

    Raises
    ------
    InputError
        Fewer than two fibres, or a form or kind that there is not.
    RefusedError
        A lot of another fibre, or a colour that no blend of these lots comes near.
    """
    person = require(by, Right.READ_COLOUR)
    _check_parts(parts)
    if form not in PadForm.values:
        raise InputError("form of the pad", form, f"one of {', '.join(PadForm.values)}")
    if kind not in (ReadingKind.SPECTRUM, ReadingKind.LAB2, ReadingKind.LAB):
        raise InputError("kind of reading", kind, "spectrum, lab2 or lab; a photo teaches nothing")
    total = sum(part.share_frac for part in parts)
    with write():
        tables = bridge.current_tables()
        bridge.known_fibre(fibre, tables)
        body: dict[str, object] = {
            "fibre": fibre,
            "form": form,
            "parts": repr(tuple(parts)),
            "is": repr(blend),
        }
        earlier = done_before(key, "record_sample_blend", body)
        if earlier:
            return int(str(earlier["sample"]))
        _check_fibre(fibre, parts, tables)
        if not is_looked_at:
            _check_colour(parts, blend, observer_deg, tables)
        sample = SampleBlend.objects.create(
            fibre=fibre,
            form=form,
            kind=kind,
            observer_deg=observer_deg,
            parts=[
                {
                    "name": part.name,
                    "share_ppm": bridge.ppm(part.share_frac / total),
                    "reflectance_ppm": colours.whole_ppm(part.reflectance),
                }
                for part in parts
            ],
            reflectance_ppm=colours.whole_ppm(blend),
            note=note,
            made_at=clock.now(),
            person=person,
        )
        remember(key, "record_sample_blend", body, {"sample": sample.pk}, person)
        return sample.pk


def _check_parts(parts: Sequence[SamplePart]) -> None:
    """Two fibres or more, each once."""
    if len(parts) < 2 or any(part.share_frac <= 0 for part in parts):
        raise InputError(
            "fibres of the sample blend", len(parts), "two or more, each with a share above zero"
        )
    names = [part.name for part in parts]
    if len(set(names)) < len(names):
        raise InputError("fibres of the sample blend", ", ".join(names), "each named once")


def _check_fibre(fibre: str, parts: Sequence[SamplePart], tables: Tables) -> None:
    """Lots of another fibre say nothing of how this one mixes."""
    rows = Lot.objects.filter(code__in=[part.name for part in parts]).exclude(fibre=fibre)
    others = [f"{row.code} is {tables.fibres[row.fibre].name}" for row in rows]
    if others:
        act = f"This is no sample of {tables.fibres[fibre].name}"
        raise RefusedError(act, tuple(others), "Choose the other fibre, or name other lots")


def _check_colour(
    parts: Sequence[SamplePart], blend: tuple[float, ...], observer_deg: int, tables: Tables
) -> None:
    """A blend lies between its lots, within what a printed model was ever off by."""
    seen_in = colours.first_light(tables, observer_deg=observer_deg)
    measured = lab_of_reflectance(np.array(blend), seen_in)
    lots = np.array([part.reflectance for part in parts])
    found = reach_of(lots, measured, seen_in, ways=usual_ways(tables))
    most_de = published_error(tables, "stearns_noechel").most_de
    if most_de is not None and found.de > most_de:
        reason = (
            f"no blend of {' and '.join(part.name for part in parts)} comes nearer to it than {found.de:.1f}"
        )
        raise RefusedError("The sample blend is not kept", (reason,), LOOK_AGAIN)


def fit_mixing(
    by: Person | None,
    *,
    fibre: str,
    form: str = PadForm.LOOSE,
    samples: Sequence[int] = (),
    note: str = "",
    key: uuid.UUID | None = None,
) -> Fitted:
    """Fit M to sample blends of a fibre and form and use it from now on.

    Without `samples` it takes what `mill.teaching` says; a card that was read again counts by its newest
    reading even when both are named.

    Raises
    ------
    InputError
        Fewer than two sample blends.
    NotFoundError
        A sample that is not of this fibre and form.
    RefusedError
        The samples leave any M possible, or the fit is too far off: then what counts now goes on counting.
    """
    person = require(by, Right.SHADES)
    with write():
        body: dict[str, object] = {"fibre": fibre, "form": form, "samples": list(samples), "note": note}
        earlier = done_before(key, "fit_mixing", body)
        if earlier:
            return Fitted(**earlier)
        found = _samples(fibre, form, samples)
        tables = bridge.current_tables()
        deg = found[0].observer_deg if found else OBSERVER_DEG
        fit = fit_m([observed(row) for row in found], colours.first_light(tables, observer_deg=deg))
        if not fit.is_settled:
            raise RefusedError("The fit is not used", UNSETTLED, MORE_SAMPLES)
        _check_error(float(fit.left_out_de.mean()), tables)
        made = MixingFit.objects.create(
            fibre=fibre,
            form=form,
            m_ppm=bridge.ppm(fit.m),
            ln_m_sd_ppm=bridge.ppm(fit.ln_m_sd),
            n_blends=len(found),
            residual_de_centi=round(float(fit.residual_de.mean()) * CENTI),
            left_out_de_centi=round(float(fit.left_out_de.mean()) * CENTI),
            samples=sorted(row.pk for row in found),
            note=note,
            fitted_at=clock.now(),
            fitted_by=person,
        )
        done = Fitted(
            id=made.pk,
            fibre=fibre,
            form=form,
            m=fit.m,
            m_low=fit.m_low,
            m_high=fit.m_high,
            n_blends=len(found),
            residual_de=float(fit.residual_de.mean()),
            left_out_de=float(fit.left_out_de.mean()),
        )
        announce(person, "recipe", f"M {fibre}"[:40], f"M {fit.m:.3f} from {len(found)} sample blends")
        remember(key, "fit_mixing", body, {name: getattr(done, name) for name in Fitted.__slots__}, person)
        return done


def _samples(fibre: str, form: str, named: Sequence[int]) -> list[SampleBlend]:
    """The samples of a fit: those named, else those that teach of themselves."""
    rows = list(SampleBlend.objects.filter(fibre=fibre, form=form).order_by("-id")[:MOST_SAMPLES])
    if not named:
        newest = MixingFit.objects.filter(fibre=fibre, form=form).order_by("-id").first()
        return teaching(rows, newest)
    missing = set(named) - {row.pk for row in rows}
    if missing:
        raise NotFoundError("sample blend of this fibre and form", ", ".join(map(str, sorted(missing))))
    older = read_again(rows)
    return [row for row in rows if row.pk in named and row.pk not in older]


def _check_error(left_out_de: float, tables: Tables) -> None:
    """A fit that is off by more on average than print ever was on one sample was spoilt by something."""
    most_de = published_error(tables, "stearns_noechel").most_de
    if most_de is not None and left_out_de > most_de:
        reason = f"on a sample that is left out it is off by {left_out_de:.1f} on average"
        raise RefusedError("The fit is not used", (reason,), "Leave out the samples that are farthest off")


def observed(row: SampleBlend) -> Observation:
    """A sample blend as the fit wants it."""
    shares = np.array([part["share_ppm"] for part in row.parts], dtype=np.float64)
    lots = np.stack([colours.spectrum_of_ppm(part["reflectance_ppm"]) for part in row.parts])
    return Observation(shares / shares.sum(), lots, colours.spectrum_of_ppm(row.reflectance_ppm))
