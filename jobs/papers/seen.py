"""A signer vouches for the card as it was read: what their own write made of it is told with its answer.

A page with the form to sign tells by a header what it has seen. The answer to a write from it names what the
card said before that write and after it (static/js/seen.js), and nothing where anyone else wrote in between:
what others change is found out at the signature, as ever.
"""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse

from jobs.models import AuditEntry, Job
from jobs.rules.recorded import recorded_sha256

HEADER = "Card-Seen"


def told(request: HttpRequest) -> str | None:
    """The hash of the card that the page of a write was rendered with, or None where it tells none."""
    return request.headers.get(HEADER) if request.method == "POST" else None


class OwnWrites:
    """Middleware: measures the card before and after a write of a page that has the form to sign."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        answer = self.get_response(request)
        before = getattr(request, "card_before", None)
        if before and "As-Of" in answer and answer.status_code < 400:
            job, said, last = before
            now = _said(job)
            if not AuditEntry.objects.filter(pk__gt=last).exclude(by=request.user).exists():
                answer[HEADER] = f"{said} {now}"
        return answer

    def process_view(self, request: Any, view: Callable, args: Any, kwargs: dict[str, Any]) -> None:
        if told(request) and request.htmx and request.user.is_authenticated and "number" in kwargs:
            last = AuditEntry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
            job = Job.objects.filter(number=kwargs["number"]).values_list("pk", flat=True).first()
            request.card_before = job and (job, _said(job), last)


def _said(job: int) -> str:
    """What the card says now: of another's write that is part of it, the entry is there as well."""
    return recorded_sha256(Job.objects.select_related("unit", "engine").get(pk=job))
