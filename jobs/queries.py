"""What is read of cards: one card with the right to see it, the board, and the lists a card shows."""

from collections import Counter
from dataclasses import dataclass

from django.db.models import F, FilteredRelation, Q
from django.shortcuts import get_object_or_404
from django.utils import timezone

from curves.queries import fetch_curves
from jobs import guards, stages
from jobs.agreement import ANSWER, ANSWERS, CONSENT, LIMIT, OF_THE_CUSTOMER
from jobs.inspection import limit_of, unusual
from jobs.models import Inspection, InspectionPoint, Job
from jobs.stages import ORDER, Stage
from shop.rights import require
from shop.words import days

MOST_ON_BOARD = 400
_JUDGED = (Stage.SPRING_TRIALS, Stage.BENCH_CURVE, Stage.HAND_BACK)  # by what was read at the bench


def card_for(person, number):
    """The card with this number, if this person may read it; its counts for the guards come along.

    Four queries: the card with all it points at, its runs, their readings, and the points of its target.
    """
    require(person, "read")
    jobs = guards.with_facts(
        Job.objects.select_related(
            "customer",
            "engine",
            "unit",
            "build__target",
            "previous",
            "opened_by",
            "abrasive_free_by",
            "closing__by",
        )
    )
    job = get_object_or_404(jobs, number=number)
    fetch_curves([job.build])
    return job


@dataclass(frozen=True)
class Row:
    """One card on the board."""

    job: Job
    days: int  # in this stage
    days_late: int  # past the promised day
    missing: list[str]  # but for what the customer has to say
    of_customer: list[str]

    @property
    def awaits_answer(self):
        return ANSWER in self.of_customer

    @property
    def is_declined(self):
        return CONSENT in self.of_customer

    @property
    def is_over_limit(self):
        return LIMIT in self.of_customer

    @property
    def how_long(self):
        return days(self.days)

    @property
    def following(self):
        return stages.following(self.job.stage)


@dataclass(frozen=True)
class Column:
    """One stage on the board."""

    stage: Stage
    rows: list[Row]


@dataclass(frozen=True)
class Board:
    columns: list[Column]
    left_out: int  # open cards beyond what one page can show

    @property
    def count(self):
        return sum(len(column.rows) for column in self.columns) + self.left_out

    @property
    def late(self):
        return sum(row.days_late > 0 for column in self.columns for row in column.rows)

    @property
    def awaiting(self):
        return sum(row.awaits_answer for column in self.columns for row in column.rows)


def board(person):
    """Every open card under its stage, the one promised first on top."""
    require(person, "read")
    open_jobs = Job.objects.real().filter(closed_at=None)
    rows = _rows(open_jobs.order_by(F("promised_on").asc(nulls_last=True), "number"), MOST_ON_BOARD)
    columns = [Column(stage, [row for row in rows if row.job.stage == stage]) for stage in ORDER]
    left_out = open_jobs.count() - len(rows) if len(rows) == MOST_ON_BOARD else 0
    return Board(columns, left_out)


def standing(jobs):
    """How the open ones of these cards stand, as the board says it: {key: row}. They come with their runs."""
    shown = {job.pk: job for job in jobs if not job.is_closed}
    if not shown:
        return {}
    counted = list(_with_answers(Job.objects.filter(pk__in=shown)).select_related("unit", "engine"))
    for job in counted:
        job.build = shown[job.pk].build
    fetch_curves(_at_bench(counted))
    return {job.pk: _row(job) for job in counted}


def _rows(open_jobs, most):
    jobs = list(_with_answers(open_jobs).select_related("customer", "engine", "unit", "build__target")[:most])
    fetch_curves(_at_bench(jobs))
    return [_row(job) for job in jobs]


def _with_answers(jobs):
    """Cards with all that ``guards.missing`` asks of them, in two queries however many they are."""
    return guards.with_facts(jobs).prefetch_related(ANSWERS)


def _at_bench(jobs):
    return [job.build for job in jobs if job.stage in _JUDGED]


def _row(job):
    late = (timezone.localdate() - job.promised_on).days if job.promised_on else 0
    needs = guards.missing(job)
    missing = [need for need in needs if need not in OF_THE_CUSTOMER]
    of_customer = [need for need in needs if need in OF_THE_CUSTOMER]
    return Row(job, days_in_stage(job), max(late, 0), missing, of_customer)


def days_in_stage(job):
    """Whole days since the card came to its stage; never negative, should a clock have been set back."""
    until = job.closed_at or timezone.now()
    return max((until - job.stage_since).days, 0)


@dataclass(frozen=True)
class Asked:
    """One line of a card's inspection: the point, and its answer or None."""

    point: InspectionPoint
    answer: Inspection | None
    unusual: str = ""

    @property
    def limit(self):
        return limit_of(self.point)


def inspection_of(job):
    """The inspection list of a card, one query: points in use that apply, and any other that was answered."""
    asked = Q(in_use=True) & (Q(triggers="") | Q(triggers__contains=job.unit.trigger))
    points = (
        InspectionPoint.objects.annotate(
            answer=FilteredRelation("answers", condition=Q(answers__job=job.pk)),
        )
        .filter(asked | Q(answer__isnull=False))
        .select_related("answer__by")
        .order_by("order", "pk")
    )
    return [_asked(point, getattr(point, "answer", None), job) for point in points]


def _asked(point, answer, job):
    return Asked(point, answer, unusual(point, answer.value, job.build) if answer else "")


def values_used(model, name, among=1000, limit=100):
    """What was written in a field of the newest rows, the most usual first, for a list of suggestions."""
    newest = (
        model.objects.exclude(jobs__in=Job.objects.practice())
        .order_by("-pk")
        .values_list(name, flat=True)[:among]
    )
    return [value for value, _ in Counter(filter(None, newest)).most_common(limit)]
