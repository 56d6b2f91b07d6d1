"""The blending bench: every lot that could go in with its spectrum, the standards, and how the mill mixes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from doffer.errors import NotFoundError
from doffer.fibre.colour.blend import BlendModel
from doffer.fibre.colour.predict import mixing_ends
from doffer.fibre.material import Constituent, Form
from doffer.mill import bridge, colours
from doffer.mill.colours import Lab, Pad
from doffer.mill.dyed import LotDyeing, dyed_apart, dyeings_of
from doffer.mill.models import ColourReading, JoinDecision, Lot, OrderLot, ShadeVersion
from doffer.mill.models.colour import PadForm, ReadingKind
from doffer.mill.palette import mixing_now, target_of
from doffer.mill.promised import Promise, promised
from doffer.mill.queries.lots import Held, held_now, lab_of
from doffer.mill.queries.shades import StandardRow, standard_row
from doffer.mill.queries.today import OPEN_STATES
from doffer.mill.sittings import Sitting, measured_by_lot, newest_like
from doffer.mill.tints import Constants, tints_of
from doffer.planning.shade.target import Stock, Target
from doffer.planning.shade.ways import ShadeWays
from doffer.tables.loader import Tables

BLENDABLE = (Form.SCOURED, Form.OPENED, Form.ROVING, Form.BATT)
LEAST_MG = 50_000  # below 50 g a lot is a remnant, not stock
MOST_LOTS = 200  # as many as a search looks through


@dataclass(frozen=True, slots=True)
class BenchLot:
    """A lot that could go into a blend.

    `free_dry_g` is its oven-dry fibre less what open orders and released recipes want of it (`orders` are
    those) and less `dyed_apart_dry_g`, which lies dyed beside the rest and has not its colour.
    `reflectance_ppm` is measured or recovered, with its `kind` and `error_de` (what a prediction from it may
    be off by); empty when the lot was never read: `lab` is then only what somebody typed. `look` is what
    every screen shows of it. `why_not` says why a recipe cannot take it: not read, on hold, read unlike the
    others. `parts` are its fibres with their shares, for label content and fineness.
    """

    code: str
    owner: str
    owner_name: str
    is_own: bool
    fibre: str
    breed: str
    colour_name: str
    form: str
    location: str
    dry_mass_g: float
    free_dry_g: float
    dyed_apart_dry_g: float
    actual_regain_frac: float
    orders: tuple[str, ...]
    lab: Lab | None
    look: Lab | None
    kind: str
    error_de: float | None
    spread_de: float | None
    pad: Pad | None
    reflectance_ppm: tuple[int, ...]
    why_not: tuple[str, ...]
    parts: tuple[tuple[Constituent, float], ...]
    cost_cents_per_kg: int | None

    @property
    def is_usable(self) -> bool:
        """Whether a recipe may take it."""
        return not self.why_not


@dataclass(frozen=True, slots=True)
class BenchStandard:
    """A shade that can be aimed at."""

    shade: str
    name: str
    use: str
    row: StandardRow


@dataclass(frozen=True, slots=True)
class MixingRow:
    """How fibre of this kind mixes here: model, its constant M with about 95 % of its range, and from what.

    `n_blends` is 0 while the shipped constant counts.
    """

    fibre: str
    form: str
    model: str
    m: float | None
    m_low: float | None
    m_high: float | None
    n_blends: int
    left_out_de: float | None


@dataclass(frozen=True, slots=True)
class Agreement:
    """The owners' recorded yes to blending these lots, whoever they belong to."""

    id: int
    lots: tuple[str, ...]
    consent: str


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything a blending bench needs; `lots` by number, two hundred at most.

    `tints` are absorption and scattering of lots that were carded with a white one.
    """

    lots: tuple[BenchLot, ...]
    standards: tuple[BenchStandard, ...]
    mixing: MixingRow
    ways: ShadeWays
    pad: Pad
    agreements: tuple[Agreement, ...]
    tables: Tables
    n_left_off: int
    tints: Mapping[str, Constants] = field(default_factory=dict)

    def lot(self, code: str) -> BenchLot:
        """One of the lots; NotFoundError when it is not on the bench."""
        found = next((lot for lot in self.lots if lot.code == code), None)
        if found is None:
            raise NotFoundError("lot on the bench", code, "It is used up, raw, or too little is left of it")
        return found

    def stock(self, codes: Collection[str] | None = None) -> Stock:
        """Usable lots (of those named) for the search; a cost nobody wrote down counts as the dearest."""
        chosen = [lot for lot in self.lots if lot.is_usable and (codes is None or lot.code in codes)]
        return Stock(
            names=tuple(lot.code for lot in chosen),
            reflectance=spectra(chosen),
            dry_mass_g=np.array([lot.free_dry_g for lot in chosen]),
            owner=tuple(lot.owner for lot in chosen),
            cost_cents_per_kg=costs_of(chosen),
        )

    def target(self, shade: str, tables: Tables) -> Target:
        """A standard as the search's target, counted as its tolerance is; NotFoundError without one."""
        found = next((one for one in self.standards if one.shade == shade), None)
        if found is None:
            raise NotFoundError("shade", shade, "Look in the shade book")
        row = found.row
        colour = target_of(row.labs, row.reflectance_ppm, observer_deg=row.pad.observer_deg, tables=tables)
        return colour.counted_in(row.formula)


def costs_of(lots: Sequence[BenchLot]) -> np.ndarray:
    """Cost of each lot, shape (k,); one that nobody wrote down counts as the dearest of them."""
    known = [lot.cost_cents_per_kg for lot in lots if lot.cost_cents_per_kg is not None]
    dearest = max(known, default=0)
    return np.array(
        [dearest if lot.cost_cents_per_kg is None else lot.cost_cents_per_kg for lot in lots], dtype=float
    )


def spectra(lots: Sequence[BenchLot]) -> np.ndarray:
    """Spectra of usable lots, shape (k, 31)."""
    rows = [colours.spectrum_of_ppm(lot.reflectance_ppm) for lot in lots]
    return np.stack(rows) if rows else np.zeros((0, 31))


def bench(
    *,
    form: str = PadForm.LOOSE,
    shade: str | None = "",
    fibre: str = "wool",
    owner: str = "",
    first: str = "",
    seek: str = "",
    also: Collection[str] = (),
    only: Collection[str] = (),
) -> Bench:
    """The bench for pads like the standard of a shade, else like most lots of a form; about ten queries.

    Lots that were read in another way are shown and say so; they are not blended with the others.

    Parameters
    ----------
    shade : str or None
        Number of a shade; None: the first there is.
    fibre : str
        Whose mixing constant counts, unless a lot is named for it.
    owner : str
        Show this owner's lots beside the mill's own; "" shows everybody's.
    first : str
        The lot whose fibre says which mixing constant counts, until `mixed_as` says otherwise.
    seek : str
        Part of a number or a colour's name: lots that have it, where there are more than a search looks at.
    also : collection of str
        Lots that are on the bench whatever is sought: those that were chosen.
    only : collection of str
        Nothing but these lots: quick enough for an answer while somebody moves a slider.
    """
    tables = bridge.current_tables()
    standards = _standards()
    if shade is None:
        shade = standards[0].shade if standards else ""
    aimed = next((one.row for one in standards if one.shade == shade), None)
    if shade and aimed is None:
        raise NotFoundError("shade", shade, "Look in the shade book")
    rows = Lot.objects.filter(archived_at=None, now_dry_mg__gte=LEAST_MG, now_form__in=BLENDABLE)
    if owner:
        rows = rows.filter(customer__code=owner) | rows.filter(customer__is_own=True)
    if only:
        rows = rows.filter(code__in=only)
    shown, n_left_off = _newest_read(rows, seek=seek, also=also)
    dyed = dyeings_of([lot.pk for lot in shown])
    measured = measured_by_lot((lot.pk for lot in shown), dyed)
    pad = aimed.pad if aimed else _usual_pad(form, newest_like(measured).values())
    newest = newest_like(measured, pad)
    beside = _Beside.of(shown, pad, newest, dyed, tables)
    lead = next((lot.fibre for lot in shown if lot.code == first), fibre)
    now = mixing_now(lead, pad.form, tables)
    return Bench(
        lots=tuple(_bench_lot(lot, beside) for lot in shown),
        standards=standards,
        mixing=_mixing(lead, pad.form, now.ways, now.fit),
        ways=now.ways,
        pad=pad,
        agreements=_agreements({lot.code for lot in shown}),
        tables=tables,
        n_left_off=n_left_off,
        tints=tints_of(lead, pad.form, tables),
    )


def _newest_read(rows: QuerySet[Lot], *, seek: str, also: Collection[str]) -> tuple[list[Lot], int]:
    """The lots that were read last, by number, as many as a search looks through; how many more there are.

    What was chosen is among them in any case.
    """
    dry = ColourReading.objects.filter(lot=OuterRef("pk"), is_wet=False).exclude(kind=ReadingKind.PHOTO)
    rows = rows.select_related("customer").annotate(last_read=Subquery(dry.order_by("-pk").values("pk")[:1]))
    sought = rows.filter(Q(code__icontains=seek) | Q(colour_name__icontains=seek)) if seek else rows
    found = list(sought.order_by(F("last_read").desc(nulls_last=True), "-pk")[: MOST_LOTS + 1])
    shown = found[:MOST_LOTS]
    is_whole = len(found) <= MOST_LOTS and not seek
    missing = set() if is_whole else set(also) - {lot.code for lot in shown}
    if missing:
        shown = [*shown, *rows.filter(code__in=missing)]
    n_left_off = 0 if is_whole else rows.count() - len(shown)
    return sorted(shown, key=lambda lot: lot.pk), n_left_off


def mixed_as(found: Bench, fibre: str) -> Bench:
    """The same bench where another fibre's mixing constant counts; two queries, none if it does already."""
    if fibre == found.mixing.fibre:
        return found
    now = mixing_now(fibre, found.pad.form, found.tables)
    return replace(
        found,
        mixing=_mixing(fibre, found.pad.form, now.ways, now.fit),
        ways=now.ways,
        tints=tints_of(fibre, found.pad.form, found.tables),
    )


def _usual_pad(form: str, found: Iterable[Sitting]) -> Pad:
    """How most lots of a form were read."""
    counted = Counter(one.pad for one in found if one.pad.form == form)
    return counted.most_common(1)[0][0] if counted else Pad(form=form)


def _agreements(here: Collection[str]) -> tuple[Agreement, ...]:
    """What owners agreed to, as far as two or more of its lots lie here; the newest first."""
    found = (
        Agreement(row.pk, tuple(code for code in row.lots if code in here), row.consent)
        for row in JoinDecision.objects.order_by("-pk")[:MOST_LOTS]
    )
    return tuple(one for one in found if len(one.lots) > 1)


def _standards() -> tuple[BenchStandard, ...]:
    newest: dict[int, ShadeVersion] = {}
    rows = ShadeVersion.objects.filter(shade__archived_at=None).select_related("shade", "made_by")
    for row in rows.order_by("version"):
        newest[row.shade_id] = row
    return tuple(
        BenchStandard(row.shade.code, row.shade.name, row.shade.use, standard_row(row))
        for _, row in sorted(newest.items())
    )


def _mixing(fibre: str, form: str, ways: ShadeWays, fit) -> MixingRow:
    has_m = ways.mixing.model is BlendModel.STEARNS_NOECHEL
    low, high = mixing_ends(ways.mixing, ln_m_sd=ways.ln_m_sd) if has_m else (None, None)
    return MixingRow(
        fibre=fibre,
        form=form,
        model=str(ways.mixing.model),
        m=ways.mixing.constant if has_m else None,
        m_low=low.constant if low else None,
        m_high=high.constant if high else None,
        n_blends=fit.n_blends if fit else 0,
        left_out_de=fit.left_out_de_centi / colours.CENTI if fit else None,
    )


@dataclass(frozen=True, slots=True)
class _Beside:
    """What is known beside the lots."""

    sittings: dict[int, Sitting]
    held: Held
    orders: dict[int, list[tuple[str, int | None]]]
    origins: dict[int, tuple[bridge.Origin, ...]]
    dyed: Mapping[int, Sequence[LotDyeing]]
    apart: Mapping[int, int]
    waiting: dict[int, tuple[Promise, ...]]
    pad: Pad
    tables: Tables

    @classmethod
    def of(
        cls,
        lots: Sequence[Lot],
        pad: Pad,
        newest: dict[int, Sitting],
        dyed: dict[int, tuple[LotDyeing, ...]],
        tables: Tables,
    ) -> _Beside:
        orders: dict[int, list[tuple[str, int | None]]] = {}
        links = OrderLot.objects.filter(lot__in=lots, order__state__in=OPEN_STATES)
        for lot, code, wanted_mg in links.values_list("lot_id", "order__code", "wanted_mg"):
            orders.setdefault(lot, []).append((code, wanted_mg))
        return cls(
            sittings=newest,
            held=held_now(),
            orders=orders,
            origins=bridge.origins_of(lots),
            waiting=promised([lot.pk for lot in lots]),
            dyed=dyed,
            apart=dyed_apart(lots, dyed),
            pad=pad,
            tables=tables,
        )

    def why_not(self, lot: Lot) -> tuple[str, ...]:
        """Why a lot cannot go into a recipe now."""
        reasons = []
        if lot.pk in self.held.lots or lot.customer_id in self.held.customers:
            reasons.append("on hold")
        sitting = self.sittings.get(lot.pk)
        if sitting is None:
            is_dyed = any(one.is_whole for one in self.dyed.get(lot.pk, ()))
            since = " since it was dyed" if is_dyed else ""
            reasons.append(f"not read dry by an instrument{since}")
            return tuple(reasons)
        return (*reasons, *colours.unlike(self.pad, sitting.pad))


def _in_daylight(sitting: Sitting | None, known: colours.Known | None, tables: Tables) -> Lab | None:
    """What a lot looks like in daylight; where it was read under other light, as its spectrum says."""
    if sitting is None or known is None:
        return None
    if colours.FIRST_LIGHT in sitting.labs:
        return sitting.lab
    labs = colours.labs_under(known.reflectance, tables, observer_deg=sitting.pad.observer_deg)
    return labs[colours.FIRST_LIGHT]


def _bench_lot(lot: Lot, beside: _Beside) -> BenchLot:
    sitting = beside.sittings.get(lot.pk)
    why_not = beside.why_not(lot)
    known = sitting.known(beside.tables) if sitting else None
    dry_g = bridge.grams(lot.now_dry_mg)
    orders = beside.orders.get(lot.pk, [])
    dry_frac = lot.now_dry_mg / lot.now_mass_mg if lot.now_mass_mg else 0.0
    waiting = beside.waiting.get(lot.pk, ())
    wanted_g = sum(bridge.grams(wanted_mg or 0) for _, wanted_mg in orders) * dry_frac
    wanted_g += sum(bridge.grams(one.dry_mg) for one in waiting)
    apart_g = bridge.grams(beside.apart.get(lot.pk, 0)) * dry_frac
    mine = _in_daylight(sitting, known, beside.tables)
    typed = lab_of(lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi)
    reflectance_ppm: tuple[int, ...] = ()
    if known is not None:
        reflectance_ppm = tuple(round(float(value) * bridge.PPM) for value in known.reflectance)
    return BenchLot(
        code=lot.code,
        owner=lot.customer.code,
        owner_name=lot.customer.name,
        is_own=lot.customer.is_own,
        fibre=lot.fibre,
        breed=lot.breed,
        colour_name=lot.colour_name,
        form=lot.now_form,
        location=lot.location,
        dry_mass_g=dry_g,
        free_dry_g=max(0.0, dry_g - wanted_g - apart_g),
        dyed_apart_dry_g=apart_g,
        actual_regain_frac=bridge.maybe_frac(lot.now_regain_ppm) or 0.0,
        orders=(*(code for code, _ in orders), *(one.recipe for one in waiting)),
        lab=mine or typed,
        look=typed or mine,
        kind=known.kind if known else "",
        error_de=known.error_de if known else None,
        spread_de=sitting.spread_de if sitting else None,
        pad=sitting.pad if sitting else None,
        reflectance_ppm=reflectance_ppm,
        why_not=why_not,
        parts=tuple(
            (bridge.constituent_of(origin.lot, beside.tables), origin.share_frac)
            for origin in beside.origins[lot.pk]
        ),
        cost_cents_per_kg=lot.cost_cents_per_kg,
    )
