"""The mill's own good settings with like fibre, as suggestions of settings ask for them."""

from __future__ import annotations

from collections.abc import Collection

from doffer.mill.queries.yarn import PastRun, SetTo, best_by_stage
from doffer.process.settings.own import OwnSetting
from doffer.tables.loader import Tables


def own_settings(
    tables: Tables, *, fibre: str, diameter_um: float, stages: Collection[str] = ()
) -> tuple[OwnSetting, ...]:
    """Settings of the good runs of these stages (empty: of all), the best run of each first; one query."""
    return tuple(
        OwnSetting(
            stage=run.stage,
            setting=one.key,
            value=None if one.word or len(one.values) > 1 else one.value,
            unit=one.unit,
            run=run.run,
            because=_because(run),
            words=one.word or _list_words(one),
        )
        for run in best_by_stage(tables, fibre=fibre, diameter_um=diameter_um)
        if not stages or run.stage in stages
        for one in run.settings
    )


def _list_words(one: SetTo) -> str:
    return ", ".join(f"{value:g}" for value in one.values) if len(one.values) > 1 else ""


def _because(run: PastRun) -> str:
    said = [] if run.diameter_um is None else [f"{run.fibre} of {run.diameter_um:.1f} micron"]
    if run.breaks_per_kg is not None:
        said.append(f"{run.breaks_per_kg:.2g} breaks a kg")
    if run.rating is not None:
        said.append(f"rated {run.rating}")
    return ", ".join(said)
