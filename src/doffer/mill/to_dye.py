"""What of a lot can still be dyed, and what is asked before fibre is dyed twice or that a mix waits for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.fibre.moisture import agreed_mass_g, agreed_regain_frac
from doffer.mill import bridge
from doffer.mill.booking import QuestionError
from doffer.mill.doubt import Doubt
from doffer.mill.dye_bath import ROUNDED_G
from doffer.mill.dyed import WHOLE_FRAC, LotDyeing, dyed_apart, dyeings_of
from doffer.mill.models import Lot
from doffer.mill.promised import Promise, promised

ALL_THE_SAME = "Write who decided that it is dyed all the same, and why; or dye less of it, or another lot"


@dataclass(frozen=True, slots=True)
class ToDye:
    """A lot before the kettle [g, conditioned]: the most it can be, and what of that was not dyed here yet.

    `dyed` are its dyeings that count, `waiting` the released mixes that still want of it, `dry_g` its
    oven-dry fibre (None: nobody knows).
    """

    lot: str
    most_g: float
    undyed_g: float
    dry_g: float | None
    dyed: tuple[LotDyeing, ...]
    waiting: tuple[Promise, ...]

    @property
    def slack_g(self) -> float:
        """What scale and moisture leave open."""
        return ROUNDED_G + (1 - WHOLE_FRAC) * self.most_g

    @property
    def dyed_doubts(self) -> tuple[Doubt, ...]:
        """What was dyed of it already, dyeing by dyeing."""
        return tuple(
            Doubt(f"{{}} of {self.lot} was dyed {one.shade} on {one.begun_at:%d %b}", (one.fibre_mg / 1000,))
            for one in self.dyed
        )

    def doubts(self, fibre_g: float) -> tuple[Doubt, ...]:
        """What is asked before this much of it is dyed."""
        found: list[Doubt] = []
        is_over = fibre_g > self.undyed_g + self.slack_g or self.undyed_g <= self.slack_g
        if self.dyed and is_over:
            left = Doubt(f"{{}} of {self.lot} is not dyed yet, and {{}} would be", (self.undyed_g, fibre_g))
            found += [*self.dyed_doubts, left]
        share = max(0.0, self.undyed_g - fibre_g) / self.most_g
        left_dry_g = (self.dry_g or 0.0) * share
        wanted_g = sum(bridge.grams(one.dry_mg) for one in self.waiting)
        if self.dry_g and wanted_g > left_dry_g + self.slack_g:
            found += [
                Doubt(
                    f"{one.recipe} was released and waits for {{}} of {self.lot} oven-dry, as it is now",
                    (bridge.grams(one.dry_mg),),
                )
                for one in self.waiting
            ]
            found.append(Doubt("{} of that would be left", (left_dry_g,)))
        return tuple(found)


class DyeingQuestionError(QuestionError):
    """What is asked before a lot is dyed, so that a page can say it in its own units."""

    def __init__(self, lot: str, doubts: Sequence[Doubt]) -> None:
        self.doubts = tuple(doubts)
        super().__init__(f"{lot} is not dyed yet", tuple(one.said() for one in doubts), ALL_THE_SAME)


def to_dye(lot: Lot) -> ToDye:
    """A lot before the kettle; three queries, six where some of it was dyed.

    The most of it is what it weighs, as weighed last or at agreed regain; a kettle may be dosed for either.
    """
    tables = bridge.current_tables()
    have_g, dry_g = bridge.grams(lot.now_mass_mg), bridge.maybe_grams(lot.now_dry_mg)
    regain = agreed_regain_frac(tables, lot.fibre)
    most_g = max(have_g, agreed_mass_g(dry_mass_g=dry_g or 0.0, agreed_regain_frac=regain))
    dyed = dyeings_of([lot.pk])
    own = dyed.get(lot.pk, ())
    apart_mg = dyed_apart([lot], dyed).get(lot.pk, 0)
    undyed_g = 0.0 if any(one.is_whole for one in own) else max(0.0, most_g - bridge.grams(apart_mg))
    return ToDye(lot.code, most_g, undyed_g, dry_g, own, promised([lot.pk]).get(lot.pk, ()))
