"""Sets the clock back while the demo's past is told, so that actions date what they do as it happened."""

from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta

import numpy as np
from django.utils import timezone

OPENS, CLOSES = time(8, 10), time(17, 20)


@contextmanager
def clock_at(moment):
    """Within it, ``timezone.now()`` says this moment."""
    real = timezone.now
    timezone.now = lambda: moment
    try:
        yield
    finally:
        timezone.now = real


def working_day(today, offset):
    """The date so many working days from today; the past is negative."""
    return np.busday_offset(today, offset, roll="backward").astype(object)


def working_moment(today, days):
    """The moment so many working days (with a fraction: the hour) from this morning, in opening hours."""
    whole = int(np.floor(days))
    opens, closes = (datetime.combine(working_day(today, whole), at, tzinfo=UTC) for at in (OPENS, CLOSES))
    return opens + timedelta(seconds=round((closes - opens).total_seconds() * (days - whole)))
