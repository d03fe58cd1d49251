"""A curve of continuous straight pieces: its shape, value, slope and how surely it is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..arrays import Flags, Floats


@dataclass(frozen=True)
class Shape:
    """Which straight pieces a curve has: a floor, `slopes` sloping pieces and, with `stop`, a flat top.

    `level_free`: the height of the floor is fitted instead of given. `begin_free`: the first slope may begin
    anywhere; otherwise it begins at the lowest reading, so that there is no floor.
    """

    slopes: int
    stop: bool
    level_free: bool = False
    begin_free: bool = True

    @property
    def knots(self) -> int:
        return self.slopes + self.stop

    @property
    def parameters(self) -> int:
        return self.level_free + self.slopes + self.knots - (not self.begin_free)


@dataclass(frozen=True)
class Pieces:
    """One fitted shape: the height of its floor, its knots and the slopes between them."""

    shape: Shape
    level: float
    slopes: Floats
    knots: Floats
    sse: float
    converged: bool
    x: Floats

    @property
    def ends(self) -> Floats:
        """The ends of the sloping pieces; the last is infinite when there is no stop."""
        return self.knots if self.shape.stop else np.append(self.knots, np.inf)

    @cached_property
    def held(self) -> Flags:
        """Which sloping pieces have two readings inside; one at an end could belong next door."""
        ends, x = self.ends, np.unique(self.x)
        slack = 1e-9 * (x[-1] - x[0])
        lower = ends[:-1] + slack
        if not self.shape.begin_free:
            lower[0] = x[0]
        inside = np.searchsorted(x, ends[1:] - slack, side="left") - np.searchsorted(x, lower, side="left")
        return inside >= 2

    def value(self, x: Floats) -> Floats:
        return self.level + _ramps(np.asarray(x, float), self.ends) @ self.slopes

    def slope(self, x: Floats) -> Floats:
        """Return the slope just above `x`."""
        pieces = np.concatenate([[0.0], self.slopes, [0.0]])
        return pieces[np.searchsorted(self.ends, np.asarray(x, float), side="right")]

    def gradient(self, x: float | Floats) -> Floats:
        """Return how the value at `x` changes with level, slopes and knots, shape (n, 1 + slopes + knots)."""
        at = np.atleast_1d(np.asarray(x, float))
        pieces = np.concatenate([[0.0], self.slopes, [0.0]])
        bends = (pieces[:-1] - pieces[1:])[: self.shape.knots] * (at[:, None] > self.knots)
        bends[:, 0] *= self.shape.begin_free
        level = np.full((len(at), 1), float(self.shape.level_free))
        return np.concatenate([level, _ramps(at, self.ends), bends], axis=1)

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of level, slopes and knots, in this order, for readings of variance 1.

        What is given instead of fitted has zeros; what the readings leave open is infinite.
        """
        jacobian = self.gradient(self.x)
        size = np.sqrt((jacobian**2).sum(axis=0))
        unit = np.where(size > 0, size, 1.0)
        scaled = jacobian / unit
        values, vectors = np.linalg.eigh(scaled.T @ scaled)
        known = values > 1e-10
        inverse = (vectors[:, known] / values[known]) @ vectors[:, known].T
        covariance = inverse / np.outer(unit, unit)
        unfelt = (vectors[:, ~known] ** 2).sum(axis=1) > 1e-6
        loose = np.flatnonzero(~self.held)
        first_knot = 1 + len(self.slopes)
        unfelt[np.concatenate([1 + loose, first_knot + loose])] = True
        unfelt[(first_knot + 1 + loose)[loose + 1 < len(self.knots)]] = True
        unfelt &= size > 0
        covariance[unfelt, unfelt] = np.inf
        return covariance


def _ramps(x: Floats, ends: Floats):
    """Return clip(x, t_j, t_j+1) - t_j with the pieces on a new last axis."""
    return np.clip(x[..., None], ends[:-1], ends[1:]) - ends[:-1]
