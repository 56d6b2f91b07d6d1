"""People read a mill person's words: none of a programmer's, no days written as a computer keeps them."""

import csv
import re
from pathlib import Path

import pytest

SRC = Path(__file__).parents[2] / "src" / "doffer"
SOFTWARE = re.compile(
    r"\b(priors?|learners?|row id|sha|sha256|json|null|overrid\w*|overwrite|query|queries|config\w*|database|"
    r"placeholder|starting value|default of)\b",
    re.IGNORECASE,
)
DAY_OF_A_COMPUTER = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
SAID_COLUMNS = ("note", "text", "name", "place")
NOT_SAID = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<(script|style)\b.*?</\1>|<[^>]*>", re.DOTALL)


@pytest.mark.parametrize("path", sorted((SRC / "tables").glob("*.csv")), ids=lambda path: path.stem)
def test_the_notes_of_a_table_hold_no_software_words(path):
    with path.open(encoding="utf-8", newline="") as file:
        said = [row.get(column) or "" for row in csv.DictReader(file) for column in SAID_COLUMNS]
    assert {text for text in said if SOFTWARE.search(text)} == set()


@pytest.mark.parametrize(
    "path",
    sorted([*SRC.glob("office/templates/**/*.html"), *SRC.glob("ui/templates/**/*.html")]),
    ids=lambda p: p.stem,
)
def test_a_page_itself_says_no_software_words(path):
    said = NOT_SAID.sub(" ", path.read_text(encoding="utf-8"))
    assert [found.group() for found in SOFTWARE.finditer(said)] == []
    assert "doffer restore" not in said


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", ["/", "/lots/L007/", "/lots/L024/", "/orders/O201/", "/runs/", "/holds/"])
def test_days_are_said_as_people_say_them(client, demo_mill, path):
    page = client.get(path).content.decode()
    page = page[page.index("<main") : page.index("</main>")]
    said = NOT_SAID.sub(" ", re.sub(r"<select.*?</select>", " ", page, flags=re.DOTALL))
    assert DAY_OF_A_COMPUTER.findall(said) == []
    assert "Tables " not in said
