"""Putting photos on a card and taking them off."""

from django.db import transaction

from jobs.models import Job, Photo
from jobs.record.noting import note
from jobs.rules.guards import lock_open_card
from jobs.teardown.pictures import CleanPhoto
from shop.models import Person
from shop.rights import require


@transaction.atomic
def add_photo(job: Job, clean: CleanPhoto, *, by: Person, caption: str = "") -> Photo:
    """Put a picture on the card; ``clean`` is what ``pictures.clean_photo`` made of an upload."""
    require(by, "edit_intake")
    lock_open_card(job)
    photo = Photo.objects.create(
        job=job, image=clean.image, small=clean.small, caption=caption, stage=job.stage, by=by
    )
    note("added a photo", job, by, text=caption)
    return photo


def remove_photo(photo: Photo, *, by: Person) -> None:
    """Take a picture off the card; it is kept, so that it can be put back."""
    _set_removed(photo, True, by, "took a photo off")


def restore_photo(photo: Photo, *, by: Person) -> None:
    _set_removed(photo, False, by, "put a photo back")


@transaction.atomic
def _set_removed(photo: Photo, removed: bool, by: Person, verb: str) -> None:
    require(by, "edit_intake")
    lock_open_card(photo.job)
    if Photo.objects.filter(pk=photo.pk, removed=not removed).update(removed=removed):
        note(verb, photo.job, by, text=photo.caption)
