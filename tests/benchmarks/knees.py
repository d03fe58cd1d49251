"""Knees of twenty readings: ours beside pwlf, time and squared error, in one run."""

from statistics import median
from time import perf_counter

import numpy as np

from curves.engine import fit_knees

SPEED_RPM = np.linspace(200, 2500, 20)
CORNERS = [400, 900, 2000, 3000], [0, 6, 11, 11]
SEEDS = range(8)


def timed(work, repeats):
    """Return the median time of a call [s] and its last result."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        result = work()
        times.append(perf_counter() - start)
    return median(times), result


def readings(seed):
    return np.interp(SPEED_RPM, *CORNERS) + np.random.default_rng(seed).normal(0, 0.25, SPEED_RPM.size)


def compare(pieces):
    """Return both median times [s] and the greatest ratio of squared errors at one number of pieces."""
    import pwlf

    ours, theirs, errors = [], [], []
    for seed in SEEDS:
        advance = readings(seed)
        time, knees = timed(lambda y=advance: fit_knees(SPEED_RPM, y, pieces=pieces), 9)
        peer = pwlf.PiecewiseLinFit(SPEED_RPM, advance)
        peer_time, _ = timed(lambda fit=peer: fit.fit(pieces), 1)
        ours.append(time)
        theirs.append(peer_time)
        errors.append(knees.sse_deg2 / peer.ssr)
    return median(ours), median(theirs), max(errors)


def measure():
    """Measure three and four pieces beside pwlf, and the time of a fit that also chooses their number."""
    rows = {}
    for pieces in (3, 4):
        ours, theirs, error = compare(pieces)
        rows[f"{pieces} pieces"] = {
            "seconds": ours,
            "pwlf_seconds": theirs,
            "ratio": theirs / ours,
            "squared_error_ratio": error,
        }
    advance = readings(0)
    rows["number of slopes chosen too"] = {"seconds": timed(lambda: fit_knees(SPEED_RPM, advance), 25)[0]}
    return rows


def as_text(rows):
    """Put the figures into words."""
    for name, row in rows.items():
        words = f"Knees of 20 readings, {name}: {1e3 * row['seconds']:.1f} ms (at most 5)"
        if "ratio" in row:
            words += (
                f"; pwlf {1e3 * row['pwlf_seconds']:.0f} ms, ratio {row['ratio']:.0f} (at least 50), "
                f"squared error at most {row['squared_error_ratio']:.6f} of pwlf's"
            )
        yield words
