"""Which fibre a stage takes without a question."""

import pytest

from doffer.errors import InputError
from doffer.fibre.material import Form
from doffer.process.stages import STAGES
from doffer.process.taken import forms_taken, state_of


def test_every_stage_says_what_it_takes():
    assert all(forms_taken(stage).forms for stage in STAGES)


@pytest.mark.parametrize(
    ("stage", "form", "is_taken"),
    [
        ("wash", Form.GREASY, True),
        ("wash", Form.SKEIN, False),
        ("pick", Form.GREASY, False),
        ("pick", Form.SKEIN, False),
        ("pick", Form.ROVING, True),
        ("card", Form.SCOURED, True),
        ("card", Form.SKIRTED, False),
        ("draw", Form.OPENED, False),
        ("spin", Form.GREASY, False),
        ("spin", Form.BATT, True),
        ("ply", Form.ROVING, False),
        ("skein", Form.PLIED, True),
    ],
)
def test_a_stage_takes_fibre_that_the_stage_before_it_made(stage, form, is_taken):
    assert (form in forms_taken(stage).forms) == is_taken


@pytest.mark.parametrize(
    ("stage", "wet", "dry"),
    [("pick", False, True), ("card", False, True), ("extract", True, False), ("dry", True, True)],
)
def test_dripping_fibre_goes_to_the_extractor_or_the_rack(stage, wet, dry):
    assert (forms_taken(stage).wet, forms_taken(stage).dry) == (wet, dry)


def test_raw_clean_and_spun_fibre_are_three_states():
    assert {state_of(form) for form in (Form.GREASY, Form.SKIRTED)} == {"raw"}
    assert state_of(Form.SCOURED) == state_of(Form.ROVING) == "fibre"
    assert state_of(Form.SKEIN) == "yarn"


def test_a_stage_that_does_not_exist_is_named():
    with pytest.raises(InputError, match="felt"):
        forms_taken("felt")
