"""The form in which a colour is read, the same wherever one is: typed tufts or an instrument's file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

import numpy as np

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.exchange.readings import GEOMETRY_FACT, INSTRUMENT_FACTS, typed_tufts
from doffer.exchange.spectra import Spectra, check_size, read_spectra
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.mill import bridge, clock, colours
from doffer.mill.colours import FIRST_LIGHT, OBSERVER_DEG, Pad
from doffer.mill.commands.readings import MOST_TUFTS, Seen, Tuft
from doffer.mill.commands.shades import TargetFacts

LIGHTS = (
    ("D65", "Daylight (D65)"),
    ("A", "Lamp light (A)"),
    ("LED-B3", "LED light (B3)"),
    ("FL11", "Shop tubes (FL11)"),
)
FORMS = (("loose", "Loose fibre"), ("roving", "Roving"), ("yarn", "Yarn"))
ANGLES = (("10", "10°, as usual"), ("2", "2°"))
ENDINGS = ".txt,.cgats,.it8,.cxf,.xml,.csv"
STRANGERS_DE = 8.0  # samples of one file that lie farther apart are hardly tufts of one thing
# how a reader or command names what is wrong -> the field that it is about
READ_ON = "day of the reading"
FIELD_OF = {
    READ_ON: "read_on",
    "form of the pad": "form",
    "observer": "observer",
    "light": "light",
    "which samples": "only",
    "spectrum": "file",
    "file": "file",
    "spectra": "file",
    "name of the shade": "name",
    "tolerance": "pass_de",
    "reason for a new standard": "reason",
    "reason for the correction": "reason",
}


@dataclass
class ColourForm:
    """One form as it came: what was typed, and the sentence beside each field."""

    data: Mapping[str, str]
    upload: Any = None
    errors: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What stands in a field, trimmed."""
        return str(self.data.get(name, "")).strip()

    def wrong(self, error: DofferError, usual: str = "tufts") -> None:
        """Put a sentence beside the field it speaks of."""
        name = "__all__"
        if isinstance(error, InputError):
            name = FIELD_OF.get(error.field, "")
        elif isinstance(error, NotFoundError) and error.kind == "light":
            name = ""
        if not name:
            name = "file" if self.upload is not None else usual
        self.errors.setdefault(name, str(error))

    @property
    def pad(self) -> Pad:
        """How it was read, as typed."""
        return Pad(
            form=self.text("form") or "loose",
            is_wet=self.text("wet") == "yes",
            is_behind_glass=self.text("glass") == "yes",
            geometry=self.text("geometry")[:20],
            observer_deg=2 if self.text("observer") == "2" else OBSERVER_DEG,
        )

    @property
    def taken_at(self) -> datetime | None:
        """Noon of the day that was typed; None for today, when the moment itself counts."""
        typed, now = self.text("read_on"), clock.now()
        if not typed:
            return None
        try:
            day = date.fromisoformat(typed)
        except ValueError:
            raise InputError(READ_ON, typed, "a day, such as 2026-03-02") from None
        if day > clock.today():
            raise InputError(READ_ON, typed, "today or earlier")
        return None if day == clock.today() else datetime.combine(day, time(12), tzinfo=now.tzinfo)

    def seen(self, *, only_one_thing: bool = True) -> Seen:
        """The sitting: tufts of the file where one was chosen, else the typed ones.

        Raises
        ------
        InputError
            Nothing typed, a line that is no colour, a file that cannot be read, or one whose samples are too
            unlike to be tufts of one thing.
        """
        geometry, instrument = self.text("geometry"), self.text("instrument")
        if self.text("observer") not in dict(ANGLES):
            raise InputError("observer", self.text("observer"), "10° or 2°, as the instrument is set")
        if self.upload is not None:
            spectra = spectra_of(self.upload)
            tufts = _tufts_of(spectra, self.text("only"), str(self.upload.name), is_one=only_one_thing)
            facts = dict(spectra.facts)
            geometry = geometry or facts.get(GEOMETRY_FACT, "")
            instrument = instrument or next((facts[f] for f in INSTRUMENT_FACTS if f in facts), "")
        else:
            light = self.text("light")
            if light not in dict(LIGHTS):
                allowed = (
                    f"one of {', '.join(name for name, _ in LIGHTS)}: L, a and b mean nothing without it"
                )
                raise InputError("light", light, allowed)
            tufts = typed_tufts(self.text("tufts"), light=light)
            for tuft in tufts:
                colours.check_labs(tuft.labs, bridge.current_tables(), observer_deg=self.pad.observer_deg)
        return Seen(
            tufts=tufts,
            form=self.pad.form,
            is_wet=self.pad.is_wet,
            is_behind_glass=self.pad.is_behind_glass,
            geometry=geometry[:20],
            instrument=instrument[:80],
            light=FIRST_LIGHT if self.upload is not None else self.text("light") or FIRST_LIGHT,
            observer_deg=self.pad.observer_deg,
            taken_at=self.taken_at,
            note=self.text("note")[:300],
        )


def form_of(data: Mapping[str, str], upload: Any = None) -> ColourForm:
    """A form that was sent."""
    return ColourForm(data, upload)


def fresh_form(pad: Pad | None = None, **first: str) -> ColourForm:
    """A form about to be shown: how the last one was read stands in it."""
    words = {"light": FIRST_LIGHT, "form": "loose", "observer": str(OBSERVER_DEG), **first}
    if pad is not None:
        words |= {
            "form": pad.form,
            "observer": str(pad.observer_deg),
            "geometry": pad.geometry,
            "glass": "yes" if pad.is_behind_glass else "",
        }
    return ColourForm(words)


def spectra_of(upload: Any) -> Spectra:
    """Spectra of an uploaded file; its size is looked at before any of it is read."""
    name = str(upload.name)[:120]
    check_size(upload.size or 0, name=name)
    return read_spectra(upload.read(), name=name)


def _tufts_of(spectra: Spectra, only: str, file_name: str, *, is_one: bool) -> tuple[Tuft, ...]:
    """The samples of a file that were asked for, as tufts of one thing."""
    places = _places(spectra.names, only)
    if len(places) > MOST_TUFTS:
        raise InputError("which samples", f"{len(places)} of the file", f"at most {MOST_TUFTS} at a sitting")
    rows = spectra.reflectance[places]
    if is_one:
        _check_alike(rows)
    return tuple(
        Tuft(reflectance=tuple(float(x) for x in row), note=f"{spectra.names[at]} of {file_name}"[:200])
        for at, row in zip(places, rows, strict=True)
    )


def _places(names: Sequence[str], only: str) -> list[int]:
    """Places of the samples named, by name or by number from 1; all of them where nothing is said."""
    if not only:
        return list(range(len(names)))
    known = {name.strip().casefold(): at for at, name in reversed(list(enumerate(names)))}
    found: list[int] = []
    for word in (word.strip() for word in only.replace(";", ",").split(",")):
        if word.casefold() in known:
            found.append(known[word.casefold()])
        elif word.isdecimal() and 1 <= int(word) <= len(names):
            found.append(int(word) - 1)
        elif word:
            listed = ", ".join(names[:8]) + (" …" if len(names) > 8 else "")
            raise InputError("which samples", word, f"a name or a place in the file, which holds {listed}")
    return list(dict.fromkeys(found))


def _check_alike(rows: Any) -> None:
    """Tufts of one thing are alike; very different samples in one file want to be named."""
    labs = lab_of_reflectance(rows, colours.first_light(bridge.current_tables(), observer_deg=OBSERVER_DEG))
    apart = float(de2000(labs[:, None, :], labs[None, :, :]).max())
    if apart > STRANGERS_DE:
        allowed = f"alike; these lie up to {apart:.0f} apart, so name the ones that belong here"
        raise InputError("which samples", f"all {len(rows)} of the file", allowed)


def target_of(seen: Seen) -> TargetFacts:
    """The mean of a sitting as the colour of a standard: the mean spectrum where every tuft has one."""
    spectra = [tuft.reflectance for tuft in seen.tufts if tuft.reflectance is not None]
    common: dict[str, Any] = {
        "light": seen.light,
        "observer_deg": seen.observer_deg,
        "form": seen.form,
        "geometry": seen.geometry,
        "is_behind_glass": seen.is_behind_glass,
    }
    if len(spectra) == len(seen.tufts):
        mean = np.array(spectra).mean(axis=0)
        return TargetFacts(reflectance=tuple(float(x) for x in mean), **common)
    labs = colours.mean_labs(
        [tuft.labs for tuft in seen.tufts], bridge.current_tables(), observer_deg=seen.observer_deg
    )
    return TargetFacts(labs=labs, **common)
