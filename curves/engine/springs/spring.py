"""An extension spring of an advance head: what its label or a tester says, and how far that is trusted."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..readings import checked_array, checked_key, checked_number

MIN_RATE_N_PER_MM, MAX_RATE_N_PER_MM = 0.001, 1_000.0
MIN_LENGTH_MM, MAX_LENGTH_MM = 0.1, 500.0
MAX_TENSION_N = 5_000.0
MIN_SD = 1e-4
MIN_DETERMINANT = 1e-9  # of a correlation matrix; with 0 or less there are no such three errors

RANGES = {  # of a spring's figures: what is less is no spring, or known better than any
    "rate_n_per_mm": (MIN_RATE_N_PER_MM, MAX_RATE_N_PER_MM),
    "free_length_mm": (MIN_LENGTH_MM, MAX_LENGTH_MM),
    "initial_tension_n": (0.0, MAX_TENSION_N),
    "rate_sd": (MIN_SD, 10.0),
    "free_length_sd_mm": (MIN_SD, MAX_LENGTH_MM),
    "initial_tension_sd": (MIN_SD, 10.0),
}


def within_range(name: str, value: float) -> float:
    """Give a figure that was worked out, or the end of its range that it lies beyond."""
    low, high = RANGES[name]
    return min(max(float(value), low), high)


@dataclass(frozen=True)
class Spring:
    """One spring: rate, free length and initial tension, each with its standard deviation.

    Parameters
    ----------
    key : hashable
        What the shop calls it.
    rate_n_per_mm : float or None
        Rate [N/mm], 0.001 to 1000. None: unknown, as of a spring that came in with the unit.
    free_length_mm : float or None
        Length between the loops where the coils begin to open [mm], 0.1 to 500. None: unknown.
    initial_tension_n : float or None, default 0
        Pull that only just opens the coils [N], at least 0. None: unknown.
    rate_sd : float or None, default 0.05
        Relative standard deviation of the rate [-], 0.0001 to 10. None: a loose label.
    free_length_sd_mm : float or None, default 0.2
        Standard deviation of the free length [mm], 0.0001 to 500. None: a loose label.
    initial_tension_sd : float or None, default 0.15
        Relative standard deviation of the initial tension [-], 0.0001 to 10. None: a loose label.
    error_correlation : tuple of float, default (0, 0, 0)
        How the errors of rate and length, rate and tension, length and tension hang together [-], -1 to 1, as
        found by a calibration; the tension as the stretch that would pull as hard. The three must be possible
        together.

    Raises
    ------
    ValueError
        If a value is not a finite number in its range, nothing can be looked up by the key, or the three
        correlations exclude each other.

    Notes
    -----
    Pull at length x beyond the free length: ``F = T0 + k x`` for x > 0, else 0.

    References
    ----------
    Spring makers' guides for extension springs with initial tension (planetspring.com, leespring.com).

    Examples
    --------
    >>> round(Spring("P3", 1.208375, 20.0, 3.113755).force_n(32.7), 6)
    18.460118
    """

    key: object
    rate_n_per_mm: float | None
    free_length_mm: float | None
    initial_tension_n: float | None = 0.0
    rate_sd: float | None = field(default=0.05, kw_only=True)
    free_length_sd_mm: float | None = field(default=0.2, kw_only=True)
    initial_tension_sd: float | None = field(default=0.15, kw_only=True)
    error_correlation: tuple[float, float, float] = field(default=(0.0, 0.0, 0.0), kw_only=True, repr=False)

    def __post_init__(self) -> None:
        checked_key("key", self.key)
        for name, limits in RANGES.items():
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, checked_number(name, value, *limits))
        together = checked_array(
            "error_correlation", self.error_correlation, -1.0, 1.0, like=("(3 pairs)", 3)
        )
        a, b, c = map(float, together)
        if any(together) and (1.0 + 2.0 * a * b * c - a * a - b * b - c * c) < MIN_DETERMINANT:
            raise ValueError(
                f"error_correlation must be three that are possible together, got {self.error_correlation!r}"
            )
        object.__setattr__(self, "error_correlation", (a, b, c))

    def force_n(self, length_mm: float) -> float:
        """Give the pull at a length between the loops.

        Parameters
        ----------
        length_mm : float
            Length between the loops [mm].

        Returns
        -------
        float
            Pull [N]; 0 while the spring hangs loose.

        Raises
        ------
        ValueError
            If the length is not a finite number, or the spring's own figures are not known.

        Examples
        --------
        >>> Spring("P", 2.0, 20.0, 1.0).force_n(23.0)
        7.0
        """
        rate, free, tension = self.rate_n_per_mm, self.free_length_mm, self.initial_tension_n
        if rate is None or free is None or tension is None:
            raise ValueError(f"rate, free length and initial tension must be known, got {self!r}")
        extension = checked_number("length_mm", length_mm) - free
        return tension + rate * extension if extension > 0 else 0.0
