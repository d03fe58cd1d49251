"""Which engines are alike: nearest neighbours by attributes of which some may be unknown."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..codes import Code, warn
from .curves import Neighbours, checked_row, checked_table, wanted_count

MIN_SPREAD = 1e-9  # an attribute that differs by less does not differ


def nearest_engines(
    attributes: ArrayLike, table: ArrayLike, count: int = 10, *, spread: ArrayLike | None = None
) -> Neighbours:
    """Return the rows of a table of engine attributes nearest to one engine, each in its own spread.

    Parameters
    ----------
    attributes : array_like, shape (m,)
        Displacement, compression, cylinders and the like; NaN is unknown.
    table : array_like, shape (n, m)
        The same of many engines; NaN is unknown.
    count : int, default 10
        How many, at least 1; no more are returned than there are comparable rows.
    spread : array_like, shape (m,), optional
        Standard deviation of each attribute, at least 0; by default that of the table. One without spread is
        left out.

    Returns
    -------
    Neighbours
        Distances in standard deviations; over the attributes known of both, scaled up to all of them.

    Raises
    ------
    ValueError
        If the table is empty or shapes differ, a value is infinite, or no attribute can be compared.

    Notes
    -----
    d^2 = m / k sum ((x_j - q_j) / s_j)^2 over the k attributes known of both, of m that are compared.

    References
    ----------
    Standard scores with the population standard deviation; missing values as in scikit-learn's
    nan_euclidean_distances.

    Examples
    --------
    >>> near = nearest_engines([4, 1500], [[4, 1600], [6, 2500], [8, 5000]], 2)
    >>> near.index, near.distance.round(3)
    (array([0, 1]), array([0.07 , 1.408]))
    """
    rows = checked_table("table", table, unknown=True)
    query = checked_row("attributes", attributes, rows.shape[1], unknown=True)
    scale = _spread(rows) if spread is None else checked_row("spread", spread, rows.shape[1])
    if (scale < 0).any():
        raise ValueError(f"spread must be at least 0, got {scale.min():g}")
    used = np.isfinite(query) & (scale > MIN_SPREAD)
    if not used.any():
        raise ValueError("attributes must hold one that is known and that differs in the table, got none")
    gap = (rows[:, used] - query[used]) / scale[used]
    known = np.isfinite(gap)
    shared = known.sum(axis=1)
    square = np.where(known, gap, 0.0) ** 2
    distance = np.full(len(rows), np.inf)
    some = shared > 0
    distance[some] = np.sqrt(square[some].sum(axis=1) * used.sum() / shared[some])
    wanted = min(wanted_count(count, len(rows)), int(some.sum()))
    order = np.argsort(distance, kind="stable")[:wanted]
    unknown = (shared[order] < used.sum()).any()
    warnings = (warn(Code.ATTRIBUTES_UNKNOWN),) if unknown else ()
    return Neighbours(order, distance[order], warnings)


def _spread(rows: Floats):
    known = np.isfinite(rows)
    count = np.maximum(known.sum(axis=0), 1)
    mean = np.where(known, rows, 0.0).sum(axis=0) / count
    off = np.where(known, rows - mean, 0.0)
    return np.sqrt((off**2).sum(axis=0) / count)
