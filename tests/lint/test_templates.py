"""Templates hold no queries, and nothing the content security policy would refuse."""

import re
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "doffer"
FORBIDDEN = {
    "a query": re.compile(r"\.objects\b"),
    "an inline style": re.compile(r"\bstyle\s*="),
    "a style element": re.compile(r"<style\b", re.IGNORECASE),
    "an inline script": re.compile(r"<script(?![^>]*\bsrc\s*=)", re.IGNORECASE),
    "an inline handler": re.compile(r"\son[a-z]+\s*=\s*[\"']", re.IGNORECASE),
    "a script address": re.compile(r"javascript:", re.IGNORECASE),
    "something from elsewhere": re.compile(r"\b(?:src|href|action)\s*=\s*[\"'](?:https?:)?//", re.IGNORECASE),
}


def faults(text: str) -> list[str]:
    return [what for what, pattern in FORBIDDEN.items() if pattern.search(text)]


def test_templates_hold_no_queries_and_nothing_inline():
    found = {
        path.relative_to(SOURCE).as_posix(): faults(path.read_text(encoding="utf-8"))
        for path in sorted(SOURCE.rglob("*.html"))
    }
    assert {name: what for name, what in found.items() if what} == {}


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("{% for l in lot.objects %}", "a query"),
        ('<p style="color:red">', "an inline style"),
        ("<style>p{}</style>", "a style element"),
        ("<script>go()</script>", "an inline script"),
        ('<button onclick="go()">', "an inline handler"),
        ('<a href="javascript:go()">', "a script address"),
        ('<img src="//cdn.example/x.png">', "something from elsewhere"),
    ],
)
def test_each_fault_is_found(text, what):
    assert faults(text) == [what]


def test_a_script_file_of_our_own_is_allowed():
    assert faults("<script src=\"{{ static('doffer/js/live.js') }}\" defer></script>") == []
