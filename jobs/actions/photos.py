"""Putting photos on a card and taking them off."""

from django.db import transaction

from jobs.actions.noting import note
from jobs.guards import held
from jobs.models import Photo
from jobs.photos import clean_photo
from shop.rights import require


def add_photo(job, upload, *, by, caption=""):
    """Put an uploaded picture on the card, re-encoded; a ValidationError says what is wrong with the file."""
    require(by, "edit_intake")
    clean = clean_photo(upload)
    with transaction.atomic():
        held(job)
        photo = Photo.objects.create(
            job=job, image=clean.image, small=clean.small, caption=caption, stage=job.stage, by=by
        )
        note("added a photo", job, by, text=caption)
    return photo


def remove_photo(photo, *, by):
    """Take a picture off the card; it is kept, so that it can be put back."""
    _set_removed(photo, True, by, "took a photo off")


def restore_photo(photo, *, by):
    _set_removed(photo, False, by, "put a photo back")


@transaction.atomic
def _set_removed(photo, removed, by, verb):
    require(by, "edit_intake")
    held(photo.job)
    if Photo.objects.filter(pk=photo.pk, removed=not removed).update(removed=removed):
        note(verb, photo.job, by, text=photo.caption)
