"""How alike two curves or two engines are, and the nearest of many."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Indices
from ..codes import EngineWarning
from ..curve import AnyCurve, Curve
from ..readings import MAX_SPEED_RPM, as_floats, checked_count, checked_number

DESCRIPTION_RPM = np.arange(200.0, 3001.0, 100.0)  # shaft speeds at which a description holds the advance
DESCRIPTION_RPM.setflags(write=False)
MOST = 1e9  # of any value that is compared
MARGIN = 4  # candidates per neighbour wanted that are measured again without rounding


@dataclass(frozen=True)
class CurveDistance:
    """How far one curve lies from another over the speeds both cover, in the shaft frame.

    Attributes
    ----------
    rms_deg : float
        Root of the mean square difference [shaft degree].
    mean_deg : float
        Mean difference, first minus second [shaft degree]: what an initial timing would take off.
    worst_deg, worst_rpm : float
        Greatest size of the difference, and where.
    from_rpm, to_rpm : float
        Speeds compared [rpm].
    """

    rms_deg: float
    mean_deg: float
    worst_deg: float
    worst_rpm: float
    from_rpm: float
    to_rpm: float


def curve_distance(
    first: AnyCurve, second: AnyCurve, *, from_rpm: float | None = None, to_rpm: float | None = None
) -> CurveDistance:
    """Measure the distance between two curves.

    Parameters
    ----------
    first, second : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Straight between their points.
    from_rpm, to_rpm : float, optional
        Speeds to compare over [shaft rpm]; by default those both curves cover. Beyond its ends a curve is
        level.

    Returns
    -------
    CurveDistance

    Raises
    ------
    ValueError
        If the curves share no speed, or a value is NaN or out of range.

    Notes
    -----
    rms^2 = integral of d^2 over the speeds / their span, exact: over a straight piece from d0 to d1 the mean
    of d^2 is (d0^2 + d0 d1 + d1^2) / 3.

    References
    ----------
    Simpson's rule is exact for parabolas; elementary.

    Examples
    --------
    >>> distance = curve_distance(([500, 1500], [0, 10]), ([500, 1500], [0, 13]))
    >>> round(distance.rms_deg, 6), distance.mean_deg, distance.worst_deg, distance.worst_rpm
    (1.732051, -1.5, 3.0, 1500.0)
    """
    one, two = Curve.of(first), Curve.of(second)
    low = max(one.speed_rpm[0], two.speed_rpm[0])
    high = min(one.speed_rpm[-1], two.speed_rpm[-1])
    if from_rpm is not None:
        low = checked_number("from_rpm", from_rpm, 0.0, MAX_SPEED_RPM)
    if to_rpm is not None:
        high = checked_number("to_rpm", to_rpm, 0.0, MAX_SPEED_RPM)
    if low > high:
        raise ValueError(f"the curves must share speeds, got none from {low:g} to {high:g} rpm")
    both = np.concatenate([one.speed_rpm, two.speed_rpm])
    speed = np.unique(np.concatenate([[low, high], both[(both > low) & (both < high)]]))
    gap = one.at(speed) - two.at(speed)
    worst = int(np.argmax(np.abs(gap)))
    if len(speed) == 1:
        square, mean = gap[0] ** 2, gap[0]
    else:
        width = np.diff(speed) / (high - low)
        square = width @ (gap[:-1] ** 2 + gap[:-1] * gap[1:] + gap[1:] ** 2) / 3.0
        mean = width @ (gap[:-1] + gap[1:]) / 2.0
    return CurveDistance(
        float(np.sqrt(square)),
        float(mean),
        float(abs(gap[worst])),
        float(speed[worst]),
        float(low),
        float(high),
    )


def describe_curve(curve: AnyCurve) -> Floats:
    """Describe a curve by its advance at fixed speeds, to be kept and compared with many others.

    Parameters
    ----------
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)

    Returns
    -------
    ndarray, shape (29,)
        Advance [shaft degree] at 200, 300 ... 3000 shaft rpm, level beyond the ends of the curve.

    Raises
    ------
    ValueError
        If a value is NaN or out of range.

    Notes
    -----
    The root mean square difference of two descriptions is close to `CurveDistance.rms_deg` over these speeds.

    References
    ----------
    Sampling at equal steps; elementary.

    Examples
    --------
    >>> describe_curve(([500, 1500], [0, 10]))[[0, 3, 8, 28]]
    array([ 0.,  0.,  5., 10.])
    """
    return Curve.of(curve).at(DESCRIPTION_RPM)


@dataclass(frozen=True, eq=False)
class Neighbours:
    """The nearest rows of a table, the nearest first: their places and distances, and what to look at."""

    index: Indices
    distance: Floats
    warnings: tuple[EngineWarning, ...] = ()


@dataclass(frozen=True, eq=False)
class Shelf:
    """Many descriptions kept ready to be searched.

    Parameters
    ----------
    descriptions : array_like, shape (n, m)
        One description a row, all finite.

    Raises
    ------
    ValueError
        If the table is empty, not rectangular, or holds a value that is not finite.

    Notes
    -----
    distance = sqrt(mean((x - q)^2)) to every row.

    References
    ----------
    Exhaustive search, as by scikit-learn's NearestNeighbors with the brute-force method.

    Examples
    --------
    >>> shelf = Shelf([[0, 5, 10], [0, 6, 12], [0, 2, 4]])
    >>> found = shelf.nearest([0, 5, 11], 2)
    >>> found.index.tolist(), found.distance.round(6).tolist()
    ([0, 1], [0.57735, 0.816497])
    """

    descriptions: Floats

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(self, descriptions: ArrayLike) -> None: ...

    def __post_init__(self) -> None:
        table = checked_table("descriptions", self.descriptions)
        table.setflags(write=False)
        object.__setattr__(self, "descriptions", table)

    @cached_property
    def _half_squares(self) -> Floats:
        return 0.5 * np.einsum("ij,ij->i", self.descriptions, self.descriptions)

    def nearest(self, description: ArrayLike, count: int = 10) -> Neighbours:
        """Give the rows nearest to a description by root mean square difference.

        Parameters
        ----------
        description : array_like, shape (m,)
            As many values as a row of the shelf, all finite.
        count : int, default 10
            How many, a whole number from 1; no more are given than there are rows.

        Returns
        -------
        Neighbours

        Raises
        ------
        ValueError
            If the description is not as long as a row or not finite, or the count is no whole number.

        Notes
        -----
        |x - q|^2 = |x|^2 - 2 x q + |q|^2 ranks all rows by one product; the few best are measured again
        directly, so that rounding neither shows in a distance nor turns two neighbours round.

        References
        ----------
        Exhaustive search, as by scikit-learn's NearestNeighbors with the brute-force method.

        Examples
        --------
        >>> Shelf([[0, 5, 10], [0, 6, 12], [0, 2, 4]]).nearest([0, 3, 5], 1).index.tolist()
        [2]
        """
        rows, width = self.descriptions.shape
        query = checked_row("description", description, width)
        wanted = wanted_count(count, rows)
        rank = self._half_squares - self.descriptions @ query
        few = np.arange(rows)
        if rows > MARGIN * wanted:
            few = np.sort(np.argpartition(rank, MARGIN * wanted)[: MARGIN * wanted])
        distance = np.sqrt(((self.descriptions[few] - query) ** 2).mean(axis=1))
        order = np.argsort(distance, kind="stable")[:wanted]
        return Neighbours(few[order], distance[order])


def nearest_curves(curve: AnyCurve, descriptions: Shelf | ArrayLike, count: int = 10) -> Neighbours:
    """Return the nearest of many curves to one, by root mean square difference of their descriptions.

    Parameters
    ----------
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
    descriptions : Shelf or array_like, shape (n, 29)
        Rows made by `describe_curve`; a `Shelf` saves the preparation when it is searched more than once.
    count : int, default 10
        How many, at least 1; no more are returned than there are rows.

    Returns
    -------
    Neighbours
        Distances in [shaft degree].

    Raises
    ------
    ValueError
        If the table is empty or has another width, or a value is not finite.

    Notes
    -----
    distance = sqrt(mean((x - q)^2)).

    References
    ----------
    Exhaustive search, as by scikit-learn's NearestNeighbors with the brute-force method.

    Examples
    --------
    >>> rows = [describe_curve(([500, 1500], [0, top])) for top in (8, 10, 14)]
    >>> nearest_curves(([500, 1500], [0, 10.5]), rows, 1).index
    array([1])
    """
    shelf = descriptions if isinstance(descriptions, Shelf) else Shelf(descriptions)
    return shelf.nearest(describe_curve(curve), count)


def checked_table(name: str, values: ArrayLike, *, unknown: bool = False) -> Floats:
    """Give `values` as a table of finite numbers, NaN too where something may be unknown."""
    table = as_floats(name, values, "a table of numbers with rows of one length")
    if table.ndim != 2 or not table.size:
        raise ValueError(f"{name} must have at least 1 row and 1 column, got shape {table.shape}")
    return _comparable(name, table, unknown)


def checked_row(name: str, values: ArrayLike, width: int, *, unknown: bool = False) -> Floats:
    """Give `values` as a row of as many finite numbers as the table has columns, or NaN too."""
    row = as_floats(name, values)
    if row.shape != (width,):
        raise ValueError(f"{name} must have {width} values, as many as the table, got shape {row.shape}")
    return _comparable(name, row, unknown)


def _comparable(name: str, values: Floats, unknown: bool):
    """Give `values` back if their differences can be squared."""
    bad = ~(np.abs(values) <= MOST) & ~(unknown & np.isnan(values))
    if bad.any():
        wanted = f"finite, -{MOST:g} to {MOST:g}{', or NaN for unknown' * unknown}"
        raise ValueError(f"{name} must be {wanted}, got {values[bad][0]:g}")
    return values


def wanted_count(count: int, rows: int) -> int:
    """Give how many neighbours to return of so many rows."""
    return min(checked_count("count", count), rows)
