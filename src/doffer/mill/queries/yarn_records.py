"""The records of yarn as the sciences ask for them: fibre and first metres."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.mill.models.yarn import YarnState
from doffer.mill.queries.yarn import YarnTestRow
from doffer.mill.queries.yarn_inputs import FibrePart as RecordedPart
from doffer.mill.queries.yarn_inputs import YarnInputs
from doffer.mill.yarn_facts import MM_PER_M, USUAL_LENGTH_M
from doffer.planning.yarn.first_found import FirstMetres
from doffer.process.settings.facts import Crimp, FibreFacts, FibrePart, Soundness
from doffer.process.yarn.basis import State
from doffer.tables.loader import Tables


def fibre_facts(inputs: YarnInputs, *, times_dyed: int = 0) -> FibreFacts:
    """The fibre as suggestions of settings ask for it: the weakest word and strength, the crimp of most."""
    return FibreFacts(
        parts=tuple(FibrePart(_constituent(part), part.share_frac) for part in inputs.parts),
        soundness=Soundness(inputs.soundness),
        strength_n_per_ktex=inputs.fibre.strength_n_per_ktex,
        crimp=crimp_of(inputs.parts, inputs.tables),
        times_dyed=times_dyed,
    )


def _constituent(part: RecordedPart) -> Constituent:
    return Constituent(
        lot=part.lot,
        fibre=part.fibre,
        diameter_um=part.diameter_um,
        diameter_cv_frac=part.diameter_cv_frac,
        staple_mm=part.staple_mm,
        staple_cv_frac=part.staple_cv_frac,
    )


def crimp_of(parts: Sequence[RecordedPart], tables: Tables) -> Crimp:
    """Little or much crimp where most of the fibre was counted and agrees; table plan_defaults, practice."""
    row = tables.plan_defaults["crimp_per_cm"]
    low, high = row.low or 0.0, row.high or float("inf")
    of_low = sum(
        one.share_frac for one in parts if one.crimps_per_cm is not None and one.crimps_per_cm <= low
    )
    of_high = sum(
        one.share_frac for one in parts if one.crimps_per_cm is not None and one.crimps_per_cm >= high
    )
    if max(of_low, of_high) <= MOST:
        return Crimp.UNKNOWN
    return Crimp.LOW if of_low > of_high else Crimp.HIGH


MOST = 0.5  # more than half


def first_metres(tests: Sequence[YarnTestRow]) -> FirstMetres:
    """What tests of one yarn found, together: those that count, weights of the newest that weighed.

    Lengths before and after a wash, ply-backs and turns of singles are taken from all of them. A state other
    than that of the newest weighing gives no weights, for counts of two states are never joined.

    Raises
    ------
    InputError
        No test that counts, or only the weight at the front rolls.
    """
    counting = sorted((one for one in tests if one.counts), key=lambda one: (one.taken_at, one.id))
    weighed = [one for one in counting if one.facts.masses_g and one.facts.state != YarnState.ROLLER]
    newest = weighed[-1].facts if weighed else None
    like = [
        one.facts
        for one in weighed
        if newest
        and (one.facts.state, one.facts.length_m, one.facts.actual_regain_frac)
        == (newest.state, newest.length_m, newest.actual_regain_frac)
    ]
    facts = [one.facts for one in counting]
    if not any(one.masses_g or one.single or one.before_mm or one.back for one in facts):
        raise InputError("tests of the yarn", "", "lengths weighed, untwisted, washed or plied back")
    return FirstMetres(
        weighed_g=tuple(mass for one in like for mass in one.masses_g),
        reeled_m=newest.length_m if newest else USUAL_LENGTH_M,
        state=State(newest.state) if newest else State.BOBBIN,
        room_regain_frac=newest.actual_regain_frac if newest else None,
        turns_tpm=tuple(
            turns / one.single.length_mm * MM_PER_M
            for one in facts
            if one.single
            for turns in one.single.turns
        ),
        washed=tuple(pair for one in facts for pair in zip(one.before_mm, one.after_mm, strict=True)),
        ply_back_tpm=tuple(
            turns / one.back.length_mm * MM_PER_M for one in facts if one.back for turns in one.back.turns
        ),
    )
