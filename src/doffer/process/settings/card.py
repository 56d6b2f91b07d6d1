"""The settings card of a stage: the mill's own best first, then the wanted yarn, then the tables."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

from doffer.process.settings.facts import FibreFacts, MachineLimits, applying
from doffer.process.settings.own import OwnSetting, figure_words, own_first
from doffer.process.settings.planned_yarn import decided, planned
from doffer.process.settings.ratch import ratch_suggestion
from doffer.process.settings.rules import from_table, rows_for, within
from doffer.process.settings.suggestion import SettingsCard, Suggestion
from doffer.process.stage import cautions_for
from doffer.process.yarn.plan import YarnPlan
from doffer.tables.loader import Tables

DRAFTING = ("draw", "spin")
SET_STAGES = ("pick", "card", "draw", "spin", "ply", "set", "skein")


def settings_card(
    stage: str,
    facts: FibreFacts,
    machine: MachineLimits,
    tables: Tables,
    *,
    yarn: YarnPlan | None = None,
    own: Sequence[OwnSetting] = (),
    piece_mass_g: float | None = None,
) -> SettingsCard:
    """What to set a machine to for a fibre and a wanted yarn; suggestions, never written to a machine.

    Parameters
    ----------
    stage : str
        One of `SET_STAGES`; another one has a card without suggestions.
    facts : FibreFacts
        Diameter, staple, soundness, crimp, kinds of fibre.
    machine : MachineLimits
        What it can be set to.
    tables : Tables
        settings, machine_settings, yarn_figures, yarn_limits, cautions.
    yarn : YarnPlan, optional
        What draft, twist and speeds are for.
    own : sequence of OwnSetting
        The mill's own best settings of past runs on like fibre, best first.
    piece_mass_g : float, optional
        Weight of a skein [g].
    """
    on = applying(facts, tables)
    of_yarn = planned(stage, yarn, machine, tables, piece_mass_g=piece_mass_g)
    of_table = from_table(stage, on, tables, base=_bases(of_yarn))
    found = {**of_yarn, **_beside(of_table, of_yarn)}
    if stage in DRAFTING:
        found["ratch"] = ratch_suggestion(facts, machine, tables)
    gentle = frozenset(
        setting
        for setting, rows in rows_for(stage, on, tables).items()
        if any(row.applies == "fragile" for row, _ in rows)
    )
    found = {key: _on_a_step(one, machine, is_gentle=key in gentle) for key, one in found.items()}
    ordered = own_first(stage, found, own, held=gentle | {"ratch"}, planned=decided(of_yarn))
    ordered = _rolls_in_step(ordered, of_yarn)
    if stage == "card":
        ordered = _feed_for_roving(ordered, of_yarn.get("roving"), own)
    return SettingsCard(stage, machine.name, tuple(ordered.values()), cautions_for(tables, stage=stage))


def _bases(of_yarn: Mapping[str, Suggestion]) -> dict[str, Suggestion]:
    """Figures of the frame's own that rows of the table may slow down."""
    return {key: one for key, one in of_yarn.items() if key == "spindle_rpm"}


def _beside(of_table: Mapping[str, Suggestion], of_yarn: Mapping[str, Suggestion]) -> dict[str, Suggestion]:
    """Table rows beside what the yarn decides: its figure stays, their reason and range are told with it."""
    found = {}
    for key, row in of_table.items():
        fixed = of_yarn.get(key)
        if fixed is None or key == "spindle_rpm":
            found[key] = row
        elif row.reason != fixed.reason:
            words = fixed.words or ("" if row.value is not None else row.words)
            found[key] = dataclasses.replace(fixed, reason=f"{fixed.reason}; {row.reason}", words=words)
    return found


def _rolls_in_step(
    found: Mapping[str, Suggestion], of_yarn: Mapping[str, Suggestion]
) -> dict[str, Suggestion]:
    """Front rolls in step with the spindles, so that the twist stays; both held at the cap of the rolls."""
    rolls, planned_rpm, rpm = found.get("roll_speed"), of_yarn.get("spindle_rpm"), found.get("spindle_rpm")
    if rolls is None or planned_rpm is None or rpm is None:
        return dict(found)
    if not rolls.value or not planned_rpm.value or not rpm.value:
        return dict(found)
    m_per_turn = rolls.value / planned_rpm.value
    speed = within(rpm.value * m_per_turn, low=None, high=rolls.high)
    held = dataclasses.replace(rpm, value=within(rpm.value, low=None, high=speed / m_per_turn))
    in_step = {"roll_speed": dataclasses.replace(rolls, value=speed), "spindle_rpm": held}
    return {key: in_step.get(key, one) for key, one in found.items()}


def _feed_for_roving(
    found: Mapping[str, Suggestion], roving: Suggestion | None, own: Sequence[OwnSetting]
) -> dict[str, Suggestion]:
    """Feed and roving of a card go together: an own run's feed is turned to the roving that is wanted."""
    feed = found.get("feed")
    if feed is None or feed.value is None or roving is None or roving.value is None:
        return dict(found)
    wanted = figure_words(roving.value, setting="roving", unit=roving.unit)
    gave = next((one for one in own if one.setting == "roving" and one.run == feed.run and one.value), None)
    if gave is None or not gave.value:
        said = f"{feed.reason}; weigh a metre: the roving goes with the feed, and {wanted} are wanted"
        return {**found, "feed": dataclasses.replace(feed, reason=said)}
    fed, given = (
        figure_words(value, setting=key, unit=unit)
        for key, value, unit in (("feed", feed.value, feed.unit), ("roving", gave.value, gave.unit))
    )
    said = f"{feed.reason}; there {fed} gave {given}, and {wanted} are wanted"
    turned = dataclasses.replace(feed, value=feed.value * roving.value / gave.value, reason=said)
    return {**found, "feed": turned}


def _on_a_step(one: Suggestion, machine: MachineLimits, *, is_gentle: bool) -> Suggestion:
    """A beater speed as one of the three the machine has; a gentle one is never rounded up past its range."""
    steps = machine.beater_steps_rpm
    if one.setting != "beater" or not steps or one.value is None:
        return one
    wanted = one.value
    near = min(steps) if is_gentle else min(steps, key=lambda step: abs(step - wanted))
    place = sorted(steps).index(near)
    words = STEP_WORDS[place] if len(steps) == len(STEP_WORDS) else one.words
    return dataclasses.replace(one, low=min(steps), value=near, high=max(steps), words=words)


STEP_WORDS = ("slow", "middle", "fast")
