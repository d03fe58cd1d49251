"""Ticking off the steps of cleaning and of assembly, and signing that no abrasive is left."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from jobs.models import Job, Step
from jobs.record.noting import note
from jobs.rules import abrasive
from jobs.rules.facts import with_facts
from jobs.rules.guards import lock_open_card
from shop.models import Person
from shop.rights import require

NOT_NEEDED = "Not needed"


@transaction.atomic
def do_step(step: Step, *, by: Person) -> None:
    """Tick a step off; who ticked it first stays. One with abrasive takes an earlier sign-off away."""
    require(by, "edit_work")
    lock_open_card(step.job)
    if Step.objects.filter(pk=step.pk, at=None).update(by=by, at=timezone.now()):
        note("did a step", step.job, by, text=step.text, on=step.parts)
        if step.abrasive:
            _unsign(step.job)


@transaction.atomic
def put_aside(step: Step, *, by: Person, why: str = NOT_NEEDED) -> None:
    """Say that a step is not done on this unit, and why; it stays on the card."""
    require(by, "edit_work")
    lock_open_card(step.job)
    if not why.strip():
        raise ValidationError("Write why the step is put aside.")
    if Step.objects.filter(pk=step.pk, at=None).update(by=by, at=timezone.now(), aside=why.strip()):
        note("put a step aside", step.job, by, text=step.text, because=why.strip())


@transaction.atomic
def undo_step(step: Step, *, by: Person) -> None:
    """Open a step again that was done or put aside."""
    require(by, "edit_work")
    lock_open_card(step.job)
    if Step.objects.filter(pk=step.pk, at__isnull=False).update(by=None, at=None, aside=""):
        note(
            "took a tick off a step" if not step.aside else "took a step up again",
            step.job,
            by,
            text=step.text,
        )


@transaction.atomic
def add_step(job: Job, *, list_name: str, text: str, parts: str, by: Person, blasts: bool = False) -> Step:
    require(by, "edit_work")
    lock_open_card(job)
    last = job.steps.filter(list=list_name).aggregate(last=Max("order"))["last"] or 0
    step = Step.objects.create(
        job=job, list=list_name, text=text, parts=parts, abrasive=blasts, order=last + 1
    )
    note("added a step", job, by, text=text, on=parts)
    return step


@transaction.atomic
def say_blasted(job: Job, *, blasted: bool, by: Person) -> None:
    """Say whether abrasive was used; blasting again takes an earlier sign-off away.

    A step that was done with abrasive says so itself: nobody says against it.
    """
    require(by, "edit_work")
    lock_open_card(job)
    if not blasted and (step := abrasive.blastings(job.steps.all()).first()):
        raise ValidationError(f"“{step}” is ticked off: take its tick away first, if it was not blasted.")
    values = {"blasted": blasted, "abrasive_free_by": None, "abrasive_free_at": None}
    if Job.objects.filter(pk=job.pk).exclude(blasted=blasted).update(version=F("version") + 1, **values):
        note("said it was blasted" if blasted else "said it was not blasted", job, by)


@transaction.atomic
def sign_abrasive_free(job: Job, *, by: Person) -> None:
    """Sign that every bore and bush was looked at and holds no abrasive."""
    require(by, "edit_work")
    lock_open_card(job)
    now = with_facts(Job.objects.all()).get(pk=job.pk)
    if not abrasive.was_blasted(now):
        raise ValidationError("This unit was not blasted: there is nothing to sign.")
    if abrasive.is_left_open(now):
        # Not before the last blasting, should the clock have been set back meanwhile.
        at = max(timezone.now(), now.last_blasted_at or timezone.now())
        Job.objects.filter(pk=job.pk).update(
            version=F("version") + 1, abrasive_free_by=by, abrasive_free_at=at
        )
        note("signed that it is free of abrasive", now, by)


@transaction.atomic
def blasted_again(job: Job, *, by: Person) -> None:
    """Take the sign-off away, because the unit went back into the cabinet."""
    require(by, "edit_work")
    lock_open_card(job)
    if _unsign(job):
        note("blasted again", job, by)


def _unsign(job: Job) -> int:
    signed = Job.objects.filter(pk=job.pk, abrasive_free_at__isnull=False)
    return signed.update(version=F("version") + 1, abrasive_free_by=None, abrasive_free_at=None)
