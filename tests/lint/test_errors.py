"""Every deliberate error survives the way from a worker process and reads as a sentence."""

import inspect
import pickle

import pytest

from doffer import errors

FILLED = {
    str: "something",
    "str": "something",
    "object": "x",
    "tuple[str, ...]": ("a reason", "another"),
}
CLASSES = [
    kind
    for _, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, errors.DofferError) and kind is not errors.DofferError
]


def example(kind: type[errors.DofferError]) -> errors.DofferError:
    parameters = list(inspect.signature(kind).parameters.values())
    return kind(*[FILLED[parameter.annotation] for parameter in parameters])


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.__name__)
def test_an_error_comes_back_from_a_worker_as_it_went(kind):
    error = example(kind)
    back = pickle.loads(pickle.dumps(error))
    assert (type(back), str(back), vars(back)) == (kind, str(error), vars(error))


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.__name__)
def test_an_error_is_a_sentence_that_ends(kind):
    text = str(example(kind))
    assert text.endswith(".")
    assert not text.endswith("..")


def test_there_are_errors_to_look_at():
    assert len(CLASSES) >= 6
