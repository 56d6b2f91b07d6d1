"""What keeps the house: numbers, settings, own table rows, long calculations, the feed of changes."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class Counter(models.Model):
    """The last number given out of one series (L041, O209, ...)."""

    series = models.CharField(max_length=10, unique=True)
    last = models.BigIntegerField(default=0)

    class Meta:
        ordering = ("series",)

    def __str__(self) -> str:
        return f"{self.series}{self.last}"


class Setting(models.Model):
    """One setting of the mill, as text."""

    key = models.CharField(max_length=60, unique=True)
    value = models.CharField(max_length=400)
    changed_at = MomentField()
    changed_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ("key",)

    def __str__(self) -> str:
        return f"{self.key} = {self.value}"


class TableOverride(models.Model):
    """The mill's own figure for one cell of a table; the newest row counts, an empty value takes it back."""

    table = models.CharField(max_length=40)
    row = models.CharField(max_length=120)
    column = models.CharField(max_length=60)
    value = models.CharField(max_length=200, null=True, blank=True)  # noqa: DJ001 - NULL: taken back; "": an empty cell
    reason = models.CharField(max_length=400, blank=True)
    made_at = MomentField()
    made_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        indexes = (models.Index(fields=("table", "row", "column", "-id"), name="override_of_cell"),)

    def __str__(self) -> str:
        return f"{self.table}/{self.row}/{self.column}"


class JobState(models.TextChoices):
    """Where a long calculation stands."""

    QUEUED = "queued", "waiting"
    RUN = "run", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


class Job(models.Model):
    """A long calculation for a worker process; its result never changes."""

    kind = models.CharField(max_length=40)
    params = models.JSONField(default=dict)
    params_sha256 = models.CharField(max_length=64)
    seed = models.BigIntegerField(default=0)
    code_version = models.CharField(max_length=40)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.QUEUED)
    priority = models.IntegerField(default=100)  # small goes first
    progress_ppm = models.IntegerField(default=0)
    message = models.CharField(max_length=400, blank=True)
    worker = models.CharField(max_length=80, blank=True)
    lease_until = MomentField(null=True, blank=True)
    attempts = models.IntegerField(default=0)
    result = models.JSONField(null=True, blank=True)
    created_at = MomentField()
    created_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, null=True, related_name="+")
    ended_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(state__in=JobState.values), name="job_state_is_known"),
            models.CheckConstraint(
                condition=Q(progress_ppm__gte=0, progress_ppm__lte=1_000_000), name="job_progress_is_a_share"
            ),
        )
        indexes = (
            models.Index(fields=("state", "priority", "id"), name="job_queue"),
            models.Index(fields=("kind", "params_sha256", "code_version", "seed"), name="job_result"),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"


class Deed(models.Model):
    """An act that came with a key and what it gave, so that sending it twice does it once."""

    key = models.UUIDField(unique=True)
    act = models.CharField(max_length=40)
    body_sha256 = models.CharField(max_length=64)
    result = models.JSONField()
    done_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.act} {self.key}"


class Change(models.Model):
    """One line of the live feed: what changed, about what, by whom; added to, never edited."""

    at = MomentField()
    topic = models.CharField(max_length=20)
    subject = models.CharField(max_length=40, blank=True)
    what = models.CharField(max_length=300, blank=True)
    person = models.ForeignKey(
        "people.Person", on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )

    class Meta:
        ordering = ("id",)
        indexes = (models.Index(fields=("topic", "subject", "-id"), name="change_about"),)

    def __str__(self) -> str:
        return f"{self.topic} {self.subject}"
