"""What a unit that came back brings along from its earlier card, and what it does not."""

from dataclasses import dataclass

from django.utils import timezone


@dataclass(frozen=True)
class Warranty:
    """Whether the work on a unit is warranted, in words."""

    holds: bool
    said: str


def warranty_of(job):
    """The warranty of a card that was handed back, or of the one that its unit came back from; else None.

    A unit that came back in time stays in warranty however long the work on it takes.
    """
    if job.warranty_until:
        return _warranty(job.warranty_until, timezone.localdate())
    before = job.previous
    if before is None or before.warranty_until is None:
        return None
    return _warranty(before.warranty_until, timezone.localdate(job.opened_at), f", from job {before.number}")


def _warranty(until, on, source=""):
    holds = on <= until
    return Warranty(holds, f"{'in warranty until' if holds else 'warranty ended'} {until:%-d %b %Y}{source}")
