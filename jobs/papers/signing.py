"""Signing: a password given again freezes a revision, which is never changed, only superseded or void."""

from typing import Any

from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from curves.rows.queries import build_for, newest_runs
from jobs.models import AuditEntry, Job, Sheet, SheetVoid
from jobs.papers import building, sheets
from jobs.record import audit
from jobs.rules.facts import SIGNED
from jobs.rules.guards import require_open
from jobs.rules.recorded import recorded_sha256
from jobs.rules.revisions import changed_since, names_another_owner, revisions
from shop.models import Person
from shop.rights import require


class CardChanged(Exception):
    """The card no longer says what the signer saw."""


def is_own_password(request: Any, password: str) -> bool:
    """Whether this is the password of the person logged in; wrong ones count towards the login throttle."""
    person = authenticate(request, username=request.user.get_username(), password=password)
    return person is not None and person.pk == request.user.pk


@transaction.atomic
def sign(job: Job, kind: str, *, paper_size: str, by: Person, seen: str) -> Sheet:
    """Freeze the next revision and order its PDF; ``seen`` is the hash of the card as the signer read it."""
    require(by, "sign_sheet")
    job = _held_to_sign(job, kind)
    said = recorded_sha256(job)
    if seen != said:
        raise CardChanged
    _refuse_empty(job, kind)
    _refuse_needless(job, kind, said)
    last = Sheet.objects.filter(job=job, kind=kind).aggregate(last=Max("revision"))["last"] or 0
    now = timezone.now()
    sheet = building.new_sheet(
        job,
        kind,
        paper_size=paper_size,
        by=by,
        revision=last + 1,
        signed_by=by,
        signed_at=now,
        signature=sheets.signature(last + 1, by, now),
        audit_head=_audit_head(),
    )
    if sheet.content["recorded_sha256"] != seen:
        raise CardChanged  # a name that the card shows, of a spring or a point, changed meanwhile
    audit.record(SIGNED, job=job, by=by, paper=str(sheet), data_sha256=sheet.data_sha256)
    return sheet


@transaction.atomic
def make_void(sheet: Sheet, *, by: Person, reason: str) -> None:
    """Call a signed sheet back; it stays, and its page says so. A second call changes nothing."""
    require(by, "sign_sheet")
    if not sheet.is_signed:
        raise ValidationError("Only a signed sheet can be made void.")
    _, made = SheetVoid.objects.get_or_create(sheet=sheet, defaults={"by": by, "reason": reason})
    if made:
        audit.record("made a sheet void", job=sheet.job, by=by, paper=str(sheet), reason=reason)


def awaited(job: Job) -> list[str]:
    """The kinds of sheet that a closed card still lets be signed: its unit's owner stands on none of them."""
    if not job.is_closed or job.ending or job.is_practice:
        return []
    newest = {sheet.kind: sheet for sheet in revisions(job) if not sheet.superseded_by}
    kinds = [kind for kind, sheet in newest.items() if names_another_owner(sheet)]
    curve = newest.get(Sheet.Kind.CURVE_SHEET)
    lacks = job.allocated_on and (curve is None or curve.standing == "void")
    if lacks and Sheet.Kind.CURVE_SHEET not in kinds and has_final_run(job):
        kinds.append(Sheet.Kind.CURVE_SHEET)
    return kinds


def has_final_run(job: Job) -> bool:
    return "final" in newest_runs(build_for(job.build_id))


def _held_to_sign(job: Job, kind: str) -> Job:
    """The card as it stands, kept from others; a closed one only where a new owner waits for this sheet."""
    now = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    if kind not in awaited(now):
        require_open(now)
    return now


def _refuse_empty(job: Job, kind: str) -> None:
    if kind == Sheet.Kind.CURVE_SHEET and not has_final_run(job):
        raise ValidationError("There is no final run to sign for: take it at the bench curve first.")


def _refuse_needless(job: Job, kind: str, said: str) -> None:
    """A new revision of what the newest one already says helps nobody."""
    newest = Sheet.objects.signed().filter(job=job, kind=kind).order_by("-revision").first()
    if newest and not hasattr(newest, "void") and not changed_since(newest, said):
        raise ValidationError(f"Revision {newest.revision} already says what the card says.")


def _audit_head() -> str:
    """The hash of the newest entry: printed on a sheet, it proves later that nothing before was altered."""
    last = AuditEntry.objects.order_by("-pk").values_list("hash", flat=True).first()
    return last or ""
