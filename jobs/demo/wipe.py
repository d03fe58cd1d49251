"""Empties a demo shop, so that it can be made anew; a shop that isn't marked as the demo is never touched."""

from functools import partial

from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection, transaction

from jobs.models import Photo, Sheet
from shop.models import Shop


class NotDemo(Exception):
    """This shop is a real one."""


@transaction.atomic
def empty_demo():
    """Empty every table, as after migrate, and remove the files the rows named once that holds."""
    if not Shop.current().is_demo:
        raise NotDemo
    for name in _files():
        transaction.on_commit(partial(default_storage.delete, name))
    connection.check_constraints()  # PostgreSQL truncates no table that has a check outstanding
    call_command("flush", interactive=False, verbosity=0)


def _files():
    names = [name for row in Photo.objects.values_list("image", "small") for name in row]
    names += Sheet.objects.values_list("pdf", flat=True)
    return [name for name in names if name]
