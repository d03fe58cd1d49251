"""A hand search, as a careful person does it with the labels and the posts, and one that picks at random."""

import numpy as np

from .workshop import BEND_LIMIT_MM

GIVE_UP = 100
CLOSE_DEG = 1.5  # nearer than this one bends the post, farther off one changes the spring
SETTLED_DEG = 0.35
MM_PER_DEG = 0.25  # a post bent so far moves the curve by about a degree
TRIMS = 3


class Side:
    """One post and its springs: between one that was too weak and one too strong, try the middle."""

    def __init__(self, springs, gap_mm, stretch_mm):
        self.springs = sorted(springs, key=lambda s: _pull(s.label, gap_mm + stretch_mm - s.label.length))
        self.low, self.high = -1, len(springs)
        self.at = len(springs) // 2
        self.bend, self.trims = 0.0, 0
        self.seen = {self.at}

    @property
    def spring(self):
        """Give the spring that hangs in."""
        return self.springs[self.at]

    def correct(self, too_much_deg):
        """Bend the post if it is nearly right, else change to a stronger or weaker spring."""
        bend = self.bend + too_much_deg * MM_PER_DEG
        if abs(too_much_deg) < CLOSE_DEG and self.trims < TRIMS and abs(bend) <= BEND_LIMIT_MM:
            self.bend, self.trims = round(bend / 0.05) * 0.05, self.trims + 1
            return
        if too_much_deg > 0:
            self.low = max(self.low, self.at)
        else:
            self.high = min(self.high, self.at)
        self._change()

    def _change(self):
        """Take the untried spring nearest to the middle of what is still open, or start over."""
        inside = [i for i in range(self.low + 1, self.high) if i not in self.seen]
        fresh = inside or [i for i in range(len(self.springs)) if i not in self.seen]
        if not fresh:
            self.seen, fresh = set(), list(range(len(self.springs)))
            self.low, self.high = -1, len(self.springs)
        middle = (self.low + self.high) / 2.0 if inside else self.at
        self.at = min(fresh, key=lambda i: abs(i - middle))
        self.seen.add(self.at)
        self.bend, self.trims = 0.0, 0


def _pull(label, stretch_mm):
    """Give the pull of a spring by its label at a stretch [mm]."""
    return label.tension + label.rate * max(stretch_mm, 0.0)


def careful(job):
    """Search by hand, the low end first, then the top, bending included; give the runs needed."""
    gaps, stretches, travel = job.unit.caliper((*job.seed, 3))
    first = Side(job.drawer.primaries, gaps[0], stretches[0] * travel / 3.0)
    second = Side(job.drawer.secondaries, gaps[1], stretches[1] * travel)
    speeds, wanted = job.unit.target(job.step_deg)
    for number in range(1, GIVE_UP + 1):
        run, good = job.run(first.spring, second.spring, number, (first.bend, second.bend))
        if good:
            return number
        off = np.interp(speeds, run.speed_rpm, run.advance_deg) - wanted
        low, high = float(off[:2].mean()), float(off[2:].mean())
        if abs(low) > max(SETTLED_DEG, 0.5 * abs(high)):
            first.correct(low)
        else:
            second.correct(high)
    return GIVE_UP + 1


def at_random(job):
    """Try pairs at random, posts straight; give the runs needed."""
    rng = np.random.default_rng((*job.seed, 5))
    for number in range(1, GIVE_UP + 1):
        pair = rng.choice(job.drawer.primaries), rng.choice(job.drawer.secondaries)
        if job.run(*pair, number)[1]:
            return number
    return GIVE_UP + 1
