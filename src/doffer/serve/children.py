"""A child process that is kept alive, and that never outlives its parent.

The child's standard input is a pipe from the parent: when the parent is gone for whatever reason, the pipe
closes and the child stops itself (`stop_with_parent`). This works alike on every operating system.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
STEADY_S = 20.0
STOP_S = 6.0
REFUSED = 1  # the child said in a sentence why it cannot run: starting it again would say the same


def doffer_command(*words: str) -> list[str]:
    """The command line that runs `doffer` with this interpreter."""
    return [sys.executable, "-m", "doffer.cli.main", *words]


@dataclass
class Child:
    """One child: started, watched, started again after a growing pause, stopped."""

    command: Sequence[str]
    env: Mapping[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None
    has_given_up: bool = False
    _started_s: float = 0.0
    _pause_s: float = FIRST_PAUSE_S
    _not_before_s: float = 0.0

    def keep_alive(self) -> None:
        """Start the child if it is not running; call this a few times a second."""
        if self.has_given_up or time.monotonic() < self._not_before_s:
            return
        if self.process is None:
            self._start()
        elif self.process.poll() is not None:
            self._after_death(self.process)

    def stop(self) -> None:
        """Ask it to stop, wait, and kill it if it does not."""
        process, self.process = self.process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        _close_pipe(process)

    def _start(self) -> None:
        self._started_s = time.monotonic()
        # A session of its own: Ctrl-C in the terminal reaches the parent, and the parent stops its children.
        self.process = subprocess.Popen(
            self.command, stdin=subprocess.PIPE, env={**os.environ, **self.env}, start_new_session=True
        )

    def _after_death(self, process: subprocess.Popen[bytes]) -> None:
        lived_s = time.monotonic() - self._started_s
        self.process = None
        _close_pipe(process)
        if process.returncode == REFUSED and lived_s < STEADY_S:
            self.has_given_up = True
            return
        self._pause_s = FIRST_PAUSE_S if lived_s > STEADY_S else min(self._pause_s * 2, LONGEST_PAUSE_S)
        self._not_before_s = time.monotonic() + self._pause_s


def _close_pipe(process: subprocess.Popen[bytes]) -> None:
    if process.stdin is not None:
        process.stdin.close()


def stop_with_parent(stop: Callable[[], None]) -> None:
    """Call `stop` when the pipe from the parent closes."""

    def wait() -> None:
        # Below Python's own buffer: its lock, held by a waiting thread, would abort an ordinary end.
        while os.read(sys.stdin.fileno(), 1):
            pass
        stop()

    threading.Thread(target=wait, name="parent", daemon=True).start()
