"""The record of what was done: each entry carries the hash of the one before, so no change goes unseen."""

import hashlib
import json

from django.utils import timezone

from jobs.models import AuditEntry
from shop.models import Shop

MOST_IN_VERB = AuditEntry._meta.get_field("verb").max_length


def entry_hash(entry):
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


def record(verb, *, job=None, by=None, **detail):
    """Add an entry to the chain; call it inside the transaction that does what it tells.

    Locks the shop's row, so that two entries can't follow the same one. A verb longer than its column is a
    ValueError on every database, not only on the one that counts.
    """
    if len(verb) > MOST_IN_VERB:
        raise ValueError(f"{verb!r} has {len(verb)} characters: {MOST_IN_VERB} are the most.")
    Shop.objects.select_for_update().get_or_create(pk=1)
    last = AuditEntry.objects.order_by("-pk").values_list("hash", flat=True).first()
    entry = AuditEntry(job=job, verb=verb, detail=detail, by=by, at=timezone.now(), previous_hash=last or "")
    entry.hash = entry_hash(entry)
    entry.save(force_insert=True)
    return entry


def broken_links():
    """Keys of entries whose hash or link does not hold, in order."""
    broken, before = [], ""
    for entry in AuditEntry.objects.order_by("pk").iterator():
        if entry.previous_hash != before or entry.hash != entry_hash(entry):
            broken.append(entry.pk)
        before = entry.hash
    return broken
