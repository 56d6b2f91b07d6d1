"""An order's wish as somebody would type it into the counter's form, and what was changed, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from doffer.mill.queries.lots import LotRow
from doffer.mill.queries.orders import OneOrder
from doffer.mill.queries.own_stock import own_stock, unpromised_lots
from doffer.office.new_order_form import PERCENT, SHARE, STOCK, USUAL
from doffer.office.order_spec import BatchWish, OrderWish
from doffer.office.plan_view import wish_words
from doffer.pictures.wording import G_PER_OZ, YD_PER_LB_TEX, say
from doffer.planning.expected import Expected
from doffer.planning.spec import Wish
from doffer.tables.loader import Tables

TEX_M_PER_100G = 100_000  # by definition: tex is g in 1000 m
NEAR_WHOLE = 0.05  # a figure this near a whole one was typed as the whole one
SAME = 1e-4  # two weights or counts nearer than this, relative, are the same as typed


@dataclass(frozen=True, slots=True)
class OneWish:
    """One batch of an order that is looked at: its number from 1, and the batch as kept (None: none yet)."""

    number: int
    batch: BatchWish | None
    names: tuple[str, ...]  # of all batches


@dataclass(frozen=True, slots=True)
class Candidates:
    """Lots that may go into the batch: the owner's to tick, and lots that go in by their share."""

    mine: tuple[LotRow, ...]
    stock: tuple[LotRow, ...]


def batches_of(wish: OrderWish) -> tuple[BatchWish, ...]:
    """All batches in the order of the page: those that are here, then those that are announced."""
    return (*wish.batches, *wish.announced)


def one_wish(wish: OrderWish, number: int) -> OneWish:
    """The batch that is meant; the first where the number is none of them."""
    batches = batches_of(wish)
    number = number if 1 <= number <= len(batches) else 1
    return OneWish(number, batches[number - 1] if batches else None, tuple(each.name for each in batches))


def put_batch(wish: OrderWish, number: int, batch: BatchWish) -> OrderWish:
    """The wish with another batch in this place."""
    batches = list(batches_of(wish))
    batches[number - 1 : number] = [batch]
    used = {code for each in batches for code in each.lots}
    return OrderWish(
        batches=tuple(each for each in batches if not each.fibre),
        announced=tuple(each for each in batches if each.fibre),
        ways=wish.ways,
        waits={code: why for code, why in wish.waits.items() if code not in used},
    )


def candidates(order: OneOrder, wish: OrderWish, one: OneWish, tables: Tables) -> Candidates:
    """Lots to choose from: not those of the order's other batches, nor what is used up.

    An order on the mill's own account has no owner's lots: those of its largest fibre are ticked, the others
    go in by their share.
    """
    elsewhere = {code for each in batches_of(wish) if each is not one.batch for code in each.lots}
    here = {row.lot.code: row.lot for row in order.lots if row.lot.mass_g > 0}
    named = one.batch.lots if one.batch else ()
    stock = {lot.code: lot for lot in own_stock()}
    by_share = _by_share(one.batch, here, set(stock), tables)
    mine = [lot for code, lot in here.items() if code not in by_share and code not in elsewhere]
    mine += [lot for lot in unpromised_lots(order.row.owner) if lot.code not in here]
    ticked = {lot.code for lot in mine}
    more = [here[code] for code in named if code in by_share and code not in stock]
    shared = [lot for lot in (*more, *stock.values()) if lot.code not in ticked]
    return Candidates(tuple(mine), tuple(shared))


def _by_share(
    batch: BatchWish | None, here: Mapping[str, LotRow], stock: set[str], tables: Tables
) -> set[str]:
    """Lots of a batch that go in by a share of their own: the mill's, but for the largest fibre."""
    if batch is None or not batch.wish.shares:
        return set()
    lots = [here[code] for code in batch.lots if code in here]
    own = {lot.code for lot in lots if lot.code in stock or lot.code in batch.wish.lot_shares}
    if len(own) < len(lots) or batch.fibre:
        return own
    largest = max(batch.wish.shares, key=lambda label: batch.wish.shares[label])
    return {lot.code for lot in lots if tables.fibres[lot.fibre].label_as != largest}


def typed_of(order: OneOrder, one: OneWish, lots: Candidates, tables: Tables, system: str) -> dict[str, str]:
    """The form filled with what was wished."""
    words = {"date_kind": "hard" if order.row.date_is_hard else "soft", "form": USUAL["form"]}
    if order.row.promised_on:
        words["wanted"] = order.row.promised_on.isoformat()
    if one.batch is None:
        return {**USUAL, **words}
    wish = one.batch.wish
    words |= {"product": wish.product, "plies": str(wish.plies if wish.product == "yarn" else 2)}
    words["piece"] = mass_typed(wish.piece_mass_g, system)
    if wish.finished_mass_g is not None:
        words["finished"] = mass_typed(wish.finished_mass_g, system)
    if wish.length_m_per_100g is not None:
        words["thick"] = count_typed(wish.length_m_per_100g, system)
    named = set(one.batch.lots)
    if one.batch.fibre:  # bags that came since take the place of what was announced
        named |= {row.lot.code for row in order.lots}
    ticked = [lot for lot in lots.mine if lot.code in named]
    words |= {f"lot_{lot.code}": "yes" for lot in ticked}
    shared = [lot for lot in lots.stock if lot.code in one.batch.lots]
    words |= _shares_typed(wish, shared, ticked, tables)
    return words | (_fibre_typed(one.batch.fibre[0], system) if one.batch.fibre else {})


def _shares_typed(
    wish: Wish, shared: Sequence[LotRow], ticked: Sequence[LotRow], tables: Tables
) -> dict[str, str]:
    """Percents of the lots that go in by share, and of the owner's fibres where there are several."""
    label_of = {lot.code: tables.fibres[lot.fibre].label_as for lot in (*shared, *ticked)}
    words: dict[str, str] = {}
    left = dict(wish.shares)
    for lot in shared:
        label = label_of[lot.code]
        alike = [other for other in shared if label_of[other.code] == label]
        of_label = wish.shares.get(label, 0.0) * lot.mass_g / sum(other.mass_g for other in alike)
        share = wish.lot_shares.get(lot.code, of_label)
        left[label] = left.get(label, 0.0) - share
        words[f"{STOCK}{lot.code}"] = f"{share * PERCENT:.4g}"
    labels = {label_of[lot.code] for lot in ticked}
    if wish.shares and len(labels) > 1:
        words |= {f"{SHARE}{label}": f"{left.get(label, 0.0) * PERCENT:.4g}" for label in labels}
    return words


def _fibre_typed(told: Expected, system: str) -> dict[str, str]:
    return {
        "fibre": told.words,
        "mass": mass_typed(told.mass_g, system),
        "form": told.form,
        "micron": f"{told.diameter_um:g}",
        "staple": f"{told.staple_mm:g} mm",
    }


def mass_typed(mass_g: float, system: str) -> str:
    """A weight with its unit as somebody would type it; grams where it is no whole number of ounces."""
    ounces = mass_g / G_PER_OZ
    if system == "us" and abs(ounces - round(ounces)) < SAME:
        return f"{ounces:.0f} oz"
    return f"{mass_g:.7g} g"


def count_typed(length_m_per_100g: float, system: str) -> str:
    """A thickness with its unit; metres in 100 g where it is no whole number of yards in a pound."""
    yards = YD_PER_LB_TEX / (TEX_M_PER_100G / length_m_per_100g)
    if system == "us" and abs(yards - round(yards)) < NEAR_WHOLE:
        return f"{yards:.0f} yd/lb"
    return f"{length_m_per_100g:.7g} m/100 g"


def changes(
    old: BatchWish | None,
    new: BatchWish,
    *,
    days: tuple[date | None, date | None],
    fixed: tuple[bool, bool],
    system: str,
) -> tuple[str, ...]:
    """What was changed, each in a few words; empty where nothing was."""
    said = _wish_changes(old.wish, new.wish, system) if old else [wish_words(new.wish, system)]
    before = set(old.lots) if old else set()
    said += [f"with {lot}" for lot in new.lots if lot not in before]
    said += [f"without {lot}" for lot in sorted(before - set(new.lots))]
    if _fibre_words(old, system) != _fibre_words(new, system):
        said.append(f"announced {_fibre_words(new, system) or 'nothing any more'}")
    if days[0] != days[1]:
        said.append(f"day {days[0] or 'not said'} → {days[1] or 'not said'}")
    if fixed[0] != fixed[1]:
        said.append("the day is fixed" if fixed[1] else "the day would be good")
    return tuple(said)


def _fibre_words(batch: BatchWish | None, system: str) -> str:
    if batch is None:
        return ""
    return ", ".join(
        f"{told.words} {told.form} {say(told.mass_g, 'g', system)} "
        f"{told.diameter_um:.4g} micron {told.staple_mm:.4g} mm"
        for told in batch.fibre
    )


def _wish_changes(old: Wish, new: Wish, system: str) -> list[str]:
    said = []
    if old.product != new.product:
        said.append(f"{old.product} → {new.product}")
    if old.plies != new.plies:
        said.append(f"{old.plies}-ply → {new.plies}-ply")
    figures = (
        ("", "m_per_100g", old.length_m_per_100g, new.length_m_per_100g),
        ("pieces of ", "g", old.piece_mass_g, new.piece_mass_g),
        ("finished ", "g", old.finished_mass_g, new.finished_mass_g),
    )
    for name, unit, was, now in figures:
        if not _same(was, now):
            said.append(f"{name}{_said(was, unit, system)} → {_said(now, unit, system)}")
    if not (_alike(old.shares, new.shares) and _alike(old.lot_shares, new.lot_shares, old, new)):
        said.append(f"blend {_blend(old)} → {_blend(new)}")
    return said


def _said(value: float | None, unit: str, system: str) -> str:
    return "not said" if value is None else say(value, unit, system)


def _same(was: float | None, now: float | None) -> bool:
    if was is None or now is None:
        return was is now
    return abs(was - now) <= SAME * max(abs(was), abs(now))


def _alike(was: Mapping[str, float], now: Mapping[str, float], *wishes: Wish) -> bool:
    """Whether two sets of shares are the same; shares of lots count only where a fibre is split by hand."""
    if wishes and not any(_is_split(wish) for wish in wishes):
        return True
    return set(was) == set(now) and all(_same(was[name], now[name]) for name in was)


def _is_split(wish: Wish) -> bool:
    """Whether a lot has less than the whole part of a fibre."""
    parts = list(wish.shares.values())
    return any(not any(_same(share, part) for part in parts) for share in wish.lot_shares.values())


def _blend(wish: Wish) -> str:
    names = {**wish.shares, **(wish.lot_shares if _is_split(wish) else {})}
    words = [f"{share * PERCENT:.0f} % {name.replace('_', ' ')}" for name, share in names.items()]
    return " ".join(words) or "as the lots lie"
