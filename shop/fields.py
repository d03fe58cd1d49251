"""Model fields and limits that every app uses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, overload

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

if TYPE_CHECKING:
    from shop.models import Person


def between(low: float, high: float) -> list[MinValueValidator | MaxValueValidator]:
    """Validators for a value from low to high, both included."""
    return [MinValueValidator(low), MaxValueValidator(high)]


@overload
def person_field(
    *, null: Literal[True], blank: bool = ...
) -> models.ForeignKey[Person | None, Person | None]: ...
@overload
def person_field() -> models.ForeignKey[Person, Person]: ...
def person_field(**options: Any) -> models.ForeignKey[Any, Any]:
    """A reference to who did something; people who did things can't be deleted, only switched off."""
    return models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", **options)
