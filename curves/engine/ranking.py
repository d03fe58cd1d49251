"""Many pairs of springs over many draws at once: their curves, and the chance that each lies in a band."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from .equilibrium import TORQUE_PER_RPM_SQUARED, settle
from .model import MODEL_SD_DEG
from .prior import BEND_SD_MM, FRICTION, GAP, GROWTH, INERTIA, STRETCH, TRAVEL

BLOCK = 1 << 16  # angles worked on at once: they and their helpers stay in the processor's cache
TRAVEL_SD_DEG = 0.1  # how well a stop is set to a smaller travel


class Choices(NamedTuple):
    """What could be tried: indices into the drawer, bends of the posts, travel (nan leaves it); all (n, ...)."""

    primary: np.ndarray
    secondary: np.ndarray
    bend_mm: np.ndarray  # (n, 2)
    travel_deg: np.ndarray

    def take(self, rows):
        """Give some of the choices."""
        return Choices(*(part[rows] for part in self))


class Scores(NamedTuple):
    """How choices do: chance to lie in the band, expected worst miss [deg], best initial timing [deg]."""

    chance: np.ndarray  # (n,)
    worst_miss_deg: np.ndarray  # (n,)
    initial_deg: np.ndarray  # (n,)


@dataclass(frozen=True, eq=False)
class Bench:
    """Draws of a head and of all springs in a drawer, ready to be combined.

    `head` has shape (d, 8), each table of springs (springs, d, 3): log rate, free length, initial tension.
    `bend_error` has shape (d, 2): a post that is bent ends up a little beside where it should.
    """

    head: np.ndarray
    primaries: np.ndarray
    secondaries: np.ndarray
    bend_error: np.ndarray
    travel_error: np.ndarray

    def curves(self, choices, speed_rpm):
        """Give the advance of each choice in each draw, shape (n, d, speeds)."""
        head = self.head
        travel = np.exp(head[:, TRAVEL])
        if not np.isnan(choices.travel_deg).all():
            smaller = choices.travel_deg[:, None] + self.travel_error
            travel = np.where(np.isnan(smaller), travel, np.minimum(smaller, travel))[..., None]
        else:
            travel = travel[:, None]
        weight = np.exp(head[:, INERTIA, None]) * TORQUE_PER_RPM_SQUARED * speed_rpm**2
        friction, growth = np.exp(head[:, FRICTION, None]), head[:, GROWTH, None]
        tables = ((self.primaries, choices.primary), (self.secondaries, choices.secondary))
        lines = tuple(self._lines(place, *table, choices.bend_mm) for place, table in enumerate(tables))
        return settle(lines, weight, growth, friction, travel)

    def _lines(self, place, table, index, bend_mm):
        """Give one spring's torque in each choice and draw as a line in the angle, parts (n, d, 1)."""
        bend = bend_mm[:, place, None]
        stretch = np.exp(self.head[:, STRETCH.start + place])
        gap = (
            np.exp(self.head[:, GAP.start + place])
            + bend
            + np.where(bend != 0, self.bend_error[:, place], 0.0)
        )
        rate, slack = np.exp(table[..., 0])[index], table[index, :, 1] - gap
        offset = (table[index, :, 2] - rate * slack) * stretch
        return offset[..., None], (rate * stretch**2)[..., None], (slack / stretch)[..., None]

    def score(self, choices, target):
        """Score all choices against a target, block by block."""
        size = max(1, BLOCK // (len(self.head) * target.speed_rpm.size))
        blocks = range(0, len(choices.primary), size)
        parts = [self._score(choices.take(slice(start, start + size)), target) for start in blocks]
        return Scores(*(np.concatenate(part) for part in zip(*parts, strict=True)))

    def margins(self, choices, target, initial_deg):
        """Give how far inside the band each choice lies in each draw [deg], negative outside, shape (n, d)."""
        miss = self.curves(choices, target.speed_rpm) - target.advance_deg + initial_deg[:, None, None]
        return (target.tolerance_deg - np.abs(miss)).min(axis=-1)

    def _score(self, choices, target):
        miss = self.curves(choices, target.speed_rpm) - target.advance_deg
        low, high = target.initial_range_deg
        best = None
        for initial in _initials(miss, target.tolerance_deg, low, high):
            shifted = np.abs(miss + initial[:, None, None])
            chance = chance_inside((target.tolerance_deg - shifted).min(axis=-1)).mean(axis=-1)
            worst = shifted.max(axis=-1).mean(axis=-1)
            if best is None:
                best = Scores(chance, worst, initial)
            else:
                better = (chance > best.chance) | ((chance == best.chance) & (worst < best.worst_miss_deg))
                best = Scores(
                    *(np.where(better, new, old) for new, old in zip((chance, worst, initial), best))
                )
        return best


def chance_inside(margin_deg):
    """Give the chance to lie inside, the model itself being off a little."""
    return ndtr(margin_deg / MODEL_SD_DEG)


def _initials(miss, tolerance_deg, low, high):
    """Propose initial timings for each choice [deg]: the middle of what suits the draws, and beside it."""
    if low == high:
        return [np.full(len(miss), low)]
    centre = np.clip(np.median(centring_initial(miss, tolerance_deg), axis=-1), low, high)
    return [np.clip(centre + shift, low, high) for shift in (0.0, -0.25, 0.25)]


def centring_initial(miss, tolerance_deg):
    """Give the shift that makes the worst of |miss + shift| / tolerance least, over the last axis.

    Between a point that is too high by m and one that is too low by n the best shift weighs them by their
    tolerances: -(m tol_n + n tol_m) / (tol_m + tol_n). The pair whose best is worst decides.
    """
    both = tolerance_deg[:, None] + tolerance_deg[None, :]
    worst = (miss[..., :, None] - miss[..., None, :]) / both
    flat = worst.reshape(*worst.shape[:-2], -1)
    high, low = np.divmod(flat.argmax(axis=-1), tolerance_deg.size)
    at_high = np.take_along_axis(miss, high[..., None], axis=-1)[..., 0]
    at_low = np.take_along_axis(miss, low[..., None], axis=-1)[..., 0]
    return -(at_high * tolerance_deg[low] + at_low * tolerance_deg[high]) / (
        tolerance_deg[high] + tolerance_deg[low]
    )


def make_bench(head, primaries, secondaries, rng):
    """Put draws together with the errors of hands that bend posts and set stops."""
    count = len(head)
    errors = rng.standard_normal((count, 3))
    return Bench(head, primaries, secondaries, BEND_SD_MM * errors[:, :2], TRAVEL_SD_DEG * errors[:, 2])
