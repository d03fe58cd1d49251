"""The shop's own records: its people, its customers, its profile, and the forms it has already taken."""

import secrets
from typing import Any

from django.contrib.auth.models import AbstractUser, UserManager
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from shop import rights, speeds


class Role(models.TextChoices):
    OWNER = "owner", "Owner"
    TECHNICIAN = "technician", "Technician"
    COUNTER = "counter", "Counter"


class PersonManager(UserManager):
    def create_superuser(
        self, username: str, email: str | None = None, password: str | None = None, **fields: Any
    ) -> "Person":
        fields.setdefault("role", Role.OWNER)
        return super().create_superuser(username, email, password, **fields)


class Person(AbstractUser):
    """Someone who works here; what the role allows is in ``shop.rights``."""

    first_name = last_name = None  # pyrefly: ignore [bad-override]  # Django's way to leave a column out
    full_name = models.CharField("name", max_length=80)
    role = models.CharField(max_length=12, choices=Role, default=Role.COUNTER)
    version = models.PositiveIntegerField(default=1)

    objects = PersonManager()

    REQUIRED_FIELDS = ["full_name", "email"]

    class Meta:
        ordering = ["full_name"]
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.full_name or self.username

    def get_full_name(self) -> str:
        return str(self)

    def get_short_name(self) -> str:
        return str(self)

    @property
    def initials(self) -> str:
        return "".join(word[0] for word in str(self).split()[:3]).upper()

    def may(self, right: str) -> bool:
        return self.is_active and rights.allows(self.role, right)


class Customer(models.Model):
    """Who a unit belongs to, when it is not the shop's own stock."""

    name = models.CharField(max_length=120)
    company = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    address = models.TextField(blank=True, max_length=500)
    note = models.TextField(blank=True, max_length=2000)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return f"{self.name}, {self.company}" if self.company else self.name

    @property
    def initials(self) -> str:
        return "".join(word[0] for word in self.name.split()[:3]).upper()


class Paper(models.TextChoices):
    A4 = "A4", "A4"
    LETTER = "Letter", "US Letter"


class LoadUnit(models.TextChoices):
    """What a spring tester may be marked in."""

    NEWTON = "N", "newtons (N)"
    GRAM = "gf", "grams-force (gf)"
    KILOGRAM = "kgf", "kilograms-force (kgf)"
    POUND = "lbf", "pounds-force (lbf)"


class Shop(models.Model):
    """The one row that says whose shop this is and what its papers carry."""

    name = models.CharField(max_length=120, default="The workshop")
    address = models.TextField(blank=True, max_length=500)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    paper = models.CharField(max_length=6, choices=Paper, default=Paper.A4)
    currency = models.CharField(max_length=3, default="EUR")
    warranty_months = models.PositiveSmallIntegerField(default=12, validators=[MaxValueValidator(120)])
    idle_margin_crank_rpm = models.PositiveSmallIntegerField(
        "advance begins above idle by at least",
        default=150,
        validators=[MinValueValidator(0), MaxValueValidator(1000)],
        help_text="crank rpm; common practice, not a maker's figure",
    )
    bench_speeds = models.CharField(
        "bench speeds, one tap each",
        max_length=200,
        default="300, 400, 500, 600, 700, 800, 1000, 1200, 1500, 1800, 2200",
        help_text="distributor rpm, rising; commas between",
    )
    tester_unit = models.CharField(
        "the spring tester reads in", max_length=3, choices=LoadUnit, default=LoadUnit.NEWTON
    )
    paper_note = models.TextField("printed at the foot of each sheet", blank=True, max_length=500)
    is_demo = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.name

    @property
    def bench_speeds_rpm(self) -> list[int]:
        """The bench speeds as numbers [distributor rpm]."""
        return speeds.read_speeds(self.bench_speeds)

    @classmethod
    def current(cls) -> "Shop":
        shop, _ = cls.objects.get_or_create(pk=1)
        return shop


def new_key() -> str:
    return secrets.token_urlsafe(16)


class TakenForm(models.Model):
    """A form that has been taken once, and where it led; the digest stands for its key and what it said."""

    digest = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    location = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.digest
