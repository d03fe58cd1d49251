"""The order in which readings are typed changes nothing."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.engine import Head, Run, Spring, calibrate, fit_knees

HEAD = Head((20.0, 22.0), (0.24, 0.24), 12.0)
FIRST, SECOND = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
SPEEDS = np.array([400.0, 500, 600, 800, 800, 1100, 1400, 1800, 2100])  # one of them twice
READ = np.array([0.0, 0.5, 1.5, 4.5, 4.0, 7.5, 11.0, 12.0, 12.0])
ORDERS = st.permutations(range(SPEEDS.size))
NOISE = st.lists(st.sampled_from([-0.5, 0.0, 0.5]), min_size=SPEEDS.size, max_size=SPEEDS.size)


@settings(max_examples=15, deadline=None)
@given(ORDERS, NOISE, st.lists(st.booleans(), min_size=SPEEDS.size, max_size=SPEEDS.size))
def test_a_permuted_run_gives_the_same_calibration(order, noise, falling):
    advance, falling = READ + noise, np.array(falling)
    one = calibrate(HEAD, [Run(FIRST, SECOND, SPEEDS, advance, falling=falling)])
    order = list(order)
    run = Run(FIRST, SECOND, SPEEDS[order], advance[order], falling=falling[order])
    other = calibrate(HEAD, [run])
    assert (one.estimates, one.cost, one.warnings) == (other.estimates, other.cost, other.warnings)
    assert np.array_equal(one.residuals_deg[0], other.residuals_deg[0])


@settings(max_examples=60, deadline=None)
@given(ORDERS, NOISE)
def test_permuted_readings_give_the_same_knees(order, noise):
    advance, order = READ + noise, list(order)
    one, other = fit_knees(SPEEDS, advance), fit_knees(SPEEDS[order], advance[order])
    assert one.sentence == other.sentence
    assert one.warnings == other.warnings
    for name in ("slope_deg_per_100rpm", "knee_rpm", "read_rpm", "read_deg", "residual_deg", "used"):
        assert np.array_equal(getattr(one, name), getattr(other, name))
    assert (one.begin_rpm, one.stop_rpm, one.sse_deg2) == (other.begin_rpm, other.stop_rpm, other.sse_deg2)
