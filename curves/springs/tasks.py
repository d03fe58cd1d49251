"""The worker's side of what heads teach: a task takes a key and calls an action; lost nudges are swept up."""

from __future__ import annotations

from celery import shared_task

from curves.springs import learning
from shop import nudges
from shop.claims import MAX_TRIES


@shared_task(name=learning.LEARN)
def learn_type(pk: int) -> None:
    learning.learn(pk)


def sweep() -> None:
    """Queue every type that should be in hand and is not, and fail those that a worker died on too often."""
    learning.CLAIMS.give_up_dead(f"The worker stopped {MAX_TRIES} times while learning it.")
    for pk in learning.CLAIMS.waiting():
        nudges.send(learning.LEARN, pk=pk)
