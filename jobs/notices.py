"""What is unusual about a card: accepted as it was written, and said beside it."""

from dataclasses import dataclass

from django.utils import timezone

HIGH_COMPRESSION = 12.5  # common practice, no source: above it hardly any road engine with a distributor
LOW_COMPRESSION = 5
HIGH_IDLE_CRANK_RPM = 1500
LOW_IDLE_CRANK_RPM = 300


@dataclass(frozen=True)
class Notice:
    """One unusual thing: which section it belongs to, and what it is."""

    section: str
    kind: str
    text: str


def awaits_answer(job):
    """Whether the customer has yet to say yes or no to a revised estimate above the limit agreed."""
    return not job.is_closed and not job.estimate_answer and _is_over_limit(job)


def _is_over_limit(job):
    revised, limit = job.revised_estimate, job.agreed_limit
    return revised is not None and limit is not None and revised > limit


def notices(job):
    """Everything unusual that is written on a card."""
    return [*_agreed(job), *_engine(job)]


def _agreed(job):
    opened = timezone.localdate(job.opened_at)
    if job.promised_on and job.promised_on < opened:
        yield Notice(
            "agreed",
            "promised-in-the-past",
            f"Promised for {job.promised_on:%-d %B %Y}, before the card was opened.",
        )
    limit = job.agreed_limit
    if limit is None:
        return
    if job.estimate is not None and job.estimate > limit:
        yield Notice(
            "agreed", "estimate-over-limit", f"The estimate of {job.estimate} is over the limit of {limit}."
        )
    if _is_over_limit(job):
        yield Notice(
            "answer",
            "revised-over-limit",
            f"The revised estimate of {job.revised_estimate} is over the limit of {limit}:"
            " the customer must agree first.",
        )


def _engine(job):
    engine = job.engine
    if engine is None:
        return
    if engine.compression and not LOW_COMPRESSION <= engine.compression <= HIGH_COMPRESSION:
        yield Notice(
            "engine", "compression", f"Compression {engine.compression:g} to 1 is unusual: measure or ask."
        )
    idle = engine.idle_crank_rpm
    if idle and not LOW_IDLE_CRANK_RPM <= idle <= HIGH_IDLE_CRANK_RPM:
        yield Notice("engine", "idle", f"An idle of {idle} crank rpm is unusual: is it read at the crank?")
    cylinders = job.unit.cylinders
    if engine.cylinders and cylinders and engine.cylinders != cylinders:
        yield Notice(
            "unit",
            "cylinders",
            f"The unit fires {cylinders} cylinders, the engine has {engine.cylinders}.",
        )
