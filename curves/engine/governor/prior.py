"""What is known before a run: every unknown of a head and its springs as a value and a standard deviation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log
from typing import TYPE_CHECKING, Any

import numpy as np

from ..arrays import Floats
from ..readings import as_floats, checked_array, checked_count
from ..springs.spring import Spring, within_range

if TYPE_CHECKING:
    from .head import Head, Run

# A head's unknowns. Positive ones are taken by their logarithm; growth alone has either sign.
HEAD_NAMES = (
    "log_inertia",
    "growth",
    "log_friction",
    "log_gap_primary",
    "log_gap_secondary",
    "log_stretch_primary",
    "log_stretch_secondary",
    "log_travel",
)
INERTIA, GROWTH, FRICTION, GAP, STRETCH, TRAVEL = 0, 1, 2, slice(3, 5), slice(5, 7), 7
HEAD_SIZE = len(HEAD_NAMES)

# What a head is like of which nothing was measured; common practice, no source. Wide on purpose.
TYPICAL_INERTIA, INERTIA_LOG_SD = 0.3, 1.0  # [kg mm2/deg]: two weights of some 25 g on arms of some 10 mm
TYPICAL_GROWTH, GROWTH_SD = 0.01, 0.02  # [1/deg]
FRICTION_SHARE, FRICTION_LOG_SD = 0.05, 1.0  # of the torque of a primary stretched by 1 mm
TYPICAL_STRETCH, STRETCH_LOG_SD = 0.24, 0.35  # [mm/deg]: posts some 14 mm from the shaft
TYPICAL_GAP_MM, GAP_SD_MM, MIN_GAP_MM = 20.0, 2.0, 0.5
TYPICAL_TRAVEL_DEG, TRAVEL_LOG_SD = 13.0, 0.5

# A spring of which nothing is known, and a loose label.
TYPICAL_RATES, RATE_LOG_SD = (3.0, 8.0), 0.8  # [N/mm] primary, secondary
PRELOAD_MM, SECONDARY_SLACK_MM, LENGTH_SD_MM = 0.3, 0.8, 0.8  # primaries are hung taut, secondaries loose
TENSION_MM, TENSION_SD_MM = 0.3, 0.3  # initial tension, as the stretch that would pull as hard
LOOSE_RATE_SD, LOOSE_LENGTH_SD_MM, LOOSE_TENSION_SD = 0.15, 0.5, 0.3
MIN_TENSION_SD_MM = 0.02  # no label knows the tension better than this stretch would pull

WIDEST_LOG_SD = 1.0  # a measurement that errs by its own size says nothing

MIN_TENSION_MM, MIN_SPREAD = 1e-6, 1e-9  # so that nothing is divided by none
MIN_TENSION_SHARE = 0.25  # of its own error; a spring does not push
CORRELATION_KEPT = 0.98  # draws overstate it a little, and a correlation of 1 could not be used
POSITIONS = ("primary", "secondary")
SPRING_FIGURES = ("rate", "free_length", "initial_tension")  # in the order of a spring's unknowns

BEND_SD_MM = 0.05  # how well a post is bent by hand


@dataclass(frozen=True, eq=False)
class HeadPrior:
    """Mean and a square root of the covariance (lower triangular) of a head's unknowns."""

    mean: Floats
    root: Floats


@dataclass(frozen=True, eq=False)
class SpringPrior:
    """Mean and a square root of the covariance of a spring's log rate, free length [mm] and tension [mm].

    Initial tension is taken as the stretch that would pull as hard, T0 / k: then a pair, its head's inertia
    and friction can be scaled together, which no run can tell, without bending the posterior.
    """

    mean: Floats
    root: Floats


@dataclass(frozen=True)
class LearnedType:
    """What earlier heads of a type were found to be; made by `learn_head`, read by `learned_values`.

    Parameters
    ----------
    mean : tuple of float, length 8
        Logarithm of the inertia [kg mm2/deg], growth [1/deg], then the logarithms of friction [N mm/deg],
        both gaps [mm], both stretches [mm/deg] and the travel [shaft degree].
    covariance : tuple of 8 tuples of 8 float
        Covariance of these for the next head of the type.
    heads : int
        How many heads it was learned from, at least 1.

    Raises
    ------
    ValueError
        If a value is not finite, lengths differ, or the covariance is none.

    Notes
    -----
    The next head is taken to be normal with this mean and covariance before anything of it is measured.

    References
    ----------
    R. DerSimonian and N. Laird, Controlled Clinical Trials 7 (1986): see `learn_head`.

    Examples
    --------
    >>> diagonal = tuple(tuple(0.01 * (row == column) for column in range(8)) for row in range(8))
    >>> LearnedType((0.0, 0.01, 0.0, 3.0, 3.0, -1.4, -1.4, 2.5), diagonal, 4).heads
    4
    """

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    heads: int

    def __post_init__(self) -> None:
        like = ("HEAD_NAMES", HEAD_SIZE)
        checked_array("mean", self.mean, like=like)
        covariance = np.ravel(as_floats("covariance", self.covariance))
        checked_array("covariance", covariance, like=("8 by 8", HEAD_SIZE**2))
        matrix = covariance.reshape(HEAD_SIZE, HEAD_SIZE)
        if not np.allclose(matrix, matrix.T) or np.linalg.eigvalsh(matrix).min() <= 0:
            raise ValueError(f"covariance must be symmetric and positive definite, got {self.covariance!r}")
        checked_count("heads", self.heads)


def _mean_rate(primaries: Sequence[Spring]):
    """Give the geometric mean of the known rates."""
    rates = [log(spring.rate_n_per_mm) for spring in primaries if spring.rate_n_per_mm]
    return float(np.exp(np.mean(rates))) if rates else TYPICAL_RATES[0]


def head_prior(head: Head, runs: Sequence[Run]) -> HeadPrior:
    """Turn a head's measurements into a prior, with typical values for what was not measured.

    The springs of `runs` say where an unmeasured gap lies: about as long as what hangs in it.
    """
    mean, sd = measured_head(head)
    if head.learned is not None:
        return _narrowed(head.learned, mean, sd)
    typical_mean, typical_sd = typical_head(runs)
    unknown = np.isnan(mean)
    return HeadPrior(np.where(unknown, typical_mean, mean), np.diag(np.where(unknown, typical_sd, sd)))


def measured_head(head: Head) -> tuple[Floats, Floats]:
    """Give mean and standard deviation of what was measured on a head, NaN for all else."""
    mean, sd = np.full(HEAD_SIZE, np.nan), np.full(HEAD_SIZE, np.nan)
    for place in range(2):
        gap, stretch = head.post_gap_mm[place], head.stretch_mm_per_deg[place]
        if gap is not None:
            mean[GAP.start + place], sd[GAP.start + place] = log(gap), head.post_gap_sd_mm / gap
        if stretch is not None:
            mean[STRETCH.start + place], sd[STRETCH.start + place] = log(stretch), head.stretch_sd
    if head.travel_deg is not None:
        mean[TRAVEL], sd[TRAVEL] = log(head.travel_deg), head.travel_sd_deg / head.travel_deg
    return mean, np.minimum(sd, WIDEST_LOG_SD)


def typical_head(runs: Sequence[Run]) -> tuple[Floats, Floats]:
    """Give mean and standard deviation of a head of which only the springs that hung in it are known."""
    gaps = []
    for side, slack in zip(POSITIONS, (PRELOAD_MM, -SECONDARY_SLACK_MM), strict=True):
        springs = [getattr(run, side) for run in runs]
        lengths = [spring.free_length_mm for spring in springs if spring and spring.free_length_mm]
        gaps.append(max(np.mean(lengths) + slack, MIN_GAP_MM) if lengths else TYPICAL_GAP_MM)
    friction = FRICTION_SHARE * _mean_rate([run.primary for run in runs]) * TYPICAL_STRETCH
    values = (TYPICAL_INERTIA, 1.0, friction, *gaps, TYPICAL_STRETCH, TYPICAL_STRETCH, TYPICAL_TRAVEL_DEG)
    mean = np.log(values)
    mean[GROWTH] = TYPICAL_GROWTH
    gap_sds = (GAP_SD_MM / gap for gap in gaps)
    sds = (
        INERTIA_LOG_SD,
        GROWTH_SD,
        FRICTION_LOG_SD,
        *gap_sds,
        STRETCH_LOG_SD,
        STRETCH_LOG_SD,
        TRAVEL_LOG_SD,
    )
    return mean, np.array(sds)


def _narrowed(learned: LearnedType, mean: Floats, sd: Floats):
    """Put what was measured on this head together with what was learned from others."""
    known = np.flatnonzero(~np.isnan(mean))
    prior, covariance = np.array(learned.mean), np.array(learned.covariance)
    gain = covariance[:, known] @ np.linalg.inv(covariance[np.ix_(known, known)] + np.diag(sd[known] ** 2))
    narrowed = covariance - gain @ covariance[known]
    return HeadPrior(
        prior + gain @ (mean[known] - prior[known]), np.linalg.cholesky(0.5 * (narrowed + narrowed.T))
    )


def spring_prior(spring: Spring, place: int, gap_mm: float) -> SpringPrior:
    """Turn a label into a prior; `place` is 0 for a primary, 1 for a secondary.

    What is unknown is taken to be what hangs in such a gap as a rule.
    """
    rate, length, tension = spring.rate_n_per_mm, spring.free_length_mm, spring.initial_tension_n
    rate_sd = LOOSE_RATE_SD if spring.rate_sd is None else spring.rate_sd
    length_sd = LOOSE_LENGTH_SD_MM if spring.free_length_sd_mm is None else spring.free_length_sd_mm
    tension_sd = LOOSE_TENSION_SD if spring.initial_tension_sd is None else spring.initial_tension_sd
    if rate is None:
        rate, rate_sd = TYPICAL_RATES[place], RATE_LOG_SD
    if length is None:
        length = gap_mm + (SECONDARY_SLACK_MM if place else -PRELOAD_MM)
        length_sd = LENGTH_SD_MM
    if tension is None:
        tension_mm, tension_sd_mm = TENSION_MM, TENSION_SD_MM
    else:
        tension_mm = tension / rate
        tension_sd_mm = hypot(tension_sd * tension_mm, MIN_TENSION_SD_MM)
    root = np.diag([rate_sd, length_sd, tension_sd_mm])
    if any(spring.error_correlation):
        root = root @ np.linalg.cholesky(_correlation(spring))
    return SpringPrior(np.array([log(rate), length, tension_mm]), root)


def _correlation(spring: Spring):
    """Give the correlation matrix of a spring's errors."""
    matrix = np.eye(3)
    matrix[np.triu_indices(3, 1)] = spring.error_correlation
    return np.triu(matrix) + np.triu(matrix, 1).T


def corrected_spring(spring: Spring, draws: Floats) -> Spring:
    """Give the spring as its draws have it: log rate, free length and tension / rate, shape (n, 3)."""
    mean, sd = draws.mean(axis=0), draws.std(axis=0)
    tension_mm = max(float(mean[2]), MIN_TENSION_SHARE * float(sd[2]), MIN_TENSION_MM)
    rate = np.exp(mean[0])
    found = {
        "rate_n_per_mm": rate,
        "free_length_mm": mean[1],
        "initial_tension_n": tension_mm * rate,
        "rate_sd": sd[0],
        "free_length_sd_mm": sd[1],
        "initial_tension_sd": sd[2] / tension_mm,
    }
    checked: dict[str, Any] = {name: within_range(name, value) for name, value in found.items()}
    spread = np.maximum(sd, MIN_SPREAD)
    correlation = np.cov(draws.T, bias=True) / np.outer(spread, spread) * CORRELATION_KEPT
    first, second, third = map(float, correlation[np.triu_indices(3, 1)])
    return Spring(spring.key, **checked, error_correlation=(first, second, third))
