"""Many pairs of springs over many draws at once: their curves, and the chance that each lies in a band."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import reduce
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtr

from ..arrays import Flags, Floats, Indices
from ..bands.band import Target
from ..fitting.model import MODEL_SD_DEG
from ..governor.equilibrium import TORQUE_PER_RPM_SQUARED, settle
from ..governor.prior import BEND_SD_MM, FRICTION, GAP, GROWTH, INERTIA, STRETCH, TRAVEL
from .judge import Look
from .sweeps import Sweeps

BLOCK = 1 << 14  # angles worked on at once: they and their helpers stay in the processor's cache
FAIR_CHANCE = 0.1  # below it a try is a gamble
TRAVEL_SD_DEG = 0.1  # how well a stop is set to a smaller travel
INITIAL_SHIFTS_DEG = (0.0, -0.25, 0.25)
LEFT_AFTER_A_RUN_DEG = 0.25  # what is still unknown of a pair's curve once it was run
SAME_PLACE_MM = 1e-4
# Single precision halves the work; it is off by 1e-5 degree at most, and no one bends a post that well.
PRECISION = np.float32


Rows = Indices | Flags | slice | list[int]


class Choices(NamedTuple):
    """What could be tried: indices into the drawer, bends of the posts, travel (NaN leaves it as it is)."""

    primary: Indices  # (n,)
    secondary: Indices  # (n,)
    bend_mm: Floats  # (n, 2)
    travel_deg: Floats  # (n,)

    def take(self, rows: Rows) -> Choices:
        """Give some of the choices."""
        return Choices(self.primary[rows], self.secondary[rows], self.bend_mm[rows], self.travel_deg[rows])

    def bent(self, first: Floats, second: Floats) -> Choices:
        """Give each choice with every pair of added bends, those of one choice next to each other."""
        added = np.stack(np.meshgrid(first, second, indexing="ij"), axis=-1).reshape(-1, 2)
        each = self.take(np.repeat(np.arange(len(self.primary)), len(added)))
        return each._replace(bend_mm=each.bend_mm + np.tile(added, (len(self.primary), 1)))


class Scores(NamedTuple):
    """How choices do: chance to lie in the band, expected worst miss [deg], best initial timing [deg]."""

    chance: Floats  # (n,)
    worst_miss_deg: Floats  # (n,)
    initial_deg: Floats  # (n,)

    def take(self, rows: Rows) -> Scores:
        """Give some of the scores."""
        return Scores(*(part[rows] for part in self))


@dataclass(frozen=True, eq=False)
class Bench:
    """Draws of a head and of all springs in a drawer, ready to be combined."""

    head: Floats  # (draws, 8)
    primaries: Floats  # (springs, draws, 3) log rate, free length, tension / rate
    secondaries: Floats
    bend_error: Floats  # (draws, 2) [mm] a post that is bent ends up a little beside where it should
    stays_mm: Floats  # (2,) where the last run left the posts: one that stays there is not bent again
    stays_error: Floats  # (draws, 2) [mm] and how far beside they are
    travel_error: Floats  # (draws,) [deg]
    look: Look | None = None  # how the run will be read; None: chances are of the rising curve itself

    @classmethod
    def make(
        cls,
        head: Floats,
        primaries: Floats,
        secondaries: Floats,
        stays_mm: Floats,
        stays_error: Floats,
        rng: np.random.Generator,
    ) -> Bench:
        """Put draws together with the errors of hands that bend posts and set stops."""
        errors = rng.standard_normal((len(head), 3))
        hands = (BEND_SD_MM * errors[:, :2], stays_mm, stays_error, TRAVEL_SD_DEG * errors[:, 2])
        parts: Iterator[Any] = (part.astype(PRECISION) for part in (head, primaries, secondaries, *hands))
        return cls(*parts)

    def read(self, target: Target, sweeps: Sweeps) -> Bench:
        """Give the bench on which chances are of the verdict on a run that is read so."""
        return replace(self, look=Look.make(target, sweeps, len(self.head), PRECISION))

    def thinned(self, stride: int) -> Bench:
        """Give the bench with every so many-th draw."""
        whole = ("stays_mm", "look")
        parts = {part.name: getattr(self, part.name) for part in fields(self) if part.name not in whole}
        thin: dict[str, Any] = {
            name: part[:, ::stride] if part.ndim == 3 else part[::stride] for name, part in parts.items()
        }
        return replace(self, **thin, look=self.look and self.look.thinned(stride))

    @property
    def directions(self) -> tuple[bool, ...]:
        """Give the directions in which a curve is held against the band's points: as they will be read."""
        both = self.look is not None and self.look.judge.sweeps.falling.any()
        return (False, True) if both else (False,)

    @property
    def softness_deg(self) -> float:
        """Give how softly the band's edge is taken where a chance is only estimated [deg]."""
        if self.look is None:
            return MODEL_SD_DEG
        sweeps = self.look.judge.sweeps
        return float(np.hypot(sweeps.scatter_deg, sweeps.scale_deg / 12.0**0.5))

    def freed(self, share: float) -> Bench:
        """Give the bench with weights of which only this share of the friction is left."""
        head = self.head.copy()
        head[:, FRICTION] += PRECISION(np.log(share))
        return replace(self, head=head)

    def with_side(self, place: int, table: Floats) -> Bench:
        """Give the bench with other springs on one side."""
        return replace(self, **{("primaries", "secondaries")[place]: table})

    def centre(self) -> Bench:
        """Give the bench with one draw only, the mean, and hands that do not err."""
        head, primaries, secondaries = (
            part.mean(axis=-2, keepdims=True) for part in (self.head, self.primaries, self.secondaries)
        )
        no_error = np.zeros((1, 2), PRECISION)
        still = np.zeros(1, PRECISION)
        look = self.look and self.look.thinned(len(self.head))
        return Bench(head, primaries, secondaries, no_error, self.stays_mm, no_error, still, look)

    def curves(self, choices: Choices, speed_rpm: Floats, falling: bool = False) -> Floats:
        """Give the advance of each choice in each draw, shape (n, draws, speeds), one way.

        Speeds have the shape (speeds,), or (draws, speeds) where they differ between the draws.
        """
        head = self.head
        travel = np.exp(head[:, TRAVEL])
        if not np.isnan(choices.travel_deg).all():
            smaller = choices.travel_deg[:, None].astype(PRECISION) + self.travel_error
            travel = np.where(np.isnan(smaller), travel, np.minimum(smaller, travel))
        turning = (TORQUE_PER_RPM_SQUARED * speed_rpm**2).astype(PRECISION)
        weight = np.exp(head[:, INERTIA, None]) * turning
        friction, growth = np.exp(head[:, FRICTION, None]), head[:, GROWTH, None]
        tables = ((self.primaries, choices.primary), (self.secondaries, choices.secondary))
        first, second = (self._lines(place, *table, choices.bend_mm) for place, table in enumerate(tables))
        return settle((first, second), weight, growth, friction, travel[..., None], falling)

    def _lines(self, place: int, table: Floats, index: Indices, bend_mm: Floats):
        """Give one spring's torque in each choice and draw as a line in the angle, parts (n, draws, 1)."""
        bend = bend_mm[..., place].astype(PRECISION)
        bend = bend if bend.ndim == 2 else bend[:, None]
        stretch = np.exp(self.head[:, STRETCH.start + place])
        error = np.where(bend != 0, self.bend_error[:, place], PRECISION(0))
        stays = np.abs(bend - self.stays_mm[place]) < SAME_PLACE_MM
        error = np.where(stays, self.stays_error[:, place], error)
        slack = table[index, :, 1] - np.exp(self.head[:, GAP.start + place]) - bend - error
        slope = np.exp(table[..., 0])[index] * stretch
        at_rest = slope * (table[index, :, 2] - slack)
        return at_rest[..., None], (slope * stretch)[..., None], (slack / stretch)[..., None]

    def score(self, choices: Choices, target: Target) -> Scores:
        """Score all choices against a target."""
        parts = [self._score(block, target) for block in self._blocks(choices, target)]
        if not parts:
            return Scores(*(np.zeros(0) for _ in Scores._fields))
        return Scores(*(np.concatenate(part) for part in zip(*parts, strict=True)))

    def chances(self, choices: Choices, target: Target, initial_deg: Floats) -> Floats:
        """Give each draw's own chance that a choice lies in the band, shape (n, draws)."""
        if self.look is not None:
            return self._judged(self.look, choices, initial_deg)
        parts, start = [], 0
        for block in self._blocks(choices, target):
            stop = start + len(block.primary)
            miss = self._misses(block, target) + initial_deg[start:stop, None, None].astype(PRECISION)
            parts.append(chance_inside(_margin(np.abs(miss), self._tolerance(target))))
            start = stop
        return np.concatenate(parts)

    def _judged(
        self, look: Look, choices: Choices, initial_deg: Floats, left_deg: Floats | None = None
    ) -> Floats:
        """Give each draw's chance that a run will be judged to lie in the band, shape (n, draws).

        `left_deg` (draws,) shifts the whole curve of each draw: what is still unknown of it.
        """
        falling = look.judge.sweeps.falling
        size = max(1, BLOCK // look.speed_rpm.size)
        parts = []
        for start in range(0, len(choices.primary), size):
            rows = slice(start, start + size)
            ways = [
                self.curves(choices.take(rows), look.speed_rpm[:, falling == way], way)
                for way in (False, True)
                if (falling == way).any()
            ]
            advance = np.concatenate(ways, axis=-1)
            if left_deg is not None:
                advance = advance + left_deg[:, None]
            parts.append(look.chances(advance, initial_deg[rows]))
        return np.concatenate(parts)

    def prospects(self, choices: Choices, target: Target, bends_mm: Floats) -> Floats:
        """Give the chance that each choice could be bent into the band once it was run."""
        group = len(bends_mm) ** 2
        best = []
        for block in self._blocks(choices, target, group):
            wide = block._replace(bend_mm=np.zeros_like(block.bend_mm)).bent(bends_mm, bends_mm)
            miss = self._misses(wide, target)
            low, high = target.initial_range_deg
            initial = np.full(miss.shape[:2], low)
            if low < high:
                initial = np.clip(centring_initial(miss, self._tolerance(target)), low, high)
            margin = _margin(np.abs(miss + initial[..., None].astype(PRECISION)), self._tolerance(target))
            margin = margin.reshape(-1, group, len(self.head))
            if self.look is None:
                best.append(ndtr(margin.max(axis=1) / LEFT_AFTER_A_RUN_DEG).mean(axis=-1))
                continue
            at = np.arange(len(margin))[:, None] * group + margin.argmax(axis=1)  # each draw's own bend
            known = block._replace(bend_mm=wide.bend_mm[at])
            draws = np.arange(len(self.head))
            left = LEFT_AFTER_A_RUN_DEG * self.look.left
            best.append(self._judged(self.look, known, initial[at, draws], left).mean(axis=-1))
        return np.concatenate(best)

    def _blocks(self, choices: Choices, target: Target, each: int = 1):
        """Cut choices, each to be worked on `each` times, into blocks that fit the processor's cache."""
        points = target.speed_rpm.size * len(self.directions)
        size = max(1, BLOCK // (len(self.head) * points * each))
        for start in range(0, len(choices.primary), size):
            yield choices.take(slice(start, start + size))

    def _misses(self, choices: Choices, target: Target):
        """Give how far each choice is above the target in each draw [deg], shape (n, draws, points).

        The points are the target's as the speed rises, then as it falls if it is to be read so.
        """
        wanted = target.advance_deg.astype(PRECISION)
        ways = [self.curves(choices, target.speed_rpm, falling) - wanted for falling in self.directions]
        return ways[0] if len(ways) == 1 else np.concatenate(ways, axis=-1)

    def _tolerance(self, target: Target):
        """Give what is allowed at each of these points [deg]."""
        return np.tile(target.tolerance_deg.astype(PRECISION), len(self.directions))

    def _score(self, choices: Choices, target: Target):
        """Score one block of choices, with the best of a few initial timings."""
        miss, tolerance = self._misses(choices, target), self._tolerance(target)
        best = None
        for initial in _initials(miss, target, tolerance):
            off = np.abs(miss + initial[:, None, None])
            new = Scores(
                chance_inside(_margin(off, tolerance), self.softness_deg).mean(axis=-1),
                reduce(np.maximum, _points(off)).mean(axis=-1),
                initial,
            )
            if best is None:
                best = new
                continue
            better = new.chance > best.chance
            best = Scores(*(np.where(better, *pair) for pair in zip(new, best, strict=True)))
        return best


def chance_inside(margin_deg: Floats, softness_deg: float = MODEL_SD_DEG) -> Floats:
    """Give the chance to lie inside by a margin [deg], the model itself being off a little."""
    return ndtr(margin_deg / softness_deg)


def _margin(off: Floats, tolerance: Floats):
    """Give how far inside the band the worst point is [deg], negative outside."""
    return reduce(
        np.minimum, (allowed - point for allowed, point in zip(tolerance, _points(off), strict=True))
    )


def _points(values: Floats):
    """Put the target points first: a few long rows are faster than many short ones."""
    return np.moveaxis(values, -1, 0)


def _initials(miss: Floats, target: Target, tolerance: Floats):
    """Give initial timings to try with each choice [deg]: what suits the middle draw, and beside it."""
    low, high = (PRECISION(end) for end in target.initial_range_deg)
    if low == high:
        return [np.full(len(miss), low)]
    middle = np.median(centring_initial(miss, tolerance), axis=-1)
    return [np.clip(middle + PRECISION(shift), low, high) for shift in INITIAL_SHIFTS_DEG]


def centring_initial(miss: Floats, tolerance_deg: Floats) -> Floats:
    """Give the shift that makes the worst of |miss + shift| / tolerance least, over the last axis.

    Of a point that is too high by m and one too low by n the best shift weighs each by the other's tolerance:
    -(m tol_n + n tol_m) / (tol_m + tol_n). The two points that are then worst off decide.
    """
    tolerance = tolerance_deg.astype(miss.dtype)
    both = tolerance[:, None] + tolerance[None, :]
    worst = (miss[..., :, None] - miss[..., None, :]) / both
    decisive = worst.reshape(*miss.shape[:-1], -1).argmax(axis=-1)
    high, low = np.divmod(decisive, tolerance.size)
    at_high = np.take_along_axis(miss, high[..., None], axis=-1)[..., 0]
    at_low = np.take_along_axis(miss, low[..., None], axis=-1)[..., 0]
    return -(at_high * tolerance[low] + at_low * tolerance[high]) / (tolerance[high] + tolerance[low])
