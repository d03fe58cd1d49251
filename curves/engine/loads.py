"""A spring as a spring tester shows it: rate, initial tension and free length from lengths and loads."""

from dataclasses import dataclass

import numpy as np

from .readings import checked_array, checked_number
from .springs import MAX_LENGTH_MM, MAX_TENSION_N, Spring

LOAD_SD_N = 0.05  # a shop's spring scale and a caliper on two loops; common practice, no source
LENGTH_SD_MM = 0.1
LEAST_RELATIVE_SD = 1e-3  # no shop knows a spring better


@dataclass(frozen=True, eq=False)
class SpringTest:
    """What loads at lengths say of a spring; every `_se` is a standard error.

    Attributes
    ----------
    rate_n_per_mm, rate_se : float
        Rate [N/mm].
    initial_tension_n, initial_tension_se_n : float
        Pull that only just opens the coils [N].
    free_length_mm, free_length_se_mm : float
        Length between the loops where the coils begin to open [mm].
    residual_n : ndarray, shape (n,)
        Loads above the straight line [N], in the order given; NaN for a reading without load.
    converged : bool
        Whether rate, tension and length each come from readings rather than from an assumption.
    warnings : tuple of str
        What to look at.
    """

    rate_n_per_mm: float
    rate_se: float
    initial_tension_n: float
    initial_tension_se_n: float
    free_length_mm: float
    free_length_se_mm: float
    residual_n: np.ndarray
    converged: bool
    warnings: tuple[str, ...]

    def spring(self, key) -> Spring:
        """Make the `Spring` of this test, under the name the shop gives it."""
        tension = self.initial_tension_n
        known = {"initial_tension_sd": self.initial_tension_se_n / tension} if tension > 0 else {}
        known = {name: min(max(value, LEAST_RELATIVE_SD), 10.0) for name, value in known.items()}
        return Spring(
            key,
            self.rate_n_per_mm,
            self.free_length_mm,
            tension,
            rate_sd=max(self.rate_se / self.rate_n_per_mm, LEAST_RELATIVE_SD),
            free_length_sd_mm=max(self.free_length_se_mm, LEAST_RELATIVE_SD),
            **known,
        )


def spring_from_loads(
    length_mm,
    load_n,
    *,
    free_length_mm=None,
    load_sd_n=LOAD_SD_N,
    length_sd_mm=LENGTH_SD_MM,
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
        If lengths differ, a value is NaN or out of range, a single load comes without a free length, all
        loads are at one length, or the load does not rise with length.

    Notes
    -----
    F = T0 + k (L - L0), a straight line through the loaded readings; T0 is its height at the free length.
    Without a free length T0 and L0 can't be told apart: T0 is then taken as 0 and L0 as where the line meets
    no load.

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
    x, y = length[pulled], load[pulled]
    words = []
    if np.unique(x).size == 1 and free is not None:
        x, y = np.append(x, free), np.append(y, 0.0)
        words.append("One load only: the initial tension was taken as 0; weigh it at a second length.")
    if np.unique(x).size < 2:
        wanted = "two different lengths under load, or one and a free length"
        raise ValueError(f"length_mm must hold {wanted}, got {length.tolist()}")
    line = _line(x, y, load_sd, length_sd)
    left = np.where(pulled, load - line.at(length), np.nan)
    if line.slope <= 0:
        raise ValueError(f"load_n must rise with length_mm, got {line.slope:g} N/mm")
    if free is None:
        words.append(
            "The free length was not measured: the initial tension was taken as 0. Measure the unloaded "
            "spring."
        )
    tension, tension_se, free, free_se = _at_rest(line, free, free_sd, words)
    if _bent(x, y, line):
        words.append(
            "The loads bend away from a straight line: look for loops that open, coils that were stretched, "
            "or a reading taken before the coils opened."
        )
    return SpringTest(
        rate_n_per_mm=line.slope,
        rate_se=line.slope_se,
        initial_tension_n=tension,
        initial_tension_se_n=tension_se,
        free_length_mm=free,
        free_length_se_mm=free_se,
        residual_n=left,
        converged=not words,
        warnings=tuple(words),
    )


def _free_length(length, load, given, length_sd):
    """Return the free length and its standard deviation, as given or from the readings without load."""
    if given is not None:
        return checked_number("free_length_mm", given, 0.0, MAX_LENGTH_MM, above=True), length_sd
    slack = length[load == 0]
    if not slack.size:
        return None, np.nan
    return float(slack.mean()), length_sd / np.sqrt(slack.size)


@dataclass(frozen=True)
class _Line:
    middle: float
    height: float
    slope: float
    stated: float  # variance by the stated errors of load and length
    variance: float  # the larger of that and what the residuals show
    count: int
    size: float

    @property
    def slope_se(self):
        return float(np.sqrt(self.variance / self.size))

    def at(self, x):
        return self.height + self.slope * (x - self.middle)

    def se_at(self, x):
        return float(np.sqrt(self.variance * (1.0 / self.count + (x - self.middle) ** 2 / self.size)))


def _line(x, y, load_sd, length_sd):
    middle = x.mean()
    size = (x - middle) @ (x - middle)
    slope = float((x - middle) @ y / size)
    left = y - y.mean() - slope * (x - middle)
    stated = load_sd**2 + (slope * length_sd) ** 2
    seen = left @ left / (len(x) - 2) if len(x) > 2 else 0.0
    return _Line(float(middle), float(y.mean()), slope, stated, float(max(stated, seen)), len(x), float(size))


def _at_rest(line, free, free_sd, words):
    """Return initial tension and free length with their errors, and say when they contradict each other."""
    zero = line.middle - line.height / line.slope
    zero_se = line.se_at(zero) / line.slope
    if free is None:
        return 0.0, 0.0, zero, zero_se
    tension = line.at(free)
    tension_se = float(np.hypot(line.se_at(free), line.slope * free_sd))
    if tension < -2.0 * tension_se:
        words.append(
            f"The pull starts only at {zero:.2f} mm, beyond the measured {free:.2f}: the loops have slack or "
            f"the free length was misread; {zero:.2f} mm was used."
        )
        return 0.0, tension_se, zero, zero_se
    return max(tension, 0.0), tension_se, free, free_sd


def _bent(x, y, line):
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
