"""Runs the command as a person does: a program of its own, in a data root that is thrown away."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src"


@dataclass(frozen=True)
class Answer:
    """What a command printed and how it ended."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


INIT = ("init", "--name", "Barrow Lane Mill", "--units", "metric", "--rules", "UK", "--you", "Ida")


def call(root, *words):
    """Run one command on the mills under a data root."""
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(("DOFFER_", "DJANGO_"))}
    done = subprocess.run(
        [sys.executable, "-m", "doffer.cli.main", *map(str, words)],
        env={**inherited, "DOFFER_ROOT": str(root), "PYTHONPATH": str(SOURCE)},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    return Answer(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def root(tmp_path):
    return tmp_path / "root"


@pytest.fixture
def doffer(root):
    """`doffer("table", "list")` -> Answer."""
    return partial(call, root)


@pytest.fixture(scope="session")
def begun(tmp_path_factory):
    """A data root with a mill of one's own, begun once and only copied from."""
    root = tmp_path_factory.mktemp("begun")
    answer = call(root, *INIT, "--machine", "picker", "--machine", "card", "--json")
    assert answer.code == 0, answer.err
    return root


@pytest.fixture
def mill(begun, root):
    """The folder of a mill of one's own with its first records."""
    shutil.copytree(begun, root)
    return root / "mill"
