"""Whether the runs so far came out as the model would have had it, and how far it is to be believed.

Nothing here is what anybody was told: a run of a pair that nobody proposed says as much of the model.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..bands.band import Target
from ..fitting.calibrate import calibrate
from ..fitting.calibration import Calibration
from .drawer import Drawer
from .ranking import Choices
from .sweeps import Sweeps, judge_sweeps

LOOKED_AT = 4  # runs, the newest
STRANGE = 0.1  # of heads, that something is at work which neither readings nor model tell: common practice
STRANGE_SHARE = 0.5  # of what is forecast comes true on such a head


@dataclass(frozen=True)
class Forecast:
    """What the model gives a run from the runs before it, and whether it was judged in the band.

    Attributes
    ----------
    run : int
        Its place in the calibration's runs, from 0.
    chance : float
        Before any of it is taken down for what earlier forecasts came to.
    kept : bool

    Examples
    --------
    >>> Forecast(1, 0.9, False).kept
    False
    """

    run: int
    chance: float
    kept: bool


def forecasts_of(calibration: Calibration, target: Target) -> tuple[Forecast, ...]:
    """Give what the model had the newest runs come to; as received, and short of the band, nothing.

    Each costs a calibration on the runs before it, some 60 ms.
    """
    first = max(1, len(calibration.runs) - LOOKED_AT)
    made = (_forecast(calibration, target, index) for index in range(first, len(calibration.runs)))
    return tuple(forecast for forecast in made if forecast)


def _forecast(calibration: Calibration, target: Target, index: int):
    run = calibration.runs[index]
    sweeps = Sweeps(run.speed_rpm, run.falling, scale_deg=run.scale_deg)
    if run.falling.all() or sweeps.reaching(target).speed_rpm.size > run.speed_rpm.size:
        return None
    before = calibrate(calibration.head, calibration.runs[:index])
    drawer = Drawer.open(before, target, [run.primary], [run.secondary], sweeps=sweeps.as_loose_as(before))
    only = np.zeros(1, int)
    choice = Choices(only, only, np.array([run.post_bend_mm]), np.array([np.nan]))
    initial = drawer.bench.score(choice, target).initial_deg
    chance = float(drawer.bench.chances(choice, target, initial).mean())
    verdicts = judge_sweeps(target, run, initial_deg=float(initial[0]))
    return Forecast(index, chance, verdicts[0].within and all(v.worst_side == "inside" for v in verdicts))


def belief(forecasts: Iterable[Forecast]) -> float:
    """Give the share of a chance that is left once forecasts came true and failed.

    Either the head is as the model and its readings say, or something else is at work and only half of what
    is forecast comes true; each forecast kept or broken says which, by Bayes' rule.
    """
    odds = STRANGE / (1.0 - STRANGE)
    for forecast in forecasts:
        kept = forecast.chance
        odds *= STRANGE_SHARE if forecast.kept else (1.0 - STRANGE_SHARE * kept) / max(1.0 - kept, 0.01)
    return 1.0 - (1.0 - STRANGE_SHARE) * odds / (1.0 + odds)
