from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from doffer.cli.output import aligned, plain
from doffer.working import Status


@dataclass(frozen=True)
class Row:
    name: str
    mass_g: object


def test_everything_a_verb_answers_can_be_json():
    answer = {
        "row": Row("wool", np.float64(1.5)),
        "many": (np.array([1.0, 2.0]), frozenset({3})),
        "day": date(2026, 3, 6),
        "status": Status.PRACTICE,
        "file": Path("x"),
    }
    assert plain(answer) == {
        "row": {"name": "wool", "mass_g": 1.5},
        "many": [[1.0, 2.0], [3]],
        "day": "2026-03-06",
        "status": "practice",
        "file": "x",
    }


def test_numbers_stand_to_the_right_and_words_to_the_left():
    assert aligned(("fibre", "kg"), [("wool", 12.5), ("silk", 3.0)]) == [
        "fibre    kg",
        "-----  ----",
        "wool   12.5",
        "silk      3",
    ]


def test_an_empty_table_is_its_heading():
    assert aligned(("a", "b"), []) == ["a  b", "-  -"]
