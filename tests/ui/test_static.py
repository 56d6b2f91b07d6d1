import hashlib
import re
from pathlib import Path

import pytest

from doffer.pictures.colour import contrast

STATIC = Path(__file__).parents[2] / "src" / "doffer" / "ui" / "static" / "doffer"
TEMPLATES = STATIC.parents[1] / "templates"
TOKENS = (STATIC / "css" / "tokens.css").read_text(encoding="utf-8")
TEXT_PAIRS = [
    (text, ground)
    for text in ("ink", "soft", "madder", "indigo", "weld")
    for ground in ("paper", "sheet", "wash")
] + [
    ("ink", "weld-wash"),
    ("ink", "madder-wash"),
    ("madder", "madder-wash"),
    ("on-ink", "ink"),
    ("ink", "indigo-band"),
]
LINE_PAIRS = [
    (line, ground) for line in ("edge", "indigo", "madder", "weld") for ground in ("paper", "sheet")
]
DESIGN = {
    "light": "paper #f5efe4 sheet #fdfaf3 ink #221d17 soft #655b4f "
    "line #d8ccb9 madder #9c3325 indigo #2b4a70 weld #8a5a00",
    "dark": "paper #1c1915 sheet #26221c ink #f1e9da soft #b7ab99 "
    "line #453d32 madder #f0907f indigo #9dbfe6 weld #e6b85c",
}


def theme(name: str) -> dict[str, str]:
    """Colours of one theme."""
    light = TOKENS.split("@media (prefers-color-scheme: dark)")[0]
    block = light if name == "light" else TOKENS.split(f'[data-theme="{name}"] {{')[1].split("}")[0]
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block))


@pytest.mark.parametrize("name", ["light", "dark", "contrast"])
def test_text_can_be_read_in_every_theme(name):
    colours = theme(name)
    poor = {
        pair: round(contrast(colours[pair[0]], colours[pair[1]]), 2)
        for pair in TEXT_PAIRS
        if contrast(colours[pair[0]], colours[pair[1]]) < 4.5
    }
    assert poor == {}


@pytest.mark.parametrize("name", ["light", "dark", "contrast"])
def test_lines_that_carry_meaning_can_be_seen_in_every_theme(name):
    colours = theme(name)
    assert {p for p in LINE_PAIRS if contrast(colours[p[0]], colours[p[1]]) < 3} == set()


@pytest.mark.parametrize("name", ["light", "dark"])
def test_the_colours_are_those_of_the_design(name):
    words = DESIGN[name].split()
    wanted = dict(zip(words[::2], words[1::2], strict=True))
    assert {key: theme(name)[key] for key in wanted} == wanted


def test_the_dark_theme_of_the_device_is_the_dark_theme_of_the_switch():
    by_device = TOKENS.split("@media (prefers-color-scheme: dark)")[1].split('[data-theme="dark"]')[0]
    assert dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", by_device)) == theme("dark")


def test_every_colour_used_is_a_token():
    defined = set(re.findall(r"--([\w-]+):", TOKENS))
    for sheet in (STATIC / "css").glob("*.css"):
        text = sheet.read_text(encoding="utf-8")
        defined |= set(re.findall(r"--([\w-]+):", text))
    for sheet in (STATIC / "css").glob("*.css"):
        used = set(re.findall(r"var\(--([\w-]+)", sheet.read_text(encoding="utf-8")))
        assert used <= defined, sheet.name


def test_nothing_is_fetched_from_outside():
    for path in [*STATIC.rglob("*.css"), *(STATIC / "js").glob("*.js"), *TEMPLATES.rglob("*.html")]:
        assert not re.search(r"https?://|//cdn|@import", path.read_text(encoding="utf-8")), path.name


def test_every_file_a_style_sheet_names_is_there():
    for sheet in (STATIC / "css").glob("*.css"):
        for url in re.findall(r'url\("([^"]+)"\)', sheet.read_text(encoding="utf-8")):
            assert (sheet.parent / url).resolve().is_file(), url


def test_every_static_file_a_template_names_is_there():
    for path in TEMPLATES.rglob("*.html"):
        for name in re.findall(r"static\('doffer/([^'~]+\.\w+)'\)", path.read_text(encoding="utf-8")):
            assert (STATIC / name).is_file(), name


def test_the_vendored_htmx_is_the_one_that_was_checked():
    folder = STATIC / "vendor" / "htmx"
    digest = (folder / "htmx.min.js.sha256.txt").read_text(encoding="utf-8").split()[0]
    assert hashlib.sha256((folder / "htmx.min.js").read_bytes()).hexdigest() == digest
    assert "2.0.11" in (folder / "htmx.min.js").read_text(encoding="utf-8")


def test_our_scripts_run_no_text_as_code():
    for path in (STATIC / "js").glob("*.js"):
        assert not re.search(
            r"\beval\(|new Function|innerHTML|document\.write", path.read_text(encoding="utf-8")
        ), path.name


def test_every_template_compiles(env):
    for name in env.list_templates():
        assert env.get_template(name).name == name


def test_buttons_and_fields_are_a_thumb_high():
    height_rem = float(re.search(r"--target:\s*([\d.]+)rem", TOKENS).group(1))
    base = (STATIC / "css" / "base.css").read_text(encoding="utf-8")
    percent = float(re.search(r"font-size:\s*([\d.]+)%", base).group(1))
    assert height_rem * 16 * percent / 100 >= 48
