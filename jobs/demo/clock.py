"""Sets the clock back while the demo's past is told, so that actions date what they do as it happened."""

from contextlib import contextmanager
from datetime import datetime, time, timedelta

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


def working_moment(now, days):
    """The moment so many working days (and parts of one) from today's opening; the past is negative."""
    whole = int(np.floor(days))
    day = np.busday_offset(now.date(), whole, roll="backward").astype(object)
    opens, closes = (datetime.combine(day, at, tzinfo=now.tzinfo) for at in (OPENS, CLOSES))
    return opens + timedelta(seconds=round((closes - opens).total_seconds() * (days - whole)))
