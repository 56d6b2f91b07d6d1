import sys
import time

import pytest

from doffer.serve.children import Child

WAIT_FOR_PARENT = """
import threading
from doffer.serve.children import stop_with_parent
ended = threading.Event()
stop_with_parent(ended.set)
raise SystemExit(0 if ended.wait(20) else 5)
"""


def python(code):
    return [sys.executable, "-c", code]


def until(condition, seconds=5.0):
    end = time.monotonic() + seconds
    while not condition() and time.monotonic() < end:
        time.sleep(0.02)
    return condition()


@pytest.fixture
def child(request):
    one = Child(python(request.param))
    yield one
    one.stop()


@pytest.mark.parametrize("child", ["import time; time.sleep(30)"], indirect=True)
def test_a_child_that_dies_is_started_again(child):
    child.keep_alive()
    first = child.process
    first.kill()
    first.wait()

    def is_back():
        child.keep_alive()
        return child.process is not None and child.process is not first

    assert until(is_back)


@pytest.mark.parametrize("child", ["raise SystemExit(1)"], indirect=True)
def test_a_child_that_refused_is_left_alone(child):
    def has_given_up():
        child.keep_alive()
        return child.has_given_up

    assert until(has_given_up)
    child.keep_alive()
    assert child.process is None


@pytest.mark.parametrize("child", ["raise SystemExit(3)"], indirect=True)
def test_the_pause_grows_while_a_child_keeps_dying(child):
    pauses = set()

    def has_grown():
        child.keep_alive()
        pauses.add(child._pause_s)
        return len(pauses) >= 3

    assert until(has_grown)


@pytest.mark.parametrize("child", [WAIT_FOR_PARENT], indirect=True)
def test_a_child_ends_when_the_pipe_from_its_parent_closes(child):
    child.keep_alive()
    child.process.stdin.close()
    assert child.process.wait(10) == 0
