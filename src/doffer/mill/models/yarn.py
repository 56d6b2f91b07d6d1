"""Yarn: what the machines can be set to, what runs were set to and gave, tests of yarn, tests of fibre.

Figures whose unit a table gives are kept in millionths of it, one to a list where there are several: the
teeth of all pinions, the two ends of a window, the three steps of a beater.
"""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField

LOWEST_RATING, HIGHEST_RATING = 1, 5


class Known(models.TextChoices):
    """How somebody knows what a machine can be set to."""

    GUESS = "guess", "guessed"
    MAKER = "maker", "from its plate or book"
    MEASURED = "measured", "counted or measured here"


class YarnState(models.TextChoices):
    """Where in its life the yarn was tested."""

    ROLLER = "roller", "at the front rolls"
    BOBBIN = "bobbin", "single on the bobbin"
    PLIED = "plied", "plied, before the wash"
    FINISHED = "finished", "washed, set and dry"


class BreaksAt(models.TextChoices):
    """Where in its length a staple breaks when it is pulled."""

    UNKNOWN = "unknown", "not tried"
    TIP = "tip", "near the tip"
    MIDDLE = "middle", "in the middle"
    BASE = "base", "near the base"


class FoundBy(models.TextChoices):
    """How a fibre figure was found."""

    HAND = "hand", "by hand and eye"
    LABORATORY = "laboratory", "by a laboratory"
    OWNER = "owner", "told by its owner"


class MachineSetting(models.Model):
    """What one machine can be set to, one key at a time; the newest of a machine and key counts.

    `key` is a row of table machine_settings, `values_micro` a list of millionths of its unit.
    """

    machine = models.ForeignKey(
        "mill.Machine", on_delete=models.PROTECT, related_name="yarn_settings", db_index=False
    )
    key = models.CharField(max_length=40)
    values_micro = models.JSONField()
    known = models.CharField(max_length=10, choices=Known.choices)
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
                condition=Q(known__in=Known.values) & ~Q(key=""), name="machine_setting_words_are_known"
            ),
        )
        indexes = (models.Index(fields=("machine", "key", "-id"), name="machine_setting_newest"),)

    def __str__(self) -> str:
        return f"{self.key} of {self.machine_id}"


class RunSettings(models.Model):
    """What a run was set to and what that gave; the newest of a run counts.

    `settings_micro` maps keys of table run_settings to millionths of their units. Stage, machine and fibre
    repeat the run's, so that runs of like fibre are found without walking through their lots.
    """

    run = models.ForeignKey("mill.Run", on_delete=models.PROTECT, related_name="set_to", db_index=False)
    stage = models.CharField(max_length=20)
    machine = models.ForeignKey(
        "mill.Machine", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    fibre = models.CharField(max_length=40)
    diameter_nm = models.IntegerField(null=True, blank=True)
    staple_mm = models.IntegerField(null=True, blank=True)
    settings_micro = models.JSONField(default=dict)
    breaks = models.IntegerField(null=True, blank=True)
    breaks_over_mg = models.BigIntegerField(null=True, blank=True)
    spindle_min = models.IntegerField(null=True, blank=True)
    breaks_milli_per_kg = models.BigIntegerField(null=True, blank=True)
    cv_ppm = models.IntegerField(null=True, blank=True)
    rating = models.SmallIntegerField(null=True, blank=True)
    rated_by = models.ForeignKey(
        "people.Person",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        db_index=False,
    )
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
                condition=Q(rating=None, rated_by=None)
                | Q(rating__gte=LOWEST_RATING, rating__lte=HIGHEST_RATING, rated_by__isnull=False),
                name="run_is_rated_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(stage="")
                & ~Q(fibre="")
                & (Q(breaks=None) | Q(breaks__gte=0))
                & (Q(breaks_over_mg=None) | Q(breaks_over_mg__gt=0))
                & (Q(spindle_min=None) | Q(spindle_min__gt=0))
                & (Q(breaks_milli_per_kg=None) | Q(breaks_milli_per_kg__gte=0))
                & (Q(cv_ppm=None) | Q(cv_ppm__gte=0)),
                name="run_settings_are_not_negative",
            ),
        )
        indexes = (
            models.Index(fields=("run", "-id"), name="run_settings_newest"),
            models.Index(fields=("stage", "fibre", "diameter_nm"), name="run_settings_of_like_fibre"),
        )

    def __str__(self) -> str:
        return f"settings of {self.run_id}"


class YarnTest(models.Model):
    """A test of yarn: lengths weighed, turns untwisted, a length washed, a loop that turns back on itself.

    Of a lot, a run or an order. A wrong test is corrected by a new one that names it. Turns are thousandths
    of a turn; `before_um` and `after_um` are the same lengths before and after the wash.
    """

    lot = models.ForeignKey(
        "mill.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    order = models.ForeignKey(
        "mill.Order", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    run = models.ForeignKey(
        "mill.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    state = models.CharField(max_length=10, choices=YarnState.choices)
    plies = models.SmallIntegerField(default=1)
    length_mm = models.IntegerField(null=True, blank=True)
    masses_mg = models.JSONField(default=list)
    rh_ppm = models.IntegerField(null=True, blank=True)
    regain_ppm = models.IntegerField(null=True, blank=True)
    single_length_mm = models.IntegerField(null=True, blank=True)
    single_turns_milli = models.JSONField(default=list)
    ply_length_mm = models.IntegerField(null=True, blank=True)
    ply_turns_milli = models.JSONField(default=list)
    before_um = models.JSONField(default=list)
    after_um = models.JSONField(default=list)
    back_length_mm = models.IntegerField(null=True, blank=True)
    back_turns_milli = models.JSONField(default=list)
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
                condition=Q(lot__isnull=False) | Q(order__isnull=False) | Q(run__isnull=False),
                name="yarn_test_is_of_something",
            ),
            models.CheckConstraint(
                condition=Q(state__in=YarnState.values, plies__gte=1), name="yarn_test_words_are_known"
            ),
            models.CheckConstraint(
                condition=(Q(length_mm=None) | Q(length_mm__gt=0))
                & (Q(single_length_mm=None) | Q(single_length_mm__gt=0))
                & (Q(ply_length_mm=None) | Q(ply_length_mm__gt=0))
                & (Q(back_length_mm=None) | Q(back_length_mm__gt=0))
                & (Q(rh_ppm=None) | Q(rh_ppm__gte=0, rh_ppm__lte=1_000_000))
                & (Q(regain_ppm=None) | Q(regain_ppm__gte=0, regain_ppm__lt=1_000_000)),
                name="yarn_test_figures_are_possible",
            ),
        )
        indexes = (
            models.Index(fields=("lot", "-id"), name="yarn_test_of_lot", condition=Q(lot__isnull=False)),
            models.Index(
                fields=("order", "-id"), name="yarn_test_of_order", condition=Q(order__isnull=False)
            ),
            models.Index(fields=("run", "-id"), name="yarn_test_of_run", condition=Q(run__isnull=False)),
        )

    def __str__(self) -> str:
        return f"yarn test {self.pk}"


class LotFibre(models.Model):
    """What a hand or a laboratory found of a lot's fibre beyond what the door writes down.

    Each row says all that is known; the newest of a lot counts. Strength in thousandths of N/ktex, crimp in
    waves per metre of staple, curvature in thousandths of a degree per mm.
    """

    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="fibre_tests", db_index=False)
    staple_cv_ppm = models.IntegerField(null=True, blank=True)
    strength_milli_n_per_ktex = models.IntegerField(null=True, blank=True)
    breaks_at = models.CharField(max_length=10, choices=BreaksAt.choices, default=BreaksAt.UNKNOWN)
    break_ppm = models.IntegerField(null=True, blank=True)
    short_fibre_ppm = models.IntegerField(null=True, blank=True)
    crimps_per_m = models.IntegerField(null=True, blank=True)
    curvature_mdeg_per_mm = models.IntegerField(null=True, blank=True)
    medullated_ppm = models.IntegerField(null=True, blank=True)
    found_by = models.CharField(max_length=10, choices=FoundBy.choices)
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
                condition=Q(breaks_at__in=BreaksAt.values, found_by__in=FoundBy.values),
                name="lot_fibre_words_are_known",
            ),
            models.CheckConstraint(
                condition=(Q(break_ppm=None) | Q(break_ppm__gte=0, break_ppm__lte=1_000_000))
                & (Q(short_fibre_ppm=None) | Q(short_fibre_ppm__gte=0, short_fibre_ppm__lte=1_000_000))
                & (Q(medullated_ppm=None) | Q(medullated_ppm__gte=0, medullated_ppm__lte=1_000_000))
                & (Q(staple_cv_ppm=None) | Q(staple_cv_ppm__gte=0))
                & (Q(strength_milli_n_per_ktex=None) | Q(strength_milli_n_per_ktex__gt=0))
                & (Q(crimps_per_m=None) | Q(crimps_per_m__gte=0))
                & (Q(curvature_mdeg_per_mm=None) | Q(curvature_mdeg_per_mm__gte=0)),
                name="lot_fibre_figures_are_possible",
            ),
        )
        indexes = (models.Index(fields=("lot", "-id"), name="lot_fibre_newest"),)

    def __str__(self) -> str:
        return f"fibre of {self.lot_id}"
