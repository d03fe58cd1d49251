"""Ticking off the steps of cleaning and of assembly, and signing that no abrasive is left."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from jobs.actions.noting import note
from jobs.guards import held
from jobs.models import Job, Step
from shop.rights import require


@transaction.atomic
def do_step(step, *, by):
    """Tick a step off; who ticked it first stays."""
    require(by, "edit_work")
    held(step.job)
    if Step.objects.filter(pk=step.pk, at=None).update(by=by, at=timezone.now()):
        note("did a step", step.job, by, text=step.text, on=step.parts)


@transaction.atomic
def undo_step(step, *, by):
    require(by, "edit_work")
    held(step.job)
    if Step.objects.filter(pk=step.pk, at__isnull=False).update(by=None, at=None):
        note("took a tick off a step", step.job, by, text=step.text)


@transaction.atomic
def add_step(job, *, list_name, text, parts, by):
    require(by, "edit_work")
    held(job)
    last = job.steps.filter(list=list_name).aggregate(last=Max("order"))["last"] or 0
    step = Step.objects.create(job=job, list=list_name, text=text, parts=parts, order=last + 1)
    note("added a step", job, by, text=text, on=parts)
    return step


@transaction.atomic
def remove_step(step, *, by):
    """Strike out a step that this unit doesn't need."""
    require(by, "edit_work")
    held(step.job)
    deleted, _ = Step.objects.filter(pk=step.pk).delete()
    if deleted:
        note("struck out a step", step.job, by, text=step.text)


@transaction.atomic
def say_blasted(job, *, blasted, by):
    """Say whether abrasive was used; blasting again takes an earlier sign-off away."""
    require(by, "edit_work")
    held(job)
    values = {"blasted": blasted, "abrasive_free_by": None, "abrasive_free_at": None}
    if Job.objects.filter(pk=job.pk).exclude(blasted=blasted).update(version=F("version") + 1, **values):
        note("said it was blasted" if blasted else "said it was not blasted", job, by)


@transaction.atomic
def sign_abrasive_free(job, *, by):
    """Sign that every bore and bush was looked at and holds no abrasive."""
    require(by, "edit_work")
    now = held(job)
    if not now.blasted:
        raise ValidationError("This unit was not blasted: there is nothing to sign.")
    if now.abrasive_free_at is None:
        Job.objects.filter(pk=job.pk).update(
            version=F("version") + 1, abrasive_free_by=by, abrasive_free_at=timezone.now()
        )
        note("signed that it is free of abrasive", now, by)


@transaction.atomic
def blasted_again(job, *, by):
    """Take the sign-off away, because the unit went back into the cabinet."""
    require(by, "edit_work")
    held(job)
    signed = Job.objects.filter(pk=job.pk, abrasive_free_at__isnull=False)
    if signed.update(version=F("version") + 1, abrasive_free_by=None, abrasive_free_at=None):
        note("blasted again", job, by)
