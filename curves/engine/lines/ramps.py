"""Least squares of continuous straight pieces between free knots: the solver behind knees and capsules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..arrays import Flags, Floats, Indices
from .pieces import Pieces, Shape

STARTS = 8  # local searches per knot of a shape; the grid already ranks them
LEADING = 6  # of these so many go on after the first step
STEPS = 15
GRID = 20  # knots are first tried in this many of the gaps between readings at most
BELOW = -0.3  # and the first one also this many spans below the lowest reading
PARK = 1e3  # unused knots are parked this many spans above the readings, where their ramp is zero


def fit_pieces(x: ArrayLike, y: ArrayLike, shapes: Sequence[Shape], level: float = 0.0) -> list[Pieces]:
    """Fit each shape to the points by least squares and return the fits in the order of `shapes`.

    Every way to share the readings out to the pieces is tried in one sweep through tables of sums; the best
    few of every shape then go on together, each step being the exact least squares of its share.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Points in rising order of `x`; equal `x` are fine. As many different ones as a shape has parameters.
    shapes : sequence of Shape
        Each with at least one slope.
    level : float
        Height of the floor of the shapes whose level is not free.

    Notes
    -----
    y = level + sum_j slope_j (clip(x, t_j, t_j+1) - t_j). At the optimum each knot lies either where two
    separately fitted lines meet, inside the gap between the readings they share out, or on a reading.

    References
    ----------
    D. J. Hudson, Fitting segmented curves whose join points have to be estimated, J. Am. Stat. Assoc. 61
    (1966) 1097-1129.

    Examples
    --------
    >>> from curves.engine.lines.pieces import Shape
    >>> fit, = fit_pieces([0, 1, 2, 3, 4, 5], [0, 0, 2, 4, 4, 4], [Shape(1, stop=True)])
    >>> fit.knots.round(6), fit.slopes.round(6)
    (array([1., 3.]), array([2.]))
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    origin, span = x[0], x[-1] - x[0]
    u = (x - origin) / span
    most = max(shape.slopes for shape in shapes)
    tables = _Tables.of(u, y - level)
    starts = [_starts(tables, shape, most) for shape in shapes]
    owner = np.repeat(np.arange(len(shapes)), [len(knots) for knots in starts])
    knots, coef, sse, settled = _improve(u, y - level, shapes, owner, np.vstack(starts))
    fits = []
    for i, shape in enumerate(shapes):
        rows = np.flatnonzero(owner == i)
        best = rows[np.argmin(sse[rows])]
        fits.append(
            Pieces(
                shape=shape,
                level=float(level + coef[best, 0]),
                slopes=coef[best, 1 : 1 + shape.slopes] / span,
                knots=origin + span * knots[best, : shape.knots],
                sse=float(sse[best]),
                converged=bool(settled[best]),
                x=x,
            )
        )
    return fits


@dataclass(frozen=True)
class _Tables:
    """Sums over the readings of each ramp between two grid positions, of its square and its product with y.

    The grid: one position below the readings, the lowest reading, the middle of the gaps, the highest
    reading.
    """

    grid: Floats
    total: Floats
    square: Floats
    product: Floats
    count: int
    y_sum: float
    y_square: float

    @classmethod
    def of(cls, u: Floats, rest: Floats) -> _Tables:
        inside = np.unique(u)
        middle = 0.5 * (inside[:-1] + inside[1:])
        if len(middle) > GRID:
            middle = middle[np.linspace(0, len(middle) - 1, GRID).round().astype(int)]
        grid = np.concatenate([[BELOW, 0.0], middle, [1.0]])
        ramp = np.maximum(np.minimum(u, grid[:, None]) - grid[:, None, None], 0.0)
        sums = (ramp.sum(-1).ravel(), (ramp**2).sum(-1).ravel(), (ramp @ rest).ravel())
        return cls(grid, *sums, len(u), rest.sum(), float(rest @ rest))


def _starts(tables: _Tables, shape: Shape, most: int) -> Floats:
    """Return the knots of the best few grid fits of a shape, padded to the most knots there can be."""
    picks, flat = _picks(len(tables.grid), shape)
    count = STARTS * shape.knots
    if len(picks) > count:
        sse = _grid_errors(tables, picks, flat, shape)
        picks = picks[np.argpartition(sse, count)[:count]]
    padded = np.full((len(picks), most + 1), PARK) + np.arange(most + 1.0)
    padded[:, : shape.knots] = tables.grid[picks[:, : shape.knots]]
    return padded


@lru_cache(maxsize=256)
def _picks(size: int, shape: Shape):
    """Return every choice of grid positions for the ends of the ramps, and their places in the tables."""
    below, lowest, gaps, last = 0, 1, range(2, size - 1), size - 1
    begins = [lowest] if not shape.begin_free else [*gaps] if shape.level_free else [below, *gaps]
    top = () if shape.stop else (last,)
    picks = [
        (begin, *inner, *top)
        for begin in begins
        for inner in combinations([i for i in gaps if i > begin], shape.knots - 1)
    ]
    picks = np.array(picks)
    flat = np.ascontiguousarray((picks[:, :-1] * size + picks[:, 1:]).T)
    return picks, flat


def _grid_errors(tables: _Tables, picks: Indices, flat: Indices, shape: Shape):
    """Return the squared error of the linear fit at each choice of knots, from the normal equations."""
    ends = tables.grid[picks.T]
    width, total, square = np.diff(ends, axis=0), tables.total[flat], tables.square[flat]
    ones, m = int(shape.level_free), shape.slopes
    size = m + ones
    a = np.empty((size, size, len(picks)))
    b = np.empty((size, len(picks)))
    if ones:
        a[0, 0], b[0] = tables.count, tables.y_sum
        a[0, 1:] = total
    b[ones:] = tables.product[flat]
    for j in range(m):
        a[ones + j, ones + j] = square[j]
        for k in range(j + 1, m):  # where a later ramp has begun, an earlier one is at its full width
            np.multiply(width[j], total[k], out=a[ones + j, ones + k])
    explained = np.zeros(len(picks))
    for j in range(size):  # elimination of the upper triangle, all choices at once
        pivot = np.maximum(a[j, j], 1e-12)
        explained += b[j] ** 2 / pivot
        for k in range(j + 1, size):
            factor = a[j, k] / pivot
            b[k] -= factor * b[j]
            a[k, k:] -= factor * a[j, k:]
    return tables.y_square - explained


def _improve(u: Floats, rest: Floats, shapes: Sequence[Shape], owner: Indices, knots: Floats):
    """Improve all starts of all shapes together; return knots, coefficients, squared errors, settled."""
    search = _Search.of(u, rest, shapes).take(owner)
    state = (knots, *search.fit_linear(knots))
    out = [state[0].copy(), state[2].copy(), state[4].copy(), np.zeros(len(knots), bool)]
    rows = np.arange(len(knots))
    for step in range(STEPS):
        search, new = search.best_step(*state)
        gain = state[4] - new[4]
        done = gain <= 1e-13 * state[4] + search.tiny
        better = gain > 0
        state = tuple(
            np.where(better.reshape(-1, *[1] * (v.ndim - 1)), v, w) for v, w in zip(new, state, strict=True)
        )
        for kept, value in zip(out, (state[0], state[2], state[4], done), strict=True):
            kept[rows] = value
        if step == 0:
            done |= ~_leading(owner, state[4])
        if done.all():
            break
        rows, search, state = rows[~done], search.take(~done), tuple(v[~done] for v in state)
    return out


def _leading(owner: Indices, sse: Floats):
    """Mark the searches worth going on with: one exact step tells the few that can win from the rest."""
    order = np.lexsort((sse, owner))
    place = np.empty(len(owner), int)
    place[order] = np.arange(len(owner)) - np.searchsorted(owner, owner[order])
    return place < LEADING


@dataclass(frozen=True)
class _Search:
    """A batch of local searches: what each is free to change, and the linear fit and the step they share."""

    u: Floats
    rest: Floats
    tiny: float  # a squared error that is as good as none
    linear: Floats  # (batch, 1 + slopes): level and slopes in use
    free_knot: Flags  # (batch, knots)
    lowest: Floats  # (batch,): how far down the first knot may go

    @classmethod
    def of(cls, u: Floats, rest: Floats, shapes: Sequence[Shape]) -> _Search:
        """Set up one search per shape."""
        most = max(shape.slopes for shape in shapes)
        linear = [[s.level_free, *(j < s.slopes for j in range(most))] for s in shapes]
        free_knot = [[s.begin_free, *(j < s.knots for j in range(1, most + 1))] for s in shapes]
        lowest = [0.0 if s.level_free else -PARK for s in shapes]
        tiny = 1e-24 * float(rest @ rest) + 1e-300
        return cls(u, rest, tiny, np.array(linear, float), np.array(free_knot), np.array(lowest))

    def take(self, rows: Flags | Indices) -> _Search:
        return replace(
            self, linear=self.linear[rows], free_knot=self.free_knot[rows], lowest=self.lowest[rows]
        )

    def fit_linear(self, knots: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return basis, coefficients, residuals and squared error with the knots held."""
        linear = self.linear if len(knots) == len(self.linear) else np.concatenate([self.linear] * 2)
        lower, upper = knots[:, :-1, None], knots[:, 1:, None]
        basis = np.empty((len(knots), knots.shape[1], len(self.u)))
        basis[:, 0] = 1.0
        np.subtract(np.minimum(np.maximum(self.u, lower), upper), lower, out=basis[:, 1:])
        basis *= linear[:, :, None]
        coef = _solve(basis @ basis.transpose(0, 2, 1), basis @ self.rest, linear)
        left = self.rest - (coef[:, None, :] @ basis)[:, 0]
        return basis, coef, left, (left * left).sum(axis=1)

    def best_step(
        self, knots: Floats, basis: Floats, coef: Floats, left: Floats, sse: Floats
    ) -> tuple[_Search, tuple[Floats, ...]]:
        """Return the search and the state after the better of two steps.

        The first goes to where the separately fitted lines meet; the second no further than the gap each knot
        lies in, and a knot that comes to a reading is held there.
        """
        full = self.meet(knots, basis, coef, left)
        place = np.searchsorted(self.u, knots, side="left")
        padded = np.concatenate([[-PARK], self.u, [1.0]])
        floor = padded[place]
        roof = padded[np.minimum(place + 1, len(padded) - 1)]
        short = np.where(self.free_knot, np.minimum(np.maximum(full, floor), roof), knots)
        both = np.concatenate([full, short])
        both[:, 0] = np.maximum(both[:, 0], np.concatenate([self.lowest] * 2))
        both = np.maximum.accumulate(both, axis=1)
        tried = (both, *self.fit_linear(both))
        count = len(knots)
        far = tried[4][:count] < tried[4][count:]
        chosen = np.arange(count) + np.where(far, 0, count)
        held = ~far[:, None] & ((short == floor) | (short == roof))
        return replace(self, free_knot=self.free_knot & ~held), tuple(v[chosen] for v in tried)

    def meet(self, knots: Floats, basis: Floats, coef: Floats, left: Floats) -> Floats:
        """Return where the lines meet that fit each piece's readings best, continuous or not."""
        most = coef.shape[1]
        slopes = np.zeros((len(knots), most + 1))
        slopes[:, 1:-1] = coef[:, 1:]
        bend = slopes[:, :-1] - slopes[:, 1:]
        jumps = (self.free_knot & (np.abs(bend) > 1e-9))[:, :, None] * (self.u > knots[:, :, None])
        columns = np.concatenate([basis, jumps], axis=1)
        used = np.concatenate([self.linear, self.free_knot], axis=1)
        change = _solve(columns @ columns.transpose(0, 2, 1), (columns @ left[:, :, None])[:, :, 0], used)
        slopes[:, 1:-1] += change[:, 1:most]
        bend = slopes[:, :-1] - slopes[:, 1:]
        # A jump of the separate lines at the old knot is undone where they cross.
        safe = np.where(np.abs(bend) > 1e-9, bend, np.inf)
        return np.where(self.free_knot, np.minimum(knots + change[:, most:] / safe, 1.0), knots)


def _solve(normal: Floats, right: Floats, used: NDArray[Any]):
    """Solve batched normal equations; unused unknowns come out as zero, undetermined ones stay small."""
    diagonal = np.einsum("ijj->ij", normal)
    ridge = 1e-13 * diagonal.max(axis=1, keepdims=True) + 1e-200
    padded = normal + np.eye(normal.shape[1]) * (ridge + (1.0 - used))[:, None, :]
    return np.linalg.solve(padded, (right * used)[:, :, None])[:, :, 0]
