"""What the bench is asked, as it stands in the address: a link shows the same blend to somebody else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from urllib.parse import urlencode

from django.http import QueryDict

from doffer.exchange.lab import Lab, parse_lab
from doffer.exchange.numbers import parse_number
from doffer.office.readings import Typed

MIX, FIND, CORRECT, TOGETHER, LEFTOVERS = "mix", "find", "correct", "together", "leftovers"
QUESTIONS = (
    (MIX, "What do these make together?"),
    (FIND, "Which blend makes this shade?"),
    (CORRECT, "What do I add to a lot that is off shade?"),
    (TOGETHER, "Which of these lots make the shade together?"),
    (LEFTOVERS, "How do I use up leftovers?"),
)
EVERY_FIBRE = "every"  # said on purpose; nothing said is the usual fibre where the bench chooses lots
OWN_COLOUR = "own"  # stands for a shade where the colour is typed
STEPS_G = (("0.1", "0.1 g"), ("1", "1 g"), ("5", "5 g"), ("50", "50 g"))
USUAL_MODEL = "stearns_noechel"
MODELS = (
    ("", "Stearns and Noechel (usual)"),
    ("friele", "Friele"),
    ("kubelka_munk", "Kubelka and Munk, one constant"),
    ("plain_average", "Plain averaging"),
)
TWO_CONSTANT = "two_constant"
TINTED = (TWO_CONSTANT, "Kubelka and Munk, two constants")  # offered where a tint of every lot is known
MOST_CHOICES = tuple((str(n), f"{n} lots") for n in (2, 3, 4, 5))
SHARE, CODE_SIGNS, MOST_CHOSEN, SEEK_SIGNS = "share_", 20, 60, 60
SUM_SLACK = 0.005  # shares on the face are rounded; below half a point nothing is said of their sum
PERCENT = 100
CENTS = 100
USUAL_MOST_ADDED = "50"
USUAL_MOST_ADDED_FRAC = 0.5
USUAL_MOST_LOTS = 4
USUAL_STEP_G = 1.0


@dataclass(frozen=True, slots=True)
class Asked:
    """One question to the bench.

    `shade` is "" for the first standard there is, `OWN_COLOUR` for the typed `lab`. `whose` is "" for the
    mill's own fibre, an owner's number, or the number of an agreement. `fibre` is as it was said, and
    `only_fibre` the one that counts, "" for all. `shares` are fractions of the mix,
    adding up to 1; `shares_sum` is what was typed. `model` is "" for the blend model in use, `seek` what lots
    are looked for by, `held_as` the shade whose tolerance a typed colour has.
    `mass_g` is the weight of the mix on the scale.
    """

    want: str = MIX
    shade: str = ""
    lab: Lab | None = None
    fibre: str = ""
    only_fibre: str = ""
    whose: str = ""
    mass_g: float | None = None
    lots: tuple[str, ...] = ()
    shares: Mapping[str, float] = field(default_factory=dict)
    shares_sum: float = 1.0
    must: frozenset[str] = frozenset()
    never: frozenset[str] = frozenset()
    model: str = ""
    seek: str = ""
    held_as: str = ""
    most_lots: int = USUAL_MOST_LOTS
    step_g: float = USUAL_STEP_G
    most_added_frac: float = USUAL_MOST_ADDED_FRAC
    most_cents_per_kg: float | None = None
    typed: Typed = field(default_factory=lambda: Typed({}, "metric"))

    @property
    def errors(self) -> dict[str, str]:
        """Sentences beside the fields."""
        return self.typed.errors

    def query(self, **changed: object) -> str:
        """The same question as the end of an address; what stands as usual is left out."""
        words: list[tuple[str, str]] = []
        kept: dict[str, object] = {
            "want": "" if self.want == MIX else self.want,
            "shade": self.shade,
            "lab": self.typed.text("lab") if self.shade == OWN_COLOUR else "",
            "fibre": self.fibre,
            "whose": self.whose,
            "mass": self.typed.text("mass"),
            "model": self.model,
            "seek": self.seek,
            "held": self.held_as if self.shade == OWN_COLOUR else "",
            "most": "" if self.most_lots == USUAL_MOST_LOTS else self.most_lots,
            "step": "" if self.step_g == USUAL_STEP_G else f"{self.step_g:g}",
            "added": "" if self.typed.text("added") == USUAL_MOST_ADDED else self.typed.text("added"),
            "cost": self.typed.text("cost"),
            **changed,
        }
        words += [(name, str(value)) for name, value in kept.items() if value]
        words += [("lot", code) for code in self.lots]
        words += [
            (f"{SHARE}{code}", share_text(self.shares[code])) for code in self.lots if code in self.shares
        ]
        words += [("must", code) for code in sorted(self.must)]
        words += [("never", code) for code in sorted(self.never)]
        return urlencode(words)

    def address(self, **changed: object) -> str:
        """The page that asks this."""
        query = self.query(**changed)
        return f"/bench/?{query}" if query else "/bench/"

    def with_blend(self, shares: Mapping[str, float], mass_text: str = "") -> Asked:
        """The same aim, asking what this blend makes."""
        data = {**self.typed.data, "mass": mass_text}
        return replace(
            self,
            want=MIX,
            lots=tuple(shares),
            shares=dict(shares),
            must=frozenset(),
            never=frozenset(),
            typed=Typed(data, self.typed.system),
        )


def share_text(share_frac: float) -> str:
    """A share as it stands in its field, in percent."""
    return f"{round(PERCENT * share_frac, 2):g}"


def read_asked(data: QueryDict, system: str, by_kg: Mapping[str, float] | None = None) -> Asked:
    """Read a question; what cannot be read keeps its sentence and counts as not said.

    Parameters
    ----------
    by_kg : mapping, optional
        Free oven-dry weights by lot: shares "by what there is of each" come from these.
    """
    typed = Typed({name: value for name, value in data.items() if isinstance(value, str)}, system)
    dropped = set(data.getlist("drop"))
    codes = [code[:CODE_SIGNS] for code in data.getlist("lot") if code and code not in dropped]
    lots = tuple(dict.fromkeys(codes))[:MOST_CHOSEN]
    typed_shares = {code: _share(typed, code) for code in lots}
    want = typed.text("want")
    shade, model = typed.text("shade"), typed.text("model")
    most = typed.count("most", "lots in the blend", low=2, high=5)
    mass_g = typed.mass_g("mass", "weight of the mix")
    if mass_g == 0:
        typed.wrong("mass", "A mix of nothing cannot be weighed out. Type a weight, or leave it empty.")
    added_frac = typed.share("added", "most that may be added")
    if added_frac == 0:
        typed.wrong("added", "Adding nothing mends nothing. Type a percentage above 0, or leave it empty.")
    step = typed.text("step")
    asked = Asked(
        want=want if want in dict(QUESTIONS) else MIX,
        shade=shade,
        lab=typed.read("lab", parse_lab, "wanted colour") if shade == OWN_COLOUR else None,
        fibre=typed.text("fibre"),
        only_fibre="" if typed.text("fibre") == EVERY_FIBRE else typed.text("fibre"),
        whose=typed.text("whose"),
        mass_g=mass_g or None,
        lots=lots,
        must=frozenset(data.getlist("must")),
        never=frozenset(data.getlist("never")),
        model=model if model in dict((*MODELS, TINTED)) else "",
        seek=typed.text("seek")[:SEEK_SIGNS],
        held_as=typed.text("held")[:CODE_SIGNS],
        most_lots=most or USUAL_MOST_LOTS,
        step_g=float(step) if step in dict(STEPS_G) else USUAL_STEP_G,
        most_added_frac=added_frac or USUAL_MOST_ADDED_FRAC,
        most_cents_per_kg=_most_cents_per_kg(typed),
        typed=typed,
    )
    return _with_shares(asked, typed_shares, by_kg, is_by_kg=data.get("act") == "by_weight")


def _share(typed: Typed, code: str) -> float | None:
    """The share of a lot [frac]; its field says percent, so a bare 0.5 is half a percent."""
    name = f"{SHARE}{code}"
    percent = typed.read(name, parse_number, f"share of {code}", allowed="a number from 0 to 100")
    if percent is not None and percent > PERCENT:
        typed.wrong(name, f"{code} cannot be more than all of the mix: type a number from 0 to 100.")
        return None
    return None if percent is None else float(percent) / PERCENT


def _most_cents_per_kg(typed: Typed) -> float | None:
    cost = typed.read("cost", parse_number, "most cost of a kilogram", allowed="an amount, such as 24.50")
    return None if cost is None else float(cost) * CENTS


def _with_shares(
    asked: Asked,
    typed_shares: Mapping[str, float | None],
    by_kg: Mapping[str, float] | None,
    *,
    is_by_kg: bool,
) -> Asked:
    """Shares that add up to one: as typed and scaled; a lot nobody gave a share gets its part by weight."""
    known = {code: share for code, share in typed_shares.items() if share is not None}
    weights = {code: (by_kg or {}).get(code, 0.0) for code in asked.lots}
    if is_by_kg or not any(known.values()):
        if not any(weights.values()):
            weights = dict.fromkeys(asked.lots, 1.0)
        total = sum(weights.values())
        return replace(asked, shares={code: weights[code] / total for code in asked.lots} if total else {})
    fresh = [code for code in asked.lots if code not in known]
    # a lot that joins gets an equal part; the others give way in proportion
    total = sum(known.values())
    kept_frac = (len(asked.lots) - len(fresh)) / len(asked.lots)
    shares = {code: known[code] / total * kept_frac for code in known}
    shares.update(dict.fromkeys(fresh, 1 / len(asked.lots)))
    return replace(
        asked, shares={code: shares[code] for code in asked.lots}, shares_sum=total if not fresh else 1.0
    )
