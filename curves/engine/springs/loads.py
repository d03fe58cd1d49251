"""A spring as a spring tester shows it: rate, initial tension and free length from lengths and loads."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any, overload

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..codes import Code, EngineWarning, Refused, warn
from ..readings import checked_array, checked_number
from .spring import (
    MAX_LENGTH_MM,
    MAX_RATE_N_PER_MM,
    MAX_TENSION_N,
    MIN_LENGTH_MM,
    MIN_RATE_N_PER_MM,
    Spring,
    within_range,
)

LOAD_SD_N = 0.05  # a shop's spring scale and a caliper on two loops; common practice, no source
LENGTH_SD_MM = 0.1
KNOWN_SD = 1e-3  # no shop knows a spring better
MIN_APART_MM = 0.01  # no caliper tells two lengths that lie closer
SURE = 3.0  # standard deviations before a reading or a scatter is called wrong


@dataclass(frozen=True, eq=False)
class SpringTest:
    """What loads at lengths say of a spring; every `_se` is a standard error.

    Attributes
    ----------
    rate_n_per_mm, rate_se : float
        Rate [N/mm].
    initial_tension_n, initial_tension_se_n : float
        Pull that only just opens the coils [N]; where the readings don't tell it, 0 with an error of NaN.
    free_length_mm, free_length_se_mm : float
        Length between the loops where the coils begin to open [mm].
    residual_n : ndarray, shape (n,)
        Loads above the straight line [N], in the order given; NaN for a reading without load.
    converged : bool
        Whether rate, tension and length each come from readings rather than from an assumption.
    warnings : tuple of EngineWarning
        What to look at.
    """

    rate_n_per_mm: float
    rate_se: float
    initial_tension_n: float
    initial_tension_se_n: float
    free_length_mm: float
    free_length_se_mm: float
    residual_n: Floats
    converged: bool
    warnings: tuple[EngineWarning, ...]

    @property
    def tension_is_known(self) -> bool:
        """Whether the readings tell the initial tension, rather than that it was taken as 0."""
        return not np.isnan(self.initial_tension_se_n)

    def spring(self, key: Hashable) -> Spring:
        """Make the `Spring` of this test, under the name the shop gives it."""
        tension = self.initial_tension_n
        known: dict[str, Any] = {"rate_sd": self.rate_se / self.rate_n_per_mm}
        if tension > 0:
            known["initial_tension_sd"] = self.initial_tension_se_n / tension
        known["free_length_sd_mm"] = self.free_length_se_mm
        known = {name: within_range(name, max(value, KNOWN_SD)) for name, value in known.items()}
        return Spring(key, self.rate_n_per_mm, self.free_length_mm, tension, **known)


def spring_from_loads(
    length_mm: ArrayLike,
    load_n: ArrayLike,
    *,
    free_length_mm: float | None = None,
    load_sd_n: float = LOAD_SD_N,
    length_sd_mm: float = LENGTH_SD_MM,
) -> SpringTest:
    """Find rate, initial tension and free length of an extension spring from loads at lengths.

    Parameters
    ----------
    length_mm : array_like, shape (n,)
        Length between the loops [mm], above 0.
    load_n : array_like, shape (n,)
        Pull at that length [N]; a reading of 0 gives the free length.
    free_length_mm : float, optional
        Free length as measured with the spring unloaded [mm], above 0.
    load_sd_n, length_sd_mm : float
        Standard deviations of one reading [N], [mm], above 0.

    Returns
    -------
    SpringTest

    Raises
    ------
    ValueError
        If lengths differ, or a value is NaN or out of range.
    Refused
        If a single load comes without a free length, all loads are at one length, a spring pulls below its
        free length, or what follows is no spring: the load does not rise with length, rises by more than
        1000 N/mm, or leaves a free length of 0 or less.

    Notes
    -----
    F = T0 + k (L - L0), a straight line through the loaded readings; T0 is its height at the free length.
    Without a free length T0 and L0 can't be told apart: T0 is then taken as 0 and L0 as where the line meets
    no load. A load is odd when the others lie on a line within three standard deviations, it lies further off
    that line, and no other load is such a one.

    References
    ----------
    Spring makers' guides: 10 lb at 0.5 in and 15 lb at 1 in are 5 lb of initial tension (newcombspring.com).

    Examples
    --------
    >>> test = spring_from_loads([22, 24, 26], [5.0, 7.0, 9.0], free_length_mm=20)
    >>> round(test.rate_n_per_mm, 6), round(test.initial_tension_n, 6)
    (1.0, 3.0)
    """
    length = checked_array("length_mm", length_mm, 0.0, MAX_LENGTH_MM, above=True)
    load = checked_array("load_n", load_n, 0.0, MAX_TENSION_N, like=("length_mm", length.size))
    load_sd = checked_number("load_sd_n", load_sd_n, 0.0, MAX_TENSION_N, above=True)
    length_sd = checked_number("length_sd_mm", length_sd_mm, 0.0, MAX_LENGTH_MM, above=True)
    free, free_sd = _free_length(length, load, free_length_mm, length_sd)
    pulled = load > 0
    _refuse_pull_below(free, length[pulled], float(np.hypot(length_sd, free_sd)))
    x, y = length[pulled], load[pulled]
    warnings = []
    told = free is not None
    if x.size and np.ptp(x) < MIN_APART_MM and free is not None:
        x, y = np.append(x, free), np.append(y, 0.0)
        warnings.append(warn(Code.LOADED_ONCE))
        told = False
    if not x.size or np.ptp(x) < MIN_APART_MM:
        wanted = f"two different lengths under load ({MIN_APART_MM:g} mm), or one and a free length"
        message = f"length_mm must hold {wanted}, got {length.tolist()}"
        raise Refused(message, warn(Code.LOADED_AT_ONE_LENGTH))
    line = _line(x, y, load_sd, length_sd)
    left = np.where(pulled, load - line.at(length), np.nan)
    _refuse_no_spring(line)
    if free is None:
        warnings.append(warn(Code.FREE_LENGTH_UNMEASURED))
    tension, tension_se, free, free_se = _at_rest(line, free, free_sd, warnings)
    if not MIN_LENGTH_MM <= free <= MAX_LENGTH_MM:
        message = f"length_mm and load_n must leave a free length above 0, got {free:.4g} mm"
        raise Refused(message, warn(Code.NO_FREE_LENGTH_LEFT, free_mm=free))
    warnings += _shape_doubts(x, y, line, load_sd, length_sd)
    if line.slope_se > line.slope:
        warnings.append(warn(Code.RATE_UNKNOWN, rate_n_per_mm=line.slope, error_n_per_mm=line.slope_se))
    return SpringTest(
        rate_n_per_mm=line.slope,
        rate_se=line.slope_se,
        initial_tension_n=tension,
        initial_tension_se_n=tension_se if told else np.nan,
        free_length_mm=free,
        free_length_se_mm=free_se,
        residual_n=left,
        converged=not warnings,
        warnings=tuple(warnings),
    )


def _free_length(length: Floats, load: Floats, given: float | None, length_sd: float):
    """Return the free length and its standard deviation, as given or from the readings without load."""
    if given is not None:
        return checked_number("free_length_mm", given, 0.0, MAX_LENGTH_MM, above=True), length_sd
    slack = length[load == 0]
    if not slack.size:
        return None, np.nan
    return float(slack.mean()), length_sd / np.sqrt(slack.size)


def _refuse_pull_below(free: float | None, length: Floats, error_mm: float):
    """Refuse loads at lengths at which the spring would be shorter than unloaded."""
    if free is not None and length.size and length.min() < free - SURE * error_mm:
        shortest = length.min()
        raise Refused(
            f"length_mm must not be below the free length of {free:g} mm under load, got {shortest:g}",
            warn(Code.LOADED_BELOW_FREE_LENGTH, length_mm=shortest, free_mm=free),
        )


def _refuse_no_spring(line: _Line):
    """Refuse loads that do not rise with length as those of a spring do."""
    if line.slope > MAX_RATE_N_PER_MM:
        raise Refused(
            f"load_n must rise by at most {MAX_RATE_N_PER_MM:g} N/mm, got {line.slope:g} N/mm",
            warn(Code.LOAD_RISES_TOO_FAST, rate_n_per_mm=line.slope, most_n_per_mm=MAX_RATE_N_PER_MM),
        )
    if not line.slope >= MIN_RATE_N_PER_MM:
        message = f"load_n must rise with length_mm, got {line.slope:g} N/mm"
        raise Refused(message, warn(Code.LOAD_DOES_NOT_RISE))


@dataclass(frozen=True)
class _Line:
    middle: float
    height: float
    slope: float
    stated: float  # variance by the stated errors of load and length
    seen: float  # variance by the residuals, 0 for two readings
    count: int
    size: float

    @property
    def variance(self) -> float:
        return max(self.stated, self.seen)

    @property
    def scattered(self) -> bool:
        """Whether the readings scatter far more than they are said to."""
        return self.seen > SURE**2 * self.stated

    @property
    def slope_se(self) -> float:
        return float(np.sqrt(self.variance / self.size))

    @overload
    def at(self, x: float) -> float: ...
    @overload
    def at(self, x: Floats) -> Floats: ...
    def at(self, x: float | Floats) -> float | Floats:
        return self.height + self.slope * (x - self.middle)

    def se_at(self, x: float) -> float:
        return float(np.sqrt(self.variance * (1.0 / self.count + (x - self.middle) ** 2 / self.size)))


def _line(x: Floats, y: Floats, load_sd: float, length_sd: float):
    middle = x.mean()
    size = (x - middle) @ (x - middle)
    slope = float((x - middle) @ y / size)
    left = y - y.mean() - slope * (x - middle)
    stated = load_sd**2 + (slope * length_sd) ** 2
    seen = float(left @ left / (len(x) - 2)) if len(x) > 2 else 0.0
    return _Line(float(middle), float(y.mean()), slope, stated, seen, len(x), float(size))


def _shape_doubts(x: Floats, y: Floats, line: _Line, load_sd: float, length_sd: float):
    """Give what keeps the loads off a straight line: one odd load, a bend, or scatter."""
    odd = _odd_loads(x, y, load_sd, length_sd) if line.scattered else []
    if len(odd) == 1:
        yield warn(Code.LOAD_MISFITS, load_n=y[odd[0]], length_mm=x[odd[0]])
    elif _bent(x, y, line):
        yield warn(Code.LOADS_BEND)
    elif line.scattered:
        yield warn(Code.LOADS_SCATTER, scatter_n=np.sqrt(line.seen), expected_n=np.sqrt(line.stated))


def _odd_loads(x: Floats, y: Floats, load_sd: float, length_sd: float):
    """Give the places of loads without which the others lie on a line that these are far from."""
    odd = []
    for place in range(len(x)):
        others = np.arange(len(x)) != place
        if np.ptp(x[others]) < MIN_APART_MM:
            continue
        rest = _line(x[others], y[others], load_sd, length_sd)
        own = np.hypot(rest.se_at(x[place]), np.sqrt(rest.stated))
        if not rest.scattered and abs(y[place] - rest.at(x[place])) > SURE * own:
            odd.append(place)
    return odd


def _at_rest(line: _Line, free: float | None, free_sd: float, warnings: list[EngineWarning]):
    """Return initial tension and free length with their errors, and warn when they contradict each other."""
    zero = line.middle - line.height / line.slope
    zero_se = line.se_at(zero) / line.slope
    if free is None:
        return 0.0, 0.0, zero, zero_se
    tension = line.at(free)
    tension_se = float(np.hypot(line.se_at(free), line.slope * free_sd))
    if tension < -2.0 * tension_se:
        warnings.append(warn(Code.PULL_STARTS_LATE, pull_mm=zero, free_mm=free))
        return 0.0, tension_se, zero, zero_se
    return max(tension, 0.0), tension_se, free, free_sd


def _bent(x: Floats, y: Floats, line: _Line):
    """Tell whether a curvature stands out of the scatter by more than three standard errors."""
    if np.unique(x).size < 4:
        return False
    u = (x - line.middle) / np.sqrt(line.size / line.count)
    columns = np.stack([np.ones_like(u), u, u**2], axis=1)
    inverse = np.linalg.inv(columns.T @ columns)
    coef = inverse @ columns.T @ y
    left = y - columns @ coef
    seen = left @ left / (len(x) - 3)
    return bool(abs(coef[2]) > 3.0 * np.sqrt(max(seen, line.stated) * inverse[2, 2]))
