"""People of the mill and the tablets enrolled for the floor."""

from __future__ import annotations

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models


class Role(models.TextChoices):
    """What somebody is in the mill; what a role may do stands in `rights.RIGHTS`."""

    OWNER = "owner", "owner"
    OFFICE = "office", "office"
    FLOOR = "floor", "floor"
    VIEWER = "viewer", "viewer"


class People(BaseUserManager["Person"]):
    """Makes people; passwords come with sign-in, until then nobody can use one."""

    def create_user(self, code: str, name: str, **fields: object) -> Person:
        """Record a person with an unusable password."""
        person = self.model(code=code, name=name, **fields)
        person.set_unusable_password()
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody who works at the mill or may look at its records."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    role = models.CharField(max_length=10, choices=Role.choices, default=Role.FLOOR)
    duties = models.CharField(max_length=120, blank=True)
    can_run = models.JSONField(default=list, blank=True)
    days = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=400, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = People()

    USERNAME_FIELD = "code"
    REQUIRED_FIELDS = ("name",)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="person_role_is_known"),
            models.CheckConstraint(condition=~models.Q(code="") & ~models.Q(name=""), name="person_is_named"),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def is_active(self) -> bool:
        """Archived people keep their records but act no more."""
        return self.archived_at is None


class Device(models.Model):
    """A tablet enrolled for the floor; only the hash of its token is kept."""

    name = models.CharField(max_length=80)
    token_sha256 = models.CharField(max_length=64, unique=True)
    enrolled_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    enrolled_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.name
