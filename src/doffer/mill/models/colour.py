"""Colour: readings of pads, the standards they are held against, and the batches made to a standard."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class ReadingKind(models.TextChoices):
    """How a colour is known, best first."""

    SPECTRUM = "spectrum", "spectrum"
    LAB2 = "lab2", "Lab under two lights"
    LAB = "lab", "Lab under one light"
    PHOTO = "photo", "photo with a chart"


class PadForm(models.TextChoices):
    """What lay before the instrument; roving and yarn look other than a loose pad of the same fibre."""

    LOOSE = "loose", "loose pad"
    ROVING = "roving", "roving"
    YARN = "yarn", "yarn"


class Verdict(models.TextChoices):
    """What was said of a batch."""

    PASS = "pass", "on shade"
    ASK = "ask", "a person decides"
    FAIL = "fail", "off shade"


class Formula(models.TextChoices):
    """The difference a tolerance is written in."""

    DE2000 = "de2000", "CIEDE2000"
    CMC = "cmc", "CMC(2:1)"


class Shade(models.Model):
    """A shade the mill makes again and again; what it is to look like stands in its versions."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60, unique=True)
    use = models.CharField(max_length=120, blank=True)
    created_at = MomentField()
    created_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=~Q(name=""), name="shade_is_named"),)

    def __str__(self) -> str:
        return self.name


class ShadeVersion(models.Model):
    """What a shade is to look like, from one day on; a new version supersedes, the old one stays as it was.

    `labs_centi` gives Lab in hundredths by light ("D65"), for `observer_deg`; `reflectance_ppm` the spectrum
    where one was measured.
    """

    shade = models.ForeignKey(Shade, on_delete=models.PROTECT, related_name="versions")
    version = models.IntegerField()
    kind = models.CharField(max_length=10, choices=ReadingKind.choices)
    labs_centi = models.JSONField()
    reflectance_ppm = models.JSONField(null=True, blank=True)
    light = models.CharField(max_length=10, default="D65")
    observer_deg = models.SmallIntegerField(default=10)
    geometry = models.CharField(max_length=20, blank=True)
    form = models.CharField(max_length=10, choices=PadForm.choices, default=PadForm.LOOSE)
    is_behind_glass = models.BooleanField(default=False)
    formula = models.CharField(max_length=10, choices=Formula.choices, default=Formula.CMC)
    pass_centi = models.IntegerField()
    ask_centi = models.IntegerField()
    reason = models.CharField(max_length=400, blank=True)
    made_at = MomentField()
    made_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("shade", "version"), name="shade_version_is_once"),
            models.CheckConstraint(
                condition=Q(pass_centi__gt=0, ask_centi__gte=models.F("pass_centi")),
                name="shade_tolerance_rises",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["spectrum", "lab2", "lab"], formula__in=Formula.values)
                & Q(form__in=PadForm.values),
                name="shade_version_words_are_known",
            ),
        )

    def __str__(self) -> str:
        return f"{self.shade_id} version {self.version}"


class ShadeBatch(models.Model):
    """A batch made to a standard: a lot, or a label alone for batches from before the records began."""

    version = models.ForeignKey(ShadeVersion, on_delete=models.PROTECT, related_name="batches")
    lot = models.ForeignKey(
        "mill.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="shade_batches"
    )
    label = models.CharField(max_length=60)
    made_on = models.DateField()
    note = models.CharField(max_length=400, blank=True)
    recorded_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("version", "label"), name="shade_batch_is_once"),
            models.CheckConstraint(condition=~Q(label=""), name="shade_batch_is_named"),
        )

    def __str__(self) -> str:
        return self.label


class ColourReading(models.Model):
    """One tuft under the instrument: what was seen, and everything that must be alike to compare it.

    Tufts that were read one after another share a `series`. It is of a lot (perhaps of one dye load of it),
    of a standard, of a batch without a lot, or of the trial card of a blend recipe.
    """

    series = models.UUIDField()
    tuft = models.SmallIntegerField(default=1)
    lot = models.ForeignKey(
        "mill.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    load = models.ForeignKey(
        "mill.DyeLoad", on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    standard = models.ForeignKey(
        ShadeVersion, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    batch = models.ForeignKey(
        ShadeBatch, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    recipe = models.ForeignKey(
        "mill.BlendRecipe", on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    kind = models.CharField(max_length=10, choices=ReadingKind.choices)
    reflectance_ppm = models.JSONField(null=True, blank=True)  # 31 whole numbers, 400 to 700 nm
    labs_centi = models.JSONField()  # by light: {"D65": [L, a, b]} in hundredths
    light = models.CharField(max_length=10, default="D65")
    observer_deg = models.SmallIntegerField(default=10)
    form = models.CharField(max_length=10, choices=PadForm.choices, default=PadForm.LOOSE)
    is_wet = models.BooleanField(default=False)
    is_behind_glass = models.BooleanField(default=False)
    instrument = models.CharField(max_length=80, blank=True)
    geometry = models.CharField(max_length=20, blank=True)
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
                condition=Q(lot__isnull=False, standard=None, batch=None, recipe=None)
                | Q(lot=None, standard__isnull=False, batch=None, recipe=None, load=None)
                | Q(lot=None, standard=None, batch__isnull=False, recipe=None, load=None)
                | Q(lot=None, standard=None, batch=None, recipe__isnull=False, load=None),
                name="reading_is_of_exactly_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=ReadingKind.values, form__in=PadForm.values)
                & Q(observer_deg__in=[2, 10], tuft__gte=1),
                name="reading_words_are_known",
            ),
            models.CheckConstraint(
                condition=Q(kind="spectrum", reflectance_ppm__isnull=False)
                | (~Q(kind="spectrum") & Q(reflectance_ppm__isnull=True)),
                name="reading_spectrum_is_there",
            ),
        )
        indexes = (
            models.Index(fields=("lot", "-id"), name="reading_of_lot"),
            models.Index(fields=("series",), name="reading_series"),
        )

    def __str__(self) -> str:
        return f"{self.kind} reading {self.pk}"


class ShadeVerdict(models.Model):
    """What was said of a batch against its standard, from which readings; the newest counts.

    `is_decided` tells a person's word in the range where the tolerance leaves it to one.
    """

    batch = models.ForeignKey(ShadeBatch, on_delete=models.PROTECT, related_name="verdicts")
    series = models.UUIDField()
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    de_centi = models.IntegerField()
    formula = models.CharField(max_length=10, choices=Formula.choices)
    labs_centi = models.JSONField()
    is_decided = models.BooleanField(default=False)
    note = models.CharField(max_length=400, blank=True)
    at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(verdict__in=Verdict.values, formula__in=Formula.values, de_centi__gte=0),
                name="verdict_words_are_known",
            ),
        )

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.verdict}"
