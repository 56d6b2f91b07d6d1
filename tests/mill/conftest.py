"""A small dye house: the greens of one shade, a yellow to correct them, and a farm's own dyed lot."""

from types import SimpleNamespace

import pytest

FERN = (46.6, -20.9, 19.2)
# colour and conditioned grams of each lot, 15 % water over dry fibre
DYED = {
    "G1": ((46, -22, 18), 1104),
    "G2": ((42, -24, 14), 954.5),
    "G3": ((49, -20, 21), 805),
    "G4": ((39, -23, 10), 655.5),
    "yellow": ((74, 4, 58), 1978),
}
REGAIN = 0.15


def seen(*labs, **more):
    """A sitting of tufts given as Lab under D65."""
    from doffer.mill.commands.readings import Seen, Tuft

    return Seen(tufts=tuple(Tuft(labs={"D65": lab}) for lab in labs), **{"geometry": "45/0", **more})


@pytest.fixture
def dye_house(small_mill) -> SimpleNamespace:
    """`lots` by name (L006 ...), `theirs` a red lot of Moss Edge Farm, `fern` the shade's number."""
    from doffer.fibre.colour.verdict import Formula, Tolerance
    from doffer.mill.booking import Reading
    from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
    from doffer.mill.commands.readings import record_readings
    from doffer.mill.commands.shades import TargetFacts, add_shade

    def lot(customer, colour, grams):
        reading = Reading(gross_g=grams, branch="measured", measured_regain_frac=REGAIN)
        facts = FibreFacts(fibre="wool", breed="corriedale", colour_name=colour)
        bag = Bag(customer=customer, facts=facts, reading=reading, form="scoured", place="dye")
        code = weigh_in_bag(small_mill.floor, bag, confirmation="parcels differ").lot
        check_for_pests(small_mill.floor, code, seen="clear")
        return code

    lots = {}
    for name, (lab, grams) in DYED.items():
        lots[name] = lot(small_mill.own, name, grams)
        record_readings(small_mill.floor, seen=seen(lab), lot=lots[name])
    theirs = lot(small_mill.moss, "red", 1150)
    record_readings(small_mill.floor, seen=seen((38, 48, 24)), lot=theirs)
    fern = add_shade(
        small_mill.owner,
        name="Fern",
        use="felting roving",
        target=TargetFacts(labs={"D65": FERN}, geometry="45/0"),
        tolerance=Tolerance(Formula.DE2000, 1.2, 1.8),
    )
    return SimpleNamespace(**{**vars(small_mill), "lots": lots, "theirs": theirs, "shade": fern})
