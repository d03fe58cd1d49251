"""How the next run is taken to be read: its verdict, and so every chance, is of a run that is read so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from curves import engine
from curves.trials.lessons import Lesson
from shop.models import Shop

BOTH = 2  # sweeps


@dataclass(frozen=True)
class Way:
    """The speeds of a run to come [shaft rpm], which of them are read falling, and as what that was read."""

    speed_rpm: tuple[float, ...]
    falling: tuple[bool, ...]
    like: str

    @property
    def words(self) -> str:
        """As what, and how many readings each way: "trial run 2 (12 rising and 12 falling)"."""
        falling = sum(self.falling)
        rising = len(self.falling) - falling
        counts = " and ".join(
            f"{count} {way}" for count, way in ((rising, "rising"), (falling, "falling")) if count
        )
        return f"{self.like} ({counts})"


def way_of(lessons: Sequence[Lesson], band: engine.Target | None) -> Way:
    """As the newest run that was read whole; while there is none, up and down at the shop's bench speeds.

    A run that is still being read says nothing of how the next one will be: it looks as if few speeds and no
    falling sweep were to be judged. Costs a query while there is no whole run.
    """
    newest = newest_whole(lessons, band)
    if newest is None:
        up = [float(rpm) for rpm in Shop.current().bench_speeds_rpm]
        return Way((*up, *up), (False,) * len(up) + (True,) * len(up), "the shop’s usual sweep")
    readings = newest.readings
    return Way(tuple(readings.speed_rpm.tolist()), tuple(readings.falling.tolist()), str(newest.run).lower())


def newest_whole(lessons: Sequence[Lesson], band: engine.Target | None) -> Lesson | None:
    """The newest lesson whose run covers the band rising and falling, or None."""
    return next((one for one in reversed(lessons) if is_whole(one.readings, band)), None)


def is_whole(readings: engine.Readings, band: engine.Target | None) -> bool:
    """Whether each sweep was read, and reaches every point of the band; without a band, whether each was."""
    if band is None:
        return bool(readings.falling.any() and not readings.falling.all())
    verdicts = engine.judge_sweeps(band, readings)
    return len(verdicts) == BOTH and not any(np.isnan(found.at_points_deg).any() for found in verdicts)
