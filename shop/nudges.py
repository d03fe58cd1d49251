"""Nudges to the worker: a row says what is to be done, a nudge only that something is; a loss costs time."""

import logging
from typing import Any

from django.db import transaction
from kombu.exceptions import OperationalError

from shop.celery import app

logger = logging.getLogger(__name__)


def send(task: str, **values: Any) -> None:
    """Queue a task by its name; a queue that can't be reached costs the time until the next sweep."""
    try:
        app.send_task(task, kwargs=values, retry=False)
    except (OperationalError, OSError):
        logger.warning("The queue can't be reached: %s waits for the sweep.", task)


def send_on_commit(task: str, **values: Any) -> None:
    """Queue a task once the transaction holds: no worker may look before the row is there."""
    transaction.on_commit(lambda: send(task, **values))
