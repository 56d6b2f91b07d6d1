"""Every page of the guide is found from the readme, and no link between papers leads nowhere."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GUIDES = sorted((ROOT / "docs" / "guide").glob("*.md"))
QUESTIONS = ROOT / "src" / "doffer" / "office" / "bench_asked.py"


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_a_guide_stands_in_the_readme(guide):
    assert f"(docs/guide/{guide.name})" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", [ROOT / "README.md", *GUIDES], ids=lambda page: page.stem)
def test_links_of_a_page_lead_somewhere(page):
    links = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    assert [link for link in links if not (page.parent / link).exists()] == []


def test_the_guide_of_the_bench_names_its_questions_as_the_bench_does():
    asked = re.findall(r'\([A-Z]+, "([^"]+\?)"\)', QUESTIONS.read_text(encoding="utf-8"))
    guide = (ROOT / "docs" / "guide" / "bench.md").read_text(encoding="utf-8")
    assert len(asked) >= 5
    assert [question for question in asked if question not in guide] == []
