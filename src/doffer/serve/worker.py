"""The worker: takes long work from the table of jobs, one at a time, each in a process of its own.

A process, because a calculation in a thread would make every page wait; at low priority, so that the pages
come first. Its lease is renewed every second, so that work of a worker that died is taken up by another one.
A cancelled job is a killed process.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import queue
import socket
import subprocess
import sys
import threading
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

from doffer.errors import DofferError
from doffer.mill.commands import jobs
from doffer.serve.backup import listed, real_time
from doffer.serve.children import doffer_command
from doffer.serve.chores import chore

IDLE_S = 1.0
BEAT_S = 1.0
NICE = 10
BACKUP_AFTER = timedelta(hours=24)
LOOK_FOR_BACKUP_S = 600.0
NO_REASON = (
    "The work stopped without saying why. The file logs/worker.log in the mill's data folder may tell."
)
log = logging.getLogger(__name__)


class Worker:
    """Works off the jobs of one mill."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.name = f"{socket.gethostname()}:{os.getpid()}"
        self._stop = threading.Event()

    def stop(self) -> None:
        """End after the job at hand was put down."""
        self._stop.set()

    def run(self, *, until_idle: bool) -> None:
        """Work until stopped, or until nothing waits."""
        jobs.take_back_jobs(is_gone)
        next_look_s = 0.0
        waited_s = 0.0
        while not self._stop.is_set():
            if not until_idle and waited_s >= next_look_s:
                self._ask_for_daily_backup()
                next_look_s = waited_s + LOOK_FOR_BACKUP_S
            job = jobs.claim_job(self.name)
            if job is not None:
                self._carry_out(job)
            elif until_idle:
                return
            else:
                self._stop.wait(IDLE_S)
                waited_s += IDLE_S

    def _ask_for_daily_backup(self) -> None:
        """A mill that runs has a copy that is at most a day old."""
        newest = next(iter(listed(self.folder)), None)
        if newest is None or real_time().timestamp() - newest.stat().st_mtime > BACKUP_AFTER.total_seconds():
            jobs.ask_for_job(None, "backup", {})

    def _carry_out(self, job: jobs.Claimed) -> None:
        log.info("job %s (%s) begins", job.id, job.kind)
        with start_chore(self.folder, job.kind, job.params) as process:
            lines: queue.Queue[str] = queue.Queue()
            reader = threading.Thread(target=_read, args=(process, lines), daemon=True)
            reader.start()
            last = self._watch(job, process, lines)
            reader.join()
        self._put_down(job, process, _newest(lines, last))

    def _watch(
        self, job: jobs.Claimed, process: subprocess.Popen[str], lines: queue.Queue[str]
    ) -> dict[str, Any]:
        """Report every second until the process ends; kill it when the job is not ours any more."""
        last: dict[str, Any] = {}
        while process.poll() is None:
            last = _newest(lines, last)
            progress, message = last.get("progress", 0.0), last.get("message", "")
            is_ours = jobs.keep_job(job.id, self.name, progress_frac=progress, message=message)
            if self._stop.is_set() or not is_ours:
                process.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(BEAT_S)
        return last

    def _put_down(self, job: jobs.Claimed, process: subprocess.Popen[str], last: dict[str, Any]) -> None:
        """Note how it ended; a job that was cancelled or that we were stopped in says so itself."""
        if "result" in last and process.returncode == 0:
            jobs.finish_job(job.id, self.name, result=last["result"])
        elif self._stop.is_set():
            jobs.give_back_job(job.id, self.name)
        else:
            jobs.fail_job(job.id, self.name, why=last.get("refused", NO_REASON))
        log.info("job %s (%s) ended with %s", job.id, job.kind, process.returncode)


def is_gone(worker: str) -> bool:
    """Whether a worker ran on this computer and has ended; what is not known for sure its lease decides."""
    host, _, pid = worker.rpartition(":")
    if host != socket.gethostname() or os.name == "nt":  # on Windows the question below would end it
        return False
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return True
    except PermissionError:  # somebody else's process has the number by now, or the worker is theirs
        pass
    return False


def start_chore(folder: Path, kind: str, params: Mapping[str, Any]) -> subprocess.Popen[str]:
    """The process that does one piece of work, behind everything else in the queue for the processor."""
    words = (
        "worker",
        "--mill",
        str(folder),
        "--kind",
        kind,
        "--params",
        json.dumps(params),
        "--stop-with-parent",
    )
    below_normal = getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0)  # Windows only
    return subprocess.Popen(
        doffer_command(*words),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        creationflags=below_normal,
    )


def do_chore(folder: Path, kind: str, params: Mapping[str, Any]) -> int:
    """What the process of one piece of work does: tells its progress and result in lines of JSON."""
    if hasattr(os, "nice"):
        os.nice(NICE)

    def say(**words: Any) -> None:
        sys.stdout.write(json.dumps(words, ensure_ascii=False) + "\n")
        sys.stdout.flush()

    try:
        result = chore(kind)(
            folder, params, lambda progress, message: say(progress=progress, message=message)
        )
    except DofferError as refusal:
        say(refused=str(refusal))
        return 1
    except Exception:
        log.exception("the work %s broke down", kind)
        return 1
    say(progress=1.0, message="", result=result)
    return 0


def _read(process: subprocess.Popen[str], lines: queue.Queue[str]) -> None:
    for line in process.stdout or ():
        lines.put(line)


def _newest(lines: queue.Queue[str], last: dict[str, Any]) -> dict[str, Any]:
    """What the process said last."""
    while not lines.empty():
        last = {**last, **json.loads(lines.get())}
    return last
