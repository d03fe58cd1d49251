"""What to look at before any spring."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from curves import engine
from curves.judging import verdicts
from curves.rows import frames
from curves.rows.results import InBoth
from curves.trials.lessons import Lesson
from curves.trials.log import Trial
from curves.words.english import in_percent

LIKELY = 0.5  # a chance that a person counts on
LITTLE_BELIEF = 0.75  # left to the chances, where that is said; two chances of 80 % that failed leave 70 %
FEW_IN_THE_MIDDLE = 0.5  # of curves in the middle of the band, judged so: below it the reading is the limit


def look_first(
    found: engine.Proposals, newest: Lesson, log: Sequence[Trial], drive: engine.Drive, frame: str
) -> Iterator[str]:
    """What to look at before any spring: weights that stick, promises broken, a scale too coarse; in the
    frame of who types, the other beside. ``newest`` is the lesson that tells how far the sweeps lie apart."""
    apart, speed = verdicts.sweeps_apart(newest.readings)
    sticking = found.sticking
    if sticking and apart < verdicts.APART_DEG:
        apart, speed = sticking.apart_deg, sticking.at_rpm
    if sticking or apart >= verdicts.APART_DEG:
        far = frames.shaft_angle(verdicts.tidy(apart), frame, drive)
        text = f"Free the weights: the sweeps lie {far} apart at {frames.shaft_speed(speed, frame, drive)}."
        if sticking:
            freed = in_percent(sticking.freed_chance)
            text += f" With weights that swing freely the best chance would be {freed}, not "
            text += f"{in_percent(sticking.chance)}."
        yield text
    if doubts := [*_broken(log), *_doubted(found.belief)]:
        yield (
            f"{' '.join(doubts)} Look for what no reading tells: a loop that slips, a post that gives, "
            "a bench that shakes."
        )
    if found.corners_cut_rpm:
        speeds = frames.speeds([InBoth.speed(rpm, drive) for rpm in found.corners_cut_rpm], frame)
        yield (
            f"Read at {speeds} too, rising and falling: the band bends there, and the straight "
            "line between the readings beside it leaves the band whatever springs hang in."
        )
    elif found.greatest_chance < FEW_IN_THE_MIDDLE:
        yield (
            "The band is narrow for this scale: a curve in its very middle would be judged in it "
            f"{in_percent(found.greatest_chance)} of the time. Read a finer scale, or agree a wider band."
        )


def _broken(log: Sequence[Trial]):
    """What was said when pairs were chosen and did not come true; one alone may well be chance."""
    promises = [(one.run, one.promise) for one in log if one.promise]
    broken = [(run, said) for run, said in promises if said.kept is False and said.chance >= LIKELY]
    if len(broken) > 1:
        yield f"Promised and missed: {', '.join(f'{run} at {said.shown}' for run, said in broken)}."


def _doubted(belief: float):
    """That the chances are taken down, for what the model would have had earlier runs come to."""
    if belief < LITTLE_BELIEF:
        yield (
            f"The chances here are taken down to {in_percent(belief)} of what the model gives, since it "
            "would have been wrong about runs so far."
        )
