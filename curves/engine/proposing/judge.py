"""Many simulated runs judged at once: the chance that one will lie in the band as it will be read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Flags, Floats
from ..bands.band import EDGE_DEG, Target, band_edges
from ..fitting.model import TACHOMETER_JITTER_RPM, TACHOMETER_SD
from ..readings import checked_kind
from .sweeps import Sweeps, rows_of

SAMPLES = 4  # runs read of each draw
_SEED = 20_016


@dataclass(frozen=True, eq=False)
class Judge:
    """Judges many runs that cover the target at once, just as `judge_sweeps` judges one.

    Curve and edges are straight between their points, so a run lies in the band when each of its readings
    does, and each sweep where the target bends: there it is the line through the two readings beside.
    """

    sweeps: Sweeps
    share: Floats  # (readings, checks) what each reading adds to what is checked
    speed_rpm: Floats  # (checks,) where
    lower_deg: Floats  # (checks,)
    upper_deg: Floats

    @classmethod
    def of(cls, target: Target, sweeps: Sweeps) -> Judge:
        """Lay out what is checked of a run that is read so and covers the target."""
        checked_kind("target", target, Target)
        speeds, shares = [], []
        for falling in (False, True):
            rows = np.flatnonzero(rows_of(sweeps.speed_rpm, sweeps.falling, falling))
            if rows.size:
                at, share = _checked(target, sweeps.speed_rpm[rows])
                whole = np.zeros((sweeps.speed_rpm.size, at.size))
                whole[rows] = share
                speeds.append(at)
                shares.append(whole)
        at = np.concatenate(speeds)
        return cls(sweeps, np.concatenate(shares, axis=1), at, *band_edges(target, at))

    def inside(self, read_deg: Floats, initial_deg: float | Floats = 0.0) -> Flags:
        """Tell whether runs lie in the band, of readings (..., readings) in the order of the sweeps."""
        at = read_deg @ self.share.astype(read_deg.dtype) + np.asarray(initial_deg)[..., None]
        slack = EDGE_DEG if read_deg.dtype == float else 10.0 * EDGE_DEG
        inside = (at >= self.lower_deg - slack) & (at <= self.upper_deg + slack)
        return np.asarray(inside.all(axis=-1))

    def middle_chance(self, target: Target) -> float:
        """Give the chance that a curve in the very middle of the band would be judged to lie in it."""
        middle = self._middle(target)
        normal = np.random.default_rng(_SEED).standard_normal((1024, middle.size))
        return float(self.inside(_rounded(middle + self.sweeps.scatter_deg * normal, self.sweeps)).mean())

    def corners_cut(self, target: Target) -> tuple[float, ...]:
        """Give the target's speeds at which the line between two readings leaves the band at its bend."""
        at = self._middle(target) @ self.share
        out = (at < self.lower_deg - EDGE_DEG) | (at > self.upper_deg + EDGE_DEG)
        return tuple(map(float, np.unique(self.speed_rpm[out])))

    def _middle(self, target: Target):
        """Give readings in the middle of the band; beyond it they go on as it ends."""
        speed, wanted = target.speed_rpm, target.advance_deg
        if speed.size == 1:
            return np.full(self.sweeps.speed_rpm.size, wanted[0])
        at = self.sweeps.speed_rpm
        piece = np.clip(np.searchsorted(speed, at) - 1, 0, speed.size - 2)
        slope = np.diff(wanted) / np.diff(speed)
        return wanted[piece] + slope[piece] * (at - speed[piece])


@dataclass(frozen=True, eq=False)
class Look:
    """A judge, with the errors of as many runs as there are draws: those of tachometer and eye."""

    judge: Judge
    speed_rpm: Floats  # (draws, readings) where the shaft really turns
    scatter_deg: Floats  # (SAMPLES, draws, readings)
    left: Floats  # (draws,) standard normal, for what is left unknown of a curve

    @classmethod
    def make(cls, target: Target, sweeps: Sweeps, draws: int, dtype: type[np.floating]) -> Look:
        """Draw the errors of reading; the same number of draws gets the same errors."""
        rng = np.random.default_rng(_SEED)
        shape = (draws, sweeps.speed_rpm.size)
        off = 1.0 + TACHOMETER_SD * rng.standard_normal((draws, 1))  # one for a whole run
        speed = sweeps.speed_rpm * off + TACHOMETER_JITTER_RPM * rng.standard_normal(shape)
        scatter = sweeps.scatter_deg * rng.standard_normal((SAMPLES, *shape))
        errors = (np.maximum(speed, 0.0), scatter, rng.standard_normal(draws))
        return cls(Judge.of(target, sweeps), *(part.astype(dtype) for part in errors))

    def thinned(self, stride: int) -> Look:
        """Give every so many-th draw."""
        thin = self.speed_rpm[::stride], self.scatter_deg[:, ::stride], self.left[::stride]
        return Look(self.judge, *thin)

    def chances(self, advance_deg: Floats, initial_deg: Floats) -> Floats:
        """Give the chance of true curves to be judged in the band.

        Parameters
        ----------
        advance_deg : ndarray, shape (n, draws, readings)
        initial_deg : ndarray, shape (n,) or (n, draws)

        Returns
        -------
        ndarray, shape (n, draws)
        """
        inside = np.zeros(advance_deg.shape[:2], advance_deg.dtype)
        initial = initial_deg.astype(advance_deg.dtype).reshape(len(initial_deg), -1)
        for scatter in self.scatter_deg:
            read = _rounded(advance_deg + scatter, self.judge.sweeps)
            inside += self.judge.inside(read, initial)
        return inside / len(self.scatter_deg)


def _rounded(seen_deg: Floats, sweeps: Sweeps):
    """Read what is seen off the scale."""
    scale = sweeps.scale_deg
    return np.round(seen_deg / seen_deg.dtype.type(scale)) * seen_deg.dtype.type(scale) if scale else seen_deg


def _checked(target: Target, speed_rpm: Floats):
    """Give the speeds at which a sweep is checked, and the share of each reading there (readings, checks)."""
    low, high = target.speed_rpm[[0, -1]]
    own = np.flatnonzero((speed_rpm >= low) & (speed_rpm <= high))
    shares = [np.eye(speed_rpm.size)[:, own]]
    at, back, count = np.unique(speed_rpm, return_inverse=True, return_counts=True)
    between = target.speed_rpm[(target.speed_rpm >= at[0]) & (target.speed_rpm <= at[-1])]
    mean = np.eye(at.size)[back] / count[back, None]  # (readings, speeds): repeats are averaged
    shares.append(mean @ np.array([np.interp(between, at, row) for row in np.eye(at.size)]))
    return np.concatenate([speed_rpm[own], between]), np.concatenate(shares, axis=1)
