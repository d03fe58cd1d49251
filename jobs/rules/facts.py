"""What a card comes to in counts and costs: asked for in the query that fetches it."""

from functools import cache

from django.db.models import Count, Exists, IntegerField, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.fields.json import KT
from django.db.models.functions import Coalesce

from jobs.models import AuditEntry, Finding, Inspection, InspectionPoint, Job, PartLine, Sheet, Step
from jobs.rules import abrasive
from jobs.rules.agreement import spent_on

# Entries of the record that change nothing that a sheet says.
SIGNED = "signed a sheet"
CHANGES_NOTHING = (SIGNED, "ordered a paper", "tried a paper again", "built a paper", "made a sheet void")


_ASKED = Q(triggers="") | Q(triggers__contains=OuterRef("unit__trigger"))  # as ``inspection.applies``


def with_facts(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Jobs with the counts and costs that ``missing`` and the folded lines of a card need, in one query."""
    answers = Inspection.objects.filter(job=OuterRef("pk"))
    unanswered = InspectionPoint.objects.filter(
        ~Exists(Inspection.objects.filter(job=OuterRef(OuterRef("pk")), point=OuterRef("pk"))),
        _ASKED,
        in_use=True,
    )
    steps = Step.objects.filter(_ASKED | Q(at__isnull=False), job=OuterRef("pk"))
    return jobs.annotate(
        spent=spent_on(OuterRef("pk")),
        points_answered=_count(answers),
        points_bad=_count(answers.filter(verdict=Inspection.Verdict.REPLACE)),
        points_open=_count(unanswered),
        findings_count=_count(Finding.objects.filter(job=OuterRef("pk"))),
        parts_left_off=_count(PartLine.objects.filter(job=OuterRef("pk"), state=PartLine.State.LEFT_OFF)),
        last_blasted_at=abrasive.last_blasted_at(),
        **_steps_of("cleaning", steps.filter(list=Step.List.CLEANING)),
        **_steps_of("assembly", steps.filter(list=Step.List.ASSEMBLY)),
        touched_since_signed=_touched_since_signed(),
        sheets_that_hold=_count(_newest_curve_sheets().filter(job=OuterRef("pk"), void=None)),
    )


def _touched_since_signed() -> Exists:
    """Whether the record has an entry that may have changed what the curve sheet says, after the last time
    that one was signed: the signature under another paper says nothing of it."""
    curve_sheets = Sheet.objects.filter(job=OuterRef("job"), kind=Sheet.Kind.CURVE_SHEET)
    signed = AuditEntry.objects.filter(job=OuterRef("job"), verb=SIGNED).alias(said=KT("detail__data_sha256"))
    last = signed.filter(said__in=curve_sheets.values("data_sha256")).order_by("-pk").values("pk")[:1]
    entries = AuditEntry.objects.filter(job=OuterRef("pk")).exclude(verb__in=CHANGES_NOTHING)
    return Exists(entries.filter(pk__gt=Subquery(last)))


def _steps_of(name: str, steps: QuerySet[Step]) -> dict[str, Coalesce]:
    return {
        f"{name}_done": _count(steps.filter(at__isnull=False, aside="")),
        f"{name}_aside": _count(steps.exclude(aside="")),
        f"{name}_open": _count(steps.filter(at=None)),
    }


def _newest_curve_sheets() -> QuerySet[Sheet]:
    """The newest revision of each card: void or not, the ones before it hold no longer."""
    signed = Sheet.objects.signed().filter(kind=Sheet.Kind.CURVE_SHEET)
    later = signed.filter(job=OuterRef("job"), revision__gt=OuterRef("revision"))
    return signed.filter(~Exists(later))


def _count(rows: QuerySet) -> Coalesce:
    counted = rows.order_by().annotate(one=Value(1)).values("one").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def facts_of(job: Job) -> Job:
    """A job with the counts of ``with_facts``: itself, if it was fetched with them."""
    if hasattr(job, "points_open"):
        return job
    return _asked_for().get(pk=job.pk)


@cache
def _asked_for() -> QuerySet[Job]:
    return with_facts(Job.objects.select_related("unit", "engine", "build"))
