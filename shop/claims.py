"""Work done outside the request: a row waits, is claimed, worked on, done or failed; the row is the truth.

The model has state, claim, claimed_at, tries and error; the queue only nudges a worker.
"""

import secrets
from collections.abc import Sequence
from datetime import timedelta
from typing import Any, Protocol

from django.db.models import F, Model, Q, QuerySet
from django.db.models.expressions import OrderBy
from django.utils import timezone

WAITING, WORKING, DONE, FAILED = "waiting", "working", "done", "failed"
MAX_TRIES = 3


class Claimed(Protocol):
    """A row that is claimed, as far as its next try asks."""

    pk: int
    tries: int


class Claims:
    """The claims on the rows of one model, to be taken up in an order.

    A claim older than ``stale`` belongs to a worker that is gone.
    """

    def __init__(
        self, model: type[Model], *, stale: timedelta, order: Sequence[str | OrderBy] = ("pk",)
    ) -> None:
        self.model = model
        self.stale = stale
        self._order = order

    def waiting(self) -> list[int]:
        """Keys of the rows that a worker should take up: never begun, or left by a worker that is gone."""
        return list(self._rows(self._takeable()).order_by(*self._order).values_list("pk", flat=True))

    def claim(self, pk: int) -> str | None:
        """Take a row by one conditional UPDATE; None when another has it or nothing is to be done."""
        claim = secrets.token_hex(16)
        taken = self._rows(self._takeable(), pk=pk).update(
            state=WORKING, claim=claim, claimed_at=timezone.now(), tries=F("tries") + 1, error=""
        )
        return claim if taken else None

    def finish(self, pk: int, claim: str, **values: Any) -> bool:
        """Write what came of it, if the claim still holds; whoever lost it changes nothing."""
        return bool(self._rows(pk=pk, state=WORKING, claim=claim).update(state=DONE, error="", **values))

    def put_back(self, row: Claimed, claim: str, reason: str) -> bool:
        """After a failed try: wait for the next one, or fail for good after the last; True if it waits."""
        state = FAILED if row.tries >= MAX_TRIES else WAITING
        put_back = self._rows(pk=row.pk, state=WORKING, claim=claim).update(
            state=state, claim="", claimed_at=None, error=reason[:500]
        )
        return bool(put_back) and state == WAITING

    def retry(self, pk: int) -> bool:
        """Put a failed row back in the queue, with all its tries; a second click changes nothing."""
        return self.order(pk, state=FAILED)

    def order(self, pk: int, **conditions: Any) -> bool:
        """Put a row in the queue anew if it meets the conditions; True if it did."""
        ordered = self._rows(pk=pk, **conditions).update(
            state=WAITING, tries=0, error="", claim="", claimed_at=None
        )
        return bool(ordered)

    def give_up_dead(self, words: str) -> int:
        """Rows whose worker died on the last try have failed; returns how many."""
        return self._rows(self._abandoned(), tries__gte=MAX_TRIES).update(state=FAILED, error=words)

    def _rows(self, *conditions: Q, **more: Any) -> QuerySet:
        return self.model.objects.filter(*conditions, **more)

    def _abandoned(self) -> Q:
        now = timezone.now()
        # A claim from the future is one from before the clock was set back.
        old = Q(claimed_at__lt=now - self.stale) | Q(claimed_at__gt=now + self.stale)
        return Q(state=WORKING) & old

    def _takeable(self) -> Q:
        return Q(state=WAITING) | self._abandoned() & Q(tries__lt=MAX_TRIES)
