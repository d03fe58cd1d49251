"""Moving a card from stage to stage, and handing it back at the end."""

from calendar import monthrange
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from curves.rows import stock
from jobs import stages
from jobs.intake.returned import require_newest
from jobs.models import Engine, Job, Sheet, StageMove
from jobs.papers import signing
from jobs.record.noting import note
from jobs.rules import guards
from jobs.rules.agreed_for import engine_agreed_for
from jobs.rules.handed_back import HANDED_BACK
from jobs.rules.recorded import recorded_sha256
from jobs.rules.revisions import OUTDATED, is_outdated
from jobs.stages import Stage
from shop.models import Customer, Person, Shop
from shop.rights import require
from shop.versions import Conflict


class OtherMissing(Conflict):
    """A reason was given, but by now the card misses something else than the page showed."""


@transaction.atomic
def move_stage(
    job: Job, *, to: str, by: Person, reason: str = "", seen: str | None = None, lacked: str | None = None
) -> Job:
    """Move a card one stage on or back; what is missing is kept with the move, and then a reason is wanted.

    ``seen`` is the stage that was on the mover's screen; Conflict when someone else moved the card first.
    ``lacked`` is the digest of what was missing there; OtherMissing when the reason was given for less, or
    for other things. None: not asked of who shows nothing.
    """
    require(by, "move_stage")
    now = _locked(job, seen)
    if not stages.is_step(now.stage, to):
        raise ValidationError(
            f"A card moves one stage at a time: from {now.get_stage_display()} it can't go"
            f" to {Stage(to).label}."
        )
    onward = stages.place(to) > stages.place(now.stage)
    missing = guards.missing(now) if onward else []
    _want_reason(stages.wants_reason(now.stage, to, missing), reason, missing)
    _want_seen(now, missing, lacked)
    left = now.stage
    _write(now, stage=to, stage_since=timezone.now())
    StageMove.objects.create(job=now, from_stage=left, to_stage=to, reason=reason, missing=missing, by=by)
    verb = "moved the card on" if onward else "moved the card back"
    note(verb, now, by, **_told(to=Stage(to).label, reason=reason, missing=missing))
    return now


@transaction.atomic
def hand_back(
    job: Job,
    *,
    by: Person,
    handed_to: str = "",
    warranty_until: date | None = None,
    reason: str = "",
    seen: str | None = None,
    lacked: str | None = None,
) -> Job:
    """Close a card that stands at hand-back; what is missing takes a reason, and ``lacked`` as in a move."""
    require(by, "hand_back")
    now = _locked(job, seen)
    if now.stage != Stage.HAND_BACK:
        raise ValidationError(
            f"A card is handed back from Hand-back; this one is at {now.get_stage_display()}."
        )
    missing = guards.missing(now) or ([OUTDATED] if is_outdated(now) else [])
    _want_reason(bool(missing), reason, missing)
    _want_seen(now, missing, lacked)
    _write(now, closed_at=timezone.now(), handed_to=handed_to, warranty_until=warranty_until)
    stock.come_home(now.build, by=by)
    now.build.locked = True
    now.build.save(update_fields=["locked"])
    warranty = warranty_until.isoformat() if warranty_until else ""
    told = _told(to=handed_to, warranty_until=warranty, reason=reason, missing=missing)
    note(HANDED_BACK, now, by, **told)
    return now


@transaction.atomic
def allocate(
    job: Job,
    *,
    customer: Customer,
    by: Person,
    on: date | None = None,
    engine: Engine | None = None,
    handed_to: str = "",
    warranty_until: date | None = None,
    sign: bool = False,
) -> Job:
    """Give a unit from the shop's shelf to a customer: the card keeps all it says and gets an owner.

    ``engine`` is the owner's, an unsaved row; without one the card keeps the one it was rebuilt for. With
    ``sign`` a new revision of the curve sheet names them, signed by who gives it; else it waits to be signed.
    """
    require(by, "hand_back")
    now = guards.held_with_unit(job)
    guards.refuse_practice(now)
    guards.require_closed(now)
    guards.require_rebuilt(now)
    require_newest(now)
    if not now.is_stock:
        raise ValidationError(f"This unit already belongs to {now.customer}.")
    on = on or timezone.localdate()
    _refuse_days(now, on, warranty_until)
    for row in (customer, engine):
        if row is not None and row.pk is None:
            row.save()
    given = {"customer": customer, "handed_to": handed_to, "warranty_until": warranty_until}
    given["agreed_for"] = engine_agreed_for(now, engine)
    _write(now, allocated_on=on, engine=engine or now.engine, **given)
    said = {"handed_to": handed_to, "on": on.isoformat(), "engine": str(engine or "")}
    said["agreed_for"] = now.agreed_for
    said["warranty_until"] = warranty_until.isoformat() if warranty_until else ""
    note("allocated the unit", now, by, **_told(owner=str(customer), **said))
    if sign:
        kind, size = Sheet.Kind.CURVE_SHEET, Shop.current().paper
        signing.sign(now, kind, paper_size=size, by=by, seen=recorded_sha256(now))
    return now


def _refuse_days(job: Job, on: date, warranty_until: date | None) -> None:
    finished = timezone.localdate(job.closed_at)
    if on < finished:
        raise ValidationError(
            {"on": f"It was finished on {finished:%-d %b %Y}: write that day or a later one."}
        )
    if on > timezone.localdate():
        raise ValidationError({"on": "That day is yet to come: write the day on which it went."})
    if warranty_until and warranty_until < on:
        raise ValidationError({"warranty_until": "The warranty would end before the unit is theirs."})


def _locked(job: Job, seen: str | None) -> Job:
    """The card as it now stands, held until the transaction ends; Conflict if its stage is another by now."""
    now = guards.lock_open_card(job)
    if now.stage != (seen or job.stage):
        raise Conflict(now)
    return now


def warranty_end(start: date, months: int) -> date:
    """The day so many months after another; the last of the month where that has no such day."""
    years, month = divmod(start.month - 1 + months, 12)
    year, month = start.year + years, month + 1
    return start.replace(year=year, month=month, day=min(start.day, monthrange(year, month)[1]))


def _write(job: Job, **values: Any) -> None:
    for name, value in values.items():
        setattr(job, name, value)
    Job.objects.filter(pk=job.pk).update(version=F("version") + 1, **values)
    job.version += 1


def _want_reason(wanted: bool, reason: str, missing: Sequence[str]) -> None:
    if wanted and not reason.strip():
        cause = f"Still missing: {', '.join(missing)}" if missing else "Going back takes a reason"
        raise ValidationError({"reason": f"{cause}. Write why."})


def _want_seen(job: Job, missing: Sequence[str], lacked: str | None) -> None:
    if missing and lacked is not None and lacked != guards.digest_of(missing):
        raise OtherMissing(job)


def _told(**detail: Any) -> dict[str, Any]:
    return {name: value for name, value in detail.items() if value}
