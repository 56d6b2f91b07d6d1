"""What is written about a lot, where it stands, its photos; a lot that is gone is archived."""

from __future__ import annotations

import hashlib
import io
import math
import secrets
import struct
import uuid
import warnings
from collections.abc import Mapping
from pathlib import Path

from django.conf import settings
from PIL import Image, ImageOps, UnidentifiedImageError

from doffer.errors import InputError
from doffer.mill import bridge, clock
from doffer.mill.booking import announce, done_before, lot_of, remember
from doffer.mill.commands.intake import FibreFacts
from doffer.mill.commands.looked import ask_who_looked
from doffer.mill.models import Photo
from doffer.mill.models.lots import Place
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

MOST_PHOTO_BYTES = 10_000_000
MOST_PHOTO_PIXELS = 40_000_000
PHOTO_KINDS = {"JPEG": ("image/jpeg", ".jpg"), "PNG": ("image/png", ".png"), "WEBP": ("image/webp", ".webp")}
PHOTO_FOLDER = "photos"
MOST_CENTS_PER_KG = 1_000_000


def change_lot(by: Person | None, code: str, facts: FibreFacts, *, note: str, want_waste_back: bool) -> None:
    """Write down anew what is known of a lot's fibre; its weights stay as they are."""
    person = require(by, Right.LOTS)
    with write():
        bridge.known_fibre(facts.fibre, bridge.current_tables())
        lot = lot_of(code)
        for name, value in {**facts.columns(), "note": note, "want_waste_back": want_waste_back}.items():
            setattr(lot, name, value)
        lot.save()
        announce(person, "lot", code, "description changed")


def set_lot_costs(by: Person | None, costs: Mapping[str, int | None]) -> int:
    """What a kilogram of own fibre costs the mill, oven-dry, in cents, or None; gives how many changed.

    Raises
    ------
    InputError
        A cost below zero or beyond what fibre costs, or a lot that is not the mill's own.
    """
    person = require(by, Right.LOTS)
    with write():
        n_changed = 0
        for code, cents in costs.items():
            lot = lot_of(code)
            if not lot.customer.is_own:
                raise InputError(
                    "cost", code, "of the mill's own fibre; other owners' fibre has no cost here"
                )
            if cents is not None and not 0 <= cents <= MOST_CENTS_PER_KG:
                most = f"from 0 to {MOST_CENTS_PER_KG / 100:.0f} a kilogram"
                raise InputError(f"cost of {code}", f"{cents / 100:.2f}", most)
            if lot.cost_cents_per_kg == cents:
                continue
            lot.cost_cents_per_kg = cents
            lot.save(update_fields=["cost_cents_per_kg"])
            announce(person, "lot", code, "cost written down")
            n_changed += 1
        return n_changed


def move_lot(by: Person | None, code: str, *, place: str = "", location: str = "") -> None:
    """A lot now stands somewhere else, unweighed."""
    person = require(by, Right.WEIGH)
    if place and place not in Place.values:
        raise InputError("place", place, f"one of {', '.join(Place.values)}")
    with write():
        lot = lot_of(code)
        if place == Place.STORE:
            ask_who_looked([lot], f"{code} does not go into the store")
        lot.place, lot.location = place or lot.place, location
        lot.save(update_fields=["place", "location"])
        announce(person, "lot", code, f"moved to {location or lot.get_place_display()}")


def archive_lot(by: Person | None, code: str) -> None:
    """Take a lot off the lists; every record stays."""
    person = require(by, Right.LOTS)
    with write():
        lot = lot_of(code)
        lot.archived_at = clock.now()
        lot.save(update_fields=["archived_at"])
        announce(person, "lot", code, "archived")


def add_photo(by: Person | None, code: str, *, data: bytes, key: uuid.UUID | None = None) -> int:
    """Keep a photo of a lot: drawn anew, so that no place or camera data stays in it; gives its number.

    Raises
    ------
    InputError
        Not a JPEG, PNG or WebP picture, or larger than 10 MB or 40 megapixels.
    """
    person = require(by, Right.INTAKE)
    clean, kind, size = redrawn(data)
    mime, ending = PHOTO_KINDS[kind]
    body: dict[str, object] = {"lot": code, "sha256": hashlib.sha256(clean).hexdigest()}
    path = Path(settings.MEDIA_ROOT) / PHOTO_FOLDER / f"{secrets.token_hex(16)}{ending}"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(clean)
    try:
        with write():
            earlier = done_before(key, "add_photo", body)
            if earlier:
                path.unlink(missing_ok=True)
                return int(str(earlier["photo"]))
            photo = Photo.objects.create(
                lot=lot_of(code),
                name=path.name,
                sha256=str(body["sha256"]),
                mime=mime,
                width=size[0],
                height=size[1],
                taken_at=clock.now(),
                taken_by=person,
            )
            announce(person, "lot", code, "photo added")
            remember(key, "add_photo", body, {"photo": photo.pk}, person)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return photo.pk


def redrawn(data: bytes) -> tuple[bytes, str, tuple[int, int]]:
    """The same picture without anything but its pixels; size and kind are looked at before it is opened."""
    upright, kind = opened(data)
    out = io.BytesIO()
    upright.save(out, format=kind)
    return out.getvalue(), kind, upright.size


def opened(data: bytes, *, field: str = "photo") -> tuple[Image.Image, str]:
    """A photo's pixels, upright, and its kind; size and kind are looked at before it is opened.

    Raises
    ------
    InputError
        Too many bytes or pixels, another kind of file, or a broken one.
    """
    if len(data) > MOST_PHOTO_BYTES:
        raise InputError(field, f"{len(data) / 1e6:.1f} MB", f"at most {MOST_PHOTO_BYTES / 1e6:.0f} MB")
    try:
        with (
            warnings.catch_warnings(action="error", category=Image.DecompressionBombWarning),
            Image.open(io.BytesIO(data), formats=list(PHOTO_KINDS)) as picture,
        ):
            width, height = picture.size
            if width * height > MOST_PHOTO_PIXELS:
                raise _too_many_pixels(field, f"{math.ceil(width * height / 1e5) / 10:g} megapixels")
            # a telephone's JPEG with a second, smaller picture behind it calls itself MPO
            return _upright(picture), "JPEG" if picture.format == "MPO" else str(picture.format)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as bomb:
        raise _too_many_pixels(field, f"over {(Image.MAX_IMAGE_PIXELS or 0) / 1e6:.0f} megapixels") from bomb
    except InputError:
        raise
    except UNREADABLE as broken:
        raise InputError(field, "not readable", "a JPEG, PNG or WebP picture, whole") from broken


# What the decoders were seen to raise, or may, on files that are broken
UNREADABLE = (
    UnidentifiedImageError,
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    EOFError,
    struct.error,
    LookupError,
    ArithmeticError,
)


def _too_many_pixels(field: str, given: str) -> InputError:
    """Small as a file, too large as a picture."""
    most = f"at most {MOST_PHOTO_PIXELS / 1e6:.0f} megapixels (pixels across times pixels down)"
    return InputError(field, given, f"{most}; take it again with a smaller picture size, or shrink it")


def _upright(picture: Image.Image) -> Image.Image:
    """The pixels alone, turned as the camera meant them."""
    turned = ImageOps.exif_transpose(picture)
    mode = "RGBA" if "A" in turned.getbands() and picture.format not in ("JPEG", "MPO") else "RGB"
    bare = Image.new(mode, turned.size)
    bare.paste(turned.convert(mode))
    return bare
