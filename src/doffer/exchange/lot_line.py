"""One line of a list of lots: understood as a `LotRow`, or refused with every sentence that mends it."""

from __future__ import annotations

import difflib
import re
from datetime import date

from doffer.errors import NotFoundError
from doffer.exchange.dates import is_day_number, parse_date
from doffer.exchange.desk import MOST_SIGNS, Desk, clean
from doffer.exchange.headings import LB_AND_OZ, UNIT_WORDS, UNITS_OF, plain
from doffer.exchange.numbers import Cell, Habits, is_blank
from doffer.exchange.quantities import (
    parse_length_mm,
    parse_micron,
    parse_micron_sd,
    parse_share,
    read_mass,
)
from doffer.fibre.kinds import Kind
from doffer.fibre.material import Form
from doffer.mill.import_rows import LotRow

TAG_SIGNS = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]*")  # they stand in addresses and on printed tags
DISAGREE_MG, DISAGREE_FRAC = 20_000, 0.005  # scales and rounding; more is two different bags
HEAVY_MG, LIGHT_MG = 60_000_000, 50_000  # one bag is hardly heavier or lighter
MG_PER_G = 1000
LIKENESS = 0.6
NO_BREED = "mixed_wool"  # the row of tables.breeds for mixed and unknown fleece

FORM_WORDS = {
    Form.GREASY: "greasy; raw; in the grease; grease; unwashed; unskirted; dirty; as shorn; no",
    Form.SKIRTED: "skirted; raw skirted; skirted raw; greasy skirted; skirted greasy; skirted unwashed",
    Form.SCOURED: "scoured; washed; clean; cleaned; yes; scoured loose; washed loose",
    Form.OPENED: "opened; picked; carded loose",
    Form.ROVING: "roving; top; tops; sliver; pencil roving; combed; combed top",
    Form.BATT: "batt; batts; carded batt",
    Form.SINGLE: "single; singles",
    Form.PLIED: "plied; yarn; yarn on bobbins",
    Form.SKEIN: "skein; skeins; yarn in skeins; hank; hanks",
}
FORM_OF = {word.strip(): form for form, words in FORM_WORDS.items() for word in words.split(";")}
LAB_WORDS = frozenset(
    {"lab", "laboratory", "tested", "test", "yes", "measured", "lab test", "y", "certificate"}
)
ESTIMATE_WORDS = frozenset(
    {"estimate", "estimated", "guess", "guessed", "no", "n", "by eye", "by hand", "est"}
)
UNIT_NAMES = {"kg": "kilograms", "lb": "pounds", "mm": "millimetres", "in": "inches"}


def understand(desk: Desk) -> LotRow | None:
    """The line as a lot; None when `desk.sentences` says why not."""
    kind = _kind(desk)
    gross, tare, net = _masses(desk)
    diameter_um, sd_um, source = _diameter(desk, kind)
    staple_mm = desk.take("staple", parse_length_mm, unit=desk.unit("staple", desk.beside.length_unit))
    tag, owner, form = _tag(desk), _owner(desk), _form(desk, kind)
    colour, received_on = desk.text("colour"), _received(desk)
    rh_frac = desk.take("rh", _humidity, heading_unit=desk.unit("rh"))
    note = _note(desk)
    if desk.sentences or kind is None:
        return None
    return LotRow(
        tag=tag,
        owner=owner,
        fibre=kind.fibre.fibre,
        breed=kind.breed.breed if kind.breed else None,
        breed_typed=_breed_typed(desk, kind),
        colour=colour,
        form=form,
        gross_mass_mg=gross,
        tare_mass_mg=tare,
        net_mass_mg=net,
        rh_frac=rh_frac,
        diameter_um=diameter_um,
        diameter_sd_um=sd_um,
        diameter_source=source,
        staple_mm=None if staple_mm is None else round(staple_mm),
        received_on=received_on,
        note=note,
    )


def tag_of(cell: Cell) -> str:
    """A lot's number in the one writing that fits tags: "Bag 12" and "2026/12" get a - between."""
    return "-".join(clean(cell).replace("/", " ").split()) if not is_blank(cell) else ""


def _tag(desk: Desk) -> str | None:
    typed = desk.text("tag")
    tag = tag_of(typed)
    if tag and not TAG_SIGNS.fullmatch(tag):
        allowed = "letters a to z and digits, with - . or _ between"
        desk.sentences.append(f"{desk.heading('tag')} is “{typed}”; it must be {allowed}.")
    elif tag != typed:
        desk.remarks.append(f"Lot “{typed}” is written “{tag}” here.")
    return tag or None


def _owner(desk: Desk) -> str:
    typed = desk.text("owner") or desk.beside.owner
    owners = desk.beside.owners
    if not typed:
        desk.sentences.append(
            "The owner is missing; write whose fibre it is, or choose one owner for the file."
        )
        return ""
    if owners is None or typed in owners.values():
        return typed
    wanted = plain(typed)
    for name, number in owners.items():
        if wanted in (plain(name), plain(number)):
            return number
    close = difflib.get_close_matches(typed, owners, n=3, cutoff=LIKENESS)
    guess = f" Did you mean {' or '.join(f'“{name}”' for name in close)}?" if close else ""
    desk.sentences.append(
        f"There is no owner “{typed}” in the mill.{guess} Correct the name or record the owner first."
    )
    return ""


def _kind(desk: Desk) -> Kind | None:
    """Fibre and breed of two columns that may repeat or narrow each other, but not contradict."""
    tables = desk.beside.tables
    fibre = _found(desk, "fibre")
    breed = _found(desk, "breed")
    if not desk.has("fibre") and not desk.has("breed"):
        desk.sentences.append("The fibre is missing; write wool, alpaca, mohair … or the breed.")
    if fibre is None or breed is None:
        is_lost = (desk.has("fibre") and fibre is None) or (desk.has("breed") and breed is None)
        return None if is_lost else fibre or breed
    narrows = breed.fibre.fibre == fibre.fibre.fibre or fibre.fibre.fibre == breed.fibre.agreed_as
    if not narrows and breed.breed is not None and breed.breed.breed == NO_BREED:
        desk.remarks.append(f"“{desk.text('breed')}” names no breed: taken as {fibre.fibre.name}.")
        return Kind(fibre.fibre)
    if not narrows and not (breed.breed is None and breed.fibre.fibre == fibre.fibre.agreed_as):
        desk.sentences.append(
            f"{desk.heading('breed')} “{desk.text('breed')}” is {breed.fibre.name}, but "
            f"{desk.heading('fibre')} says {fibre.fibre.name}; correct one of them."
        )
        return None
    if breed.breed is None:
        return fibre
    return Kind(tables.fibres[breed.breed.fibre], breed.breed)


def _found(desk: Desk, name: str) -> Kind | None:
    typed = desk.text(name)
    if not typed:
        return None
    try:
        return desk.kind(typed)
    except NotFoundError as missing:
        what = "breed or fibre" if name == "breed" else "fibre or breed"
        desk.sentences.append(str(NotFoundError(what, typed, missing.hint)))
        return None


def _breed_typed(desk: Desk, kind: Kind) -> str:
    """The sender's word when it says more than the breed that was found."""
    typed = desk.text("breed") or desk.text("fibre")
    known = {plain(kind.fibre.fibre), plain(kind.fibre.name), *map(plain, kind.fibre.aliases.split(";"))}
    if kind.breed is not None:
        known |= {plain(kind.breed.breed), plain(kind.breed.name)}
    return "" if plain(typed) in known else typed


def _mass_mg(desk: Desk, name: str) -> int | None:
    """A weight in whole milligrams, with remarks on what was assumed."""
    heading_unit = desk.unit(name) or _line_unit(desk)
    unit = "" if heading_unit == LB_AND_OZ else heading_unit or desk.beside.mass_unit
    read = desk.take(name, read_mass, unit=unit)
    if read is None:
        return None
    said = clean(desk.cells[name])
    if read.is_unit_assumed and not heading_unit:
        desk.remarks.append(f"{desk.heading(name)} “{said}” has no unit: taken as {UNIT_NAMES[unit]}.")
    if read.is_approximate:
        desk.remarks.append(f"{desk.heading(name)} “{said}” is an estimate: weigh the bag at the door.")
        desk.to_keep.append(f"{desk.heading(name)} given as {said}")
    return round(read.mass_g * MG_PER_G)


def _line_unit(desk: Desk) -> str:
    """The unit that stands in a column of its own ("lb" beside 5,4), or nothing."""
    said = plain(desk.text("mass_unit"))
    return UNIT_WORDS.get(said, "") if UNIT_WORDS.get(said) in UNITS_OF["weight"] else ""


def _masses(desk: Desk) -> tuple[int | None, int | None, int | None]:
    """Gross, tare and net [mg] that agree with each other."""
    before = len(desk.sentences)
    if desk.has("mass_unit") and not _line_unit(desk):
        desk.sentences.append(
            f"{desk.heading('mass_unit')} is “{desk.text('mass_unit')}”; write kg, g, lb or oz."
        )
    gross, tare, net = (_mass_mg(desk, name) for name in ("gross", "tare", "net"))
    if len(desk.sentences) > before:
        return None, None, None
    if gross is None and net is None:
        desk.sentences.append("The weight is missing; weigh the bag and write kilograms or pounds.")
        return None, None, None
    if gross is not None and tare is not None and tare >= gross:
        desk.sentences.append(
            f"{desk.heading('tare')} is not less than {desk.heading('gross')}; are the two exchanged?"
            " Weigh the empty bag again."
        )
        return None, None, None
    if gross is not None and net is None:
        net = gross - (tare or 0)
        if tare is None:
            desk.remarks.append("The empty bag was not weighed: its weight counts as fibre.")
    elif gross is not None:
        tare = _agreed_tare(desk, gross, tare, net or 0)
    _look_at(desk, net or 0)
    return gross, tare, net


def _agreed_tare(desk: Desk, gross: int, tare: int | None, net: int) -> int | None:
    """The tare that net and gross leave; a sentence when the three weights contradict each other."""
    left = gross - net
    if tare is None and left >= 0:
        return left
    if tare is None or abs(left - tare) > max(DISAGREE_MG, round(DISAGREE_FRAC * gross)):
        desk.sentences.append(
            f"{desk.heading('net')} is not {desk.heading('gross')} less the empty bag; correct one of them."
        )
    return tare


def _look_at(desk: Desk, net: int) -> None:
    if net <= 0:
        desk.sentences.append("The weight is 0; weigh the bag again, or leave this line out.")
    elif net > HEAVY_MG:
        desk.remarks.append("That is heavy for one bag: look at the unit.")
    elif net < LIGHT_MG:
        desk.remarks.append("That is very light for a bag: look at the unit.")


def _diameter(desk: Desk, kind: Kind | None) -> tuple[float | None, float | None, str]:
    """Mean, spread and where they come from; without a figure what is usual for the breed or fibre."""
    diameter_um = desk.take("micron", parse_micron)
    sd_um = desk.take("micron_sd", parse_micron_sd)
    said = plain(desk.text("micron_source"))
    if diameter_um is not None:
        if said in LAB_WORDS:
            return diameter_um, sd_um, "lab"
        if said == "typical":
            return diameter_um, sd_um, "typical"
        if said and said not in ESTIMATE_WORDS:
            desk.remarks.append(f"Micron by “{desk.text('micron_source')}”: taken as an estimate.")
            desk.to_keep.append(f"micron by {desk.text('micron_source')}")
        return diameter_um, sd_um, "estimate"
    if kind is None or desk.has("micron"):
        return None, None, "typical"
    usual_um, spread_um, name = _usual(kind)
    desk.remarks.append(f"Micron is not given: {usual_um:g} is usual for {name}.")
    return usual_um, spread_um, "typical"


def _usual(kind: Kind) -> tuple[float, float, str]:
    if kind.breed is not None:
        return kind.breed.diameter_um, kind.breed.diameter_sd_um, kind.breed.name
    fibre = kind.fibre
    spread_um = round(fibre.diameter_um * fibre.diameter_cv_pct / 100, 1)
    return fibre.diameter_um, spread_um, fibre.name


def _form(desk: Desk, kind: Kind | None) -> str:
    said = plain(desk.text("form"))
    if said:
        form = FORM_OF.get(said) or FORM_OF.get(said.removesuffix(" fleece").removesuffix(" fibre"))
        if form is None:
            allowed = ", ".join(Form)
            desk.sentences.append(
                f"{desk.heading('form')} is “{desk.text('form')}”; it must be one of {allowed}."
            )
        return form or Form.GREASY
    yields_as = "" if kind is None else kind.breed.yields_as if kind.breed else kind.fibre.yields_as
    if yields_as == "clean_bought":
        desk.remarks.append("Nothing says whether it is washed: taken as clean, as this fibre is bought.")
        return Form.SCOURED
    if "form" in desk.columns:
        desk.remarks.append("Nothing says whether it is washed: taken as raw fleece.")
    return Form.GREASY


def _humidity(cell: Cell, heading: str, *, habits: Habits, heading_unit: str) -> float:
    """Room humidity [frac]; a heading with % makes bare numbers percent."""
    with_sign = (
        f"{cell} %" if heading_unit == "%" and not isinstance(cell, date) and "%" not in str(cell) else cell
    )
    return parse_share(with_sign, heading, habits=habits)


def _received(desk: Desk) -> date | None:
    day = desk.take("received", parse_date)
    if day is not None and day > desk.beside.today:
        desk.sentences.append(
            f"{desk.heading('received')} is {day.isoformat()}, still to come; write the day it arrived."
        )
    elif day is not None and is_day_number(desk.cells["received"]):
        desk.remarks.append(f"The spreadsheet's day number is {day.isoformat()}.")
    return day


def _note(desk: Desk) -> str:
    """The note with every cell that has no column of its own, so that nothing is lost."""
    parts = [desk.text("note")]
    parts += [f"{clean(heading)}: {clean(cell)}" for heading, cell in desk.extras if not is_blank(cell)]
    note = "; ".join(part for part in [*parts, *desk.to_keep] if part)
    if len(note) > MOST_SIGNS["note"]:
        desk.sentences.append(
            f"The note and the columns without a place of their own have {len(note)} signs; "
            f"{MOST_SIGNS['note']} fit: shorten them or take columns out."
        )
    return note
