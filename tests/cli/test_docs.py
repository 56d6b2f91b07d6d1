from pathlib import Path

from doffer.cli.cli_docs import reference, verbs_of
from doffer.cli.main import VERBS, parser

DOCS = Path(__file__).parents[2] / "docs" / "cli.md"


def test_the_reference_is_up_to_date():
    # Mend with: doffer cli-docs > docs/cli.md
    assert DOCS.read_text(encoding="utf-8") == reference(parser())


def test_every_verb_has_its_chapter():
    text = DOCS.read_text(encoding="utf-8")
    names = [name for name, _ in verbs_of(parser())]
    assert len([name for name in names if " " not in name]) == len(VERBS)
    assert [name for name in names if f"\n## doffer {name}\n" not in text] == []
