"""How the mill's own fibre mixes: sample blends, how far each model was off on them, and the fits so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import OF_SPECTRA, BlendModel, Mixing, blend, default_mixing, stearns_noechel
from doffer.fibre.colour.calibrate import LEAST_BLENDS, Fit, Observation, fit_m
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.fibre.colour.words import difference_words
from doffer.mill import bridge, colours
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.colours import Lab
from doffer.mill.models import MixingFit, SampleBlend
from doffer.mill.models.colour import ReadingKind
from doffer.mill.palette import mixing_now
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.mill.teaching import read_again, teaching
from doffer.tables.loader import Tables

MOST_FITTED = 200  # as many as a fit takes


@dataclass(frozen=True, slots=True)
class SamplePartRow:
    """One fibre of a sample blend."""

    name: str
    share_frac: float
    lab: Lab
    reflectance_ppm: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SampleRow:
    """A sample blend, and how far the prediction of what counts now was off on it (CIEDE2000)."""

    id: int
    kind: str
    parts: tuple[SamplePartRow, ...]
    lab: Lab
    reflectance_ppm: tuple[int, ...]
    recipe: str
    note: str
    made_at: datetime
    person: str
    off_de: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FitRow:
    """A fit of M that was made; the newest counts."""

    m: float
    n_blends: int
    residual_de: float
    left_out_de: float
    note: str
    fitted_at: datetime
    fitted_by: str
    samples: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class ModelRow:
    """How far one model was off on all samples, mean and most (CIEDE2000)."""

    model: str
    constant: float | None
    is_ours: bool
    mean_de: float
    most_de: float


@dataclass(frozen=True, slots=True)
class Change:
    """What a fit of all samples would change: its M, what it is off by when a sample is left out, an example.

    `example` are the two fibres of the sample with the largest contrast; half and half of them would be
    predicted `example_de` away from what is predicted now, in `example_words`.
    """

    m: float
    m_low: float
    m_high: float
    n_blends: int
    residual_de: float
    left_out_de: float
    is_settled: bool
    example: tuple[str, str]
    example_de: float
    example_words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MixingBook:
    """Sample blends of a fibre and form (the newest fifty), what counts now, and what a fit would change.

    `teaching` are the numbers of those that a fit takes of itself, see `mill.teaching`; `n_lab` of the others
    are known from L, a and b alone, and `read_again` are cards that were read once more. `now_off_de` is
    the mean over the teaching ones with the constant that counts, None without any. `change` is None below
    two of them.
    """

    fibre: str
    form: str
    samples: tuple[SampleRow, ...]
    n_samples: int
    teaching: frozenset[int]
    read_again: frozenset[int]
    n_lab: int
    m_now: float | None
    is_fitted: bool
    now_off_de: float | None
    published_off_de: float | None
    fits: tuple[FitRow, ...]
    models: tuple[ModelRow, ...]
    change: Change | None

    def is_left_out(self, sample: SampleRow) -> bool:
        """Whether the fit that counts was made without this sample, though it was there."""
        if not self.fits:
            return False
        newest = self.fits[0]
        is_older = sample.made_at <= newest.fitted_at and sample.id not in self.read_again
        return is_older and sample.id not in newest.samples

    @property
    def is_current(self) -> bool:
        """Whether all samples that teach are in the fit that counts."""
        return bool(self.fits) and bool(self.teaching) and self.teaching <= set(self.fits[0].samples)


def mixing_book(fibre: str, form: str) -> MixingBook:
    """Everything on how a fibre mixes here; four queries."""
    tables = bridge.current_tables()
    now = mixing_now(fibre, form, tables)
    rows = list(
        SampleBlend.objects.filter(fibre=fibre, form=form)
        .select_related("person", "recipe")
        .order_by("-id")[:MOST_FITTED]
    )
    fits = MixingFit.objects.filter(fibre=fibre, form=form).select_related("fitted_by").order_by("-id")
    observed = {row.pk: _observed(row) for row in rows}
    fit_rows = list(fits[:ROWS_A_PAGE])
    taught = teaching(rows, fit_rows[0] if fit_rows else None)
    seen = [observed[row.pk] for row in taught]
    off = _off_de(seen, taught, now.ways.mixing, tables)
    published = _off_de(seen, taught, default_mixing(tables), tables)
    return MixingBook(
        fibre=fibre,
        form=form,
        samples=tuple(
            _sample_row(row, observed[row.pk], now.ways.mixing, tables) for row in rows[:ROWS_A_PAGE]
        ),
        n_samples=len(rows),
        teaching=frozenset(row.pk for row in taught),
        read_again=read_again(rows),
        n_lab=sum(row.kind == ReadingKind.LAB and row not in taught for row in rows),
        m_now=now.ways.mixing.constant if now.ways.mixing.model is BlendModel.STEARNS_NOECHEL else None,
        is_fitted=now.fit is not None,
        now_off_de=float(off.mean()) if taught else None,
        published_off_de=float(published.mean()) if taught else None,
        fits=tuple(_fit_row(row) for row in fit_rows),
        models=_models(seen, taught, now.ways.mixing if now.fit else None, tables),
        change=_change(seen, taught, now.ways.mixing, tables),
    )


def _observed(row: SampleBlend) -> Observation:
    shares = np.array([part["share_ppm"] for part in row.parts], dtype=np.float64)
    lots = np.stack([colours.spectrum_of_ppm(part["reflectance_ppm"]) for part in row.parts])
    return Observation(shares / shares.sum(), lots, colours.spectrum_of_ppm(row.reflectance_ppm))


def _predicted(one: Observation, row: SampleBlend, mixing: Mixing, tables: Tables) -> Floats:
    seen_in = colours.first_light(tables, observer_deg=row.observer_deg)
    return lab_of_reflectance(blend(one.lots, one.shares, mixing), seen_in)


def _measured(one: Observation, row: SampleBlend, tables: Tables) -> Floats:
    return lab_of_reflectance(one.blend, colours.first_light(tables, observer_deg=row.observer_deg))


def _off_de(
    observed: Sequence[Observation], rows: Sequence[SampleBlend], mixing: Mixing, tables: Tables
) -> Floats:
    pairs = zip(observed, rows, strict=True)
    return np.array(
        [
            float(de2000(_measured(one, row, tables), _predicted(one, row, mixing, tables)))
            for one, row in pairs
        ]
    )


def _lab(reflectance_ppm: Sequence[int], row: SampleBlend, tables: Tables) -> Lab:
    lab = lab_of_reflectance(
        colours.spectrum_of_ppm(reflectance_ppm),
        colours.first_light(tables, observer_deg=row.observer_deg),
    )
    return float(lab[0]), float(lab[1]), float(lab[2])


def _part(part: Mapping[str, object], row: SampleBlend, tables: Tables) -> SamplePartRow:
    spectrum = tuple(int(value) for value in part["reflectance_ppm"])
    return SamplePartRow(
        str(part["name"]), int(str(part["share_ppm"])) / PPM, _lab(spectrum, row, tables), spectrum
    )


def _sample_row(row: SampleBlend, one: Observation, mixing: Mixing, tables: Tables) -> SampleRow:
    predicted, measured = _predicted(one, row, mixing, tables), _measured(one, row, tables)
    least = tables.constants["shade_least_told"].value
    return SampleRow(
        id=row.pk,
        kind=row.kind,
        parts=tuple(_part(part, row, tables) for part in row.parts),
        lab=(float(measured[0]), float(measured[1]), float(measured[2])),
        reflectance_ppm=tuple(row.reflectance_ppm),
        recipe=row.recipe.code if row.recipe else "",
        note=row.note,
        made_at=row.made_at,
        person=row.person.name,
        off_de=float(de2000(measured, predicted)),
        words=difference_words(predicted, measured, least_de=least),
    )


def _fit_row(row: MixingFit) -> FitRow:
    return FitRow(
        m=row.m_ppm / PPM,
        n_blends=row.n_blends,
        residual_de=row.residual_de_centi / CENTI,
        left_out_de=row.left_out_de_centi / CENTI,
        note=row.note,
        fitted_at=row.fitted_at,
        fitted_by=row.fitted_by.name,
        samples=tuple(row.samples),
    )


def _models(
    observed: Sequence[Observation], rows: Sequence[SampleBlend], ours: Mixing | None, tables: Tables
) -> tuple[ModelRow, ...]:
    """Every model on every sample, the best first; empty without samples."""
    if not rows:
        return ()
    mixings = [(default_mixing(tables, model), False) for model in OF_SPECTRA]
    mixings += [(ours, True)] if ours else []
    found = [(mixing, is_ours, _off_de(observed, rows, mixing, tables)) for mixing, is_ours in mixings]
    told = [
        ModelRow(str(mixing.model), mixing.constant or None, is_ours, float(off.mean()), float(off.max()))
        for mixing, is_ours, off in found
    ]
    return tuple(sorted(told, key=lambda row: row.mean_de))


def _change(
    observed: Sequence[Observation], rows: Sequence[SampleBlend], now: Mixing, tables: Tables
) -> Change | None:
    if len(rows) < LEAST_BLENDS:
        return None
    fit: Fit = fit_m(observed, colours.first_light(tables, observer_deg=rows[0].observer_deg))
    at, (first, second) = _largest_contrast(observed, rows, tables)
    pair = observed[at].lots[[first, second]]
    half = np.array([0.5, 0.5])
    seen_in = colours.first_light(tables, observer_deg=rows[at].observer_deg)
    before, after = (
        lab_of_reflectance(blend(pair, half, mixing), seen_in) for mixing in (now, stearns_noechel(fit.m))
    )
    names = [str(part["name"]) for part in rows[at].parts]
    return Change(
        m=fit.m,
        m_low=fit.m_low,
        m_high=fit.m_high,
        n_blends=len(rows),
        residual_de=float(fit.residual_de.mean()),
        left_out_de=float(fit.left_out_de.mean()),
        is_settled=fit.is_settled,
        example=(names[first], names[second]),
        example_de=float(de2000(before, after)),
        example_words=difference_words(before, after),
    )


def _largest_contrast(
    observed: Sequence[Observation], rows: Sequence[SampleBlend], tables: Tables
) -> tuple[int, tuple[int, int]]:
    """The sample whose lightest and darkest fibre lie farthest apart, and those two."""
    best, at, pair = -1.0, 0, (0, 1)
    for number, (one, row) in enumerate(zip(observed, rows, strict=True)):
        seen_in = colours.first_light(tables, observer_deg=row.observer_deg)
        lightness = lab_of_reflectance(one.lots, seen_in)[:, 0]
        apart = float(lightness.max() - lightness.min())
        if apart > best:
            best, at, pair = apart, number, (int(lightness.argmin()), int(lightness.argmax()))
    return at, pair
