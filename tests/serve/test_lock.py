import subprocess
import sys

import pytest

from doffer.errors import ConflictError
from doffer.serve import lock

HOLD_UNTIL_KILLED = """
import sys, time, pathlib
from doffer.serve import lock
with lock.hold(pathlib.Path(sys.argv[1]), "another server"):
    print("held", flush=True)
    time.sleep(60)
"""


def test_the_second_server_is_told_who_has_the_mill(tmp_path):
    refused = pytest.raises(ConflictError, match=r"process \d+ \(http://127.0.0.1:8765/\)")
    with lock.hold(tmp_path, "http://127.0.0.1:8765/"), refused, lock.hold(tmp_path, "x"):
        pass


def test_a_mill_is_free_again_when_its_server_ends(tmp_path):
    with lock.hold(tmp_path, "first"):
        pass
    assert lock.holder(tmp_path) is None


@pytest.mark.faults
def test_a_killed_server_leaves_no_lock_behind(tmp_path):
    command = [sys.executable, "-c", HOLD_UNTIL_KILLED, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        assert lock.holder(tmp_path)["pid"] == other.pid
        other.kill()
    with lock.hold(tmp_path, "next"):
        assert lock.holder(tmp_path)["what"] == "next"
