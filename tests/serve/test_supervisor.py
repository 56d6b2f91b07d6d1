import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

from doffer.mill.folder import DEMO, OWN, StartAnswers, begin_own_mill, write_card

SOURCE = Path(__file__).parents[2] / "src"
LONGEST_S = 30


def free_ports():
    """Two free ports, one after the other."""
    while True:
        with socket.create_server(("127.0.0.1", 0)) as first:
            port = first.getsockname()[1]
            try:
                socket.create_server(("127.0.0.1", port + 1)).close()
            except OSError:
                continue
            return port


def health(port):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5) as answer:
            return json.load(answer)
    except OSError:
        return None


def wait_for(get, seconds=LONGEST_S):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = get()
        if found:
            return found
        time.sleep(0.1)
    return None


def surroundings(root):
    """The environment of a mill in this folder and nowhere else, for its server and its terminal alike."""
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(("DOFFER_", "DJANGO_"))}
    return {**inherited, "DOFFER_ROOT": str(root), "PYTHONPATH": str(SOURCE)}


@contextmanager
def serving(root, *words):
    env = surroundings(root)
    command = [sys.executable, "-m", "doffer.cli.main", "serve", *map(str, words)]
    with subprocess.Popen(
        command, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as server:
        try:
            yield server
        finally:
            server.terminate()
            try:
                server.wait(15)
            except subprocess.TimeoutExpired:
                server.kill()
                raise


@pytest.fixture
def root(tmp_path):
    """A data root with an empty invented mill (its records take longer to make than these tests care for)."""
    write_card(tmp_path / DEMO, {"name": "Quillfern Hollow", "kind": "demo"})
    return tmp_path


def processes_of(root):
    """Command lines of living processes that name this data root."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_bytes().decode().split("\0")
        except OSError:
            continue
        if any(str(root) in word for word in words):
            found.append(int(entry.name))
    return found


linux = pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="reads /proc")
pytestmark = pytest.mark.slow


def test_demo_and_own_mill_are_served_side_by_side_and_stop_together(root):
    port = free_ports()
    with serving(root, "--port", port):
        assert wait_for(lambda: health(port)) == {"ok": True, "mill": "Quillfern Hollow", "demo": True}
        assert health(port + 1) is None
        write_card(root / OWN, {"name": "Barrow Lane Mill", "kind": "own"})
        own = wait_for(lambda: health(port + 1))
        assert own == {"ok": True, "mill": "Barrow Lane Mill", "demo": False}
    assert health(port) is None
    assert health(port + 1) is None


@linux
@pytest.mark.faults
def test_a_killed_server_comes_back(root):
    port = free_ports()
    with serving(root, "--port", port):
        assert wait_for(lambda: health(port))
        pid = json.loads((root / DEMO / "lock").read_text())["pid"]
        os.kill(pid, signal.SIGKILL)
        assert wait_for(lambda: health(port))
        assert json.loads((root / DEMO / "lock").read_text())["pid"] != pid


@linux
@pytest.mark.faults
def test_nothing_is_left_running_when_the_first_process_is_killed(root):
    port = free_ports()
    with serving(root, "--port", port) as server:
        assert wait_for(lambda: health(port))
        assert len(processes_of(root)) >= 1
        server.kill()
        assert wait_for(lambda: not processes_of(root), 15)


@linux
def test_stopping_a_mill_ends_its_worker_and_gives_the_lock_back(root):
    with serving(root, "--mill", root / DEMO, "--port", 0) as server:
        assert server.stdout.readline().startswith("Quillfern Hollow (invented demo mill): http://127.0.0.1:")
        server.send_signal(signal.SIGTERM)
        assert server.wait(10) == 0
    assert processes_of(root) == []
    assert (root / DEMO / "lock").read_text() == ""


def test_an_open_stream_does_not_hold_the_server_up(root):
    with serving(root, "--mill", root / DEMO, "--port", 0) as server:
        address = "http://" + server.stdout.readline().split("http://")[1].strip()
        with urllib.request.urlopen(f"{address}live", timeout=10) as stream:
            assert stream.readline() == b"retry: 1000\n"
            start = time.monotonic()
            server.send_signal(signal.SIGTERM)
            server.wait(10)
            assert time.monotonic() - start < 3


def test_a_second_server_says_who_has_the_mill(root):
    with serving(root, "--mill", root / DEMO, "--port", 0) as server:
        address = "http://" + server.stdout.readline().split("http://")[1].strip()
        with serving(root, "--mill", root / DEMO, "--port", 0) as second:
            out, err = second.communicate(timeout=LONGEST_S)
        assert (second.returncode, out) == (1, "")
        assert f"already in use by process {server.pid} ({address})" in err


def test_the_network_is_refused_in_a_sentence(root):
    with serving(root, "--host", "0.0.0.0") as server:
        _, err = server.communicate(timeout=LONGEST_S)
    assert server.returncode == 1
    assert "there is no sign-in yet" in err


def test_a_change_made_at_the_terminal_reaches_open_pages(tmp_path):
    answers = StartAnswers("Barrow Lane Mill", "metric", "UK", (), "Ida")
    folder = begin_own_mill(tmp_path, answers)
    with serving(tmp_path, "--mill", folder, "--port", 0) as server:
        address = "http://" + server.stdout.readline().split("http://")[1].strip()
        with urllib.request.urlopen(f"{address}live", timeout=LONGEST_S) as stream:
            stream.readline()
            words = (
                "table",
                "set",
                "stage_losses",
                "card/wool",
                "dry_loss_mode_pct",
                "6.5",
                "--mill",
                str(folder),
            )
            done = subprocess.run(
                [sys.executable, "-m", "doffer.cli.main", *words],
                env=surroundings(tmp_path),
                check=False,
                capture_output=True,
                text=True,
            )
            assert (done.returncode, done.stderr) == (0, "")
            heard = next(line for line in stream if line.startswith(b"data: ") and b"table" in line)
    assert "table:stage_losses/card/wool" in json.loads(heard.removeprefix(b"data: "))["topics"]
