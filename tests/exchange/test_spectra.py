"""Spectra files: three formats read right, and everything that is none of them refused in one sentence."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError, NotFoundError
from doffer.exchange.spectra import MOST_BYTES, check_size, read_spectra, read_spectra_file

NM = range(400, 701, 10)
RISING = [round(0.10 + 0.01 * place, 4) for place in range(31)]
FLAT = [0.25] * 31
HALF_GIGABYTE = 500_000_000


def cgats(prefix: str = "SPEC_", *, scale: float = 1.0, norm: str = "", nm=NM, rows=(RISING, FLAT)) -> str:
    columns = "\t".join(["SAMPLE_ID", "SAMPLE_NAME", *(f"{prefix}{band}" for band in nm)])
    lines = ["CGATS.17", 'ORIGINATOR "bench meter"', 'INSTRUMENTATION "sphere, d/8"']
    lines += [f"SPECTRAL_NORM {norm}"] if norm else []
    lines += [f"NUMBER_OF_FIELDS {len(list(nm)) + 2}", "BEGIN_DATA_FORMAT", columns, "END_DATA_FORMAT"]
    lines += [f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
    for place, row in enumerate(rows):
        lines.append("\t".join([str(place + 1), f'"Fern {place + 1}"', *(f"{x * scale:.4f}" for x in row)]))
    return "\r\n".join([*lines, "END_DATA", ""])


def cxf(rows=(RISING, FLAT), *, start: str = 'StartWL="400"', increment: str = 'Increment="10"') -> str:
    objects = "".join(
        f'<cc:Object Name="Fern {place + 1}" Id="o{place}"><cc:ColorValues>'
        f'<cc:ReflectanceSpectrum ColorSpecification="c1" {start}>{" ".join(map(str, row))}'
        "</cc:ReflectanceSpectrum></cc:ColorValues></cc:Object>"
        for place, row in enumerate(rows)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        f"<cc:ObjectCollection>{objects}</cc:ObjectCollection><cc:ColorSpecificationCollection>"
        f'<cc:ColorSpecification Id="c1"><cc:MeasurementSpec><cc:WavelengthRange StartWL="400" {increment}/>'
        "</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>"
        "</cc:Resources></cc:CxF>"
    )


def csv_rows(sign: str = ",", *, comma: bool = False, scale: float = 1.0, unit: str = "") -> str:
    def told(x: float) -> str:
        text = f"{x * scale:.4f}"
        return text.replace(".", ",") if comma else text

    lines = [sign.join(["lot", *(f"{band}{unit}" for band in NM)])]
    lines += [sign.join([name, *map(told, row)]) for name, row in (("Fern 1", RISING), ("Fern 2", FLAT))]
    return "\n".join(lines)


def csv_columns() -> str:
    return "\n".join(
        ["nm;Fern 1;Fern 2", *(f"{nm};{a};{b}" for nm, a, b in zip(NM, RISING, FLAT, strict=True))]
    )


GOOD = {
    "cgats": cgats(),
    "cgats with NM_": cgats("NM_"),
    "cgats with SPECTRAL_NM": cgats("SPECTRAL_NM"),
    "cgats with R_": cgats("R_"),
    "cgats in per cent": cgats(scale=100),
    "cgats with its norm": cgats(scale=100, norm="100.0"),
    "cxf": cxf(),
    "cxf in per cent": cxf([[100 * x for x in RISING], [100 * x for x in FLAT]]),
    "cxf with the start in the range only": cxf(start=""),
    "csv": csv_rows(),
    "csv with nm": csv_rows(unit=" nm"),
    "csv with semicolons and decimal commas": csv_rows(";", comma=True),
    "csv in per cent with decimal commas": csv_rows(";", comma=True, scale=100),
    "csv with tabs": csv_rows("\t"),
    "csv with a spectrum a column": csv_columns(),
}


def read(text: str | bytes, name: str = "readings.txt"):
    return read_spectra(text if isinstance(text, bytes) else text.encode(), name=name)


@pytest.mark.parametrize("text", GOOD.values(), ids=GOOD)
def test_every_way_of_writing_gives_the_same_spectra(text):
    found = read(text)
    assert found.names == ("Fern 1", "Fern 2")
    assert found.reflectance == pytest.approx(np.array([RISING, FLAT]), abs=1e-4)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_the_encodings_instruments_write_are_read(encoding):
    found = read(csv_rows().replace("Fern 1", "Fougère 1").encode(encoding))
    assert found.names[0] == "Fougère 1"


def test_what_was_assumed_is_said():
    assert read(cgats(scale=100)).remarks == ("Values were divided by 100.",)
    assert read(cgats()).remarks == ()
    assert ("INSTRUMENTATION", "sphere, d/8") in read(cgats()).facts


def test_several_tables_in_a_file_are_all_read():
    found = read(cgats(rows=(RISING,)) + cgats(rows=(FLAT, RISING)))
    assert len(found.names) == 3
    assert found.reflectance[1] == pytest.approx(FLAT)


def test_a_table_of_lab_values_before_the_spectra_is_passed_over():
    assert len(read(LAB_CGATS + cgats()).names) == 2


def test_wider_steps_are_drawn_straight_and_ends_held_and_both_said():
    nm = range(400, 701, 20)
    found = read(cgats(nm=nm, rows=([0.2 + 0.001 * (band - 400) for band in nm],)))
    assert found.reflectance[0] == pytest.approx([0.2 + 0.001 * (band - 400) for band in NM], abs=1e-4)
    assert "Readings stand further apart than 10 nm; values between were drawn straight." in found.remarks
    late = read(cgats(nm=range(410, 701, 10), rows=(RISING[1:],)))
    assert late.reflectance[0][0] == RISING[1]
    assert late.remarks == ("Readings run from 410 to 700 nm; the end values were held.",)


def test_readings_beyond_ours_are_left_out():
    nm = range(360, 741, 10)
    found = read(cgats(nm=nm, rows=([band / 1000 for band in nm],)))
    assert found.reflectance[0] == pytest.approx([band / 1000 for band in NM])


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {chr(98 + i)} "{"&" + chr(97 + i) + ";"}{"&" + chr(97 + i) + ";"}">' for i in range(20)
    )
    + "]><x>&u;</x>"
)
OUTSIDE = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]><x>&a;</x>'
LAB_CGATS = "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
LAB_CGATS += "BEGIN_DATA\n1 46.8 -20.6 19.0\nEND_DATA\n"
LAB_CXF = (
    '<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Object Name="Fern"><cc:ColorCIELab>'
    "<cc:L>46.8</cc:L><cc:A>-20.6</cc:A><cc:B>19.0</cc:B></cc:ColorCIELab></cc:Object></cc:CxF>"
)
BAD = {
    "empty": ("", "a file with readings in it; this one is empty"),
    "blank": (" \n\t ", "a file with readings in it; this one is empty"),
    "binary": (b"PK\x03\x04\0\0\0\0", "not a binary file"),
    "prose": ("Dear mill,\nhere are my greens.\n", "at least 16 wavelengths from 400 to 700 nm"),
    "one line": ("lot," + ",".join(map(str, NM)), "a heading and at least one row of readings"),
    "too bright": (csv_rows().replace("0.2500", "1.3000"), "reflectance is “1.3”; it must be at most 1.2"),
    "negative": (csv_rows().replace("0.2500", "-0.2500"), "reflectance is “-0.25”; it must be zero or more"),
    "nan": (csv_rows().replace("0.2500", "NaN"), "reading is “NaN”; it must be a number at every wavelength"),
    "gap": (
        csv_rows().replace("0.2500", "", 1),
        "reading is “a gap”; it must be a number at every wavelength",
    ),
    "word": (csv_rows().replace("0.2500", "low", 1), "reading is “low”; it must be a number"),
    "starts late": (
        cgats(nm=range(450, 701, 10), rows=([0.2] * 26,)),
        "wavelengths is “450 to 700 nm”; it must be 400 to 700 nm",
    ),
    "stops early": (
        cgats(nm=range(400, 601, 10), rows=([0.2] * 21,)),
        "wavelengths is “400 to 600 nm”; it must be 400 to 700 nm",
    ),
    "falling": (cgats(nm=range(700, 399, -10), rows=(FLAT,)), "rising from short to long"),
    "too coarse": (
        cgats(nm=[*range(400, 541, 10), 600, *range(610, 701, 10)], rows=([0.2] * 26,)),
        "steps of 20 nm or less",
    ),
    "cut off": (cgats()[:-60], "complete; it stops before END_DATA"),
    "row too short": (cgats().replace("\t0.2500", "", 1), "33 values"),
    "no spectra": (
        "CGATS.17\nBEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\nEND_DATA",
        "such as SPEC_400",
    ),
    "a norm that is no number": (cgats(norm="much"), "reading is “much”; it must be a number"),
    "bomb": (BOMB, "this one defines entities, which no instrument writes"),
    "outside": (OUTSIDE, "this one defines entities, which no instrument writes"),
    "broken xml": (cxf()[:-20], "well-formed XML; it breaks at line 1"),
    "unknown encoding": (cxf().replace("UTF-8", "KLINGON"), "XML"),
    "other xml": ("<x/>", "CxF3 with at least one ReflectanceSpectrum"),
    "illuminant missing": (LAB_CGATS, "L, a and b alone do not say in which light they were read"),
    "illuminant missing in csv": (
        "lot,L*,a*,b*\nFern,46.8,-20.6,19.0\n",
        "L, a and b alone do not say in which light they were read",
    ),
    "illuminant missing in cxf": (
        LAB_CXF,
        "L, a and b alone do not say in which light they were read",
    ),
    "utf-32": (cxf().encode("utf-32"), "text in UTF-8 or UTF-16, not UTF-32"),
    "half of a sign of utf-16": (cxf().encode("utf-16")[:-1], "its text (UTF-16) breaks off"),
    "nothing in utf-16": ("\n".encode("utf-16"), "this one is empty"),
    "short cxf": (cxf(([0.2] * 5,)), "at least 16 wavelengths"),
    "endless cell": ("lot," + "9" * 200_000 + "\n1,2\n", "cannot be split into cells"),
}


@pytest.mark.parametrize(("text", "sentence"), BAD.values(), ids=BAD)
def test_what_cannot_be_read_is_refused_in_one_sentence(text, sentence):
    with pytest.raises(InputError) as caught:
        read(text)
    told = str(caught.value)
    assert sentence in told
    assert told.endswith(".")
    assert "Traceback" not in told
    assert len(told) < 300


@settings(max_examples=150, deadline=None)
@given(st.sampled_from([text.encode() for text in (cgats(), cxf(), csv_rows(), csv_columns())]), st.data())
def test_a_damaged_file_is_read_or_refused_but_never_breaks(content, data):
    at = data.draw(st.integers(0, len(content)))
    until = data.draw(st.integers(at, min(len(content), at + 400)))
    damaged = (
        content[:at]
        + data.draw(st.binary(max_size=6) | st.text(max_size=6).map(str.encode))
        + content[until:]
    )
    with suppress(InputError):
        found = read(damaged)
        assert found.reflectance.shape == (len(found.names), 31)
        assert np.all(np.isfinite(found.reflectance))
        assert found.reflectance.min() >= 0
        assert found.reflectance.max() <= 1.2


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=300))
def test_anything_at_all_is_refused_with_a_sentence(content):
    with pytest.raises(InputError):
        read_spectra(content, name="x")


def test_a_file_of_half_a_gigabyte_is_refused_without_being_read(tmp_path):
    path = tmp_path / "huge.txt"
    with path.open("wb") as file:
        file.truncate(HALF_GIGABYTE)  # sparse: takes no room, and reading it would take half a gigabyte
    with pytest.raises(InputError, match=r"huge\.txt, 500 MB”; it must be at most 1.5 MB"):
        read_spectra_file(path)


def test_an_upload_is_measured_before_it_is_taken():
    check_size(MOST_BYTES, name="x")
    with pytest.raises(InputError, match=r"x, 1\.6 MB”; it must be at most 1\.5 MB"):
        check_size(MOST_BYTES + 1, name="x")
    with pytest.raises(InputError, match=r"at most 1\.5 MB"):
        read_spectra(b" " * MOST_BYTES + b"xx", name="x")


def test_a_file_on_disk_is_read_by_what_is_in_it(tmp_path):
    path = tmp_path / "fern.dat"
    path.write_text(cxf(), encoding="utf-8")
    assert read_spectra_file(path).names == ("Fern 1", "Fern 2")
    with pytest.raises(NotFoundError, match="nothing"):
        read_spectra_file(tmp_path / "nothing.txt")


def test_very_many_spectra_are_too_many():
    body = "\n".join(["Fern" + ",.1" * 31] * 10_001)
    with pytest.raises(InputError, match="at most 10000 in a file"):
        read(csv_rows().splitlines()[0] + "\n" + body)


def test_a_file_that_mixes_fractions_and_per_cent_is_refused_by_name():
    rows = [[30.0] * 31, [25.0] * 31, [0.3] * 31]
    with pytest.raises(InputError, match=r"mixed.*Fern 3 is “at most 0\.3”.*per cent like the rest"):
        read_spectra(cgats(rows=rows).encode(), name="mixed")
    said = read_spectra(cgats(rows=rows, norm="100").encode(), name="said")
    assert said.reflectance[2].max() == pytest.approx(0.003), "the file says what it means"
    dark = read_spectra(cgats(rows=[[30.0] * 31, [25.0] * 31, [1.9] * 31]).encode(), name="dark")
    assert dark.reflectance[2].max() == pytest.approx(0.019)


def test_a_brightener_is_said_and_a_pad_of_zeros_refused():
    read = read_spectra(cgats(rows=[[1.1] * 31, [0.9] * 31]).encode(), name="white")
    assert any("Fern 1 gives back up to 1.10 of the light" in one for one in read.remarks)
    assert not any("Fern 2" in one for one in read.remarks)
    with pytest.raises(InputError, match="Fern 2 is “0 everywhere”"):
        read_spectra(cgats(rows=[FLAT, [0.0] * 31]).encode(), name="dark")


@pytest.mark.parametrize("declared", ["UTF-8", "UTF-16", "utf-16le"])
@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_a_file_in_utf_16_is_read_with_a_mark_or_without(encoding, declared):
    for text in (cxf().replace("UTF-8", declared), cgats(), csv_rows()):
        found = read_spectra(text.encode(encoding), name="f.cxf")
        assert found.names == ("Fern 1", "Fern 2")
        np.testing.assert_allclose(found.reflectance, [RISING, FLAT], atol=1e-4)


def test_cxf_with_a_mark_of_utf_8_is_read():
    np.testing.assert_allclose(read(cxf().encode("utf-8-sig")).reflectance, [RISING, FLAT])


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig"])
def test_a_bomb_is_called_by_its_name_in_every_encoding(encoding):
    with pytest.raises(InputError, match="this one defines entities"):
        read_spectra(BOMB.encode(encoding), name="bomb.cxf")
