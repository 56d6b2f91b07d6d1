"""Blends of dyed lots: recipes with their trial card, sample blends, and the mixing constant they give."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.models.colour import PadForm
from doffer.mill.moment import MomentField


class RecipeState(models.TextChoices):
    """Where a blend recipe stands; the full mix is released only after its trial card was measured."""

    PROPOSED = "proposed", "proposed"
    CARDED = "carded", "trial card made"
    MEASURED = "measured", "trial card measured"
    RELEASED = "released", "released"
    REFUSED = "refused", "refused"


class MixingFit(models.Model):
    """The mixing constant M fitted from sample blends of one fibre and form; the newest counts."""

    fibre = models.CharField(max_length=40)
    form = models.CharField(max_length=10, choices=PadForm.choices)
    m_ppm = models.IntegerField()
    ln_m_sd_ppm = models.IntegerField()
    n_blends = models.IntegerField()
    residual_de_centi = models.IntegerField()
    left_out_de_centi = models.IntegerField()
    samples = models.JSONField()  # numbers of the sample blends
    note = models.CharField(max_length=400, blank=True)
    fitted_at = MomentField()
    fitted_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(m_ppm__gt=0, m_ppm__lt=1_000_000, ln_m_sd_ppm__gte=0, n_blends__gte=2),
                name="mixing_fit_is_possible",
            ),
            models.CheckConstraint(condition=Q(form__in=PadForm.values), name="mixing_fit_form_is_known"),
        )
        indexes = (models.Index(fields=("fibre", "form", "-id"), name="mixing_fit_newest"),)

    def __str__(self) -> str:
        return f"M of {self.fibre} {self.form}"


class BlendRecipe(models.Model):
    """A blend of lots towards a shade or a free target; a new version is a new row under the same number.

    Everything but the state is written once.
    """

    code = models.CharField(max_length=20)
    version = models.IntegerField()
    name = models.CharField(max_length=80, blank=True)
    standard = models.ForeignKey(
        "mill.ShadeVersion", on_delete=models.PROTECT, null=True, blank=True, related_name="recipes"
    )
    target_labs_centi = models.JSONField()
    target_reflectance_ppm = models.JSONField(null=True, blank=True)
    observer_deg = models.SmallIntegerField(default=10)
    form = models.CharField(max_length=10, choices=PadForm.choices, default=PadForm.LOOSE)
    geometry = models.CharField(max_length=20, blank=True)
    is_behind_glass = models.BooleanField(default=False)
    model = models.CharField(max_length=20)
    constant_ppm = models.IntegerField(null=True, blank=True)
    ln_m_sd_ppm = models.IntegerField(null=True, blank=True)
    fit = models.ForeignKey(MixingFit, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    dry_mg = models.BigIntegerField()
    trial_mg = models.BigIntegerField()
    predicted_labs_centi = models.JSONField()
    predicted_de_centi = models.IntegerField()
    band_low_de_centi = models.IntegerField(null=True, blank=True)
    band_high_de_centi = models.IntegerField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=RecipeState.choices, default=RecipeState.PROPOSED)
    join_decision = models.ForeignKey(
        "mill.JoinDecision", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    note = models.CharField(max_length=400, blank=True)
    made_at = MomentField()
    made_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("code", "version"), name="blend_recipe_is_once"),
            models.CheckConstraint(
                condition=Q(state__in=RecipeState.values, form__in=PadForm.values),
                name="blend_recipe_words_are_known",
            ),
            models.CheckConstraint(
                condition=Q(dry_mg__gt=0, trial_mg__gt=0, trial_mg__lte=models.F("dry_mg")),
                name="blend_recipe_trial_is_part_of_it",
            ),
        )
        indexes = (models.Index(fields=("state", "-id"), name="blend_recipe_by_state"),)

    def __str__(self) -> str:
        return f"{self.code} version {self.version}"


class BlendPart(models.Model):
    """One lot of a blend recipe, by its share of oven-dry fibre."""

    recipe = models.ForeignKey(BlendRecipe, on_delete=models.PROTECT, related_name="parts")
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="in_recipes")
    share_ppm = models.IntegerField()
    dry_mg = models.BigIntegerField()
    trial_mg = models.BigIntegerField()
    kind = models.CharField(max_length=10)  # how its colour was known
    reflectance_ppm = models.JSONField()  # as it was when the recipe was written

    class Meta:
        ordering = ("recipe_id", "id")
        constraints = (
            models.UniqueConstraint(fields=("recipe", "lot"), name="blend_part_is_named_once"),
            models.CheckConstraint(
                condition=Q(share_ppm__gt=0, share_ppm__lte=1_000_000, dry_mg__gte=0, trial_mg__gte=0),
                name="blend_part_share_is_a_share",
            ),
        )

    def __str__(self) -> str:
        return f"{self.lot_id} in {self.recipe_id}"


class RecipeStep(models.Model):
    """One step of a recipe's life: who brought it where, when, and why."""

    recipe = models.ForeignKey(BlendRecipe, on_delete=models.PROTECT, related_name="steps")
    state = models.CharField(max_length=10, choices=RecipeState.choices)
    series = models.UUIDField(null=True, blank=True)  # the readings of the trial card
    de_centi = models.IntegerField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)
    at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.recipe_id}: {self.state}"


class SampleBlend(models.Model):
    """A small blend that was carded and measured, with what its lots measured: food for the mixing constant.

    `parts` is ``[{"name", "share_ppm", "reflectance_ppm"}]``; spectra of kind lab were recovered from Lab.
    """

    fibre = models.CharField(max_length=40)
    form = models.CharField(max_length=10, choices=PadForm.choices)
    kind = models.CharField(max_length=10)
    observer_deg = models.SmallIntegerField(default=10)
    parts = models.JSONField()
    reflectance_ppm = models.JSONField()
    recipe = models.ForeignKey(
        BlendRecipe, on_delete=models.PROTECT, null=True, blank=True, related_name="samples"
    )
    note = models.CharField(max_length=400, blank=True)
    made_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(form__in=PadForm.values), name="sample_blend_form_is_known"),
        )
        indexes = (models.Index(fields=("fibre", "form", "-id"), name="sample_blend_of_fibre"),)

    def __str__(self) -> str:
        return f"sample blend {self.pk}"
