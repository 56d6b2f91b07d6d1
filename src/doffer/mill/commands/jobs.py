"""Long calculations: put into the queue, claimed by one worker, reported on, ended, cancelled."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection

from doffer import __version__
from doffer.errors import ConflictError, NotFoundError
from doffer.mill import bridge, chain, clock
from doffer.mill.booking import announce
from doffer.mill.models import Job
from doffer.mill.models.chores import JobState
from doffer.mill.write import serialise, write
from doffer.people.models import Person
from doffer.people.rights import Right, require

LEASE = timedelta(seconds=30)
MOST_ATTEMPTS = 3  # work that takes its worker down with it each time is not begun for ever
BROKE_OFF = (
    "The work was begun {attempts} times and broke off each time without saying why. Ask for it once more; "
    "if it breaks off again, the file logs/worker.log in the mill's data folder may tell."
)
ENDED = (JobState.DONE, JobState.FAILED, JobState.CANCELLED)

# One statement on both databases; PostgreSQL skips rows that another worker is claiming at this moment.
_CLAIM = """
UPDATE mill_job SET state = 'run', worker = %s, lease_until = %s, attempts = attempts + 1
WHERE id = (
    SELECT id FROM mill_job
    WHERE state = 'queued' OR (state = 'run' AND lease_until < %s)
    ORDER BY priority, id LIMIT 1 {skip}
)
RETURNING id
"""


@dataclass(frozen=True, slots=True)
class Claimed:
    """What a worker is to do."""

    id: int
    kind: str
    params: dict[str, Any]
    seed: int
    attempts: int


def ask_for_job(
    by: Person | None,
    kind: str,
    params: dict[str, Any],
    *,
    seed: int = 0,
    priority: int = 100,
    reuse_result: bool = False,
) -> int:
    """Queue a calculation; gives its number. Nobody (None) is the mill itself, for its own upkeep.

    The same calculation that waits or runs is given instead of a second; with `reuse_result` also one that is
    done, for work whose result depends on nothing but its parameters, seed and program version.
    """
    if by is not None:
        require(by, Right.JOBS)
    params_sha256 = chain.sha256(chain.canonical(params))
    states = [JobState.QUEUED, JobState.RUN] + ([JobState.DONE] if reuse_result else [])
    with write():
        serialise("jobs")
        known = Job.objects.filter(
            kind=kind, params_sha256=params_sha256, code_version=__version__, seed=seed, state__in=states
        ).last()
        if known is not None:
            return known.pk
        job = Job.objects.create(
            kind=kind,
            params=params,
            params_sha256=params_sha256,
            seed=seed,
            code_version=__version__,
            priority=priority,
            created_at=clock.now(),
            created_by=by,
        )
        announce(by, "job", str(job.pk), "waiting")
        return job.pk


def claim_job(worker: str) -> Claimed | None:
    """The next calculation for this worker, or None; one whose worker fell silent is given again.

    One that fell silent MOST_ATTEMPTS times has failed, and says so.
    """
    now = clock.now()
    skip = "FOR UPDATE SKIP LOCKED" if connection.vendor == "postgresql" else ""
    with write():
        _fail_what_breaks_off(now)
        with connection.cursor() as cursor:
            cursor.execute(_CLAIM.format(skip=skip), [worker, now + LEASE, now])
            found = cursor.fetchone()
        if found is None:
            return None
        job = Job.objects.get(pk=found[0])
        announce(None, "job", str(job.pk), "running")
        return Claimed(job.pk, job.kind, job.params, job.seed, job.attempts)


def _fail_what_breaks_off(now: datetime) -> None:
    silent = Job.objects.filter(state=JobState.RUN, lease_until__lt=now, attempts__gte=MOST_ATTEMPTS)
    for job in silent.select_for_update():
        job.state, job.ended_at, job.lease_until = JobState.FAILED, now, None
        job.message = BROKE_OFF.format(attempts=job.attempts)
        job.save(update_fields=["state", "ended_at", "lease_until", "message"])
        announce(None, "job", str(job.pk), JobState.FAILED.label)


def take_back_jobs(is_gone: Callable[[str], bool]) -> int:
    """End the lease of every job whose worker is gone, so that nobody waits for it; how many there were."""
    with write():
        running = Job.objects.select_for_update().filter(state=JobState.RUN)
        orphans = [job.pk for job in running if is_gone(job.worker)]
        return Job.objects.filter(pk__in=orphans).update(lease_until=clock.now() - LEASE)


def _held_by(job_id: int, worker: str) -> Job | None:
    return Job.objects.select_for_update().filter(pk=job_id, state=JobState.RUN, worker=worker).first()


def keep_job(job_id: int, worker: str, *, progress_frac: float, message: str = "") -> bool:
    """Renew the lease and say how far it is; False: stop, it was cancelled or given to another worker."""
    with write():
        job = _held_by(job_id, worker)
        if job is None:
            return False
        progress_ppm = bridge.ppm(min(1.0, max(0.0, progress_frac)))
        moved = (job.progress_ppm, job.message) != (progress_ppm, message)
        job.progress_ppm, job.message, job.lease_until = progress_ppm, message, clock.now() + LEASE
        job.save(update_fields=["progress_ppm", "message", "lease_until"])
        if moved:
            announce(None, "job", str(job_id), message or f"{progress_frac:.0%}")
        return True


def finish_job(job_id: int, worker: str, *, result: Any) -> bool:
    """Keep the result; False when the job was cancelled or is another worker's by now."""
    return _end(job_id, worker, JobState.DONE, progress_ppm=bridge.PPM, result=result)


def fail_job(job_id: int, worker: str, *, why: str) -> bool:
    """Keep the sentence that says why there is no result."""
    return _end(job_id, worker, JobState.FAILED, message=why[:400])


def give_back_job(job_id: int, worker: str) -> bool:
    """Put a job back into the queue, because its worker stops; that is no attempt that broke off."""
    with write():
        job = _held_by(job_id, worker)
        if job is None:
            return False
        job.state, job.worker, job.lease_until = JobState.QUEUED, "", None
        job.attempts -= 1
        job.save(update_fields=["state", "worker", "lease_until", "attempts"])
        announce(None, "job", str(job_id), "waiting")
        return True


def _end(job_id: int, worker: str, state: JobState, **columns: Any) -> bool:
    with write():
        job = _held_by(job_id, worker)
        if job is None:
            return False
        job.state, job.ended_at, job.lease_until = state, clock.now(), None
        for name, value in columns.items():
            setattr(job, name, value)
        job.save()
        announce(None, "job", str(job_id), state.label)
        return True


def cancel_job(by: Person | None, job_id: int) -> None:
    """Stop a calculation; its worker notices at its next report."""
    person = require(by, Right.JOBS)
    with write():
        job = Job.objects.select_for_update(of=("self",)).filter(pk=job_id).first()
        if job is None:
            raise NotFoundError("calculation", job_id)
        if job.state in ENDED:
            raise ConflictError("This calculation has ended already", "Look at its result")
        job.state, job.ended_at, job.lease_until = JobState.CANCELLED, clock.now(), None
        job.save(update_fields=["state", "ended_at", "lease_until"])
        announce(person, "job", str(job_id), "cancelled")
