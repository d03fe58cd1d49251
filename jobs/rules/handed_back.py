"""What a card went without as it was handed back, and why, as the record says it."""

from dataclasses import dataclass

from jobs.models import AuditEntry

HANDED_BACK = "handed the unit back"


@dataclass(frozen=True)
class Without:
    """What was missing, in words, and the reason given; empty where nothing was."""

    missing: tuple[str, ...] = ()
    reason: str = ""


def handed_back_without(job):
    """The same of a card that was handed back; of any other it is empty. One query for each fetched card."""
    if not hasattr(job, "went_without"):
        job.went_without = _recorded(job) if job.is_closed and not job.ending else Without()
    return job.went_without


def _recorded(job):
    entry = AuditEntry.objects.filter(job=job, verb=HANDED_BACK).order_by("pk").last()
    said = entry.detail if entry else {}
    return Without(tuple(said.get("missing", ())), said.get("reason", ""))
