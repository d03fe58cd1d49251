"""The record of what was done: each entry carries the hash of the one before, so no change goes unseen."""

import hashlib
import json
import re
from typing import Any, cast

from django.db.models import Field
from django.utils import timezone

from jobs.models import AuditEntry, Job
from shop.models import Person, Shop

_WRITTEN_WHOLE = 1e16  # from here on a float has an exponent in JSON, and PostgreSQL writes it out
_REPLACEMENT = "\ufffd"
_UNKEPT = re.compile("[\0\ud800-\udfff]")  # NUL and half a surrogate pair
MAX_IN_VERB = cast(Field, AuditEntry._meta.get_field("verb")).max_length or 0


def entry_hash(entry: AuditEntry) -> str:
    """SHA-256 over everything an entry says and the hash before it."""
    said = [
        entry.previous_hash,
        entry.job_id,
        entry.verb,
        entry.detail,
        entry.by_id,
        entry.at.isoformat(timespec="microseconds"),
    ]
    return hashlib.sha256(json.dumps(said, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def as_kept(detail: Any) -> Any:
    """What every database gives back of a detail; the hash is taken over this.

    A JSON column may turn minus zero into zero and 1e16 into the whole number, puts keys in its own order,
    and takes neither NUL nor half a surrogate pair: these are said as �. NaN, an infinity and what JSON has
    no word for are a ValueError or a TypeError on every database.
    """
    return _kept(json.loads(json.dumps(detail, allow_nan=False)))


def _kept(value: Any) -> Any:
    if isinstance(value, dict):
        return {_kept(key): _kept(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_kept(inner) for inner in value]
    if isinstance(value, str):
        return _UNKEPT.sub(_REPLACEMENT, value)
    if isinstance(value, float):
        return int(value) if abs(value) >= _WRITTEN_WHOLE else value + 0.0
    return value


def record(verb: str, *, job: Job | None = None, by: Person | None = None, **detail: Any) -> AuditEntry:
    """Add an entry to the chain; call it inside the transaction that does what it tells.

    Locks the shop's row, so that two entries can't follow the same one. A verb longer than its column is a
    ValueError on every database, not only on the one that counts. The detail is kept as ``as_kept`` says.
    """
    if len(verb) > MAX_IN_VERB:
        raise ValueError(f"{verb!r} has {len(verb)} characters: {MAX_IN_VERB} are the most.")
    Shop.objects.select_for_update().get_or_create(pk=1)
    last = AuditEntry.objects.order_by("-pk").values_list("hash", flat=True).first()
    entry = AuditEntry(
        job=job, verb=verb, detail=as_kept(detail), by=by, at=timezone.now(), previous_hash=last or ""
    )
    entry.hash = entry_hash(entry)
    entry.save(force_insert=True)
    return entry


def broken_links() -> list[int]:
    """Keys of entries whose hash or link does not hold, in order."""
    broken, before = [], ""
    for entry in AuditEntry.objects.order_by("pk").iterator():
        if entry.previous_hash != before or entry.hash != entry_hash(entry):
            broken.append(entry.pk)
        before = entry.hash
    return broken
