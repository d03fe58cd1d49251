"""What a card went without as it was handed back, and why, as the record says it."""

from dataclasses import dataclass

from django.db.models import OuterRef, QuerySet, Subquery

from jobs.models import AuditEntry, Job

HANDED_BACK = "handed the unit back"


@dataclass(frozen=True)
class Without:
    """What was missing, in words, and the reason given; empty where nothing was."""

    missing: tuple[str, ...] = ()
    reason: str = ""


def with_hand_back(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Cards with what the record says of their hand-back, in the query that fetches them."""
    handed = AuditEntry.objects.filter(job=OuterRef("pk"), verb=HANDED_BACK).order_by("-pk")
    return jobs.annotate(handed_back=Subquery(handed.values("detail")[:1]))


def handed_back_without(job: Job) -> Without:
    """What a card was handed back without; empty of any other. One query, unless it came with it."""
    if not job.is_closed or job.ending:
        return Without()
    if not hasattr(job, "handed_back"):
        entry = AuditEntry.objects.filter(job=job, verb=HANDED_BACK).order_by("pk").last()
        job.handed_back = entry.detail if entry else None
    said = job.handed_back or {}
    return Without(tuple(said.get("missing", ())), said.get("reason", ""))
