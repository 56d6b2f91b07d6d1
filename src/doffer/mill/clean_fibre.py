"""Oven-dry clean fibre in what goes into a run: as weighed, else by the usual yields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from doffer.fibre.moisture import agreed_regain_frac
from doffer.mill import bridge
from doffer.mill.models import Lot, Run, RunInput, RunOutput, Weighing
from doffer.planning.start import yield_triangle_frac
from doffer.process.losses import expected_loss_fracs
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Clean:
    """Oven-dry clean fibre [g], from low to high; `is_known` where it was weighed."""

    low_g: float
    usual_g: float
    high_g: float
    is_known: bool = False

    def scaled(self, factor: float) -> Clean:
        """The same of this many times as much."""
        return replace(
            self, low_g=self.low_g * factor, usual_g=self.usual_g * factor, high_g=self.high_g * factor
        )


def known(dry_g: float) -> Clean:
    """Fibre whose dry weight somebody weighed."""
    return Clean(dry_g, dry_g, dry_g, is_known=True)


def clean_of(
    lot: Lot, *, form: str, mass_g: float, dry_g: float | None, tables: Tables, run: Run | None = None
) -> Clean | None:
    """Clean fibre in so much of a lot, as it is now or as it was before `run`.

    Weighed dry, that; in the grease, raw weight × washed yield ÷ (1 + agreed regain); wet, what went into the
    run it came out of less its usual loss, by the share that is left. None where nothing is known.
    """
    if dry_g is not None:
        return known(dry_g)
    if form in bridge.RAW_FORMS:
        start = bridge.lot_start_of(lot, bridge.origins_of([lot])[lot.pk], tables)
        low, mode, high = yield_triangle_frac(start, tables)
        per_g = 1 / (1 + agreed_regain_frac(tables, lot.fibre))
        return Clean(low * per_g, (low + mode + high) / 3 * per_g, high * per_g).scaled(mass_g)
    came = RunOutput.objects.filter(lot=lot).select_related("run").order_by("-pk")
    if run is not None:
        came = came.filter(run__pk__lt=run.pk)
    made = came.first()
    return None if made is None else _out_of(made.run, lot, mass_g, tables)


def _out_of(run: Run, lot: Lot, mass_g: float, tables: Tables) -> Clean | None:
    """By what went into the run that made it; each output has its part by weight."""
    ins = clean_ins(run, list(run.inputs.select_related("lot", "weighing").order_by("pk")), tables)
    total_mg = sum(run.outputs.values_list("mass_mg", flat=True))
    if None in ins or not total_mg:
        return None
    left = 1 - float(expected_loss_fracs(tables, stage=run.stage, fibres=[lot.fibre])[lot.fibre][0])
    parts = [part for part in ins if part is not None]
    whole = Clean(
        sum(part.low_g for part in parts), sum(p.usual_g for p in parts), sum(p.high_g for p in parts)
    )
    return whole.scaled(left * bridge.mg(mass_g) / total_mg)


def last_before(run: Run, rows: Sequence[RunInput]) -> dict[int, Weighing]:
    """The newest weighing of each lot that is no weighing of this run or after it."""
    first_out = min((out.weighing_id for out in run.outputs.all() if out.weighing_id), default=None)
    found = Weighing.objects.filter(lot__in=[row.lot_id for row in rows], recorded_at__lte=run.recorded_at)
    if first_out is not None:
        found = found.filter(pk__lt=first_out)
    return {weighing.lot_id: weighing for weighing in found.order_by("pk")}


def form_in(row: RunInput, before: Mapping[int, Weighing]) -> str:
    """What a lot looked like as it went into a run; `before` from `last_before`."""
    said = row.weighing or before.get(row.lot_id)
    return str(said.form if said is not None else row.lot.now_form)


def clean_ins(run: Run, rows: Sequence[RunInput], tables: Tables) -> list[Clean | None]:
    """Clean fibre of everything that went into a run, in the order of `rows`."""
    before = last_before(run, rows)
    return [
        clean_of(
            row.lot,
            form=form_in(row, before),
            mass_g=bridge.grams(row.mass_mg),
            dry_g=bridge.maybe_grams(row.dry_mg),
            tables=tables,
            run=run,
        )
        for row in rows
    ]


def counted_g(run: Run, rows: Sequence[RunInput]) -> list[float]:
    """Each input as its usual clean fibre [g]; as weighed where of one of them nothing is known at all."""
    if len(rows) == 1:
        return [bridge.grams(rows[0].dry_mg or rows[0].mass_mg)]
    found = clean_ins(run, rows, bridge.current_tables())
    if None in found:
        return [bridge.grams(row.dry_mg or row.mass_mg) for row in rows]
    return [part.usual_g for part in found if part is not None]
