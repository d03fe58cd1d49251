"""Two people on one record: the second to save is told, and nothing is overwritten in silence."""

from django.db.models import F


class Conflict(Exception):
    """Someone else saved first. ``current`` is the row as it now stands."""

    def __init__(self, current):
        super().__init__(f"{current} was changed meanwhile")
        self.current = current


def save_versioned(row, expected, fields):
    """Write the named fields of a row if its version is still the expected one, else raise Conflict.

    One conditional UPDATE, so it holds on every database without a lock.
    """
    rows = type(row)._default_manager  # every row: ``objects`` may leave some out
    values = {name: getattr(row, name) for name in fields}
    changed = rows.filter(pk=row.pk, version=expected).update(version=F("version") + 1, **values)
    if not changed:
        raise Conflict(rows.get(pk=row.pk))
    row.version = expected + 1
