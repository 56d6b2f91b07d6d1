"""How long an order keeps machines and hands, summed from its stages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from doffer.process.durations import Minutes, StageMinutes, summed
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class MachineTime:
    """How long one machine is taken, and hands beside it [min]."""

    stage: str
    machine: str
    minutes: Minutes
    hands_on_min: float


@dataclass(frozen=True, slots=True)
class WorkTime:
    """The time of a batch or an order, if nothing waits for a machine and nothing runs side by side.

    Parameters
    ----------
    machines : tuple of MachineTime
        In the order of the work.
    total : Minutes
        All stages after one another, with what goes on by itself.
    hands_on_min : float
        Of people [min].
    nights : int
        That pass whatever the queue: drying, resting.
    not_known : tuple of str
        Stages whose machine has no rate; they count nothing.
    """

    machines: tuple[MachineTime, ...]
    total: Minutes
    hands_on_min: float
    nights: int
    not_known: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StageTime:
    """One stage on its machine with its minutes."""

    name: str
    stage: str
    machine: str
    minutes: StageMinutes


def work_time(stages: Iterable[StageTime], tables: Tables) -> WorkTime:
    """Stages summed by machine and in all; see `durations.summed` for what 85 in 100 means of a sum."""
    stages = tuple(stages)
    by_machine: dict[tuple[str, str], list[StageTime]] = {}
    for one in stages:
        by_machine.setdefault((one.stage, one.machine), []).append(one)
    return WorkTime(
        machines=tuple(
            MachineTime(
                stage,
                machine,
                summed((one.minutes.taken for one in many), tables),
                sum(one.minutes.hands_on_min for one in many),
            )
            for (stage, machine), many in by_machine.items()
        ),
        total=summed((one.minutes.total for one in stages), tables),
        hands_on_min=sum(one.minutes.hands_on_min for one in stages),
        nights=sum(one.minutes.nights for one in stages),
        not_known=tuple(one.name for one in stages if not one.minutes.is_known),
    )
