"""What is unusual about a card: accepted as it was written, and said beside it."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from jobs.models import Job
from jobs.rules.agreed_for import earlier_engine_words
from jobs.rules.agreement import agreement_of
from shop.amounts import FRAME
from shop.models import Shop

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


def notices(job: Job, shop: Shop) -> list[Notice]:
    """Everything unusual that is written on a card; amounts are in the currency of the shop."""
    return [*_agreed(job), *_money(job, shop), *_engine(job), *_earlier(job)]


def _earlier(job: Job) -> Iterator[Notice]:
    if said := earlier_engine_words(job):
        yield Notice("setting", "earlier-engine", said)


def _agreed(job: Job) -> Iterator[Notice]:
    opened = timezone.localdate(job.opened_at)
    if job.promised_on and job.promised_on < opened:
        yield Notice(
            "agreed",
            "promised-in-the-past",
            f"Promised for {job.promised_on:%-d %B %Y}, before the card was opened.",
        )


def _money(job: Job, shop: Shop) -> Iterator[Notice]:
    stands = agreement_of(job)
    if stands.awaits_answer and stands.is_estimate_over_limit:
        section = "agreed" if job.revised_estimate is None else "answer"
        over = f"The estimate of {_in(shop, stands.asked)} is over the limit of {_in(shop, stands.limit)}"
        yield Notice(section, "estimate-over-limit", f"{over}, {FRAME}: the customer must agree first.")
    if stands.over_by:
        over = (
            f"Parts and labour of {_in(shop, stands.spent)} are over the limit of {_in(shop, stands.limit)}"
        )
        text = f"{over} by {_in(shop, stands.over_by)}, {FRAME}: the customer must agree first."
        yield from (Notice(section, "parts-over-limit", text) for section in ("parts", "answer"))
    if stands.is_declined:
        text = (
            "The customer declined. Ask anew with another estimate, or close the card without the repair."
            if stands.has_customer
            else "Its owner declined before it became shop stock. Give the card back to them, or close it"
            " without the repair."
        )
        yield Notice("answer", "declined", text)


def _in(shop: Shop, amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:.2f} {shop.currency}"


def _engine(job: Job) -> Iterator[Notice]:
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
