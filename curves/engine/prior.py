"""What is known before a run: every unknown of a head and its springs as a value and a standard deviation."""

from dataclasses import dataclass
from math import hypot, log

import numpy as np

from .springs import Spring

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
TYPICAL_GAP_MM, GAP_SD_MM = 20.0, 2.0
TYPICAL_TRAVEL_DEG, TRAVEL_LOG_SD = 13.0, 0.5

# A spring of which nothing is known, and a loose label.
TYPICAL_RATE, RATE_LOG_SD = 3.0, 0.8  # [N/mm]
PRELOAD_MM, SECONDARY_SLACK_MM, LENGTH_SD_MM = 0.3, 0.8, 0.8  # primaries are hung taut, secondaries loose
TENSION_MM, TENSION_SD_MM = 0.3, 0.3  # initial tension, as the stretch that would pull as hard
LOOSE_RATE_SD, LOOSE_LENGTH_SD_MM, LOOSE_TENSION_SD = 0.15, 0.5, 0.3
LEAST_TENSION_SD_MM = 0.02  # no label knows the tension better than this stretch would pull

BEND_SD_MM = 0.05  # how well a post is bent by hand


@dataclass(frozen=True, eq=False)
class HeadPrior:
    """Mean and a square root of the covariance (lower triangular) of a head's unknowns."""

    mean: np.ndarray
    root: np.ndarray


@dataclass(frozen=True)
class SpringPrior:
    """Mean and standard deviation of a spring's log rate, free length [mm] and initial tension [N]."""

    mean: tuple[float, float, float]
    sd: tuple[float, float, float]
    mixing: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class LearnedType:
    """What earlier heads of a type were found to be: mean and covariance of `HEAD_NAMES`."""

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    heads: int


def _mean_rate(springs):
    """Give the geometric mean of the known rates."""
    rates = [log(spring.rate_n_per_mm) for spring in springs if spring and spring.rate_n_per_mm]
    return float(np.exp(np.mean(rates))) if rates else TYPICAL_RATE


def head_prior(head, runs):
    """Turn a head's measurements into a prior, with typical values for what was not measured.

    The springs of `runs` say where an unmeasured gap lies: about as long as what hangs in it.
    """
    if head.learned is not None:
        mean = np.array(head.learned.mean)
        return HeadPrior(mean, np.linalg.cholesky(np.array(head.learned.covariance)))
    mean, sd = np.empty(HEAD_SIZE), np.empty(HEAD_SIZE)
    for place, side in enumerate(("primary", "secondary")):
        springs = {getattr(run, side) for run in runs}
        lengths = [spring.free_length_mm for spring in springs if spring and spring.free_length_mm]
        gap = head.post_gap_mm[place]
        if gap is None:
            preload = PRELOAD_MM if place == 0 else -SECONDARY_SLACK_MM
            typical = np.mean(lengths) + preload if lengths else TYPICAL_GAP_MM
            mean[3 + place], sd[3 + place] = log(typical), GAP_SD_MM / typical
        else:
            mean[3 + place], sd[3 + place] = log(gap), head.post_gap_sd_mm / gap
        stretch = head.stretch_mm_per_deg[place]
        mean[5 + place] = log(TYPICAL_STRETCH if stretch is None else stretch)
        sd[5 + place] = STRETCH_LOG_SD if stretch is None else head.stretch_sd
    mean[INERTIA], sd[INERTIA] = log(TYPICAL_INERTIA), INERTIA_LOG_SD
    mean[GROWTH], sd[GROWTH] = TYPICAL_GROWTH, GROWTH_SD
    rate = _mean_rate({run.primary for run in runs})
    mean[FRICTION], sd[FRICTION] = log(FRICTION_SHARE * rate) + mean[5], FRICTION_LOG_SD
    if head.travel_deg is None:
        mean[TRAVEL], sd[TRAVEL] = log(TYPICAL_TRAVEL_DEG), TRAVEL_LOG_SD
    else:
        mean[TRAVEL], sd[TRAVEL] = log(head.travel_deg), head.travel_sd_deg / head.travel_deg
    return HeadPrior(mean, np.diag(sd))


def spring_prior(spring, place, gap_mm):
    """Turn a label into a prior; `place` is 0 for a primary, 1 for a secondary.

    What is unknown is taken to be what hangs in such a gap as a rule.
    """
    rate, length, tension = spring.rate_n_per_mm, spring.free_length_mm, spring.initial_tension_n
    rate_sd = LOOSE_RATE_SD if spring.rate_sd is None else spring.rate_sd
    length_sd = LOOSE_LENGTH_SD_MM if spring.free_length_sd_mm is None else spring.free_length_sd_mm
    tension_sd = LOOSE_TENSION_SD if spring.initial_tension_sd is None else spring.initial_tension_sd
    if rate is None:
        rate, rate_sd = TYPICAL_RATE, RATE_LOG_SD
    if length is None:
        length = gap_mm - PRELOAD_MM if place == 0 else gap_mm + SECONDARY_SLACK_MM
        length_sd = LENGTH_SD_MM
    if tension is None:
        tension, tension_sd_n = TENSION_MM * rate, TENSION_SD_MM * rate
    else:
        tension_sd_n = hypot(tension_sd * tension, LEAST_TENSION_SD_MM * rate)
    return SpringPrior((log(rate), length, tension), (rate_sd, length_sd, tension_sd_n))


def corrected(spring, mean, sd):
    """Give the spring as it was found to be: the same key, new values, narrower standard deviations."""
    rate, tension = float(np.exp(mean[0])), max(float(mean[2]), 0.0)
    return Spring(
        spring.key,
        rate,
        float(mean[1]),
        tension,
        rate_sd=float(sd[0]),
        free_length_sd_mm=float(sd[1]),
        initial_tension_sd=float(sd[2]) / max(tension, float(sd[2])),
    )
