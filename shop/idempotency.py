"""A rendered form is taken once: a double click or a repeated send makes one row and gets the same answer.

What counts as the same send is the form's one-time key together with all that was sent under it: a form that
comes back with the browser's Back button and is filled in anew is a send of its own.
"""

import hashlib
import json
from collections.abc import Callable

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

from shop.models import TakenForm, new_key

NAME = "once"  # of the field, in a form with a prefix behind the prefix


class OnceField(forms.CharField):
    """The hidden one-time key of a form that makes something."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, initial=new_key, max_length=40, required=False)


def taken(request: HttpRequest) -> str | None:
    """Where this send led when it was taken before, or None."""
    return _location(_digest(request))


def take(request: HttpRequest, work: Callable[[], str]) -> str:
    """Run ``work() -> location`` in one transaction unless this send was taken before; return the location.

    Two equal sends at once meet at the unique digest: the second waits, then answers as the first did.
    """
    digest = _digest(request)
    before = _location(digest)
    if before is not None:
        return before
    try:
        with transaction.atomic():
            form = TakenForm.objects.create(digest=digest or new_key(), person=request.user)
            form.location = work()
            form.save(update_fields=["location"])
            return form.location
    except IntegrityError:
        before = _location(digest)
        if before is None:
            raise
        return before


def _location(digest: str | None) -> str | None:
    form = TakenForm.objects.filter(digest=digest).first() if digest else None
    return form.location if form else None


def _digest(request: HttpRequest) -> str | None:
    """One word for the key and what was sent with it, or None where no key was sent.

    Made with the server's own secret: there may be a password among what was sent.
    """
    if not any(_is_key(name) and key for name, key in request.POST.items()):
        return None
    fields = sorted(field for field in request.POST.lists() if field[0] != "csrfmiddlewaretoken")
    files = sorted((name, [_said(file) for file in several]) for name, several in request.FILES.lists())
    return salted_hmac("shop.idempotency", json.dumps([fields, files]), algorithm="sha256").hexdigest()


def _is_key(name: str) -> bool:
    return name == NAME or name.endswith(f"-{NAME}")


def _said(file: UploadedFile) -> tuple[str | None, str]:
    """What a file is called and what is in it; it is read from its start again after this."""
    file.seek(0)
    held = hashlib.file_digest(file, "sha256").hexdigest()
    file.seek(0)
    return file.name, held
