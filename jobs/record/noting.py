"""How every action ends: with an entry in the card's history, and the card's words found by search."""

from collections.abc import Iterable, Mapping
from typing import Any, cast

from django.db.models import Field, Model

from jobs.models import Job
from jobs.record import audit
from jobs.search.hits import reindex
from shop.models import Person


def note(verb: str, job: Job, by: Person, **detail: Any) -> None:
    """Record what was done and refresh the card's search text; call it inside the action's transaction."""
    audit.record(verb, job=job, by=by, **detail)
    reindex(job)


def changes(row: Model, fields: Iterable[str], data: Mapping[str, Any]) -> dict[str, list[str]]:
    """What ``data`` would change in these fields of a row: {label: [before, after]}, in words."""
    changed = {}
    for name in fields:
        before, after = in_words(row, name), in_words(row, name, data[name])
        if before != after:
            changed[label_of(row, name)] = [before, after]
    return changed


def label_of(row: Model, name: str) -> str:
    return str(_column(row, name).verbose_name)


def in_words(row: Model, name: str, *value: Any) -> str:
    """A field of a row, or a value meant for it, as a person would read it; an empty text for none."""
    value = value[0] if value else getattr(row, name)
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    choices = dict(_column(row, name).flatchoices)
    if isinstance(value, float):
        return f"{value:g}"
    return str(choices.get(value, value))


def _column(row: Model, name: str) -> Field:
    return cast(Field, row._meta.get_field(name))
