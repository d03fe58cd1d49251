"""Putting photos on a card and taking them off."""

from functools import partial

from django.db import transaction

from jobs.actions.noting import note
from jobs.guards import require_open
from jobs.models import Photo
from jobs.photos import clean_photo
from shop.rights import require


def add_photo(job, upload, *, by, caption=""):
    """Put an uploaded picture on the card, re-encoded; a ValidationError says what is wrong with the file."""
    require(by, "edit_intake")
    require_open(job)
    clean = clean_photo(upload)
    with transaction.atomic():
        photo = Photo.objects.create(
            job=job, image=clean.image, small=clean.small, caption=caption, stage=job.stage, by=by
        )
        note("added a photo", job, by, text=caption)
    return photo


@transaction.atomic
def remove_photo(photo, *, by):
    require(by, "edit_intake")
    require_open(photo.job)
    deleted, _ = Photo.objects.filter(pk=photo.pk).delete()
    if deleted:
        for field in (photo.image, photo.small):
            # The files go only when the row is gone for good.
            transaction.on_commit(partial(field.storage.delete, field.name))
        note("took a photo off", photo.job, by, text=photo.caption)
