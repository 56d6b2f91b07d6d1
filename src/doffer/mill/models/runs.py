"""Runs: lots through one stage, with what came out and what was lost."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Run(models.Model):
    """One pass of lots through one stage on one machine."""

    code = models.CharField(max_length=20, unique=True)
    stage = models.CharField(max_length=20)
    machine = models.ForeignKey(
        "mill.Machine", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    order = models.ForeignKey(
        "mill.Order", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    settings = models.JSONField(default=dict, blank=True)
    cleaned_before = models.CharField(max_length=20, blank=True)
    join_decision = models.ForeignKey(
        "mill.JoinDecision", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    confirmation = models.CharField(max_length=400, blank=True)
    note = models.CharField(max_length=400, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=models.F("started_at")),
                name="run_ends_after_it_starts",
            ),
        )
        indexes = (
            models.Index(fields=("-ended_at",), name="run_ended"),
            models.Index(fields=("stage", "-id"), name="run_by_stage"),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.stage}"


class RunInput(models.Model):
    """A lot that went in; its dry mass is empty while the fibre is greasy.

    Its weighing is the latest word on it: when that is corrected, the row follows the correction.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="inputs")
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="went_into")
    weighing = models.OneToOneField("mill.Weighing", on_delete=models.PROTECT, null=True, related_name="+")
    mass_mg = models.BigIntegerField()
    dry_mg = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=Q(mass_mg__gte=0), name="run_input_is_not_negative"),)

    def __str__(self) -> str:
        return f"{self.lot_id} into {self.run_id}"


class RunOutput(models.Model):
    """A lot that came out; the same lot as went in when nothing was joined or split.

    Its weighing is the latest word on it: when that is corrected, the row follows the correction.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="outputs")
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="came_from")
    container = models.ForeignKey(
        "mill.Container", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    weighing = models.OneToOneField("mill.Weighing", on_delete=models.PROTECT, null=True, related_name="+")
    mass_mg = models.BigIntegerField()
    dry_mg = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(mass_mg__gte=0), name="run_output_is_not_negative"),
        )

    def __str__(self) -> str:
        return f"{self.lot_id} out of {self.run_id}"


class RunWaste(models.Model):
    """A stream that was swept up and weighed."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="wastes")
    kind = models.CharField(max_length=40)
    mass_mg = models.BigIntegerField()
    dry_mg = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=Q(mass_mg__gte=0), name="run_waste_is_not_negative"),)

    def __str__(self) -> str:
        return f"{self.kind} of {self.run_id}"
