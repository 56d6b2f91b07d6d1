"""What is printed on papers of the dye kitchen, in words and in the mill's units."""

from __future__ import annotations

from doffer.paper.fill import LONGEST_NAME, Filled, code_of, face_of, foot_of
from doffer.paper.letters import shortened
from doffer.paper.papers import DyeCard, DyeCardLoad, Imprint
from doffer.pictures.wording import say
from doffer.pictures.words import sentence


def dye_card(card: DyeCard, imprint: Imprint) -> Filled:
    """A dye card."""
    face = face_of(card.lot, card.lot.code) if card.lot else None
    return {
        "kind": "Dye card",
        "title": f"Dye card {card.shade_name}",
        "shade": card.shade,
        "name": shortened(card.shade_name, LONGEST_NAME),
        "version": str(card.version),
        "fibre": say(card.fibre_mass_g, "g", imprint.system),
        "basis": card.basis,
        "lot": face,
        "loads": [_load(load, imprint.system) for load in card.loads],
        "steps": [
            {"what": sentence(s.what).rstrip("."), "minutes": s.minutes, "heat": s.heat} for s in card.steps
        ],
        "svg": card.course_svg,
        "says": "; ".join(f"{s.what}, {s.minutes}, {s.heat}" for s in card.steps),
        "ph": card.ph,
        "cautions": [sentence(text) for text in card.cautions],
        "note": sentence(card.note),
        "code": code_of("shade", card.shade, imprint),
        "foot": foot_of(imprint, [card.lot.code] if card.lot else [card.shade_name]),
    }


def _load(load: DyeCardLoad, system: str) -> Filled:
    return {
        "name": load.name,
        "alike": load.n_alike,
        "kettle": load.kettle,
        "fibre": say(load.fibre_mass_g, "g", system),
        "liquor": say(load.liquor_volume_l, "l", system),
        "dip": load.dip,
        "lines": [{"what": line.what, "amount": line.amount, "how": line.how} for line in load.lines],
    }
