"""Whether a unit was blasted, and whether the sign-off that no abrasive is left still counts."""

from django.db.models import DateTimeField, Max, OuterRef, QuerySet, Subquery

from jobs.models import Job, Step

SIGN_OFF = "abrasive-free sign-off"


def blastings(steps: QuerySet[Step]) -> QuerySet[Step]:
    """The steps among these that were done with abrasive."""
    return steps.filter(abrasive=True, at__isnull=False, aside="")


def last_blasted_at() -> Subquery:
    """When the last step with abrasive was done, as an annotation of jobs."""
    done = blastings(Step.objects.filter(job=OuterRef("pk"))).order_by().values("job")
    return Subquery(done.annotate(last=Max("at")).values("last"), output_field=DateTimeField())


def card_of(job: Job) -> Job:
    """A job with ``last_blasted_at``: itself, if it was fetched with it."""
    if hasattr(job, "last_blasted_at"):
        return job
    jobs = Job.objects.select_related("abrasive_free_by").annotate(last_blasted_at=last_blasted_at())
    return jobs.get(pk=job.pk)


def was_blasted(job: Job) -> bool:
    """By a step that was done, or by someone's word; asks of a job with ``last_blasted_at``."""
    return job.blasted or job.last_blasted_at is not None


def is_signed_free(job: Job) -> bool:
    """Whether somebody signed after the last blasting: what was signed before it says nothing of it."""
    signed, blasted = job.abrasive_free_at, job.last_blasted_at
    return signed is not None and (blasted is None or signed >= blasted)


def is_left_open(job: Job) -> bool:
    """Whether the sign-off is still wanted."""
    return was_blasted(job) and not is_signed_free(job)
