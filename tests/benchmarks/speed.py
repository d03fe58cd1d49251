"""Ranking and calibration beside what one would use instead: a loop of brentq, and lmfit."""

import tracemalloc
from math import exp, pi
from time import process_time

import numpy as np
from scipy.optimize import brentq

from curves.engine import calibrate, propose
from curves.engine.fitting.fit import mistyping_loss
from curves.engine.fitting.model import build_model
from curves.engine.fitting.starts import starting_points
from curves.practice.simulated import MEASURED, make_drawer, make_kind

from .workshop import Job

PEER_PAIRS = 12
PEER_DRAWS = 8
PAIRS_PER_SIDE = 40
DRAWS = 128


def best_time(work, repeats):
    """Give the shortest of several processor times of a call [s], and its result: neighbours do not count."""
    times = []
    for _ in range(repeats):
        start = process_time()
        result = work()
        times.append(process_time() - start)
    return min(times), result


def _job():
    """Invent a unit with a drawer of 40 springs a side, and five runs on it."""
    kind = make_kind(11)
    job = Job.of_kind(kind, make_drawer(kind, 12, count=PAIRS_PER_SIDE, errors=MEASURED), (13,), MEASURED)
    job.both_ways = False
    pairs = [(0, 0), (1, 1), (1, 2), (3, 2)]
    runs = [job.run(*job.unit.received, 0)[0]]
    for number, (first, second) in enumerate(pairs, 1):
        bend = (0.1 * number, 0.0)
        runs.append(job.run(job.drawer.primaries[first], job.drawer.secondaries[second], number, bend)[0])
    return job, runs


def _advance_by_brentq(head, primary, secondary, speed_rpm):
    """Solve one curve point as one would with SciPy: find the angle at which springs and weights balance."""
    inertia, growth, friction, travel = exp(head[0]), head[1], exp(head[2]), exp(head[7])
    springs = [
        (exp(spring[0]), spring[1], spring[2] * exp(spring[0]), exp(head[3 + place]), exp(head[5 + place]))
        for place, spring in enumerate((primary, secondary))
    ]
    weight = inertia * 1e-3 * (speed_rpm * pi / 30.0) ** 2

    def excess(angle):
        torque = friction - weight * (1.0 + growth * angle)
        for rate, length, tension, gap, stretch in springs:
            extension = gap + stretch * angle - length
            if extension > 0.0:
                torque += (tension + rate * extension) * stretch
        return torque

    if excess(0.0) >= 0.0:
        return 0.0
    if excess(travel) <= 0.0:
        return travel
    return brentq(excess, 0.0, travel, xtol=1e-6)


def ranking():
    """Time the ranking of 40 x 40 pairs over 128 draws, and its peak of memory."""
    job, runs = _job()
    calibration = calibrate(job.head, runs)
    calibration.curve(runs[0].primary, runs[0].secondary, [800.0])  # the draws are made once for all
    sides = [job.side(side) for side in (job.drawer.primaries, job.drawer.secondaries)]
    target = job.target()
    ours, _ = best_time(lambda: propose(calibration, target, *sides), 5)
    bent, _ = best_time(lambda: propose(calibration, target, *sides, post_bend_limit_mm=0.5), 3)
    tracemalloc.start()
    propose(calibration, target, *sides, post_bend_limit_mm=0.5)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()

    head = calibration.head_draws
    first = [calibration.spring_draws(spring, 0, number) for number, spring in enumerate(sides[0])]
    second = [calibration.spring_draws(spring, 1, number) for number, spring in enumerate(sides[1])]

    def peer():
        return [
            _advance_by_brentq(head[draw], first[pair][draw], second[pair][draw], speed)
            for pair in range(PEER_PAIRS)
            for draw in range(PEER_DRAWS)
            for speed in target.speed_rpm
        ]

    time, _ = best_time(peer, 3)
    theirs = time / (PEER_PAIRS * PEER_DRAWS) * PAIRS_PER_SIDE**2 * DRAWS
    return {
        "seconds": ours,
        "seconds_with_bends": bent,
        "peak_mb": peak,
        "brentq_seconds": theirs,
        "ratio": theirs / ours,
    }


def _lmfit(model):
    """Fit the same model to the same data by lmfit; give its cost."""
    import lmfit

    names = [f"z{number}" for number in range(model.size)]
    parameters = lmfit.Parameters()
    for name, value in zip(names, starting_points(model)[0], strict=True):
        parameters.add(name, value=float(value))

    def residual(values):
        z = np.array([values[name].value for name in names])
        off = model.residuals(z[None])[0]
        return np.concatenate([np.sign(off) * np.sqrt(mistyping_loss(off)[0]), z])

    result = lmfit.minimize(residual, parameters, method="leastsq")
    return float((result.residual**2).sum())


def calibrating():
    """Time the calibration of five runs of twelve readings."""
    job, runs = _job()
    ours, calibration = best_time(lambda: calibrate(job.head, runs), 7)
    model = build_model(job.head, runs)
    theirs, cost = best_time(lambda: _lmfit(model), 7)
    return {
        "seconds": ours,
        "cost": calibration.cost,
        "lmfit_seconds": theirs,
        "lmfit_cost": cost,
        "ratio": theirs / ours,
    }
