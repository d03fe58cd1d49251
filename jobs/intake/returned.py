"""Which unit was here before, and what it brings along from its earlier card."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date

from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.utils import timezone

from curves.models import Run
from curves.rows import queries, stock
from jobs.models import Ending, Job, Unit
from jobs.search.hits import all_words
from jobs.search.search_text import words_of

MAX_OFFERED = 3
TOOK_TARGET = "took the target over"
_MEASURED = (
    "travel_measured_deg",
    "primary_gap_mm",
    "secondary_gap_mm",
    "primary_stretch_mm_per_deg",
    "secondary_stretch_mm_per_deg",
)
_GIVEN_UP = (Ending.KEPT, Ending.SCRAPPED)
_LOOKED_AT = 200  # of the newest cards with that number anywhere on them


@dataclass(frozen=True)
class Warranty:
    """Whether the work on a unit is warranted, in words."""

    holds: bool
    said: str


def warranty_of(job: Job, others: Callable[[], Collection[Job]]) -> Warranty | None:
    """The warranty of a card that was handed back, or of the newest before it that was given one; else None.

    A unit that came back in time stays in warranty however long the work on it takes, and no return that gave
    none of its own ends the one before: only that the unit is no more its owner's does. ``others()``: the
    other cards of its unit, asked for only where there may be one.
    """
    if not (job.warranty_until or job.previous_id):
        return None
    those = others()
    earlier = [one for one in those if one.number < job.number and one.warranty_until]
    given = job if job.warranty_until else max(earlier, key=lambda one: one.number, default=None)
    until = given.warranty_until if given else None
    if (
        given is None
        or until is None
        or any(one.ending in _GIVEN_UP and one.number > given.number for one in (job, *those))
    ):
        return None
    if given is job:
        return _warranty(until, timezone.localdate())
    return _warranty(until, timezone.localdate(job.opened_at), f", from job {given.number}")


def _warranty(until: date, on: date, source: str = "") -> Warranty:
    holds = on <= until
    return Warranty(holds, f"{'in warranty until' if holds else 'warranty ended'} {until:%-d %b %Y}{source}")


@dataclass(frozen=True)
class Carried:
    """What a card still has as it took it over from its unit's earlier one."""

    job: Job
    head: bool
    target: bool
    run: Run | None  # what names the pair that the unit left with, while that hangs in it

    @property
    def springs(self) -> str:
        pair = (self.run.primary, self.run.secondary) if self.run else ()
        return " + ".join(str(spring) for spring in pair if spring)


def carried_over(job: Job) -> Carried | None:
    """What a card took over and nobody has changed since, or None for a unit that was not here before.

    Three queries for a unit that was.
    """
    if job.previous is None:
        return None
    build, target = job.build, getattr(job.build, "target", None)
    is_head = build.version == 1 and any(getattr(build, name) is not None for name in _MEASURED)
    is_target = bool(target) and target.version == 1 and job.history.filter(verb=TOOK_TARGET).exists()
    return Carried(job.previous, is_head, is_target, left_with(job))


def left_with(job: Job) -> Run | None:
    """The run that names the pair a unit left with, until a run here says that another hangs; else None.

    It stands on its newest earlier card that says so: an unrepaired unit left as it came.
    """
    if job.previous is None:
        return None
    now = [_pair_of(run) for run in queries.live_runs(job.build) if run.primary_id][-1:]
    earlier = Run.objects.filter(
        build__job__unit=job.unit_id, build__job__number__lt=job.number, removed=False, primary__isnull=False
    )
    says = Q(kind=Run.Kind.AS_RECEIVED) | Q(kind=Run.Kind.FINAL, build__unrepaired=False)
    runs = earlier.filter(says).select_related("primary", "secondary")
    run = runs.order_by("build__job__number", "kind", "number").last()  # as received comes before final
    if run is None or now not in ([], [_pair_of(run)]):
        return None
    came = {key for key, held in stock.in_unit(job.build).items() if held.came}
    return run if {key for key in _pair_of(run) if key} <= came else None


def _pair_of(run: Run) -> tuple[int | None, int | None]:
    return run.primary_id, run.secondary_id


@dataclass(frozen=True)
class Before:
    """A unit that was here: its newest card that is closed, and the one that is open, if there are."""

    last: Job | None
    open: Job | None


def found_again(
    *, number: str = "", maker: str = "", date_code: str = "", earlier: int | None = None
) -> list[Before]:
    """Units that were here, the newest first, by an earlier job's number or by what is stamped on them.

    A number is a type's as often as one unit's own: another maker or date code typed beside it rules a unit
    out.
    """
    card = _numbered(earlier)
    units = [card.unit_id] if card else _stamped(number, maker, date_code)
    if not units:
        return []
    found: dict[int, list[Job]] = {}
    cards = Job.objects.real().filter(unit__in=units).select_related("unit", "engine", "customer")
    for job in cards.order_by("-number"):
        found.setdefault(job.unit_id, []).append(job)
    return [
        Before(
            next((job for job in jobs if job.is_closed), None),
            next((job for job in jobs if not job.is_closed), None),
        )
        for jobs in list(found.values())[:MAX_OFFERED]
    ]


def to_start_from(number: int | None) -> tuple[Job | None, str]:
    """The closed card of this number as (card, ""), or (None, why a new one can't start from it)."""
    job = _numbered(number)
    if job is None:
        return None, f"There is no job {number} of a real unit."
    newer = newer_card(job) or (None if job.is_closed else job)
    return (None, newer_words(newer)) if newer else (job, "")


def others_of_unit(job: Job) -> list[Job]:
    """The other cards of a card's unit, in the order of their numbers."""
    return list(Job.objects.real().filter(unit=job.unit_id).exclude(pk=job.pk).order_by("number"))


def newer_card(job: Job, others: Collection[Job] | None = None) -> Job | None:
    """The card that says how a unit stands, if it is not this one: its open one, else its newest; or None.

    A unit is one thing with one owner: only its newest card gives it to anybody, or brings it back.
    """
    others = others_of_unit(job) if others is None else others
    newer = [one for one in others if not one.is_closed or one.number > job.number]
    return max(newer, key=lambda one: (not one.is_closed, one.number), default=None)


def newer_words(newer: Job) -> str:
    """That another card says how a unit stands, and the way there, in a sentence."""
    if not newer.is_closed:
        return f"This unit is still on the bench as job {newer.number}: go on there."
    ended = newer.ended_as.lower()
    return f"This unit was here again as job {newer.number} ({ended}): go on from that card."


class NotNewest(PermissionDenied):
    """Another card of the unit says how it stands now."""


def require_newest(job: Job) -> None:
    """Only its newest card gives a unit away or brings it back."""
    if newer := newer_card(job):
        raise NotNewest(newer_words(newer))


def is_same_mark(one: str, other: str) -> bool:
    """Whether two marks are one, however they are spaced and written."""
    return _code(one) == _code(other)


def _numbered(number: int | None) -> Job | None:
    cards = Job.objects.real().select_related("unit", "engine", "customer", "build")
    return cards.filter(number=number).first() if number else None


def _stamped(number: str, maker: str, date_code: str) -> list[int]:
    words = words_of(number)
    if not words:
        return []
    cards = Job.objects.real().filter(all_words(words)).order_by("-number").select_related("unit")
    units = {job.unit_id: job.unit for job in cards.defer("search_text")[:_LOOKED_AT]}
    return [key for key, unit in units.items() if _is_stamped(unit, number, maker, date_code)]


def _is_stamped(unit: Unit, number: str, maker: str, date_code: str) -> bool:
    others = [(unit.maker, maker), (unit.date_code, date_code)]
    return is_same_mark(unit.number, number) and all(
        is_same_mark(stands, typed) for stands, typed in others if _code(stands) and _code(typed)
    )


def _code(mark: str) -> str:
    return "".join(words_of(mark))
