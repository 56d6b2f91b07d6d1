"""Servers of temporary mills as processes of their own, watched from outside, as a person would."""

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

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
