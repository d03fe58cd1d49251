"""What is read of cards: one card with the right to see it, the board, and the lists a card shows."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, cached_property

from django.db.models import F, FilteredRelation, Model, OuterRef, Q, QuerySet, Subquery
from django.shortcuts import get_object_or_404
from django.utils import timezone

from curves.judging.travel import Offer, offer_on
from curves.models import Build
from curves.rows.queries import fetch_curves
from jobs import stages
from jobs.models import AuditEntry, Inspection, InspectionPoint, Job
from jobs.rules import facts, guards
from jobs.rules.agreement import ANSWER, ANSWERS, CONSENT, LIMIT, OF_THE_CUSTOMER
from jobs.rules.measured import Measured, judged_words, said_beside
from jobs.rules.points import inspected_travel, limit_of, unusual
from jobs.rules.revisions import look_outdated
from jobs.stages import ORDER, Stage
from shop.models import Customer, Person
from shop.rights import require
from shop.words import days

MAX_ON_BOARD = 400
_JUDGED = (Stage.SPRING_TRIALS, Stage.BENCH_CURVE, Stage.HAND_BACK)  # by what was read at the bench


def card_for(person: Person, number: int) -> Job:
    """The card with this number, if this person may read it; its counts for the guards come along.

    Four queries: the card with all it points at, its runs, their readings, and the points of its target.
    """
    require(person, "read")
    job = get_object_or_404(_cards(), number=number)
    fetch_curves([job.build])
    return job


@cache
def _cards() -> QuerySet[Job]:
    """Cards with their counts: to put this query together takes longer than to run it, so it is kept."""
    return facts.with_facts(
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


@dataclass(frozen=True)
class Row:
    """One card on the board."""

    job: Job
    days: int  # in this stage
    days_late: int  # past the promised day
    missing: list[str]  # but for what the customer has to say
    of_customer: list[str]
    is_mine: bool  # whether the reader did the last thing on it

    @property
    def is_ready(self) -> bool:
        """Whether its customer can come for it: nothing is missing for the hand-back."""
        is_whole = not self.missing and not self.of_customer
        return self.job.stage == Stage.HAND_BACK and is_whole and not self.job.is_stock

    @property
    def awaits_answer(self) -> bool:
        return ANSWER in self.of_customer

    @property
    def is_declined(self) -> bool:
        return CONSENT in self.of_customer

    @property
    def is_over_limit(self) -> bool:
        return LIMIT in self.of_customer

    @property
    def how_long(self) -> str:
        return days(self.days)

    @property
    def following(self) -> Stage | None:
        return stages.following(self.job.stage)


@dataclass(frozen=True)
class Column:
    """One stage on the board."""

    stage: Stage
    rows: list[Row]


# What of the board may be shown alone: words, what it means, whether a row belongs to it.
FILTERS = {
    "mine": ("Mine", "You did the last thing on these cards.", lambda row: row.is_mine),
    "late": ("Late", "The promised day is past.", lambda row: row.days_late > 0),
    "ready": (
        "Ready to collect",
        "Nothing is missing for the hand-back to the customer.",
        lambda row: row.is_ready,
    ),
}


@dataclass(frozen=True)
class Filter:
    """One way to look at the board, with how many cards it shows; the empty key shows all."""

    key: str
    words: str
    meaning: str
    count: int
    is_shown: bool


@dataclass(frozen=True)
class Board:
    rows: list[Row]
    left_out: int  # open cards beyond what one page can show
    show: str = ""  # a key of FILTERS

    @cached_property
    def columns(self) -> list[Column]:
        """The rows that are shown, under their stages."""
        wanted = FILTERS[self.show][2] if self.show else lambda row: True
        shown = [row for row in self.rows if wanted(row)]
        return [Column(stage, [row for row in shown if row.job.stage == stage]) for stage in ORDER]

    @cached_property
    def filters(self) -> list[Filter]:
        every = Filter("", "All", "", self.count, not self.show)
        return [every, *(self._filter(key, *about) for key, about in FILTERS.items())]

    def _filter(self, key: str, words: str, meaning: str, belongs: Callable[[Row], bool]) -> Filter:
        return Filter(key, words, meaning, sum(map(belongs, self.rows)), self.show == key)

    @property
    def shown(self) -> Filter:
        return next(one for one in self.filters if one.is_shown)

    @property
    def count(self) -> int:
        return len(self.rows) + self.left_out

    @property
    def late(self) -> int:
        return sum(row.days_late > 0 for row in self.rows)

    @property
    def awaiting(self) -> int:
        return sum(row.awaits_answer for row in self.rows)


def board(person: Person, show: str = "") -> Board:
    """Every open card under its stage, the one promised first on top; ``show`` leaves some out."""
    require(person, "read")
    open_jobs = Job.objects.real().filter(closed_at=None)
    by_people = AuditEntry.objects.filter(job=OuterRef("pk"), by__isnull=False)  # not by who prints
    last = by_people.order_by("-pk").values("by")[:1]
    wanted = open_jobs.annotate(last_by=Subquery(last))
    rows = _rows(wanted.order_by(F("promised_on").asc(nulls_last=True), "number"), MAX_ON_BOARD, person)
    left_out = open_jobs.count() - len(rows) if len(rows) == MAX_ON_BOARD else 0
    return Board(rows, left_out, show if show in FILTERS else "")


def standing(jobs: Iterable[Job]) -> dict[int, Row]:
    """How the open ones of these cards stand, as the board says it: {key: row}. They come with their runs."""
    shown = {job.pk: job for job in jobs if not job.is_closed}
    if not shown:
        return {}
    counted = list(_with_answers(Job.objects.filter(pk__in=shown)).select_related("unit", "engine"))
    for job in counted:
        job.build = shown[job.pk].build
    fetch_curves(_at_bench(counted))
    _look_outdated(counted)
    return {job.pk: _row(job) for job in counted}


def _rows(open_jobs: QuerySet[Job], most: int, person: Person) -> list[Row]:
    jobs = list(_with_answers(open_jobs).select_related("customer", "engine", "unit", "build__target")[:most])
    fetch_curves(_at_bench(jobs))
    _look_outdated(jobs)
    return [_row(job, person) for job in jobs]


def _with_answers(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Cards with all that ``guards.missing`` asks of them, in two queries however many they are."""
    return facts.with_facts(jobs).prefetch_related(ANSWERS)


def _look_outdated(jobs: list[Job]) -> None:
    """What the guards would ask of one card after the other."""
    if touched := [job for job in jobs if job.stage == Stage.HAND_BACK and job.touched_since_signed]:
        look_outdated(touched)


def _at_bench(jobs: list[Job]) -> list[Build]:
    return [job.build for job in jobs if job.stage in _JUDGED]


def _row(job: Job, person: Person | None = None) -> Row:
    late = (timezone.localdate() - job.promised_on).days if job.promised_on else 0
    needs = guards.missing(job)
    missing = [need for need in needs if need not in OF_THE_CUSTOMER]
    of_customer = [need for need in needs if need in OF_THE_CUSTOMER]
    mine = person is not None and job.last_by == person.pk
    return Row(job, days_in_stage(job), max(late, 0), missing, of_customer, mine)


def days_in_stage(job: Job) -> int:
    """Whole days since the card came to its stage; never negative, should a clock have been set back."""
    until = job.closed_at or timezone.now()
    return max((until - job.stage_since).days, 0)


@dataclass(frozen=True)
class Asked:
    """One line of a card's inspection: the point, and its answer or None."""

    point: InspectionPoint
    answer: Inspection | None
    judged: str = ""  # the value that is held against the limit
    said_beside: str = ""  # what was read beside it
    unusual: str = ""
    travel_offer: Offer | None = None  # what the advance head may take over of it

    @property
    def limit(self) -> str:
        return limit_of(self.point)

    @property
    def may_be_good_unmeasured(self) -> bool:
        """Whether a look can answer it, and nobody did."""
        return self.answer is None and not self.point.wants_value


def inspection_of(job: Job) -> list[Asked]:
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


def _asked(point: InspectionPoint, answer: Inspection | None, job: Job) -> Asked:
    if answer is None:
        return Asked(point, None)
    measured, travel = Measured.of(answer), inspected_travel(point, answer.value, job.build)
    judged, said = judged_words(point, measured), said_beside(point, measured)
    return Asked(
        point, answer, judged, said, unusual(point, measured, job.build), offer_on(job.build, travel)
    )


def values_used(model: type[Model], name: str, among: int = 1000, limit: int = 100) -> list[str]:
    """What was written in a field of the newest rows, the most usual first, for a list of suggestions."""
    newest = (
        model.objects.exclude(jobs__in=Job.objects.practice())
        .order_by("-pk")
        .values_list(name, flat=True)[:among]
    )
    return [value for value, _ in Counter(filter(None, newest)).most_common(limit)]


def engines_of(customer: Customer, most: int = 4) -> list[Job]:
    """The engines that a customer had here, the newest first, each once: as the newest card that has it."""
    cards = (
        Job.objects.real()
        .filter(customer=customer, engine__isnull=False)
        .select_related("engine", "customer")
    )
    found = {}
    for job in cards.order_by("-number")[:40]:
        if job.engine is not None:
            found.setdefault(_figures(job.engine), job)
    return list(found.values())[:most]


def _figures(row: Model) -> tuple:
    """All that a row says, but for its key."""
    return tuple(getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key)
