"""Stripes in mill words: how long, how far apart in shade, seen or not, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.planning.evenness.figures import Figure
from doffer.process.evenness.passage import Draw, Passage, Pick, Toss

TIMES = ("not", "once", "twice", "three times", "four times", "five times", "six times")
MM_PER_CM, MM_PER_M, G_PER_KG = 10.0, 1000.0, 1000.0
SAID_TO = 0.05  # a spread below this is said as less than 0.1


def stage_names(passage: Passage) -> tuple[str, ...]:
    """What a mill person calls the feed and every step: fed, picked once, tossed, carded, drawn 4."""
    names, picks = ["fed"], 0
    for step in passage.steps:
        if isinstance(step, Pick):
            picks += 1
            names.append(f"picked {TIMES[picks] if picks < len(TIMES) else f'{picks} times'}")
        elif isinstance(step, Toss):
            names.append("tossed")
        elif isinstance(step, Draw):
            names.append(f"drawn {step.ends}")
        else:
            names.append("carded")
    return tuple(names)


def length_words(length_mm: float) -> str:
    """A length as one says it: 4 mm, 4 cm, 83 m."""
    if length_mm < MM_PER_CM:
        return f"{length_mm:.1g} mm"
    if length_mm < MM_PER_M:
        return f"{length_mm / MM_PER_CM:.0f} cm"
    return f"{length_mm / MM_PER_M:.2g} m" if length_mm < 100 * MM_PER_M else f"{length_mm / MM_PER_M:.0f} m"


def mass_words(mass_g: float) -> str:
    """A mass as one says it: 0.3 g, 250 g, 1.5 kg."""
    if mass_g >= G_PER_KG:
        return f"{mass_g / G_PER_KG:.1f} kg"
    return f"{mass_g:.2g} g" if mass_g < 100 else f"{mass_g:.0f} g"


def apart_words(apart_de: float) -> str:
    """How far apart in shade, one decimal: it is no surer than that."""
    return f"{apart_de:.1f} apart" if apart_de >= SAID_TO else "less than 0.1 apart"


def seen_words(*, is_visible: bool, may_be_visible: bool) -> str:
    """Seen, not seen, or not seen if the machines mix as they are believed to."""
    if is_visible:
        return "seen"
    return "likely not seen, but not sure" if may_be_visible else "not seen"


def stripes_sentence(
    *, what: str, apart_de: float, is_visible: bool, may_be_visible: bool, has_one_part: bool
) -> str:
    """Stripes of about 4 cm, 2.1 apart: seen."""
    if has_one_part:
        return "one lot alone: no stripes"
    seen = seen_words(is_visible=is_visible, may_be_visible=may_be_visible)
    return f"{what}, {apart_words(apart_de)}: {seen}"


def points_sentence(name: str, points: tuple[float, float, float], *, specimen_g: float) -> str:
    """What is said where no colours are known."""
    low, mid, high = points
    band = f"{mid:.1f} points ({low:.1f} to {high:.1f})"
    return f"{name} strays by {band} in pieces of {mass_words(specimen_g)}"


def floor_sentence(floor_de: float | None, *, name: str, floor_pct: float, piece_mm: float) -> str:
    """Heather: what the number of fibres makes, which nothing cures."""
    if floor_de is None:
        return (
            f"Fibre counts alone make {name} stray by {floor_pct:.1f} points: no pass and no drawing "
            "cures that."
        )
    return (
        f"Heather: over {length_words(piece_mm)} the number of fibres alone makes {floor_de:.1f} in shade. "
        "That is no stripe, and no pass and no drawing cures it."
    )


def figures_sentence(figures: Sequence[Figure]) -> str:
    """Whose figures a forecast rests on."""
    own = [one.words for one in figures if one.is_own]
    guessed = [one.words for one in figures if not one.is_own]
    if not guessed:
        return "All figures of the machines are the mill's own."
    told = f"Guessed, not measured here: {', '.join(guessed)}."
    if not own:
        return f"No figure of these machines was measured yet. {told} Expect the truth anywhere in the range."
    return f"The mill's own: {', '.join(own)}. {told}"


def one_more_words(
    before: str, *, is_visible: bool, may_be_visible: bool, most_passes: int | None = None
) -> str:
    """The verdict, and what one more pass through the picker would do, or why there should be none."""
    after = seen_words(is_visible=is_visible, may_be_visible=may_be_visible)
    if most_passes is None:
        return f"{before}; one more pass: {after}"
    many = "one pass" if most_passes == 1 else f"{most_passes} passes"
    return f"{before}; one more pass: {after}, but this fibre should see {many} at most"
