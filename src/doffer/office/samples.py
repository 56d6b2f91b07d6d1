"""How our fibre mixes: sample blends that were carded and read, and the constant that is fitted to them."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods, require_POST

from doffer.errors import DofferError, InputError, RefusedError
from doffer.exchange.quantities import parse_share
from doffer.fibre.colour.predict import published_error
from doffer.mill import bridge, colours
from doffer.mill.commands.readings import Seen
from doffer.mill.commands.samples import SamplePart, fit_mixing, record_sample_blend
from doffer.mill.queries.readings import colour_of_lot
from doffer.mill.queries.samples import MixingBook, mixing_book
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.bench_blend import TELLABLE_DE
from doffer.office.colour_readings_form import (
    ANGLES,
    FORMS,
    LIGHTS,
    ColourForm,
    form_of,
    fresh_form,
    target_of,
)
from doffer.office.shades_view import on_screen
from doffer.people.rights import Right, may
from doffer.pictures.chip import chip
from doffer.tables.loader import Tables

MOST_PARTS = 4
MODEL_WORDS = {
    "stearns_noechel": "Stearns and Noechel",
    "friele": "Friele",
    "kubelka_munk": "Kubelka and Munk, one constant",
    "plain_average": "plain average of the spectra",
}


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """`/shades/mixing/?fibre=wool&form=loose`: the samples; POST keeps a new one."""
    if request.method == "GET":
        return _shown(request, fresh_form())
    form = form_of(request.POST, request.FILES.get("file"))
    try:
        seen = form.seen()
        _measured(seen)
        parts, kind = _parts(form, seen)
        if not form.errors:
            tables = bridge.current_tables()
            spectrum, blend_kind = _spectrum(seen, tables)
            record_sample_blend(
                acting(request),
                fibre=form.text("fibre"),
                parts=parts,
                blend=spectrum,
                form=seen.form,
                kind=colours.worst_kind([kind, blend_kind]),
                observer_deg=seen.observer_deg,
                note=form.text("note")[:400],
                is_looked_at=form.text("sure") == "yes",
                key=key_of(request),
            )
            return redirect(_address(form.text("fibre"), seen.form))
    except DofferError as refused:
        form.wrong(refused)
    return _shown(request, form, status=422)


def _measured(seen: Seen) -> None:
    if seen.is_wet:
        raise RefusedError(
            "The sample blend is not kept", ("it was read wet",), "Let it dry, and read it again"
        )


def _parts(form: ColourForm, seen: Seen) -> tuple[list[SamplePart], str]:
    """The lots that were carded together, each with its newest dry reading; wrong ones get their sentence."""
    tables, parts, kinds = bridge.current_tables(), [], []
    named: set[str] = set()
    for number in range(1, MOST_PARTS + 1):
        code, share = form.text(f"lot_{number}").upper(), form.text(f"share_{number}")
        if not code and not share:
            continue
        if code and code in named:
            form.errors[f"lot_{number}"] = f"{code} is named twice: a lot mixed with itself teaches nothing."
            continue
        named.add(code)
        try:
            share_frac = float(parse_share(share, f"share of {code or 'the fibre'}"))
        except InputError as wrong:
            form.errors[f"share_{number}"] = str(wrong)
            continue
        sitting = colour_of_lot(code, seen.pad) if code else None
        if sitting is None:
            form.errors[f"lot_{number}"] = f"{code or 'This fibre'} was not read dry by an instrument yet."
            continue
        apart = colours.unlike(sitting.pad, seen.pad)
        if apart:
            form.errors[f"lot_{number}"] = (
                f"{code} was read in another way than the sample: {'; '.join(apart)}."
            )
            continue
        known = sitting.known(tables)
        kinds.append(known.kind)
        parts.append(SamplePart(code, share_frac, tuple(float(x) for x in known.reflectance)))
    if len(parts) < 2 and not form.errors:
        form.errors["lot_1"] = "Name two lots or more, each with its share."
    return parts, colours.worst_kind(kinds or ["spectrum"])


def _spectrum(seen: Seen, tables: Tables) -> tuple[tuple[float, ...], str]:
    """The mean of the sitting as a spectrum, measured or recovered, and how sure it is."""
    facts = target_of(seen)
    if facts.reflectance is not None:
        return facts.reflectance, "spectrum"
    kind = "lab" if len(facts.labs) == 1 else "lab2"
    known = colours.known_spectrum(
        kind=kind, reflectance_ppm=None, labs=facts.labs, observer_deg=seen.observer_deg, tables=tables
    )
    return tuple(float(x) for x in known.reflectance), kind


def _address(fibre: str, form: str) -> str:
    return f"{reverse('mixing')}?fibre={fibre}&form={form}"


def _asked(request: HttpRequest, tables: Tables) -> tuple[str, str]:
    data = request.POST if request.method == "POST" else request.GET
    fibre, form = data.get("fibre", "wool"), data.get("form", "loose")
    return fibre if fibre in tables.fibres else "wool", form if form in dict(FORMS) else "loose"


def _shown(request: HttpRequest, form: ColourForm, *, status: int = 200, wrong: str = "") -> HttpResponse:
    tables, person = bridge.current_tables(), acting(request)
    fibre, pad_form = _asked(request, tables)
    book = mixing_book(fibre, pad_form)
    if request.method == "GET":
        form = fresh_form(fibre=fibre, form=pad_form, share_1="50", share_2="50")
    context: dict[str, Any] = {
        "here": "shades",
        "book": book,
        "told": told(book, tables),
        "error": published_error(tables, "stearns_noechel"),
        "chips": {one.id: _chips(one, tables) for one in book.samples},
        "fibre_name": tables.fibres[fibre].name,
        "fibres": [(key, row.name) for key, row in tables.fibres.items()],
        "model_words": MODEL_WORDS,
        "most_parts": MOST_PARTS,
        "f": form,
        "wrong": wrong,
        "may_read": may(person, Right.READ_COLOUR),
        "may_fit": may(person, Right.SHADES),
        "key": request.POST.get("key") or fresh_key(),
        "pad_forms": FORMS,
        "light_choices": LIGHTS,
        "angles": ANGLES,
    }
    return render(request, "office/samples.html", context, status=status)


def _chips(one: Any, tables: Tables) -> tuple[str, ...]:
    colours_of = [(part.name, part.lab, part.reflectance_ppm) for part in one.parts]
    colours_of.append(("the blend", one.lab, one.reflectance_ppm))
    return tuple(
        chip(on_screen({"D65": lab}, spectrum, tables).hex, name, width=56)
        for name, lab, spectrum in colours_of
    )


def far(de: float) -> str:
    """A difference as it may be said: never less than the models can tell."""
    return f"{TELLABLE_DE:.1f} or less" if de < TELLABLE_DE else f"{de:.1f}"


def told(book: MixingBook, tables: Tables) -> str:
    """What counts now, in a sentence."""
    error = published_error(tables, "stearns_noechel")
    if not book.n_samples:
        return (
            "No sample blend was kept yet. What is printed for wool counts, and nobody knows how well it "
            f"fits this card: such predictions are off by {error.mean_low_de:.1f} to "
            f"{error.mean_high_de:.1f} on average."
        )
    if not book.is_fitted:
        off = far(book.now_off_de or 0.0)
        return f"What is printed for wool still counts. On our own samples it was off by {off}."
    newest = book.fits[0]
    return (
        f"Our own samples count: predictions were off by {far(newest.left_out_de)} on a sample that was left "
        f"out of the fit; with what is printed for wool they were off by {far(book.published_off_de or 0.0)}."
    )


@require_POST
def fit(request: HttpRequest) -> HttpResponse:
    """Fit to the ticked samples of this fibre and form, else to all, and use it from now on."""
    fibre, pad_form = _asked(request, bridge.current_tables())
    ticked = [int(one) for one in request.POST.getlist("sample") if one.isdecimal() and len(one) < 19]
    try:
        if request.POST.get("ticks") and not ticked:
            raise InputError(
                "samples that count", "", "two or more: tick those that were carded and read well"
            )
        fit_mixing(
            acting(request),
            fibre=fibre,
            form=pad_form,
            samples=ticked,
            note=request.POST.get("note", "").strip()[:400],
            key=key_of(request),
        )
    except DofferError as refused:
        form = fresh_form(fibre=fibre, form=pad_form)
        return _shown(request, form, status=422, wrong=str(refused))
    return redirect(_address(fibre, pad_form))


urlpatterns = [
    path("shades/mixing/", page, name="mixing"),
    path("shades/mixing/fit/", fit, name="mixing_fit"),
]
