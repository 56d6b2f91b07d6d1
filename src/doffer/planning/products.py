"""From fibre as it lies there to a product: the stages still to run, as a route with one join."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from doffer.errors import InfeasibleError
from doffer.fibre.material import Form
from doffer.planning.route import Feed, Route, Step
from doffer.planning.spec import LotStart
from doffer.process.stage import StageSettings

CLEANING = ("skirt", "wash", "extract", "dry")
MAKING = {
    "roving": ("pick", "rest", "card", "draw"),
    "batt": ("pick", "rest", "card"),
    "singles": ("pick", "rest", "card", "draw", "spin", "set", "skein"),
    "yarn": ("pick", "rest", "card", "draw", "spin", "ply", "set", "skein"),
}
NEXT_STAGE = {
    Form.GREASY: "skirt",
    Form.SKIRTED: "wash",
    Form.SCOURED: "pick",
    Form.OPENED: "card",
    Form.ROVING: "draw",
    Form.BATT: "pick",
    Form.SINGLE: "ply",
    Form.PLIED: "set",
    Form.SKEIN: "skein",
}


def stages_for(product: str, start: LotStart, *, skirts: bool) -> tuple[str, ...]:
    """Stages one lot still has to go through for a product."""
    chain = [stage for stage in CLEANING if skirts or stage != "skirt"] + list(MAKING[product])
    first = NEXT_STAGE[start.form]
    if first == "skirt" and not skirts:
        first = "wash"
    if first not in chain:
        raise InfeasibleError(
            f"{product} from {start.lot}",
            f"it is {start.form} already",
            "Choose a product that comes after that, or another lot",
        )
    return tuple(chain[chain.index(first) :])


def product_route(
    product: str, starts: Sequence[LotStart], settings: Mapping[str, StageSettings], *, skirts: bool
) -> Route:
    """Each lot by itself until all are alike, then one join and the rest together.

    Steps before the join carry the lot's number. A lot that is already past the joining stage goes through
    it again (a roving re-opened to be blended). A stage of no passes is left out.
    """
    chains = {
        start.lot: tuple(
            stage for stage in stages_for(product, start, skirts=skirts) if settings[stage].passes > 0
        )
        for start in starts
    }
    if not all(chains.values()):
        done = next(start for start in starts if not chains[start.lot])
        raise InfeasibleError(
            f"{product} from {done.lot}", "nothing is left to be done to it", "Choose another lot or product"
        )
    together = _common_tail(list(chains.values()))
    steps: list[Step] = []
    feeds: list[Feed] = []
    for start in starts:
        source = start.lot
        for stage in chains[start.lot]:
            if stage in together:
                break
            name = f"{stage} {start.lot}"
            steps.append(Step(name, stage, (Feed(source),), settings[stage]))
            source = name
        feeds.append(Feed(source))
    for stage in together:
        steps.append(Step(stage, stage, tuple(feeds), settings[stage]))
        feeds = [Feed(stage)]
    return tuple(steps)


def _common_tail(chains: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """The stages run together: from the picker, or from where the least advanced lot stands behind it."""
    if len(chains) == 1:
        return chains[0]
    longest = max(chains, key=len)
    loose = [stage for stage in longest if stage not in CLEANING]
    return tuple(loose)
