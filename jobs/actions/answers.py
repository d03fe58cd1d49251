"""Taking the customer's answer to an estimate, and taking back one that was entered wrongly."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.formats import date_format

from jobs.actions.noting import in_words, note
from jobs.agreement import asked_of
from jobs.guards import held
from jobs.models import EstimateAnswer, Job
from shop.rights import require
from shop.versions import Conflict


@transaction.atomic
def take_answer(job, data, *, by, version):
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
    answer = EstimateAnswer.objects.create(job=now, by=by, **data)
    values = {"revised_estimate": data["asked"], "estimate_since": data["given_at"]} if revises else {}
    Job.objects.filter(pk=now.pk).update(version=F("version") + 1, **values)
    note("wrote the customer's answer", now, by, **_told(answer))
    return answer


@transaction.atomic
def take_back_answer(answer, *, by, why, version):
    """An answer entered wrongly no longer counts; it stays on the card with who took it back and why."""
    require(by, "take_answer")
    now = _held(answer.job, version)
    if not why.strip():
        raise ValidationError({"why": "Write why it is taken back."})
    values = {"taken_back_by": by, "taken_back_at": timezone.now(), "taken_back_why": why}
    if EstimateAnswer.objects.filter(pk=answer.pk, taken_back_at=None).update(**values):
        Job.objects.filter(pk=now.pk).update(version=F("version") + 1)
        note("took an answer back", now, by, answer=str(answer), reason=why)


def _held(job, version):
    now = held(job)
    if now.version != version:
        raise Conflict(now)
    return now


def _refuse_impossible_moment(job, moment, revises):
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


def _minute(moment):
    """Times are typed to the minute."""
    return moment.replace(second=0, microsecond=0)


def _told(answer):
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
