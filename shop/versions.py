"""Two people on one record: the second to save is told, and nothing is overwritten in silence."""

from collections.abc import Iterable
from typing import Any, Protocol, cast

from django.db.models import F, Model


class Versioned(Protocol):
    """A row that counts how often it was written."""

    pk: int
    version: int


class Conflict(Exception):
    """Someone else saved first. ``current`` is the row as it now stands, or None where it is gone."""

    def __init__(self, current: Any) -> None:
        super().__init__(f"{current} was changed meanwhile")
        self.current = current


def save_versioned(row: Versioned, expected: int | None, fields: Iterable[str]) -> None:
    """Write the named fields of a row if its version is still the expected one, else raise Conflict.

    None is expected by who saw no row: any that stands is a conflict.

    One conditional UPDATE, so it holds on every database without a lock.
    """
    rows = cast(type[Model], type(row))._default_manager  # every row: ``objects`` may leave some out
    values = {name: getattr(row, name) for name in fields}
    changed = rows.filter(pk=row.pk, version=expected).update(version=F("version") + 1, **values)
    if expected is None or not changed:
        raise Conflict(rows.get(pk=row.pk))
    row.version = expected + 1
