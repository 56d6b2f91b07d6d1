"""A photo or scan of a strip of a lot: what stripes it shows, kept as a trial of the lot."""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.exchange.strip_photo import Known, Points, Resolution, Ruler, scan_photo
from doffer.mill import bridge
from doffer.mill.commands.evenness import TrialFacts, record_trial
from doffer.mill.commands.lots import MOST_PHOTO_BYTES, add_photo
from doffer.mill.evenness_facts import PhotoFacts, PieceVariance, Signal, TrialResult
from doffer.mill.queries.evenness import TrialRow, trials
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.mixing import mixing_of_blended_lot
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.office.evenness_asked import TEX_PER_G_PER_M
from doffer.office.evenness_blend import Followed, followed
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.pictures.variance_length import say_length
from doffer.process.evenness.strip_scan import StripScan, combine
from doffer.process.evenness.strip_verdict import Striping, Verdict, unseen_words, verdict

MB = 1_000_000
PERCENT = 100.0
MOST_PASSES, MOST_STRIPS = 6, 5
POINTS, SCANNER, TICKS = "points", "scanner", "ticks"
SCALES = (
    (POINTS, "Two points of a ruler", "touch them in the photo and type how far apart they are"),
    (SCANNER, "A scanner", "its dots per inch"),
    (TICKS, "The ticks of a ruler", "frame the ruler in the photo"),
)
ENDS = (
    ("first_x", "First point, from the left"),
    ("first_y", "First point, from above"),
    ("last_x", "Second point, from the left"),
    ("last_y", "Second point, from above"),
)
FRAME = (
    ("ruler_left", "Left edge"),
    ("ruler_top", "Upper edge"),
    ("ruler_right", "Right edge"),
    ("ruler_bottom", "Lower edge"),
)
STAGES = (("pick", "the picker"), ("card", "the card"), ("draw", "the drawing"))
FIRST = {"scale": POINTS, "stage": "draw", "passes": "1", "tick": "1"}
FACE_WORDS = {
    Striping.NONE: "no stripes found",
    Striping.FAINT: "too faint to be seen",
    Striping.SEEN: "seen where pieces lie side by side",
    Striping.PLAIN: "plainly seen",
}


@dataclass(frozen=True, slots=True)
class PieceRow:
    """How far pieces of one length differ from light to dark, and from where to where that lies truly."""

    length: str
    found: float
    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True)
class TrialView:
    """One photo trial with its rows."""

    trial: TrialRow
    rows: tuple[PieceRow, ...]


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L027/strip/`."""
    if request.method == "GET":
        return _shown(request, code, Typed(FIRST, units_of(request)))
    typed = Typed(request.POST, units_of(request))
    try:
        _keep(request, code, typed)
    except DofferError as refused:
        typed.wrong(_field(refused), str(refused))
    if typed.errors:
        return _shown(request, code, typed, status=422)
    return redirect("lot_strip", code=code)


def _keep(request: HttpRequest, code: str, typed: Typed) -> None:
    """Scan the photos; keep them and what they show as a trial of the lot, unless something is wrong."""
    pictures, white = _pictures(request), _white(request)
    known = _known(typed)
    passes = typed.count("passes", "passes", low=0, high=MOST_PASSES)
    strand_tex = _strand_tex(typed)
    if typed.errors:
        return
    tables = bridge.current_tables()
    toward = _followed(code)
    slope_lab = None if toward is None else toward.slope_lab
    scan = combine(
        [scan_photo(data, known=known, tables=tables, white=white, slope_lab=slope_lab) for data in pictures]
    )
    told, key = verdict(scan, tables), key_of(request)
    photos = [
        add_photo(acting(request), code, data=data, key=uuid.uuid5(key, f"photo {number}"))
        for number, data in enumerate(pictures)
    ]
    facts = PhotoFacts(
        length_mm=scan.strip_mm,
        mm_per_px=scan.mm_per_px,
        strand_tex=strand_tex,
        n_strips=scan.photos,
        component="" if toward is None else toward.lot,
    )
    stage = typed.text("stage")
    trial = TrialFacts(
        facts=facts,
        stage=stage if stage in dict(STAGES) else "draw",
        passes=1 if passes is None else passes,
        lot=code,
        photo=photos[0],
        result=result_of(scan, told, followed_lot=facts.component),
        note=typed.text("note"),
    )
    record_trial(acting(request), trial, key=key)


def _followed(code: str) -> Followed | None:
    """The way the colour of this lot goes, where it is a blend of lots with known colours."""
    inputs = mixing_of_blended_lot(code)
    return None if inputs is None else followed(inputs)


def followed_words(lot: str) -> str:
    """Along what stripes are looked for: the way a lot moves the blend's colour, or from light to dark."""
    if lot:
        return f"Looked along the blend's own colours: the way they go where {lot} is more of it."
    return "Looked from light to dark."


def result_of(scan: StripScan, told: Verdict, *, followed_lot: str = "") -> TrialResult:
    """What is kept of a scan: the variance of pieces of every length, and the verdict in words."""
    return TrialResult(
        signal=Signal.COLOUR if "blend" in scan.signals else Signal.LIGHTNESS,
        pieces=tuple(
            PieceVariance(
                variance=float(variance),
                standard_error=float(error),
                n_pieces=max(1, int(scan.strip_mm / length_mm)),
                length_mm=float(length_mm),
            )
            for length_mm, variance, error in zip(
                scan.piece_mm, scan.variance[-1], scan.error[-1], strict=True
            )
        ),
        words=(
            face_words(told, followed_lot=followed_lot),
            followed_words(followed_lot),
            unseen_words(scan),
            *scan.warnings,
        ),
    )


def face_words(told: Verdict, *, followed_lot: str = "") -> str:
    """The verdict as a mill person says it: "Stripes of about 4 cm, plainly seen."."""
    if told.striping is Striping.NONE:
        return (
            f"No stripes found; if there are any, pieces of 1 cm differ by less than {told.high:.1f}. "
            "Slow drifts longer than the strip cannot be seen in it."
        )
    length = "of no one length" if told.wavelength_mm is None else f"of about {_length(told.wavelength_mm)}"
    ends = f"{told.low:.1f} to {told.high:.1f}"
    how = "apart in colour" if followed_lot else "lighter or darker"
    differ = f"pieces of 1 cm are {told.sd:.1f} {how} ({ends})"
    return f"Stripes {length}, {FACE_WORDS[told.striping]}: {differ}."


def _length(length_mm: float) -> str:
    return say_length(float(f"{length_mm:.2g}"))


def _pictures(request: HttpRequest) -> list[bytes]:
    """The chosen photos of strips, one or a few of the same scale."""
    uploads = request.FILES.getlist("photo")
    if not uploads:
        raise InputError("photo", "", "a picture of the strip with a ruler beside it; choose one first")
    if len(uploads) > MOST_STRIPS:
        raise InputError("photos", len(uploads), f"at most {MOST_STRIPS} at once")
    return [_read(upload, "photo") for upload in uploads]


def _white(request: HttpRequest) -> bytes | None:
    upload = request.FILES.get("white")
    return None if upload is None else _read(upload, "picture of white paper")


def _read(upload: Any, field: str) -> bytes:
    if (upload.size or 0) > MOST_PHOTO_BYTES:
        size = f"{(upload.size or 0) / MB:.0f} MB"
        raise InputError(field, size, f"at most {MOST_PHOTO_BYTES // MB} MB; take a smaller picture")
    return bytes(upload.read())


def _known(typed: Typed) -> Known | None:
    """What gives the scale, as typed; None with sentences beside the fields that are wrong."""
    match typed.text("scale"):
        case "scanner":
            typed.needed("dots", "Type the scanner's dots per inch, such as 300.")
            dots = typed.read("dots", parse_number, "dots per inch")
            return None if dots is None else Resolution(float(dots))
        case "ticks":
            left, top, right, bottom = (_part(typed, name, label) for name, label in FRAME)
            tick_mm = typed.read("tick", parse_number, "from tick to tick")
            return Ruler((left, top, right, bottom), float(tick_mm or 1))
        case _:
            typed.needed("distance", "Type how far the two points of the ruler are apart, such as 200 mm.")
            first_x, first_y, last_x, last_y = (_part(typed, name, label) for name, label in ENDS)
            distance = typed.read("distance", parse_number, "distance of the two points")
            return None if distance is None else Points((first_x, first_y), (last_x, last_y), float(distance))


def _part(typed: Typed, name: str, label: str) -> float:
    """A place in the picture, typed in per cent of its width or height."""
    allowed = "a number from 0 to 100, in per cent of the picture"
    typed.needed(name, str(InputError(label.lower(), "", allowed)))
    value = typed.read(name, parse_number, label.lower(), allowed=allowed)
    if value is not None and not 0 <= value <= PERCENT:
        typed.wrong(name, str(InputError(label.lower(), typed.text(name), allowed)))
    return float(value or 0) / PERCENT


def _strand_tex(typed: Typed) -> float | None:
    value = typed.read("roving", parse_number, "roving", allowed="grams in a metre, such as 3")
    return None if value is None else float(value) * TEX_PER_G_PER_M


def _field(refused: DofferError) -> str:
    """The field that a sentence speaks of."""
    if not isinstance(refused, InputError):
        return "__all__"
    if "white" in refused.field:
        return "white"
    if "scale" in refused.field or "point" in refused.field or "ruler" in refused.field:
        return "scale"
    return "photo"


def trial_view(trial: TrialRow) -> TrialView:
    """A trial with its pieces in words: variances below zero are none found."""
    rows = []
    for piece in trial.result.pieces:
        if piece.length_mm is None:
            continue
        ends = np.array([-2.0, 0.0, 2.0]) * piece.standard_error + piece.variance
        low, found, high = (math.sqrt(max(0.0, end)) for end in ends.tolist())
        rows.append(PieceRow(say_length(piece.length_mm), found, low, high, piece.n_pieces))
    return TrialView(trial, tuple(rows))


def _shown(request: HttpRequest, code: str, typed: Typed, *, status: int = 200) -> HttpResponse:
    person = acting(request)
    found = trials(lot=code, after=number_after(request, "after"))
    toward = _followed(code)
    context: dict[str, Any] = {
        "here": "lots",
        "followed_lot": "" if toward is None else toward.lot,
        "row": one_lot(code).row,
        "typed": typed,
        "trials": [trial_view(row) for row in found.rows if row.kind == "photo"],
        "next_after": found.next_after,
        "scales": SCALES,
        "ends": ENDS,
        "frame": FRAME,
        "stages": STAGES,
        "stage_names": dict(STAGES),
        "most_mb": MOST_PHOTO_BYTES // MB,
        "may_write": may(person, Right.EVENNESS) and may(person, Right.INTAKE),
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(request, "office/lot_strip.html", context, status=status)


urlpatterns = [path("lots/<str:code>/strip/", page, name="lot_strip")]
