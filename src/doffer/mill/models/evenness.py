"""Evenness: how the mill's machines mix, and the trials that told so.

Figures, variances and standard errors are kept in millionths of their unit (`_micro`): a clump of 20 mg and a
card that holds 60 g stand side by side without rounding.
"""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from doffer.mill.moment import MomentField


class Found(models.TextChoices):
    """How a figure was found."""

    GUESS = "guess", "guessed"
    PULSE = "pulse", "a coloured pulse"
    CLEAN_DOWN = "clean-down", "weighed at a clean-down"
    TUFTS = "tufts", "tufts pulled and weighed"
    PHOTO = "photo", "a photo of a strip"
    SAMPLES = "samples", "small samples"
    FIT = "fit", "fitted to several trials"


class TrialKind(models.TextChoices):
    """What was done to see how evenly fibre mixes."""

    PHOTO = "photo", "photo of a strip"
    SAMPLES = "samples", "small samples weighed"
    PULSE = "pulse", "coloured pulse"
    CLEAN_DOWN = "clean-down", "clean-down weighed"
    TUFTS = "tufts", "tufts pulled and weighed"


class EvennessTrial(models.Model):
    """One trial: what was measured, of what, after which pass of a stage, and what came of it.

    `facts` and `result` hold whole numbers, as `doffer.mill.evenness_facts` writes and reads them. `passes`
    counts the passes of the stage that the fibre had behind it; 0: as it was fed. A wrong trial is corrected
    by a new one that names it.
    """

    kind = models.CharField(max_length=10, choices=TrialKind.choices)
    lot = models.ForeignKey(
        "mill.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    order = models.ForeignKey(
        "mill.Order", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    run = models.ForeignKey(
        "mill.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    machine = models.ForeignKey(
        "mill.Machine", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    stage = models.CharField(max_length=20)
    passes = models.SmallIntegerField(default=1)
    facts = models.JSONField()
    result = models.JSONField()
    photo = models.ForeignKey(
        "mill.Photo", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    taken_at = MomentField()
    recorded_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(lot__isnull=False)
                | Q(order__isnull=False)
                | Q(run__isnull=False)
                | Q(machine__isnull=False),
                name="trial_is_of_something",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=TrialKind.values, passes__gte=0) & ~Q(stage=""),
                name="trial_words_are_known",
            ),
            models.CheckConstraint(
                condition=~Q(kind="photo") | Q(photo__isnull=False), name="trial_photo_is_there"
            ),
        )
        indexes = (
            models.Index(fields=("lot", "-id"), name="trial_of_lot", condition=Q(lot__isnull=False)),
            models.Index(fields=("order", "-id"), name="trial_of_order", condition=Q(order__isnull=False)),
            models.Index(fields=("run", "-id"), name="trial_of_run", condition=Q(run__isnull=False)),
            models.Index(
                fields=("machine", "-id"), name="trial_of_machine", condition=Q(machine__isnull=False)
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind} trial {self.pk}"


class MachineFigure(models.Model):
    """One figure of how a machine mixes, with its ends; the newest of a machine and key counts.

    `key` is a row of the table of evenness figures; millionths of that row's unit. `trials` are the numbers
    of the trials it was found from, `n` how many pieces or weighings it rests on.
    """

    machine = models.ForeignKey(
        "mill.Machine", on_delete=models.PROTECT, related_name="figures", db_index=False
    )
    key = models.CharField(max_length=40)
    value_micro = models.BigIntegerField()
    low_micro = models.BigIntegerField()
    high_micro = models.BigIntegerField()
    found = models.CharField(max_length=10, choices=Found.choices)
    n = models.IntegerField(null=True, blank=True)
    trials = models.JSONField(default=list)
    note = models.CharField(max_length=400, blank=True)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    made_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(
                    low_micro__gte=0, value_micro__gte=F("low_micro"), high_micro__gte=F("value_micro")
                ),
                name="machine_figure_lies_between_its_ends",
            ),
            models.CheckConstraint(
                condition=Q(found__in=Found.values) & ~Q(key="") & (Q(n=None) | Q(n__gte=1)),
                name="machine_figure_words_are_known",
            ),
        )
        indexes = (models.Index(fields=("machine", "key", "-id"), name="machine_figure_newest"),)

    def __str__(self) -> str:
        return f"{self.key} of {self.machine_id}"
