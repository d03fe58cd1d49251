"""What was asked of the customer, what they agreed to, and what the work has come to so far.

All amounts are in the shop's currency and as the customer pays them, tax included. The shop's own stock, and
practice units, have nobody to ask. What an earlier owner of the unit agreed to binds nobody after them; their
no stands until whoever owns it then has said something.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import DecimalField, F, Prefetch, QuerySet, Subquery, Sum, prefetch_related_objects
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce

from jobs.models import EstimateAnswer, Job, PartLine

ANSWER = "the customer's answer"
CONSENT = "the customer's consent: they declined"
LIMIT = "the customer's agreement to what goes over the limit"
OF_THE_CUSTOMER = (ANSWER, CONSENT, LIMIT)

ANSWERS = Prefetch("answers", EstimateAnswer.objects.select_related("by", "customer"))

_CENT = Decimal("0.01")
_MONEY = DecimalField(max_digits=20, decimal_places=4)
_SAID = EstimateAnswer.Said


@dataclass(frozen=True)
class Stand:
    """What the customer said to what was asked last: a state, its words, an amount where it wants one."""

    state: str
    words: str
    to: Decimal | None = None


@dataclass(frozen=True)
class Agreement:
    """How a card stands with its customer."""

    asked: Decimal | None  # the estimate, as revised; none: none was made
    limit: Decimal | None  # none: none was agreed, which is not a limit of 0
    spent: Decimal  # parts and labour, without what was left off or has no price
    answer: EstimateAnswer | None  # the owner's latest that was not taken back, to whatever was asked then
    has_customer: bool
    was_refused: bool = False  # the last word of an earlier owner was no
    is_over: bool = False  # the card is closed: what was not asked or answered by then never will be

    @property
    def is_answered(self) -> bool:
        """Whether there is an answer to what is asked now."""
        return self.answer is not None and self._was_answered and self.answer.asked == self.asked

    @property
    def _was_answered(self) -> bool:
        return self.answer is not None and self.answer.said != _SAID.NONE

    @property
    def is_estimate_over_limit(self) -> bool:
        return self.asked is not None and self.limit is not None and self.asked > self.limit

    @property
    def awaits_answer(self) -> bool:
        """Whether an answer is due: to an estimate that no agreed limit covers, or to anything after a no."""
        if not self.has_customer or self.is_answered:
            return False
        if self.asked is None:
            return self._refused_before
        unsettled = self.answer is not None and self.answer.said in (_SAID.NONE, _SAID.DECLINED)
        return unsettled or self._refused_before or self.limit is None or self.is_estimate_over_limit

    @property
    def is_declined(self) -> bool:
        """Whether the last word is no, and nothing else was asked since; shop stock can't overrule one."""
        if not self.has_customer:
            return self.was_refused and not self.is_over
        return self._last_said_no and (self.asked is None or self.is_answered)

    @property
    def is_refused(self) -> bool:
        """Whether nobody said yes since the last no, whatever was asked since."""
        return self._last_said_no or self._refused_before

    @property
    def _refused_before(self) -> bool:
        return self.was_refused and self.answer is None

    @property
    def _last_said_no(self) -> bool:
        return self.answer is not None and self.answer.said == _SAID.DECLINED

    @property
    def stand(self) -> Stand:
        """How the customer stands to what is asked, for people to read, on a closed card too."""
        if self._was_answered and (self.is_answered or (self.asked is None and self._last_said_no)):
            return Stand("declined" if self._last_said_no else "done", str(self.answer))
        if self.asked is None and not self.awaits_answer:
            return (
                Stand("na", "Nothing was asked") if self.is_over else Stand("open", "Nothing was asked yet")
            )
        words = ("na", "Not answered") if self.is_over else ("open", "No answer yet")
        return Stand(*words, self.asked)

    @property
    def over_by(self) -> Decimal | None:
        """By how much parts and labour lie over the limit, or None where they don't."""
        if not self.has_customer or self.limit is None or self.spent <= self.limit:
            return None
        return self.spent - self.limit

    @property
    def to_ask(self) -> Decimal | None:
        """The amount to ask for next: the estimate, or what the work has come to if that is more."""
        is_past = self.over_by or (self.limit is None and self.asked is not None)
        return self.spent if is_past and self.spent > (self.asked or 0) else self.asked

    @property
    def needs(self) -> list[str]:
        """What is missing of the customer before the card goes on, in plain words."""
        wanted = {ANSWER: self.awaits_answer, CONSENT: self.is_declined, LIMIT: self.over_by is not None}
        return [need for need in OF_THE_CUSTOMER if wanted[need]]


def agreement_of(job: Job) -> Agreement:
    """How a card stands; one query for its answers, the first time, if it came with ``facts.with_facts``."""
    prefetch_related_objects([job], ANSWERS)
    rows = [row for row in job.answers.all() if row.taken_back_at is None]
    theirs = [row for row in rows if row.customer_id == job.customer_id and not job.is_stock]
    earlier = [row for row in rows if row not in theirs]
    amounts = [row.amount for row in theirs if row.amount is not None]
    spent = job.spent if hasattr(job, "spent") else _sum(job.parts.all())
    return Agreement(
        asked=asked_of(job),
        limit=amounts[-1] if amounts else limit_of_intake(job),
        spent=to_cents(spent),
        answer=theirs[-1] if theirs else None,
        has_customer=not (job.is_stock or job.is_practice or job.is_closed),
        was_refused=bool(earlier) and earlier[-1].said == _SAID.DECLINED,
        is_over=job.is_closed,
    )


def asked_of(job: Job) -> Decimal | None:
    """The estimate that stands: the revised one, else the one of intake, else None."""
    return job.estimate if job.revised_estimate is None else job.revised_estimate


def limit_of_intake(job: Job) -> Decimal | None:
    """The limit agreed when the card was opened, if it was agreed with who owns the unit now; else None."""
    return job.agreed_limit if job.limit_agreed_with_id == job.customer_id else None


def labour_so_far(job: Job) -> Decimal:
    """What the hours on a card come to."""
    return to_cents(_sum(job.parts.filter(state=PartLine.State.LABOUR)))


def spent_on(job: Combinable) -> Coalesce:
    """An expression: what the parts and hours of a row's card come to; ``job`` is its key."""
    lines = _charged(PartLine.objects.filter(job=job)).order_by()
    return Coalesce(
        Subquery(lines.values("job").annotate(cost=_COST).values("cost")), Decimal(0), output_field=_MONEY
    )


def to_cents(amount: Decimal) -> Decimal:
    return amount.quantize(_CENT, ROUND_HALF_UP)


_COST = Sum(F("price") * F("quantity"), output_field=_MONEY)


def _charged(lines: QuerySet[PartLine]) -> QuerySet[PartLine]:
    return lines.filter(price__isnull=False).exclude(state=PartLine.State.LEFT_OFF)


def _sum(lines: QuerySet[PartLine]) -> Decimal:
    return _charged(lines).aggregate(cost=_COST)["cost"] or Decimal(0)
