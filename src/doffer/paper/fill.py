"""What is printed where: every figure of a paper in words, in the mill's units, ready for its template."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from doffer.paper.letters import shortened
from doffer.paper.papers import (
    BagTag,
    BlendSheet,
    Imprint,
    LotFace,
    LotSheet,
    RunCard,
    WeighOutSheet,
    WorkOrder,
)
from doffer.paper.scan import scan_picture, scan_text
from doffer.pictures.bench import say_weighed_when
from doffer.pictures.calendar_words import say_day, say_time
from doffer.pictures.doses import say_dose, say_loads
from doffer.pictures.settings_words import first_settings, say_test_length
from doffer.pictures.wording import say, say_duration, say_range
from doffer.pictures.words import say_list, say_many, say_status, sentence, word
from doffer.planning.layers import Layer
from doffer.planning.order_plan import BatchPlan, StagePlan
from doffer.planning.put_up import M_PER_100G_TEX
from doffer.planning.spread import Spread
from doffer.working import Working

Filled = dict[str, Any]
FINGERPRINT_SIGNS = 8
LONGEST_NAME, LONGEST_WORDS = 60, 80  # signs on a sheet
TAG_NAME, TAG_WORDS = 36, 52  # signs on a tag, where all lines shrink to fit
LEAST_LOSS_G = 0.5  # less is nothing on any scale of a mill
NAMES_SHOWN = 6  # owners or lots named in a line before it says how many more
BASIS_TITLES = {
    "eu_agreed": "EU, agreed regain",
    "us_commercial": "US, commercial regain",
    "oven_dry": "oven-dry",
}
FORMS = {"greasy": "in the grease"}


def run_card(card: RunCard, imprint: Imprint) -> Filled:
    """A run card."""
    batch = card.batch
    return {
        "kind": "Run card",
        "title": f"Run card {card.order}",
        "order": card.order,
        "owner": shortened(card.owner, LONGEST_NAME),
        "product": sentence(card.product).rstrip("."),
        "promised": _promise(card.promised_on, is_hard=card.is_hard_date),
        "lots": _lots_in(card.lots, batch, imprint),
        "stages": [_stage(place, stage, imprint) for place, stage in enumerate(batch.stages, start=1)],
        "yarn": _yarn(batch, imprint.system),
        "time": _time(batch),
        "finished": _spread(batch.finished, imprint.system),
        "pieces": _pieces(batch, imprint.system),
        "warnings": [sentence(warning) for warning in (*batch.warnings, card.note) if warning],
        "code": code_of("order", card.order, imprint),
        "foot": foot_of(imprint, [use.lot for use in batch.lots]),
    }


def weigh_out_sheet(sheet: WeighOutSheet, imprint: Imprint) -> Filled:
    """A weigh-out sheet."""
    batch, faces = sheet.batch, {lot.code: lot for lot in sheet.lots}
    weighed = batch.weigh_out
    assert weighed is not None  # refused when the sheet was made
    names = [line.name for line in weighed.lines]
    forms = {use.lot: use.form for use in batch.lots}
    return {
        "kind": "Weigh-out sheet",
        "title": f"Weigh-out sheet {sheet.order}",
        "order": sheet.order,
        "owner": shortened(sheet.owner, LONGEST_NAME),
        "product": sentence(sheet.product).rstrip("."),
        "finished": say(weighed.finished_mass_g, "g", imprint.system),
        "heads": ["share on the scale", "share on the label", "label if weighed as the label says"],
        "total": _bench_mass(sum(round(line.weigh_mass_g) for line in weighed.lines), imprint.system),
        "limited": weighed.limited_by or "",
        "lines": [
            {
                **face_of(faces.get(line.name), line.name),
                "weigh": _bench_mass(line.weigh_mass_g, imprint.system),
                "when": say_weighed_when(forms[line.name], line.weigh_mass_g, batch.meeting_stage),
                "label": say(line.label_share_frac, "frac", digits=1),
                "weighed": say(line.weighed_share_frac, "frac", digits=1),
                "naive": say(line.share_if_weighed_as_label_frac, "frac", digits=1),
            }
            for line in weighed.lines
        ],
        "bands": _bands(batch.layers, names),
        "labels": [{"basis": BASIS_TITLES[label.basis], "words": label.words} for label in batch.labels],
        "doses": [
            line
            for stage in batch.stages
            if stage.stage == "pick"
            for line in (
                *({"name": "loads", "words": words} for words in _loads(stage, imprint.system)),
                *({"name": dose.name, "words": say_dose(dose, imprint.system)} for dose in stage.doses),
            )
        ],
        "note": sentence(sheet.note),
        "code": code_of("order", sheet.order, imprint),
        "foot": foot_of(imprint, names),
    }


def blend_sheet(sheet: BlendSheet, imprint: Imprint) -> Filled:
    """The weigh-out sheet of a blend recipe."""
    names = [part.lot.code for part in sheet.portions]
    masses_g = [part.trial_mass_g if sheet.is_trial else part.weigh_mass_g for part in sheet.portions]
    weighed = _card_mass if sheet.is_trial else _bench_mass
    code = f"{sheet.recipe} version {sheet.version}"
    return {
        "kind": "Weigh-out sheet, trial card" if sheet.is_trial else "Weigh-out sheet, blend",
        "title": f"Weigh-out sheet {code}",
        "order": sheet.recipe,
        "owner": "",
        "product": shortened(f"for {sheet.shade}, version {sheet.version}", LONGEST_WORDS),
        "finished": "",
        "heads": ["share on the scale", "share oven-dry", "" if sheet.is_trial else "of the trial card"],
        "total": weighed(sum(masses_g), imprint.system),
        "limited": "",
        "lines": [
            {
                **face_of(part.lot, part.lot.code),
                "weigh": weighed(mass_g, imprint.system),
                "when": "",
                "label": say(part.share_frac, "frac", digits=1),
                "weighed": say(mass_g / sum(masses_g), "frac", digits=1),
                "naive": "" if sheet.is_trial else _card_mass(part.trial_mass_g, imprint.system)["grams"],
            }
            for part, mass_g in zip(sheet.portions, masses_g, strict=True)
        ],
        "bands": _bands(sheet.layers, names),
        "labels": [],
        "doses": [],
        "note": sentence(sheet.note),
        "code": code_of("recipe", sheet.recipe, imprint),
        "foot": foot_of(imprint, names),
    }


def _bands(layers: Sequence[Layer], names: Sequence[str]) -> list[Filled]:
    """The layers of the picker's feed, from the bottom."""
    heaviest = max((layer.mass_g for layer in layers), default=1)
    return [
        {
            "place": str(layer.place),
            "name": layer.name,
            "mass": _grams(layer.mass_g),
            "share": layer.mass_g / heaviest,
            "ink": names.index(layer.name) if layer.name in names else 0,
        }
        for layer in layers
    ]


def bag_tag(tag: BagTag, imprint: Imprint) -> Filled:
    """The tag of a bag."""
    form = FORMS.get(tag.form, tag.form)
    return {
        **face_of(tag.lot, tag.lot.code),
        "owner": shortened(tag.lot.owner, TAG_NAME),
        "what": shortened(" ".join(part for part in (tag.lot.colour, tag.lot.fibre) if part), TAG_WORDS),
        "tag": tag.tag,
        "place": str(tag.place),
        "places": str(tag.of_places),
        "gross": say(tag.gross_mass_g, "g", imprint.system),
        "tare": say(tag.tare_mass_g, "g", imprint.system),
        "net": say(tag.net_mass_g, "g", imprint.system),
        "received": say_day(tag.received_on),
        "note": shortened(" · ".join(part for part in (form, tag.note) if part), TAG_WORDS),
        "imprint": " · ".join(part for part in (imprint.mill, imprint.version) if part),
        "code": code_of("tag", tag.tag, imprint),
    }


def work_order(order: WorkOrder, imprint: Imprint) -> Filled:
    """A work order."""
    system = imprint.system
    return {
        "kind": "Work order",
        "title": f"Work order {order.order}",
        "order": order.order,
        "owner": shortened(order.owner, LONGEST_NAME),
        "contact": order.contact,
        "taken": f"{say_day(order.taken_on)}, by {order.taken_by}",
        "wish": sentence(order.wish),
        "bags": [
            {
                "tag": bag.tag,
                "lot": bag.lot,
                "fibre": bag.fibre,
                "gross": say(bag.gross_mass_g, "g", system),
                "tare": say(bag.tare_mass_g, "g", system),
                "net": say(bag.net_mass_g, "g", system),
                "note": bag.note,
            }
            for bag in order.bags
        ],
        "total": say(sum(bag.net_mass_g for bag in order.bags), "g", system),
        "expected": _spread(order.expected, system) if order.expected else None,
        "safe": say(order.expected.safe, "g", system) if order.expected else "",
        "grades": [sentence(note) for note in order.grade_notes],
        "prices": list(order.price_words),
        "waste": _answer(order.wants_waste_back),
        "blend": _answer(order.may_blend),
        "hard": _answer(order.is_hard_date),
        "promised": say_day(order.promised_on) if order.promised_on else "",
        "terms": order.terms,
        "mill": imprint.mill,
        "code": code_of(_named_after(order), order.order, imprint),
        "foot": foot_of(imprint, [bag.lot for bag in order.bags]),
    }


def lot_sheet(sheet: LotSheet, imprint: Imprint) -> Filled:
    """A lot on one page."""
    system = imprint.system
    return {
        "kind": "Lot sheet",
        "title": f"Lot sheet {sheet.lot.code}",
        **face_of(sheet.lot, sheet.lot.code),
        "owner": shortened(sheet.lot.owner, LONGEST_NAME),
        "facts": [{"name": name, "words": words} for name, words in sheet.facts],
        "weighings": [
            {
                "on": say_day(line.on),
                "what": line.what,
                "net": say(line.net_mass_g, "g", system),
                "dry": say(line.dry_mass_g, "g", system),
                "rh": say(line.rh_frac, "frac"),
                "by": line.by,
            }
            for line in sheet.weighings
        ],
        "working": _working(sheet.working, system) if sheet.working else None,
        "note": sentence(sheet.note),
        "code": code_of("lot", sheet.lot.code, imprint),
        "foot": foot_of(imprint, [sheet.lot.code]),
    }


def _stage(place: int, stage: StagePlan, imprint: Imprint) -> Filled:
    system = imprint.system
    return {
        "place": str(place),
        "name": word(stage.stage, imprint.country).capitalize(),
        "machine": stage.machine if stage.machine != stage.stage else "",
        "lots": _lot_of(stage),
        "weigh_in": say(stage.weighed_in.mean, "g", system),
        "weigh_out": _spread(stage.weighed, system),
        "settings": [*_loads(stage, system), *stage.settings],
        "first": [
            {"name": name, "value": value}
            for name, value in first_settings(stage.suggestions, stage.stage, system)
        ],
        "minutes": say_duration(stage.minutes.taken.p50) if stage.minutes and stage.minutes.is_known else "",
        "hands": say_duration(stage.minutes.hands_on_min) if stage.minutes else "",
        "doses": [{"name": dose.name, "words": say_dose(dose, system)} for dose in stage.doses],
        "losses": _losses(stage, system),
        "cautions": [sentence(caution.text) for caution in stage.cautions],
    }


def _yarn(batch: BatchPlan, system: str) -> list[Filled]:
    """The yarn in large figures: count, single, twist, what ten metres weigh; empty where none is spun."""
    plan = batch.yarn
    if plan is None:
        return []
    strands = "one single" if plan.wish.plies == 1 else f"{plan.wish.plies}-ply"
    figures = [
        ("finished yarn", say(M_PER_100G_TEX / plan.finished.tex, "m_per_100g", system), strands),
        ("single on the bobbin", say(plan.single.tex, "tex", "metric", 0), ""),
        ("twist of a single", say(plan.single_twist.tpm, "tpm", system), str(plan.single_twist.direction)),
        (*say_test_length(plan.single.tex, system), "single, off the bobbin"),
    ]
    if plan.wish.plies > 1:
        ply = say(plan.ply_twist.tpm, "tpm", system)
        figures.insert(3, ("ply twist", ply, str(plan.ply_twist.direction)))
    return [{"name": name, "value": value, "beside": beside} for name, value, beside in figures]


def _time(batch: BatchPlan) -> str:
    """How long all of it takes, and how long hands are needed."""
    if batch.time is None:
        return ""
    nights = f", {say_many(batch.time.nights, 'night')} by itself" if batch.time.nights else ""
    return (
        f"{say_duration(batch.time.hands_on_min)} of hands{nights}; "
        f"{say_duration(batch.time.total.p50)} if nothing waits"
    )


def _loads(stage: StagePlan, system: str) -> tuple[str, ...]:
    """In how many loads a stage is run; nothing where all goes in at once."""
    return () if stage.loads is None else (say_loads(stage.loads, stage.machine or "machine", system),)


def _losses(stage: StagePlan, system: str) -> str:
    """What a stage is expected to lose, and on which basis that counts."""
    said = "; ".join(
        f"{loss.name} {say(round(mass_g) if system == 'metric' else mass_g, 'g', system)}"
        for loss, mass_g in stage.losses_agreed_g
        if mass_g >= LEAST_LOSS_G
    )
    return f"{said} ({stage.loss_basis})" if said and stage.loss_basis else said


def _lot_of(stage: StagePlan) -> str:
    """Which lot a step of its own is for: the name of such a step is "wash L015"."""
    return stage.name.removeprefix(stage.stage).strip()


def _lots_in(lots: Sequence[LotFace], batch: BatchPlan, imprint: Imprint) -> list[Filled]:
    faces = {lot.code: lot for lot in lots}
    return [
        {
            **face_of(faces.get(use.lot), use.lot, use.fibre),
            "take": say(use.weighed_mass_g, "g", imprint.system),
        }
        for use in batch.lots
    ]


def face_of(lot: LotFace | None, code: str, fibre: str = "") -> Filled:
    """A lot’s face in words; without one only its number."""
    if lot is None:
        return {"lot": code, "fibre": fibre, "colour": "", "hex": "", "owner": ""}
    return {
        "lot": lot.code,
        "fibre": shortened(lot.fibre, LONGEST_NAME),
        "colour": shortened(lot.colour, LONGEST_NAME),
        "hex": lot.colour_hex,
        "owner": shortened(lot.owner, LONGEST_NAME),
    }


def _spread(figure: Spread, system: str) -> Filled:
    return {"mean": say(figure.mean, "g", system), "range": say_range(figure.low, figure.high, "g", system)}


def _pieces(batch: BatchPlan, system: str) -> str:
    pieces = batch.pieces
    each = say(pieces.piece_mass_g, "g", system)
    return (
        f"{pieces.expected} × {each} expected, {pieces.low} to {pieces.high}; {pieces.safe} safe to promise"
    )


def _bench_mass(mass_g: float, system: str) -> Filled:
    """A weight for the bench scale: whole grams, as layers are laid; beside it lb and oz in US units."""
    also = say(mass_g, "g", system, digits=1) if system == "us" else ""
    return {"grams": _grams(mass_g), "also": also}


def _card_mass(mass_g: float, system: str) -> Filled:
    """A weight for the fine scale, to the hundredth of a gram."""
    also = say(mass_g, "g", system, digits=2) if system == "us" else ""
    return {"grams": f"{mass_g:.2f}\u00a0g", "also": also}


def _grams(mass_g: float) -> str:
    return f"{say(round(mass_g), 'count')}\u00a0g"


def _promise(day: Any, *, is_hard: bool) -> str:
    return f"{'promised' if is_hard else 'aimed at'} {say_day(day)}" if day else "no date promised"


def _answer(value: bool | None) -> str:  # noqa: FBT001 - an answer of the owner, not a switch
    return "" if value is None else "yes" if value else "no"


def _named_after(order: WorkOrder) -> str:
    """What a work order is numbered by: at the door, before an order is taken, by its first lot."""
    return "lot" if order.order in {bag.lot for bag in order.bags} else "order"


def _named(names: Iterable[str]) -> str:
    shown = list(dict.fromkeys(names))
    rest = len(shown) - NAMES_SHOWN
    return say_list([*shown[:NAMES_SHOWN], f"{rest} more"] if rest > 0 else shown)


def _working(working: Working, system: str) -> Filled:
    """A working without its parts: the shortest that still can be checked by hand."""
    terms = [*working.inputs, working.result]
    return {
        "title": working.title,
        "formula": working.formula,
        "terms": [{"name": t.name, "value": say(t.value, t.unit, system), "note": t.note} for t in terms],
        "source": f"{working.source} ({say_status(working.status)})",
        "note": working.note,
    }


def code_of(kind: str, code: str, imprint: Imprint) -> Filled:
    """The square code that leads to a page, with the letters below it."""
    payload = scan_text(imprint.address, kind=kind, code=code)
    return {"svg": scan_picture(payload), "letters": code, "says": f"Square code of {kind} {code}: {payload}"}


def foot_of(imprint: Imprint, lots: Sequence[str]) -> Filled:
    """The line at the foot of every sheet: mill, lots, version, when, tables."""
    tables = imprint.tables_sha256[:FINGERPRINT_SIGNS]
    printed = f"{say_day(imprint.printed_at.date())}, {say_time(imprint.printed_at)}"
    parts = [
        imprint.mill,
        _named(lots),
        imprint.version,
        printed,
        f"figures of this day, set {tables}" if tables else "",
    ]
    return {"words": " · ".join(part for part in parts if part), "mill": imprint.mill}
