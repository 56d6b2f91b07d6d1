"""Orders and their plans: what was promised stays beside what was intended."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class OrderState(models.TextChoices):
    """Where an order stands; lateness and holds are seen from dates and holds, not written here."""

    BOOKED = "booked", "booked"
    WAITING = "waiting", "waiting"
    RUNNING = "running", "running"
    READY = "ready", "ready"
    SHIPPED = "shipped", "shipped"
    CANCELLED = "cancelled", "cancelled"


class Order(models.Model):
    """What an owner asked for and was promised."""

    code = models.CharField(max_length=20, unique=True)
    customer = models.ForeignKey("mill.Customer", on_delete=models.PROTECT, related_name="orders")
    booked_on = models.DateField()
    promised_on = models.DateField(null=True, blank=True)
    date_is_hard = models.BooleanField(default=False)
    product = models.CharField(max_length=120)
    target = models.CharField(max_length=200, blank=True)
    label_wanted = models.CharField(max_length=200, blank=True)
    price_basis = models.CharField(max_length=40, blank=True)
    deposit_cents = models.BigIntegerField(default=0)
    state = models.CharField(max_length=10, choices=OrderState.choices, default=OrderState.BOOKED)
    next_stage = models.CharField(max_length=20, blank=True)
    spec = models.JSONField(default=dict, blank=True)
    note = models.CharField(max_length=400, blank=True)
    taken_at = MomentField()
    taken_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(state__in=OrderState.values), name="order_state_is_known"),
            models.CheckConstraint(condition=Q(deposit_cents__gte=0), name="order_deposit_is_not_negative"),
        )
        indexes = (
            models.Index(
                fields=("promised_on", "id"),
                name="order_open",
                condition=Q(state__in=["booked", "waiting", "running", "ready"]),
            ),
        )

    def __str__(self) -> str:
        return self.code


class OrderLot(models.Model):
    """A lot that an order uses: the owner's own fibre or the mill's."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="order_lots")
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="order_lots")
    role = models.CharField(max_length=30, default="own fibre")
    wanted_mg = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (models.UniqueConstraint(fields=("order", "lot"), name="order_names_a_lot_once"),)

    def __str__(self) -> str:
        return f"{self.lot_id} for {self.order_id}"


class OrderPlan(models.Model):
    """One version of an order's plan with the tables and the seed it was made from; never edited."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="plans")
    version = models.IntegerField()
    spec = models.JSONField()
    result = models.JSONField()
    tables_sha256 = models.CharField(max_length=64)
    seed = models.BigIntegerField()
    code_version = models.CharField(max_length=40)
    made_at = MomentField()
    made_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("order_id", "version")
        constraints = (
            models.UniqueConstraint(fields=("order", "version"), name="plan_version_is_used_once"),
        )

    def __str__(self) -> str:
        return f"{self.order_id} v{self.version}"
