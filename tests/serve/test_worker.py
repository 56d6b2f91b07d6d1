import os
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from doffer.mill.commands import jobs
from doffer.mill.folder import StartAnswers, begin_own_mill
from doffer.mill.models import Job
from doffer.serve import worker as working
from doffer.serve.worker import Worker, do_chore

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
SLEEP = [sys.executable, "-c", "import time; time.sleep(60)"]


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """A mill of one's own with its first records; its jobs are read from the test's database."""
    root = tmp_path_factory.mktemp("root")
    folder = begin_own_mill(
        root,
        StartAnswers(
            name="Barrow Lane Mill", units="metric", country_rules="UK", machines=(), your_name="Ida"
        ),
    )
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(("DOFFER_", "DJANGO_"))}
    subprocess.run(
        [sys.executable, "-m", "doffer.cli.main", "table", "show", "regain"],
        env={**inherited, "DOFFER_ROOT": str(root)},
        check=True,
        capture_output=True,
    )
    return folder


@pytest.fixture
def worker(mill, monkeypatch):
    monkeypatch.setattr(working, "BEAT_S", 0.05)
    monkeypatch.delenv("DOFFER_DATABASE_URL", raising=False)  # the pieces of work open the folder's own file
    return Worker(mill)


@pytest.fixture
def endless(monkeypatch):
    """Every piece of work lasts a minute; gives the list of processes started."""
    started = []

    def start(_folder, _kind, _params):
        process = subprocess.Popen(SLEEP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        started.append(process)
        return process

    monkeypatch.setattr(working, "start_chore", start)
    return started


def ended(kind):
    job = Job.objects.get(kind=kind)
    return job.state, job.result, job.message


def test_a_safety_copy_is_made_by_the_worker(worker, mill):
    jobs.ask_for_job(None, "backup", {})
    worker.run(until_idle=True)
    state, result, _ = ended("backup")
    assert state == "done"
    assert (mill / "backups" / result["copy"]).exists()


def test_the_record_of_weighings_is_verified_by_the_worker(worker):
    jobs.ask_for_job(None, "verify", {})
    worker.run(until_idle=True)
    state, result, _ = ended("verify")
    assert (state, result["is_whole"]) == ("done", True)


def test_work_that_nobody_knows_fails_with_a_sentence(worker):
    jobs.ask_for_job(None, "levitate", {})
    worker.run(until_idle=True)
    state, _, message = ended("levitate")
    assert state == "failed"
    assert message == "There is no kind of work “levitate”. This version knows backup, verify."


def stop_soon(act, started):
    """Do something in another thread as soon as a process runs."""

    def wait():
        from django.db import connections

        while not started:
            time.sleep(0.02)
        act()
        connections.close_all()

    thread = threading.Thread(target=wait)
    thread.start()
    return thread


@pytest.mark.skipif(
    "DOFFER_DATABASE_URL" not in os.environ, reason="a second connection needs a database server"
)
def test_a_cancelled_job_is_a_killed_process(worker, endless):
    number = jobs.ask_for_job(None, "backup", {})
    cancel = lambda: Job.objects.filter(pk=number).update(state="cancelled")  # noqa: E731
    thread = stop_soon(cancel, endless)
    worker.run(until_idle=True)
    thread.join()
    assert endless[0].returncode < 0
    assert ended("backup")[0] == "cancelled"


def test_a_worker_that_is_stopped_gives_its_job_back(worker, endless):
    jobs.ask_for_job(None, "backup", {})
    thread = stop_soon(worker.stop, endless)
    worker.run(until_idle=True)
    thread.join()
    assert endless[0].returncode < 0
    assert ended("backup")[0] == "queued"


def test_a_mill_without_a_fresh_copy_asks_for_one(worker, mill, monkeypatch):
    for copy in (mill / "backups").glob("*"):
        if copy.is_file():
            copy.unlink()
    worker._ask_for_daily_backup()
    worker._ask_for_daily_backup()
    assert Job.objects.filter(kind="backup").count() == 1


def test_a_worker_is_gone_only_when_its_process_here_has_ended():
    here = socket.gethostname()
    with subprocess.Popen([sys.executable, "-c", ""]) as ended_by_now:
        ended_by_now.wait()
    assert working.is_gone(f"{here}:{ended_by_now.pid}")
    assert not working.is_gone(f"{here}:{os.getpid()}")
    assert not working.is_gone(f"not-{here}:{ended_by_now.pid}")


def test_a_refusal_is_told_in_a_line_of_json(capsys, monkeypatch):
    monkeypatch.setattr(working.os, "nice", lambda _by: 0)
    assert do_chore(Path("nowhere"), "levitate", {}) == 1
    assert '{"refused": "There is no kind of work “levitate”.' in capsys.readouterr().out
