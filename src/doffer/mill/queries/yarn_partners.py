"""What a yarn of some lots can be made with: frames, finished weight, and other fibre that may be added."""

from __future__ import annotations

from collections.abc import Collection

from doffer.errors import RefusedError
from doffer.fibre.material import Constituent
from doffer.mill.models.lots import Soundness
from doffer.mill.queries.bench import BenchLot, bench
from doffer.mill.queries.own_stock import own_stock, unpromised_lots
from doffer.mill.queries.plan_inputs import part_of
from doffer.mill.queries.yarn_inputs import YarnInputs, spin_machine_of
from doffer.planning.batch import fresh_rng
from doffer.planning.start import starting_material
from doffer.planning.yarn.reach import Partner
from doffer.planning.yarn.spin_lot import Frame, SpinLot, spin_lot
from doffer.process.evenness.passage import Part
from doffer.process.yarn.limits import YarnFibre
from doffer.tables.loader import Tables

BROKEN = (Soundness.TENDER, Soundness.FRAGILE)


def frames_of(inputs: YarnInputs) -> tuple[Frame, ...]:
    """Every spinning frame of the mill with its spindles and efficiency, the first first."""
    return tuple(
        Frame(
            machine=spin_machine_of(one, inputs.machines),
            n_spindles=round(one.value("spindles") or 0) or None,
            efficiency_frac=one.value("efficiency"),
        )
        for one in inputs.machines
        if one.stage == "spin"
    )


def spin_lot_of(inputs: YarnInputs) -> SpinLot:
    """The lots as the yarn planner sees them, with what the yield samples say they give."""
    return spin_lot(
        [part_of(lot) for lot in inputs.plan.lots if lot.code in inputs.lots],
        inputs.plan.ways,
        inputs.tables,
        fibre=inputs.fibre,
        snaps=inputs.soundness in BROKEN,
    )


def clean_dry_g(inputs: YarnInputs) -> float:
    """Oven-dry clean fibre in the lots, expected [g]: raw fibre by its usual washed yield."""
    ways = inputs.plan.ways
    rng = fresh_rng(ways.seed)
    starts = [part_of(lot) for lot in inputs.plan.lots if lot.code in inputs.lots]
    return sum(
        float(
            starting_material(one, inputs.tables, rng=rng, n_samples=ways.n_samples).total_dry_mass_g.mean()
        )
        for one in starts
    )


def owner_of(inputs: YarnInputs) -> str:
    """The one owner of the lots beside the mill; "" where all of it is the mill's own.

    Raises
    ------
    RefusedError
        Fibre of two owners.
    """
    lots = [lot for lot in inputs.plan.lots if lot.code in inputs.lots and not lot.is_own]
    if len({lot.owner for lot in lots}) > 1:
        whose = tuple(f"{lot.code} belongs to {lot.owner}" for lot in lots)
        raise RefusedError(
            "Fibre of two owners does not go into one yarn", whose, "Choose lots of one owner, or the order"
        )
    return lots[0].owner if lots else ""


def yarn_partners(inputs: YarnInputs) -> tuple[Partner, ...]:
    """Clean lots that may be added: the mill's own, and the owner's that no open order wants.

    Lots on hold are left out. Grams are what is free, oven-dry. About fifteen queries.
    """
    return partners_of_owner(owner_of(inputs), inputs.tables, without=inputs.lots)


def partners_of_owner(owner: str, tables: Tables, *, without: Collection[str] = ()) -> tuple[Partner, ...]:
    """The same for an owner whose fibre may not be here yet; "" for the mill's own alone."""
    rows = [*own_stock(), *(unpromised_lots(owner) if owner else ())]
    free = {row.code: row for row in rows if not row.is_held and row.code not in without}
    if not free:
        return ()
    lots = bench(shade="", owner=owner, only=sorted(free)).lots
    return tuple(
        _partner(lot, tables, soundness=free[lot.code].soundness) for lot in lots if lot.free_dry_g > 0
    )


def _partner(lot: BenchLot, tables: Tables, *, soundness: str) -> Partner:
    parts = tuple(
        Part(
            name=lot.code if len(lot.parts) == 1 else part.lot,
            share_frac=share,
            diameter_um=part.diameter_um,
            diameter_cv_frac=part.diameter_cv_frac,
            staple_mm=part.staple_mm,
            staple_cv_frac=part.staple_cv_frac,
            density_g_cm3=tables.fibres[part.fibre].density_g_cm3,
        )
        for part, share in _whole(lot)
    )
    slippery = sum(share for part, share in _whole(lot) if tables.fibres[part.fibre].slippery)
    return Partner(
        name=lot.code,
        owner=lot.owner,
        fibre=YarnFibre(parts, slippery_frac=min(1.0, slippery)),
        dry_mass_g=lot.free_dry_g,
        snaps=soundness in BROKEN,
    )


def _whole(lot: BenchLot) -> list[tuple[Constituent, float]]:
    """Its parts with shares that make exactly one: the records keep them in parts per million."""
    total = sum(share for _, share in lot.parts)
    return [(part, share / total) for part, share in lot.parts]
