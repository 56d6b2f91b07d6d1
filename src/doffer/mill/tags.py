"""Container tags: five Crockford base-32 signs and a check sign, e.g. `7Q4K2Y`.

The check sign is Crockford's remainder by 37; numbers whose remainder would need one of his five extra signs
are never given out, so that a tag stays short and fits the dense mode of a QR code. Every single wrong sign
and every swap of neighbours is noticed.
"""

from __future__ import annotations

from doffer.errors import InputError

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
TAG_SIGNS = 5
_CHECK_MODULUS = 37
_SPACE = len(ALPHABET) ** TAG_SIGNS
_STEP = (
    14_348_907  # 3**15, odd: walks through all numbers once, far apart, so that neighbours do not look alike
)
_LOOKS_LIKE = str.maketrans({"O": "0", "I": "1", "L": "1"})


def _value(signs: str) -> int:
    value = 0
    for sign in signs:
        value = value * len(ALPHABET) + ALPHABET.index(sign)
    return value


def _number(tag: str) -> str:
    return tag.strip().upper().replace("-", "").replace(" ", "").translate(_LOOKS_LIKE)


def tag_of(serial: int) -> str | None:
    """The tag of a serial number, or None where the check sign would not be a digit or letter."""
    value = serial * _STEP % _SPACE
    check = value % _CHECK_MODULUS
    if check >= len(ALPHABET):
        return None
    signs = ""
    for _ in range(TAG_SIGNS):
        value, rest = divmod(value, len(ALPHABET))
        signs = ALPHABET[rest] + signs
    return signs + ALPHABET[check]


def read_tag(typed: str) -> str:
    """A typed or scanned tag in its one spelling (O is 0, I and L are 1, case and dashes do not matter).

    Raises
    ------
    InputError
        Wrong length, a sign no tag has, or a check sign that does not fit.
    """
    tag = _number(typed)
    if len(tag) != TAG_SIGNS + 1 or any(sign not in ALPHABET for sign in tag):
        raise InputError(
            "tag", typed, f"{TAG_SIGNS + 1} digits and letters as printed, such as 7Q4K2Y without U"
        )
    if _value(tag[:-1]) % _CHECK_MODULUS != ALPHABET.index(tag[-1]):
        raise InputError(
            "tag", typed, "read again: its last sign does not fit the others, one of them is wrong"
        )
    return tag
