"""The worker's side of what heads teach: a task takes a key and calls an action; lost nudges are swept up."""

import logging

from celery import shared_task
from kombu.exceptions import OperationalError

from curves import learning
from shop.claims import MOST_TRIES

logger = logging.getLogger(__name__)


@shared_task(name="curves.learn_type")
def learn_type(pk):
    learning.learn(pk)


def send(pk):
    """Queue a type; a queue that can't be reached only costs the time until the next sweep."""
    try:
        learn_type.apply_async([pk], retry=False)
    except (OperationalError, OSError):
        logger.warning("The queue can't be reached: head type %s waits for the sweep.", pk)


def sweep():
    """Queue every type that should be in hand and is not, and fail those that a worker died on too often."""
    learning.CLAIMS.give_up_dead(f"The worker stopped {MOST_TRIES} times while learning it.")
    for pk in learning.CLAIMS.waiting():
        send(pk)
