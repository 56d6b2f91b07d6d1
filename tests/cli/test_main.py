import subprocess
import sys

import pytest

from doffer.cli import main
from doffer.cli.cli_docs import verbs_of

LOADED = """
import sys, time
start = time.perf_counter()
{act}
print(time.perf_counter() - start)
print(*[name for name in ("numpy", "django", "jinja2", "uvicorn", "scipy", "typst") if name in sys.modules])
"""
HELP = """
from doffer.cli.main import main
try:
    main(["--help"])
except SystemExit:
    pass
"""
VERBS = dict(verbs_of(main.parser()))


def loaded(act):
    """Seconds and heavy packages loaded by some code, in a fresh Python; the best of three."""
    seconds, heavy = [], set()
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", LOADED.format(act=act)], capture_output=True, text=True, check=True
        )
        *_, time_s, names = done.stdout.split("\n")[:-1]
        seconds.append(float(time_s))
        heavy |= set(names.split())
    return min(seconds), heavy


def test_importing_the_package_is_quick_and_loads_nothing_heavy():
    seconds, heavy = loaded("import doffer")
    assert heavy == set()
    assert seconds < 0.3


def test_help_loads_neither_numpy_nor_django():
    seconds, heavy = loaded(HELP)
    assert heavy == set()
    assert seconds < 1.0


@pytest.mark.parametrize("name", VERBS)
def test_every_verb_says_what_it_does(name):
    words = VERBS[name]
    assert words.description
    assert words.description.endswith(".")


@pytest.mark.parametrize("name", [name for name in VERBS if " " not in name])
def test_every_verb_shows_an_example(name):
    assert f"doffer {name}" in (VERBS[name].epilog or "")


@pytest.mark.parametrize("name", VERBS)
def test_every_word_of_a_verb_is_explained(name):
    silent = [
        action.dest
        for action in VERBS[name]._actions
        if not action.help and action.dest != "help" and type(action).__name__ != "_SubParsersAction"
    ]
    assert silent == []


def test_an_unknown_verb_ends_with_two(doffer):
    answer = doffer("weave")
    assert answer.code == 2
    assert "invalid choice" in answer.err


def test_no_words_end_with_two(doffer):
    assert doffer().code == 2


def test_the_unforeseen_is_a_sentence_with_its_details_in_a_file(monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("DOFFER_ROOT", str(tmp_path))

    def break_down(_args):
        raise ZeroDivisionError("division by zero")

    class Words:
        def parse_args(self, _argv):
            return type("Args", (), {"run": staticmethod(break_down)})()

    monkeypatch.setattr(main, "parser", Words)
    assert main.main([]) == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert "ZeroDivisionError: division by zero" in said
    assert "Traceback" in (tmp_path / "last-error.txt").read_text(encoding="utf-8")
