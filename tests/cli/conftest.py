"""Runs the command as a person does: a program of its own, in a data root that is thrown away."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
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


@pytest.fixture
def root(tmp_path):
    return tmp_path / "root"


@pytest.fixture
def doffer(root):
    """`doffer("table", "list")` -> Answer."""
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(("DOFFER_", "DJANGO_"))}
    env = {**inherited, "DOFFER_ROOT": str(root), "PYTHONPATH": str(SOURCE)}

    def run(*words):
        command = [sys.executable, "-m", "doffer.cli.main", *map(str, words)]
        done = subprocess.run(
            command, env=env, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
        )
        return Answer(done.returncode, done.stdout, done.stderr)

    return run
