"""What planning a yarn starts from: the fibre of a batch by its parts, and what the machines can do."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doffer.errors import InputError, NotFoundError
from doffer.mill import bridge
from doffer.mill.fibre_facts import fibre_found
from doffer.mill.frames import spin_machine_of
from doffer.mill.machine_values import MachineSettings
from doffer.mill.models import Lot, LotFibre
from doffer.mill.models.lots import Soundness
from doffer.mill.models.yarn import BreaksAt
from doffer.mill.queries.plan_inputs import PlanInputs, PlanLot, part_of, plan_inputs
from doffer.planning.spec import LotStart
from doffer.process.evenness.passage import Part
from doffer.process.yarn.limits import BreakPoint, YarnFibre
from doffer.process.yarn.wish import SpinMachine
from doffer.tables.loader import Tables

STAGES = ("pick", "card", "draw", "spin", "ply", "skein")


@dataclass(frozen=True, slots=True)
class FibrePart:
    """The fibre of one door lot in the batch; figures nobody found are None, or in `guessed`.

    Parameters
    ----------
    lot : str
        The lot it came in as at the door.
    share_frac : float
        Its share of the oven-dry fibre of the batch [frac].
    guessed : tuple of str
        Which of diameter, diameter spread, staple and staple spread come from the tables.
    """

    lot: str
    share_frac: float
    fibre: str
    breed: str
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float
    density_g_cm3: float
    is_slippery: bool
    soundness: str
    strength_n_per_ktex: float | None
    breaks_at: str
    break_frac: float | None
    short_fibre_frac: float | None
    crimps_per_cm: float | None
    curvature_deg_per_mm: float | None
    medullated_frac: float | None
    guessed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class YarnInputs:
    """Fibre, machines and tables that planning a yarn starts from.

    Parameters
    ----------
    lots : tuple of str
        The lots of the batch, as they stand in the mill.
    dry_g : float
        Oven-dry fibre in them [g]; raw fibre is taken as it is weighed.
    parts : tuple of FibrePart
        Door lots in them, the largest share first.
    machines : tuple of MachineSettings
        What pickers, cards, drafters, frames and reels can be set to, the first of each stage first.
    plan : PlanInputs
        Everything else that a plan of the order starts from.
    """

    order: str
    batch: str
    lots: tuple[str, ...]
    dry_g: float
    parts: tuple[FibrePart, ...]
    machines: tuple[MachineSettings, ...]
    plan: PlanInputs

    @property
    def tables(self) -> Tables:
        """The tables with the mill's own figures."""
        return self.plan.tables

    def machine(self, stage: str) -> MachineSettings | None:
        """The first machine of a stage; None where the mill has none."""
        return next((one for one in self.machines if one.stage == stage), None)

    @property
    def soundness(self) -> str:
        """The weakest word of a part that was snapped; "unknown" where none was."""
        words = [str(one) for one in Soundness]
        return max((part.soundness for part in self.parts), key=words.index)

    @property
    def fibre(self) -> YarnFibre:
        """The fibre as spinning asks for it; strength of the weakest part that was tested."""
        weakest = min(
            (part for part in self.parts if part.strength_n_per_ktex is not None),
            key=lambda part: part.strength_n_per_ktex or 0.0,
            default=None,
        )
        short = [part.short_fibre_frac for part in self.parts]
        return YarnFibre(
            parts=tuple(
                Part(
                    part.lot,
                    part.share_frac,
                    part.diameter_um,
                    part.diameter_cv_frac,
                    part.staple_mm,
                    part.staple_cv_frac,
                    part.density_g_cm3,
                )
                for part in self.parts
            ),
            slippery_frac=math.fsum(part.share_frac for part in self.parts if part.is_slippery),
            strength_n_per_ktex=weakest.strength_n_per_ktex if weakest else None,
            break_point=BreakPoint(weakest.breaks_at) if weakest else BreakPoint.UNKNOWN,
            break_frac=_break_frac(weakest),
            short_fibre_frac=None
            if None in short
            else math.fsum(part.share_frac * (part.short_fibre_frac or 0.0) for part in self.parts),
        )

    @property
    def spin_machine(self) -> SpinMachine | None:
        """Frame, plyer, drafter and card as planning a yarn asks for them; None without a spinning frame."""
        frame = self.machine("spin")
        return None if frame is None else spin_machine_of(frame, self.machines)


def _break_frac(weakest: FibrePart | None) -> float:
    """Share of the batch whose staples break there: what was found, by the part's share."""
    if weakest is None:
        return 1.0
    return weakest.share_frac * (1.0 if weakest.break_frac is None else weakest.break_frac)


def yarn_inputs(*, order: str = "", batch: str = "", lots: Sequence[str] = ()) -> YarnInputs:
    """Inputs for the lots named, for one batch of an order, or for all lots of it; at most fifteen queries.

    Shares follow the lots' oven-dry fibre (what the order wants of each), within the wish's shares of lots
    and of fibres where a batch has them; what the stages will take differently from each is not in them.

    Raises
    ------
    NotFoundError
        No such order, batch or lot.
    InputError
        Nothing named, or lots in which nothing is left.
    """
    if not (order or lots):
        raise InputError("what the yarn is made of", "", "an order or a lot")
    plan = plan_inputs(order=order, lots=lots)
    chosen, wish = _chosen(plan, batch)
    starts = [part_of(lot) for lot in chosen]
    dry = {start.lot: _dry_g(start) for start in starts}
    label_of = {start.lot: plan.tables.fibres[start.fibre].label_as for start in starts}
    shares = _wished(dry, label_of, wish)
    return YarnInputs(
        order=order,
        batch=batch,
        lots=tuple(lot.code for lot in chosen),
        dry_g=math.fsum(dry.values()),
        parts=_parts(starts, shares, plan.tables),
        machines=tuple(one.settings for one in plan.machines if one.stage in STAGES),
        plan=plan,
    )


def _chosen(plan: PlanInputs, batch: str) -> tuple[list[PlanLot], Mapping[str, Mapping[str, float]]]:
    """The lots of the batch, or all of them, with what its wish says of shares."""
    if not batch:
        return list(plan.lots), {}
    named = {
        one.get("name") or f"batch {n}": one for n, one in enumerate(plan.spec.get("batches", []), start=1)
    }
    if batch not in named:
        raise NotFoundError("batch", batch, f"Choose one of {', '.join(named) or 'none'}")
    found = named[batch]
    return [lot for lot in plan.lots if lot.code in found["lots"]], found.get("wish", {})


def _dry_g(start: LotStart) -> float:
    return max(0.0, start.weighed_mass_g - start.finish_mass_g) / (1 + start.actual_regain_frac)


def _wished(
    dry_g: Mapping[str, float], label_of: Mapping[str, str], wish: Mapping[str, Mapping[str, float]]
) -> dict[str, float]:
    """Share of each lot [frac], summing to 1: by the wish where it says so, else by what there is."""
    if not math.fsum(dry_g.values()) > 0:
        raise InputError("fibre", "0 g", "lots in which something is left", ", ".join(dry_g) or "no lot")
    by_lot = {lot: share for lot, share in wish.get("lot_shares", {}).items() if lot in dry_g}
    rest = {lot: dry for lot, dry in dry_g.items() if lot not in by_lot}
    by_label = wish.get("shares", {})
    shares = dict(by_lot)
    if by_label:
        for label in dict.fromkeys(label_of[lot] for lot in rest):
            told = math.fsum(share for lot, share in by_lot.items() if label_of[lot] == label)
            left = max(0.0, by_label.get(label, 0.0) - told)
            shares |= _spread(left, {lot: dry for lot, dry in rest.items() if label_of[lot] == label})
    else:
        shares |= _spread(max(0.0, 1 - math.fsum(by_lot.values())), rest)
    total = math.fsum(shares.values())
    if not total > 0:
        shares, total = _spread(1.0, dry_g), 1.0
    return {lot: shares.get(lot, 0.0) / total for lot in dry_g}


def _spread(share: float, dry_g: Mapping[str, float]) -> dict[str, float]:
    """A share given to lots by their dry fibre; nothing where nothing is left of them."""
    total_g = math.fsum(dry_g.values())
    return {lot: share * dry / total_g for lot, dry in dry_g.items()} if total_g > 0 else {}


def _parts(starts: Sequence[LotStart], shares: Mapping[str, float], tables: Tables) -> tuple[FibrePart, ...]:
    """Door lots with their shares of the batch; two queries."""
    summed: dict[str, float] = {}
    for start in starts:
        for part, share in start.blend or ((start.part, 1.0),):
            summed[part.lot] = summed.get(part.lot, 0.0) + share * shares[start.lot]
    summed = {code: share for code, share in summed.items() if share > 0}
    total = math.fsum(summed.values())
    origins = {lot.code: lot for lot in Lot.objects.filter(code__in=summed)}
    found = {
        row.lot_id: row
        for row in LotFibre.objects.filter(lot__in=[lot.pk for lot in origins.values()], superseded_by=None)
    }
    parts = [
        _part(origins[code], share / total, found.get(origins[code].pk), tables)
        for code, share in summed.items()
    ]
    return tuple(sorted(parts, key=lambda part: (-part.share_frac, part.lot)))


def _part(lot: Lot, share_frac: float, found: LotFibre | None, tables: Tables) -> FibrePart:
    part = bridge.constituent_of(lot, tables)
    kind = tables.fibres[lot.fibre]
    staple_cv_frac = fibre_found(found, "staple_cv_frac")
    unknown = {
        "diameter": not lot.diameter_nm,
        "diameter spread": not (lot.diameter_nm and lot.diameter_sd_nm),
        "staple": not lot.staple_mm,
        "staple spread": staple_cv_frac is None,
    }
    return FibrePart(
        lot=lot.code,
        share_frac=share_frac,
        fibre=lot.fibre,
        breed=lot.breed,
        diameter_um=part.diameter_um,
        diameter_cv_frac=part.diameter_cv_frac,
        staple_mm=part.staple_mm,
        staple_cv_frac=part.staple_cv_frac if staple_cv_frac is None else staple_cv_frac,
        density_g_cm3=kind.density_g_cm3,
        is_slippery=kind.slippery,
        soundness=lot.soundness,
        strength_n_per_ktex=fibre_found(found, "strength_n_per_ktex"),
        breaks_at=found.breaks_at if found else str(BreaksAt.UNKNOWN),
        break_frac=fibre_found(found, "break_frac"),
        short_fibre_frac=fibre_found(found, "short_fibre_frac"),
        crimps_per_cm=fibre_found(found, "crimps_per_cm"),
        curvature_deg_per_mm=fibre_found(found, "curvature_deg_per_mm"),
        medullated_frac=fibre_found(found, "medullated_frac"),
        guessed=tuple(name for name, is_unknown in unknown.items() if is_unknown),
    )
