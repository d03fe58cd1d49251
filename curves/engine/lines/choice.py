"""How many straight pieces readings call for."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .pieces import Pieces, Shape
from .ramps import fit_pieces

MAX_SLOPES = 3
DOUBT = 12.0  # evidence, in units of the criterion, that an odd description must have over a sound one


def choose_pieces(
    x: Floats, y: Floats, shapes: list[Shape], level: float | None, sd: float, *, forced: bool
) -> tuple[Pieces | None, bool]:
    """Return the best of the shapes, None for a flat line, and whether there were too few readings to choose.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Readings in rising order of `x`.
    shapes : list of Shape
        What may be chosen.
    level : float or None
        Height of the floor; None when the shapes fit it.
    sd : float
        Scatter of a reading, in the unit of `y`: following less than that gains nothing.
    forced : bool
        True: a flat line is no answer.

    Notes
    -----
    The least -2 log L + p log n is taken, L the normal likelihood with a standard deviation of at least `sd`.

    References
    ----------
    G. Schwarz, Estimating the dimension of a model, Annals of Statistics 6 (1978) 461-464.

    Examples
    --------
    >>> x = np.arange(8.0)
    >>> fit, too_few = choose_pieces(
    ...     x, 2 * np.clip(x - 1, 0, 3), [Shape(1, False), Shape(1, True)], 0.0, 0.1, forced=False
    ... )
    >>> fit.shape.stop, too_few
    (True, False)
    """
    speeds = len(np.unique(x))
    able = [shape for shape in shapes if shape.parameters <= speeds]
    if not able and speeds > 1:
        able = [Shape(1, stop=False, level_free=level is None and speeds > 2)]
    if not able:
        return None, True
    left = y - (y.mean() if level is None else level)
    lowest = np.inf if forced else _criterion(float(left @ left), level is None, len(x), sd)
    best = None
    for few in (True, False):
        # Even a fit without any error can't win once its own count of values costs more.
        group = [
            shape
            for shape in able
            if (shape.slopes < MAX_SLOPES) is few and _criterion(0.0, shape.parameters, len(x), sd) < lowest
        ]
        for fit in fit_pieces(x, y, group, 0.0 if level is None else level) if group else ():
            doubt = _doubt(fit) if speeds > 2 else 0.0
            score = _criterion(fit.sse, fit.shape.parameters, len(x), sd) + doubt
            if score < lowest:
                best, lowest = fit, score
    return best, speeds < 4


def _doubt(fit: Pieces):
    """Return what a fit is set back by when it is odd: a piece held by one reading, a begin below "
    "standstill."""
    return 0.0 if fit.held.all() and fit.knots[0] >= 0 else DOUBT


def _criterion(sse: float, parameters: int, count: int, sd: float):
    variance = max(sse / count, sd**2)
    return count * np.log(variance) + sse / variance + parameters * np.log(count)
