"""The records of yarn as the sciences ask for them: fibre and first metres."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.mill.models.yarn import YarnState
from doffer.mill.queries.yarn import YarnTestRow
from doffer.mill.queries.yarn_inputs import FibrePart as RecordedPart
from doffer.mill.queries.yarn_inputs import YarnInputs
from doffer.mill.yarn_facts import MM_PER_M, USUAL_LENGTH_M, Turns
from doffer.planning.yarn.first_found import FirstMetres, together
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
    sittings = [found for one in counting if (found := _one_sitting(one)) is not None]
    if not sittings:
        raise InputError("tests of the yarn", "", "lengths weighed, untwisted, washed or plied back")
    return together(sittings)


def _one_sitting(test: YarnTestRow) -> FirstMetres | None:
    """One test by itself; None where it only weighed what the front rolls gave."""
    facts = test.facts
    is_yarn = facts.state != str(YarnState.ROLLER)
    weighed_g = tuple(facts.masses_g) if is_yarn else ()
    if not (weighed_g or facts.single or facts.before_mm or facts.back):
        return None
    return FirstMetres(
        weighed_g=weighed_g,
        reeled_m=facts.length_m if weighed_g and facts.length_m else USUAL_LENGTH_M,
        state=State(facts.state) if weighed_g else State.BOBBIN,
        room_regain_frac=facts.actual_regain_frac if weighed_g else None,
        turns_tpm=_tpm(facts.single),
        washed=tuple(zip(facts.before_mm, facts.after_mm, strict=True)),
        ply_back_tpm=_tpm(facts.back),
    )


def _tpm(turns: Turns | None) -> tuple[float, ...]:
    return () if turns is None else tuple(one / turns.length_mm * MM_PER_M for one in turns.turns)
