"""The settings a mill can make, what each means, and what counts until it is made."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from doffer.errors import InputError, NotFoundError
from doffer.mill.models import Setting


@dataclass(frozen=True, slots=True)
class Known:
    """One setting: its name on screen, its default, and what may stand in it.

    `kind` is text, number, share (0 to 1, shown as %), choice, date or address.
    """

    title: str
    default: str
    kind: str = "text"
    low: float = 0.0
    high: float = 1.0
    choices: tuple[str, ...] = ()
    unit: str = ""


SETTINGS: dict[str, Known] = {
    "name": Known("Name of the mill", ""),
    "units": Known("Weights and lengths", "metric", "choice", choices=("metric", "us")),
    "country_rules": Known("Label rules", "EU", "choice", choices=("EU", "UK", "US", "CA")),
    "currency": Known("Currency", "EUR"),
    "open": Known("Working time", "Mon-Fri 08:00-16:00"),
    "closed_days": Known("Closed days", ""),
    "address": Known("Address other screens use", "", "address"),
    "tax_rate_frac": Known("Tax", "0.20", "share"),
    "deposit_frac": Known("Deposit", "0.30", "share"),
    "least_billed_g": Known("Least billed weight", "2000", "number", 0, 100_000, unit="g"),
    "card_room_rh_frac": Known("Humidity wanted in the card room", "0.75", "share", 0.2, 0.95),
    "store_rh_frac": Known("Highest humidity in the store", "0.60", "share", 0.2, 0.95),
    "promise_quantile": Known("How careful promises are", "0.15", "share", 0.01, 0.5),
    "ask_above_yield_frac": Known("Ask when more dry fibre comes out than", "1.005", "share", 1.0, 1.1),
    "near_days": Known("An order is near its date within", "5", "number", 0, 60, unit="days"),
    "storage_free_days": Known("Storage without a fee", "30", "number", 0, 365, unit="days"),
    "storage_fee_cents": Known("Storage fee a week", "400", "number", 0, 100_000, unit="cents"),
    "altitude_m": Known("Height above sea level", "0", "number", -400, 5000, unit="m"),
}


def checked(key: str, value: str) -> str:
    """A value that may stand in a setting, trimmed.

    Raises
    ------
    NotFoundError, InputError
        No such setting, or a value outside what it allows.
    """
    known = SETTINGS.get(key)
    if known is None:
        raise NotFoundError("setting", key, f"There are {', '.join(SETTINGS)}")
    value = value.strip()
    if known.kind == "address" and value and not _is_address(value):
        raise InputError(
            known.title, value, "how a phone opens this mill, such as http://192.168.1.20:8766, or nothing"
        )
    if known.kind == "choice" and value not in known.choices:
        raise InputError(known.title, value, f"one of {', '.join(known.choices)}")
    if known.kind in ("number", "share"):
        allowed = f"a number from {known.low:g} to {known.high:g} {known.unit}".strip()
        try:
            figure = float(value)
        except ValueError:
            raise InputError(known.title, value, allowed) from None
        if not known.low <= figure <= known.high:
            raise InputError(known.title, value, allowed)
    return value


def _is_address(text: str) -> bool:
    """Whether another screen could open this: http or https, not this computer alone, and no single page."""
    try:
        parts = urlsplit(text)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        return False
    is_here_only = host == "localhost" or host.startswith("127.") or host == "::1"
    rest = parts.path.strip("/") or parts.query or parts.fragment or parts.username
    return parts.scheme in ("http", "https") and bool(host) and not is_here_only and not rest


def everything() -> dict[str, str]:
    """All settings with their values, the mill's own over the defaults; one query."""
    return {key: known.default for key, known in SETTINGS.items()} | dict(
        Setting.objects.filter(key__in=SETTINGS).values_list("key", "value")
    )


def text(key: str) -> str:
    """One setting as text."""
    kept = Setting.objects.filter(key=key).values_list("value", flat=True).first()
    return SETTINGS[key].default if kept is None else kept


def number(key: str) -> float:
    """One setting as a number."""
    return float(text(key))
