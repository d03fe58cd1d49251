"""The search behind a calibration: it says of itself whether it settled, and SciPy comes to the same end."""

from math import exp, hypot, log, pi

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

from curves.engine import Head, Run, Spring, calibrate
from curves.engine.fitting import fit as search

SPEEDS = np.array([350.0, 450, 550, 650, 750, 850, 1000, 1150, 1300, 1500, 1700, 1900])
HEAD = Head((20.0, 22.0), (0.24, 0.25), 12.0)
FIRST, SECOND = Spring("P1", 3.0, 19.7, 0.9), Spring("S1", 9.0, 23.0, 0.5)


def rippled(z):
    """Give the residual of a slope with ripples on it: who comes from above settles in one of them."""
    return 0.15 + 0.15 * np.sin(40.0 * z), (6.0 * np.cos(40.0 * z))[..., None]


def searched(monkeypatch, steps, kicked_steps):
    """Fit the ripples with so many steps allowed; give the fit and the lowest cost of every search."""
    seen = []
    descend = search.descend

    def watched(evaluate, z, loss, max_steps=search.MAX_STEPS):
        kicked = max_steps == search.KICK_STEPS
        result = descend(evaluate, z, loss, kicked_steps if kicked else min(max_steps, steps))
        seen.append((kicked, result[0].cost.min()))
        return result

    monkeypatch.setattr(search, "descend", watched)
    return search.fit(rippled, np.array([[0.6]])), seen


@pytest.mark.parametrize("kicked_steps", [0, 30])
def test_where_a_kick_won_the_search_goes_on_until_it_settles(monkeypatch, kicked_steps):
    found, seen = searched(monkeypatch, search.MAX_STEPS, kicked_steps)
    own = next(cost for kicked, cost in seen[1:] if not kicked)
    assert min(cost for kicked, cost in seen if kicked) < own  # a kick did win, or this shows nothing
    assert found.converged
    assert found.cost == min(cost for _, cost in seen[1:])


def test_a_search_that_may_take_no_step_says_that_it_did_not_settle(monkeypatch):
    found, _ = searched(monkeypatch, 0, 0)
    assert not found.converged


def advance(values, speed):
    """Solve one point of the curve by brentq, from the balance in words: weights, two springs, friction."""
    inertia, growth, friction, gaps, stretches, travel, springs = values
    weight = inertia * 1e-3 * (speed * pi / 30.0) ** 2

    def excess(angle):
        torque = friction - weight * (1.0 + growth * angle)
        for gap, stretch, (rate, length, tension_mm) in zip(gaps, stretches, springs, strict=True):
            extension = gap + stretch * angle - length
            torque += stretch * rate * (tension_mm + extension) if extension > 0 else 0.0
        return torque

    if excess(0.0) >= 0:
        return 0.0
    return travel if excess(travel) <= 0 else brentq(excess, 0.0, travel, xtol=1e-10)


def unknowns(z):
    """Turn standard normal unknowns into a head and its springs, by what the documents say of either."""
    friction = 0.05 * 3.0 * 0.24 * exp(z[2])  # the torque of a primary stretched by 0.05 mm
    gaps = [20.0 * exp(0.2 / 20.0 * z[3]), 22.0 * exp(0.2 / 22.0 * z[4])]
    stretches = [0.24 * exp(0.08 * z[5]), 0.25 * exp(0.08 * z[6])]
    springs = []
    for spring, (rate, length, tension) in zip((FIRST, SECOND), (z[8:11], z[11:14]), strict=True):
        stretch_mm = spring.initial_tension_n / spring.rate_n_per_mm
        springs.append(
            (
                spring.rate_n_per_mm * exp(0.05 * rate),
                spring.free_length_mm + 0.2 * length,
                stretch_mm + hypot(0.15 * stretch_mm, 0.02) * tension,
            )
        )
    head = 0.3 * exp(z[0]), 0.01 + 0.02 * z[1], friction
    return (*head, gaps, stretches, 12.0 * exp(0.25 / 12.0 * z[7]), springs)


def test_calibration_agrees_with_an_independent_solution_by_scipy():
    truth = (log(0.9), 0.2, 0.3, 0.5, -0.5, 0.4, -0.3, 0.4, 0.6, -0.4, 0.2, -0.5, 0.7, 0.3)
    exact = np.array([advance(unknowns(truth), speed) for speed in SPEEDS])
    read = np.round(exact + np.random.default_rng(4).normal(0, 0.15, SPEEDS.size), 1)
    slope = np.clip(np.gradient(read, SPEEDS), 0.0, 0.04)
    noise = np.hypot(hypot(0.25, 0.5 / 12**0.5), slope * np.hypot(0.003 * SPEEDS, 3.0))

    def residual(z):
        values = unknowns(z)
        off = (read - [advance(values, speed) for speed in SPEEDS]) / noise
        return np.concatenate([off, z])

    calibration = calibrate(HEAD, [Run(FIRST, SECOND, SPEEDS, read)])
    assert calibration.converged
    assert calibration.fitted.weight.min() > 0.9  # none is left out: rho is as good as a square
    peer = min(
        (least_squares(residual, start) for start in (np.zeros(14), calibration.fitted.z)),
        key=lambda p: p.cost,
    )
    own = residual(calibration.fitted.z)
    assert own @ own <= 2.0 * peer.cost * 1.02 + 0.02
    assert calibration.residuals_deg[0] == pytest.approx(own[: SPEEDS.size] * noise, abs=1e-6)
    assert calibration.residuals_deg[0] == pytest.approx(peer.fun[: SPEEDS.size] * noise, abs=0.1)
    value = calibration.estimates["travel_deg"].value
    assert value == pytest.approx(12.0 * exp(0.25 / 12.0 * peer.x[7]), abs=0.05)
