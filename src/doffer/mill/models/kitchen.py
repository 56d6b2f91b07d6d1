"""The dye kitchen: dye recipes by shade, what went into each kettle, what lies in which tub."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class DyeRecipe(models.Model):
    """How a shade is dyed, written once; a new version is a new row.

    Dyes, acid and salt are parts per million of the fibre's mass (owf); acid counts as pure. `steps` is
    ``[{"what", "minutes", "temperature_c", "ramp_c_per_min"}]``.
    """

    shade = models.ForeignKey("mill.Shade", on_delete=models.PROTECT, related_name="dye_recipes")
    version = models.IntegerField()
    name = models.CharField(max_length=80, blank=True)
    acid = models.CharField(max_length=40, blank=True)
    acid_owf_ppm = models.IntegerField(default=0)
    salt_owf_ppm = models.IntegerField(default=0)
    liquor_ratio_milli = models.IntegerField()
    stock_milli_g_per_100ml = models.IntegerField()
    ph_centi = models.IntegerField(null=True, blank=True)
    steps = models.JSONField(default=list)
    note = models.CharField(max_length=400, blank=True)
    made_at = MomentField()
    made_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("shade", "version"), name="dye_recipe_is_once"),
            models.CheckConstraint(
                condition=Q(
                    acid_owf_ppm__gte=0,
                    salt_owf_ppm__gte=0,
                    liquor_ratio_milli__gt=0,
                    stock_milli_g_per_100ml__gt=0,
                ),
                name="dye_recipe_figures_are_possible",
            ),
        )

    def __str__(self) -> str:
        return f"{self.shade_id} dye recipe {self.version}"


class DyeRecipeDye(models.Model):
    """One dye of a recipe, in the order of adding."""

    recipe = models.ForeignKey(DyeRecipe, on_delete=models.PROTECT, related_name="dyes")
    place = models.SmallIntegerField()
    dye = models.CharField(max_length=80)
    depth_owf_ppm = models.IntegerField()

    class Meta:
        ordering = ("recipe_id", "place")
        constraints = (
            models.UniqueConstraint(fields=("recipe", "place"), name="dye_place_is_once"),
            models.CheckConstraint(condition=Q(depth_owf_ppm__gt=0), name="dye_depth_is_positive"),
        )

    def __str__(self) -> str:
        return self.dye


class DyeBatch(models.Model):
    """A lot dyed by a recipe, in one or more kettle loads."""

    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="dyeings")
    recipe = models.ForeignKey(DyeRecipe, on_delete=models.PROTECT, related_name="dyeings")
    begun_at = MomentField()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.lot_id} by {self.recipe_id}"


class DyeingUndone(models.Model):
    """A dyeing that was written down and never done, taken back with a reason; the dyeing itself stays."""

    batch = models.OneToOneField(DyeBatch, on_delete=models.PROTECT, related_name="undone")
    reason = models.CharField(max_length=400)
    undone_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=~Q(reason=""), name="dyeing_undone_has_a_reason"),)

    def __str__(self) -> str:
        return f"{self.batch_id} taken back"


class DyeLoad(models.Model):
    """One kettle full: fibre, bath, what was measured into it; `stock_ml` is ``[[dye, mL]]`` in order."""

    batch = models.ForeignKey(DyeBatch, on_delete=models.PROTECT, related_name="loads")
    number = models.SmallIntegerField()
    kettle = models.ForeignKey("mill.Machine", on_delete=models.PROTECT, related_name="+")
    fibre_mg = models.BigIntegerField()
    liquor_ml = models.IntegerField()
    top_up_ml = models.IntegerField()
    stock_ml = models.JSONField()
    acid_mg = models.BigIntegerField(default=0)
    salt_mg = models.BigIntegerField(default=0)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("batch_id", "number")
        constraints = (
            models.UniqueConstraint(fields=("batch", "number"), name="dye_load_is_once"),
            models.CheckConstraint(
                condition=Q(fibre_mg__gt=0, liquor_ml__gt=0, top_up_ml__gte=0, number__gte=1),
                name="dye_load_figures_are_possible",
            ),
        )

    def __str__(self) -> str:
        return f"load {self.number} of {self.batch_id}"


class KettleStick(models.Model):
    """How high a bath stands in a kettle: its inner diameter, or two baths measured in; the newest counts."""

    kettle = models.ForeignKey("mill.Machine", on_delete=models.PROTECT, related_name="sticks")
    bore_mm = models.IntegerField(null=True, blank=True)
    low_ml = models.IntegerField(null=True, blank=True)
    low_mm = models.IntegerField(null=True, blank=True)
    high_ml = models.IntegerField(null=True, blank=True)
    high_mm = models.IntegerField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)
    measured_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                # an unknown figure would let a comparison pass by itself
                condition=Q(bore_mm__isnull=False, bore_mm__gt=0)
                | Q(
                    low_ml__isnull=False,
                    low_mm__isnull=False,
                    high_ml__isnull=False,
                    high_mm__isnull=False,
                    low_ml__gt=0,
                    low_mm__gt=0,
                    high_ml__gt=models.F("low_ml"),
                    high_mm__gt=models.F("low_mm"),
                ),
                name="kettle_stick_is_possible",
            ),
        )

    def __str__(self) -> str:
        return f"dip stick of {self.kettle_id}"


class TubUse(models.Model):
    """A lot in a tub or kettle or on a rack, until it is taken out."""

    machine = models.ForeignKey("mill.Machine", on_delete=models.PROTECT, related_name="uses")
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="+")
    n_baths = models.SmallIntegerField(default=1)
    in_at = MomentField()
    in_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)
    out_at = MomentField(null=True, blank=True)
    out_by = models.ForeignKey(
        "people.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("machine", "lot"), condition=Q(out_at=None), name="lot_is_in_a_tub_once"
            ),
            models.CheckConstraint(
                condition=Q(n_baths__gte=1) & (Q(out_at=None) | Q(out_at__gte=models.F("in_at"))),
                name="tub_use_is_possible",
            ),
        )

    def __str__(self) -> str:
        return f"{self.lot_id} in {self.machine_id}"


class TubBath(models.Model):
    """One bath of a use (or its time on a rack): what, since when, what comes next and when."""

    use = models.ForeignKey(TubUse, on_delete=models.PROTECT, related_name="baths")
    number = models.SmallIntegerField()
    what = models.CharField(max_length=80)
    began_at = MomentField()
    next_step = models.CharField(max_length=120, blank=True)
    due_at = MomentField(null=True, blank=True)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("use_id", "number")
        constraints = (
            models.UniqueConstraint(fields=("use", "number"), name="bath_is_once"),
            models.CheckConstraint(condition=Q(number__gte=1), name="bath_number_counts_from_one"),
        )

    def __str__(self) -> str:
        return f"bath {self.number} of {self.use_id}"
