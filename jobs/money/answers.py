"""Taking the customer's answer to an estimate, and taking back one that was entered wrongly."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import EstimateAnswer, Job
from jobs.record.noting import in_words, note
from jobs.rules.agreement import asked_of
from jobs.rules.guards import lock_open_card
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict


@transaction.atomic
def take_answer(job: Job, data: dict[str, Any], *, by: Person, version: int) -> EstimateAnswer:
    """Write what the customer said; ``data`` holds the fields of an ``EstimateAnswer`` that people write.

    An amount asked that differs from the estimate revises it: it was told first and is written now. Conflict
    when the card was changed after ``version``.
    """
    require(by, "take_answer")
    now = _held(job, version)
    if now.is_stock or now.is_practice:
        raise ValidationError("Nobody is asked about this unit: it has no customer.")
    revises = data["asked"] is not None and data["asked"] != asked_of(now)
    _refuse_impossible_moment(now, data["given_at"], revises)
    values, former = {}, {}
    if revises:
        former = {"former_estimate": now.revised_estimate, "former_since": now.estimate_since}
        values = {"revised_estimate": data["asked"], "estimate_since": data["given_at"]}
    answer = EstimateAnswer.objects.create(
        job=now, customer=now.customer, by=by, revises=revises, **former, **data
    )
    Job.objects.filter(pk=now.pk).update(version=F("version") + 1, **values)
    note("wrote the customer's answer", now, by, **_told(answer))
    return answer


@transaction.atomic
def take_back_answer(answer: EstimateAnswer, *, by: Person, why: str, version: int) -> None:
    """An answer entered wrongly no longer counts; it stays on the card with who took it back and why.

    The estimate that it revised stands again, unless it was revised anew since.
    """
    require(by, "take_answer")
    now = _held(answer.job, version)
    if not why.strip():
        raise ValidationError({"why": "Write why it is taken back."})
    values = {"taken_back_by": by, "taken_back_at": timezone.now(), "taken_back_why": why}
    if EstimateAnswer.objects.filter(pk=answer.pk, taken_back_at=None).update(**values):
        stood = asked_of(now)
        Job.objects.filter(pk=now.pk).update(version=F("version") + 1, **_estimate_before(now, answer))
        now.refresh_from_db(fields=["revised_estimate", "estimate_since"])
        told = [in_words(now, "estimate", amount) for amount in (stood, asked_of(now))]
        changed = {"changes": {"estimate": told}} if told[0] != told[1] else {}
        note("took an answer back", now, by, answer=str(answer), reason=why, **changed)


def _estimate_before(job: Job, answer: EstimateAnswer) -> dict[str, Any]:
    """What of a card goes back with an answer: the estimate that it revised, if that still comes of it."""
    if not answer.revises:
        return {}
    former = {"former_estimate": answer.former_estimate, "former_since": answer.former_since}
    built_on_it = job.answers.filter(
        pk__gt=answer.pk, former_estimate=answer.asked, former_since=answer.given_at, taken_back_at=None
    )
    if built_on_it.update(**former):
        return {}
    stands = (job.revised_estimate, job.estimate_since) == (answer.asked, answer.given_at)
    before = {"revised_estimate": answer.former_estimate, "estimate_since": answer.former_since}
    return before if stands else {}


def _held(job: Job, version: int) -> Job:
    now = lock_open_card(job)
    if now.version != version:
        raise Conflict(now)
    return now


def _refuse_impossible_moment(job: Job, moment: datetime, revises: bool) -> None:
    """Nobody answers in the future, before the card was opened, or before the amount stood."""
    if moment > timezone.now():
        raise ValidationError({"given_at": "That lies in the future: write when it was said."})
    if moment < _minute(job.opened_at):
        opened = date_format(timezone.localtime(job.opened_at), "j F Y H:i")
        raise ValidationError({"given_at": f"The card was opened on {opened}: write a later time."})
    since = job.estimate_since
    if since and not revises and moment < _minute(since):
        stood = date_format(timezone.localtime(since), "j F Y H:i")
        raise ValidationError(
            {
                "given_at": f"The estimate stands at {asked_of(job)} since {stood}; what was said before that"
                " answers another. Write the time of the answer to this one."
            }
        )


def _minute(moment: datetime) -> datetime:
    """Times are typed to the minute."""
    return moment.replace(second=0, microsecond=0)


def _told(answer: EstimateAnswer) -> dict[str, str]:
    told = {
        "answer": answer.get_said_display(),
        "asked": in_words(answer, "asked"),
        "agreed": in_words(answer, "amount"),
        "said_by": answer.said_by,
        "how": answer.get_how_display(),
        "given": timezone.localtime(answer.given_at).isoformat(" ", "minutes"),
        "note": answer.note,
    }
    return {name: value for name, value in told.items() if value}
