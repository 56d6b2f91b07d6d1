"""Files of an instrument, good and bad, as a browser sends them."""

from django.core.files.uploadedfile import SimpleUploadedFile

NM = range(400, 701, 10)
GREEN = [0.05 + 0.12 * max(0.0, 1 - abs(nm - 540) / 90) for nm in NM]
RED = [0.04 if nm < 580 else 0.45 for nm in NM]
HALF_GIGABYTE = 500_000_000


def csv_of(rows, nm=NM) -> str:
    """A CSV of spectra by name."""
    lines = [",".join(["name", *map(str, nm)])]
    lines += [",".join([name, *(f"{x:.4f}" for x in values)]) for name, values in rows]
    return "\n".join(lines)


def sent(text: str | bytes, name: str = "pads.csv") -> SimpleUploadedFile:
    """An upload."""
    return SimpleUploadedFile(name, text.encode() if isinstance(text, str) else text)


def with_one(values) -> str:
    """A file of one sample."""
    return csv_of([("pad", values)])


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {chr(98 + i)} "{"&" + chr(97 + i) + ";"}{"&" + chr(97 + i) + ";"}">' for i in range(20)
    )
    + "]><x>&u;</x>"
)
# what comes -> a piece of the one sentence that refuses it
BAD = {
    "above one": (with_one([1.3, *GREEN[1:]]), "1.3"),
    "negative": (with_one([-0.2, *GREEN[1:]]), "-0.2"),
    "not a number": (with_one(GREEN).replace(f"{GREEN[5]:.4f}", "nan"), "nan"),
    "not 400 to 700": (csv_of([("pad", GREEN[:21])], range(500, 701, 10)), "400"),
    "illuminant missing": ("lot,L,a,b\npads,46.8,-20.6,19.0\n", "do not say in which light they were read"),
    "more than 1.5 MB": (b"1," * 750_001, "at most 1.5 MB"),
    "empty": ("", "empty"),
    "blank": (" \n ", "empty"),
    "entity bomb": (BOMB, "defines entities"),
    "binary": (b"\x00\x01\x02" * 200, "not a binary file"),
    "a letter": ("Dear mill, the pads follow.\nYours", "pads"),
}
