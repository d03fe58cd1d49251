"""Model fields and limits that every app uses."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models


def between(low, high):
    """Validators for a value from low to high, both included."""
    return [MinValueValidator(low), MaxValueValidator(high)]


def person_field(**options):
    """A reference to who did something; people who did things can't be deleted, only switched off."""
    return models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", **options)
