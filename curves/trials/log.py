"""The log of the trials: each run against the band, and against what was said of it when it was chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from curves import engine
from curves.judging import verdicts
from curves.judging.proof import Proof
from curves.models import Run
from curves.rows import convert
from curves.rows.results import Miss
from curves.trials import promises, reading_plan
from curves.trials.lessons import Lesson
from curves.trials.promises import Promise


@dataclass(frozen=True)
class Trial:
    """One line of the log: a run and what came of it."""

    run: Run
    in_band: bool | None
    miss: Miss | None
    teaches: bool
    note: str
    initial_crank_deg: float | None = None  # what the verdict takes as set, where that may move
    promise: promises.Promise | None = None
    proof: Proof | None = None  # of a final run, which is judged by more than a trial

    @property
    def pair(self) -> tuple[int | None, int | None]:
        return self.run.primary_id, self.run.secondary_id


def trial_of(
    lesson: Lesson, band: engine.Target | None, bands: Sequence[engine.Target | None], drive: engine.Drive
) -> Trial:
    """A run against the band; ``bands``: as proposals aim at it today, the initial timing set or free."""
    in_band, miss, initial = _judged(lesson.readings, band, drive)
    promise = promise_of(lesson.run, bands, drive, lesson.readings)
    return Trial(lesson.run, in_band, miss, lesson.teaches is not None, lesson.note, initial, promise)


def promise_of(
    run: Run,
    bands: Sequence[engine.Target | None],
    drive: engine.Drive,
    readings: engine.Readings | None = None,
) -> Promise | None:
    """What was said of a run's pair when it was chosen from the proposals, or None of any other run.

    It was said of the band as it was then, and is held to that one; of a run read up and down, so that half
    of one in the band has not kept it yet.
    """
    if run.promised is None:
        return None
    columns, initial = run.promised["band"], promises.initial_of(run.promised)
    kept = None if readings is None else _kept(readings, promises.band_of(columns), initial, drive)
    same = columns in [promises.columns_of(band) for band in bands if band is not None]
    return promises.Promise(run.promised["chance"], kept, same, initial)


def _kept(readings: engine.Readings, band: engine.Target, initial: float | None, drive: engine.Drive):
    """Whether it came true: at the initial timing it was said of, not at whichever suits the run best."""
    if initial is not None:
        band = convert.band_below(band, drive.to_shaft_deg(initial))
    in_band = _judged(readings, band, drive)[0]
    return None if in_band and not reading_plan.is_whole(readings, band) else in_band


def _judged(readings: engine.Readings, band: engine.Target | None, drive: engine.Drive):
    """Verdict and miss, with the best initial timing [crank degree] where that may move, else None."""
    initial = None
    if band is not None and band.initial_range_deg[0] < band.initial_range_deg[1]:
        initial = _best_initial(verdicts.rising(readings), band, drive)
        band = convert.band_below(band, drive.to_shaft_deg(initial))
    in_band, miss, _ = verdicts.verdict(readings, band, drive)
    return in_band, miss, initial


def _best_initial(curve: engine.Readings, band: engine.Target, drive: engine.Drive):
    """The best initial timing of a curve, or the middle of the range while it has not reached the band."""
    if curve.speed_rpm[-1] < band.speed_rpm[0] or curve.speed_rpm[0] > band.speed_rpm[-1]:
        return drive.to_crank_deg(sum(band.initial_range_deg) / 2)
    return engine.best_initial(curve, band, drive=drive).initial_crank_deg
