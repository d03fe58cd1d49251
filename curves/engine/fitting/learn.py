"""What earlier heads of one type teach about the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ..arrays import Floats
from ..governor.head import UNMEASURED, Head
from ..governor.prior import GROWTH, LearnedType, measured_head, typical_head
from ..readings import checked_items, checked_kind
from .calibration import ESTIMATES, Calibration, Estimate

# Heads of one type differ at least by so much: logarithms of inertia, friction, gaps, stretches and travel,
# and the growth per degree. Common practice, no source.
MIN_SPREAD = np.array([0.01, 0.001, 0.2, 0.003, 0.003, 0.005, 0.005, 0.005])
ROUNDS = 20


def learn_head(calibrations: Iterable[Calibration]) -> Head:
    """Learn a type of head from earlier calibrations: a `Head` that starts narrower than a measured one.

    Parameters
    ----------
    calibrations : sequence of Calibration
        At least two heads of the type.

    Returns
    -------
    Head
        Unmeasured, with what was learned in `learned`; `dataclasses.replace` adds what is measured.

    Raises
    ------
    ValueError
        If there are fewer than two calibrations, or something else among them.

    Notes
    -----
    Each calibration gives a Gaussian for its head; what it only took as typical is taken out again, so that
    ten heads do not count one guess ten times. Heads scatter about their type's mean with a spread that is
    found by moments, not less than a small floor. The next head's covariance is that spread and the mean's
    own error.

    References
    ----------
    The two-step random-effects estimate of R. DerSimonian and N. Laird, Controlled Clinical Trials 7 (1986),
    for several quantities at once.

    Examples
    --------
    >>> from curves.engine import Run, Spring, calibrate
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> first, second = Spring("P", 3.0, 19.7), Spring("S", 9.0, 23.0)
    >>> run = Run(first, second, [400, 600, 800, 1100, 1400, 1800], [0, 1.5, 4.5, 7.5, 11, 12])
    >>> learned = learn_head([calibrate(head, [run]), calibrate(head, [run])])
    >>> learned.learned.heads, learned.travel_deg is None
    (2, True)
    """
    calibrations = checked_items("calibrations", calibrations, Calibration, least=2)
    found = [_information(each) for each in calibrations]
    typical_mean, typical_sd = typical_head([run for each in calibrations for run in each.runs])
    base = np.diag(typical_sd**-2.0)
    mean, covariance, spread = typical_mean, np.linalg.inv(base), (4.0 * MIN_SPREAD) ** 2
    for _ in range(ROUNDS):
        weights = [_weight(information, spread) for information, _ in found]
        covariance = np.linalg.inv(base + sum(weights))
        pulls = [weight @ value for weight, (_, value) in zip(weights, found, strict=True)]
        mean = covariance @ (base @ typical_mean + sum(pulls))
        spread = _spread(found, weights, mean)
    total = covariance + np.diag(spread)
    learned = LearnedType(tuple(map(float, mean)), tuple(map(tuple, total.tolist())), len(calibrations))
    return Head(UNMEASURED, UNMEASURED, None, learned=learned)


def learned_values(learned: LearnedType) -> dict[str, Estimate]:
    """Say what a learned type expects of the next head of its kind.

    Parameters
    ----------
    learned : LearnedType
        The `learned` of a `Head` from `learn_head`.

    Returns
    -------
    dict of str to Estimate
        The names of `Calibration.estimates`, each with its value and standard deviation, in the same units.

    Raises
    ------
    ValueError
        If the argument is not of its kind.

    Notes
    -----
    value = exp(mean of the logarithm), its standard deviation that value times the logarithm's; the growth is
    no logarithm and stands as it is.

    References
    ----------
    First-order propagation of errors; elementary.

    Examples
    --------
    >>> diagonal = [[0.01 if row == column else 0.0 for column in range(8)] for row in range(8)]
    >>> learned = LearnedType((0.0, 0.01, 0.0, 3.0, 3.0, -1.4, -1.4, 2.5), tuple(map(tuple, diagonal)), 4)
    >>> travel = learned_values(learned)["travel_deg"]
    >>> round(travel.value, 2), round(travel.sd, 2)
    (12.18, 1.22)
    """
    checked_kind("learned", learned, LearnedType)
    mean, sd = np.array(learned.mean), np.sqrt(np.diag(np.array(learned.covariance)))
    logarithmic = np.arange(mean.size) != GROWTH
    value = np.where(logarithmic, np.exp(np.where(logarithmic, mean, 0.0)), mean)
    sd = np.where(logarithmic, value * sd, sd)
    return {name: Estimate(float(v), float(s)) for name, v, s in zip(ESTIMATES, value, sd, strict=True)}


def _information(calibration: Calibration):
    """Give the information matrix of one head without what was only typical, and its mean."""
    draws = calibration.head_draws
    mean, covariance = draws.mean(axis=0), np.cov(draws.T)
    information = np.linalg.inv(covariance + np.diag((0.1 * MIN_SPREAD) ** 2))
    if calibration.head.learned is None:
        _, typical_sd = typical_head(calibration.runs)
        guessed = np.isnan(measured_head(calibration.head)[0])
        information = information - np.diag(np.where(guessed, typical_sd**-2.0, 0.0))
    value, vector = np.linalg.eigh(information)
    return (vector * np.maximum(value, 0.0)) @ vector.T, mean


def _weight(information: Floats, spread: float | Floats):
    """Give (information^-1 + spread)^-1 without inverting the information, which may say nothing at all."""
    return information - information @ np.linalg.solve(information + np.diag(1.0 / spread), information)


def _spread(found: Sequence[tuple[Floats, Floats]], weights: Sequence[Floats], mean: Floats):
    """Give how much heads of the type differ, each quantity by itself, by moments."""
    off = np.array([value for _, value in found]) - mean
    own = np.array([np.diag(np.linalg.pinv(information)) for information, _ in found])
    told = np.array([np.diag(weight) for weight in weights])
    share = told / np.maximum(told.sum(axis=0), 1e-300)
    return np.maximum((share * (off**2 - own)).sum(axis=0), MIN_SPREAD**2)
