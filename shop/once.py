"""A rendered form is taken once: a double click or a repeated send makes one row and gets the same answer."""

from django import forms
from django.db import IntegrityError, transaction

from shop.models import TakenForm, new_key


class OnceField(forms.CharField):
    """The hidden one-time key of a form that makes something."""

    def __init__(self):
        super().__init__(widget=forms.HiddenInput, initial=new_key, max_length=40, required=False)


def taken(key):
    """Where the form with this key led when it was taken before, or None."""
    form = TakenForm.objects.filter(key=key).first() if key else None
    return form.location if form else None


def take(key, person, work):
    """Run ``work() -> location`` in one transaction unless this key was taken; return the location.

    Two equal sends at once meet at the unique key: the second waits, then answers as the first did.
    """
    before = taken(key)
    if before is not None:
        return before
    try:
        with transaction.atomic():
            form = TakenForm.objects.create(key=key or new_key(), person=person)
            form.location = work()
            form.save(update_fields=["location"])
            return form.location
    except IntegrityError:
        before = taken(key)
        if before is None:
            raise
        return before
