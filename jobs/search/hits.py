"""Find a card by anything written on it, by an engine like this one, or both; each hit says why."""

from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from itertools import islice

from django.db.models import (
    Case,
    IntegerField,
    Prefetch,
    Q,
    QuerySet,
    Value,
    When,
)

from curves.models import Run
from jobs.models import Job
from jobs.rules.card_lines import WORDS, Lines, lines_of
from jobs.rules.handed_back import with_hand_back
from jobs.search import excerpts, search_text, similarity, trays
from shop.models import Customer

HITS = 30
AT_ONCE = 200  # cards held while many are rewritten


@dataclass(frozen=True)
class Hit:
    """A card that matched, and why: what its engine is beside the wanted one, and where the words stand."""

    job: Job
    reasons: list[str]
    snippets: list[excerpts.Snippet]


@dataclass(frozen=True)
class Answer:
    """The hits, best first, and whether there are more than were asked for."""

    hits: list[Hit]
    more: bool = False


# The cards to rewrite at the end of a piece of bulk work, or None outside of one.
_postponed: ContextVar[set[int] | None] = ContextVar("postponed", default=None)


@contextmanager
def postponed() -> Generator[None]:
    """Within it ``reindex`` only takes note; each card is rewritten once, at the end. For bulk work."""
    later: set[int] = set()
    token = _postponed.set(later)
    try:
        yield
        reindex_all(Job.objects.filter(pk__in=later))
    finally:
        _postponed.reset(token)


def reindex(job: Job) -> None:
    """Rewrite the text in which a card is found; call it in the transaction that changed the card.

    A unit is one thing on all its visits, so the other cards of the unit are looked at too.
    """
    later = _postponed.get()
    if later is not None:
        later.add(job.pk)
        return
    reindex_all(Job.objects.filter(unit=job.unit_id))


def reindex_customer(customer: Customer) -> None:
    """The same for every card of a customer whose name or number has changed."""
    reindex_all(Job.objects.filter(customer=customer))


def reindex_all(jobs: QuerySet[Job] | None = None) -> int:
    """The same for many cards, all of them by default; returns how many had changed."""
    changed = []
    for job, lines in _whole_cards(Job.objects.all() if jobs is None else jobs):
        text = search_text.indexed(search_text.pieces(job, lines))
        if text != job.search_text:
            job.search_text = text
            changed.append(job)
    Job.objects.bulk_update(changed, ["search_text"], batch_size=AT_ONCE)
    return len(changed)


def find(
    text: str = "",
    wanted: similarity.Wanted | None = None,
    *,
    closed: bool | None = None,
    besides: Job | None = None,
    limit: int = HITS,
) -> Answer:
    """Cards on which every word stands, nearest engine first, else newest first.

    A word is met by the beginning of one on the card. ``wanted`` is a ``nearness.Wanted``; ``closed`` keeps
    only closed cards (True) or open ones (False); ``besides`` is a card to leave out. The count
    of queries doesn't grow with the hits.
    """
    words = search_text.words_of(text)
    in_tray = trays.asked_for(words, all_words)
    jobs = with_hand_back(_with_runs(Job.objects.real())).filter(
        all_words(words) | in_tray if in_tray else all_words(words)
    )
    if closed is not None:
        jobs = jobs.filter(closed_at__isnull=not closed)
    if besides is not None:
        jobs = jobs.exclude(pk=besides.pk)
    if wanted:
        jobs = jobs.filter(engine__isnull=False).annotate(distance=similarity.squared_distance(wanted))
        jobs = jobs.order_by("distance", "-number")
    else:
        first = _in_the_tray_first(in_tray) if in_tray else _its_number_first(words)
        jobs = jobs.order_by(*first, "-number")
    found = list(jobs[: limit + 1])
    lines = lines_of(found[:limit], WORDS) if words else {}
    hits = [
        Hit(
            job,
            similarity.reasons(wanted, job.engine) if wanted and job.engine else [],
            excerpts.snippets(search_text.pieces(job, lines[job.pk]), words) if words else [],
        )
        for job in found[:limit]
    ]
    return Answer(hits, more=len(found) > limit)


def _whole_cards(jobs: QuerySet[Job]) -> Iterator[tuple[Job, Lines]]:
    """Each card with the lines written on it, some at a time."""
    rows = _with_runs(jobs).iterator(chunk_size=AT_ONCE)
    while some := list(islice(rows, AT_ONCE)):
        lines = lines_of(some, WORDS)
        yield from ((job, lines[job.pk]) for job in some)


def _with_runs(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Cards with what a hit shows of them."""
    return jobs.select_related("customer", "engine", "unit", "build__target", "closing").prefetch_related(
        Prefetch("build__runs", Run.objects.select_related("primary", "secondary"))
    )


def all_words(words: Sequence[str]) -> Q:
    """Every word begins one on the card; or, for a number spaced otherwise, all of them together do."""
    each = Q()
    for word in words:
        each &= Q(search_text__contains=f" {word}")
    if len(words) > 1 and any(mark.isdigit() for word in words for mark in word):
        each |= Q(search_text__contains=f" {''.join(words)}")
    return each


def _its_number_first(words: Sequence[str]) -> list[Case]:
    """An ordering that puts the card first whose number was typed."""
    numbers = [int(word) for word in words if word.isdecimal() and len(word) < 10]
    if not numbers:
        return []
    return [Case(When(number__in=numbers, then=Value(0)), default=Value(1), output_field=IntegerField())]


def _in_the_tray_first(in_tray: Q) -> list[Case]:
    """An ordering that puts first what lies in the tray now, then what lay there."""
    return [
        Case(
            When(in_tray & Q(closed_at=None), then=Value(0)),
            When(in_tray, then=Value(1)),
            default=Value(2),
            output_field=IntegerField(),
        )
    ]
