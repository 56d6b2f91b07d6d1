from pathlib import Path

from doffer.cli.cli_docs import reference
from doffer.cli.main import VERBS

DOCS = Path(__file__).parents[2] / "docs" / "cli.md"


def test_the_reference_is_up_to_date():
    # Mend with: doffer cli-docs > docs/cli.md
    assert DOCS.read_text(encoding="utf-8") == reference()


def test_every_verb_has_its_chapter():
    text = DOCS.read_text(encoding="utf-8")
    names = [verb.__name__.rpartition(".")[2].replace("_", "-") for verb in VERBS]
    assert [name for name in names if f"\n## doffer {name}\n" not in text] == []
