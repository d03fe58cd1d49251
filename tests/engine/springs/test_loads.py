"""Rate, initial tension and free length from a spring tester."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import linregress
from uncertainties import ufloat

from curves.engine import spring_from_loads
from curves.engine.codes import Code, warn
from curves.engine.units import MM_PER_INCH, N_PER_LBF, N_PER_MM_PER_LBF_PER_INCH
from tests.engine.warned import codes, values


@pytest.mark.parametrize(
    ("extension_in", "load_lbf", "tension_lbf"),
    [
        ((0.5, 1.0), (10, 15), 5),  # newcombspring.com: 10 lb at 0.500 in, 15 lb at 1.000 in -> 5 lb
        ((0.5, 1.0), (15, 25), 5),  # acxesspring.com: 2 x 15 - 25 = 5 lbf, loads at x and twice x
    ],
)
def test_published_initial_tension_from_two_loads(extension_in, load_lbf, tension_lbf):
    free = 25.0
    test = spring_from_loads(
        free + np.array(extension_in) * MM_PER_INCH, np.array(load_lbf) * N_PER_LBF, free_length_mm=free
    )
    assert test.initial_tension_n / N_PER_LBF == pytest.approx(tension_lbf, rel=1e-12)
    rate = (load_lbf[1] - load_lbf[0]) / 0.5
    assert test.rate_n_per_mm / N_PER_MM_PER_LBF_PER_INCH == pytest.approx(rate, rel=1e-12)


def test_published_load_with_initial_tension_comes_back_through_the_spring():
    # planetspring.com, leespring.com: 6.9 lb/in, 0.7 lb, stretched 0.5 in -> 4.15 lb.
    rate, tension = 6.9 * N_PER_MM_PER_LBF_PER_INCH, 0.7 * N_PER_LBF
    lengths = 25.0 + np.array([5.0, 10.0, 15.0])
    test = spring_from_loads(lengths, tension + rate * (lengths - 25.0), free_length_mm=25.0)
    load = test.spring("P").force_n(25.0 + 0.5 * MM_PER_INCH)
    assert load == pytest.approx(4.15 * N_PER_LBF, rel=1e-12)
    assert load == pytest.approx(18.460120, rel=1e-7)  # computed in SI from the same inputs


def test_rate_and_error_agree_with_scipy():
    rng = np.random.default_rng(7)
    length = np.linspace(22, 32, 9)
    load = 3.0 + 1.5 * (length - 20) + rng.normal(0, 0.3, 9)
    test = spring_from_loads(length, load, free_length_mm=20, load_sd_n=1e-6, length_sd_mm=1e-6)
    line = linregress(length, load)
    assert test.rate_n_per_mm == pytest.approx(line.slope)
    assert test.rate_se == pytest.approx(line.stderr)
    values, covariance = curve_fit(lambda x, rate, tension: tension + rate * (x - 20), length, load)
    assert test.initial_tension_n == pytest.approx(values[1])
    assert test.initial_tension_se_n == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-4)
    np.testing.assert_allclose(test.residual_n, load - line.intercept - line.slope * length, atol=1e-9)


def test_error_of_two_loads_agrees_with_uncertainties():
    low, high = ufloat(6.0, 0.05), ufloat(11.0, 0.05)
    rate = (high - low) / 5.0
    tension = low - rate * 5.0
    test = spring_from_loads([25, 30], [6, 11], free_length_mm=20, load_sd_n=0.05, length_sd_mm=1e-9)
    assert test.rate_se == pytest.approx(rate.s)
    assert test.initial_tension_se_n == pytest.approx(tension.s)


def test_known_spring_comes_back_within_its_errors():
    rng = np.random.default_rng(3)
    length = np.repeat([23.0, 26.0, 29.0, 32.0], 2)
    load = 2.0 + 0.8 * (length + rng.normal(0, 0.1, 8) - 20) + rng.normal(0, 0.05, 8)
    test = spring_from_loads(length, load, free_length_mm=20.05)
    assert abs(test.rate_n_per_mm - 0.8) < 2 * test.rate_se
    assert abs(test.initial_tension_n - 2.0) < 2 * test.initial_tension_se_n
    assert test.converged
    spring = test.spring("S4")
    assert spring.key == "S4"
    assert spring.rate_sd == pytest.approx(test.rate_se / test.rate_n_per_mm)
    assert spring.initial_tension_sd == pytest.approx(test.initial_tension_se_n / test.initial_tension_n)
    assert spring.free_length_sd_mm == 0.1


def test_reading_without_load_gives_the_free_length():
    test = spring_from_loads([20, 20.2, 25, 30], [0, 0, 6, 11])
    assert test.free_length_mm == pytest.approx(20.1)
    assert test.free_length_se_mm == pytest.approx(0.1 / np.sqrt(2))
    assert test.initial_tension_n == pytest.approx(1.1)
    np.testing.assert_array_equal(np.isnan(test.residual_n), [True, True, False, False])


def test_without_a_free_length_the_tension_is_assumed_and_said():
    test = spring_from_loads([25, 30], [6, 11])
    assert (test.initial_tension_n, test.free_length_mm) == (0.0, pytest.approx(19.0))
    assert not test.converged
    assert not test.tension_is_known
    assert np.isnan(test.initial_tension_se_n)  # not an error of 0
    assert codes(test)[0] == Code.FREE_LENGTH_UNMEASURED
    assert test.spring("P").initial_tension_sd == 0.15


def test_one_load_gives_a_rate_and_a_warning():
    test = spring_from_loads([25], [5], free_length_mm=20)
    assert test.rate_n_per_mm == pytest.approx(1.0)
    assert test.initial_tension_n == pytest.approx(0.0, abs=1e-12)
    assert codes(test)[0] == Code.LOADED_ONCE
    assert not test.tension_is_known


def test_slack_loops_are_said_and_the_true_start_used():
    test = spring_from_loads([24, 26, 28], [1, 3, 5], free_length_mm=20)
    assert test.initial_tension_n == 0.0
    assert test.free_length_mm == pytest.approx(23.0)
    assert values(test, Code.PULL_STARTS_LATE) == {"pull_mm": pytest.approx(23), "free_mm": 20}
    assert test.tension_is_known


def test_bent_loads_are_said():
    length = np.linspace(21, 31, 8)
    load = 2 + (length - 20) - 0.04 * (length - 20) ** 2
    assert Code.LOADS_BEND in codes(spring_from_loads(length, load, free_length_mm=20))


def test_one_mistyped_load_is_named():
    test = spring_from_loads([22, 24, 26, 28], [5, 7, 90, 11], free_length_mm=20)
    assert test.warnings[0] == warn(Code.LOAD_MISFITS, load_n=90.0, length_mm=26.0)
    assert codes(test)[1] == Code.RATE_UNKNOWN
    assert not test.converged
    assert test.spring("P").rate_sd == pytest.approx(test.rate_se / test.rate_n_per_mm)
    # Without it the others say 1 N/mm and 3 N.
    sound = spring_from_loads([22, 24, 28], [5, 7, 11], free_length_mm=20)
    assert (sound.rate_n_per_mm, sound.initial_tension_n) == pytest.approx((1.0, 3.0))
    assert sound.warnings == ()


def test_loads_that_scatter_far_more_than_said_are_called_so():
    test = spring_from_loads([22, 23, 24, 25, 26, 27], [5, 9, 6, 8, 6.5, 9], free_length_mm=20)
    assert values(test, Code.LOADS_SCATTER)["scatter_n"] == pytest.approx(1.6, abs=0.05)
    three = spring_from_loads([22, 24, 26], [5, 9, 10], free_length_mm=18)  # which of three is odd?
    assert Code.LOADS_SCATTER in codes(three)


def test_two_readings_at_one_length_and_one_elsewhere_name_none():
    # Which of two loads at one length is wrong the third can't tell.
    test = spring_from_loads([22, 22, 26], [5, 9, 11], free_length_mm=19)
    assert Code.LOADS_SCATTER in codes(test)
    assert Code.LOAD_MISFITS not in codes(test)


def test_a_rate_within_its_own_error_is_no_rate():
    test = spring_from_loads([25.0, 25.1], [5.0, 5.05], free_length_mm=20)
    assert test.rate_se > test.rate_n_per_mm
    assert codes(test)[-1] == Code.RATE_UNKNOWN


def test_a_free_length_within_the_error_of_the_lengths_is_fine():
    assert spring_from_loads([20.0, 22.0], [3.0, 5.0], free_length_mm=20.3).rate_n_per_mm == pytest.approx(
        1.0
    )


@pytest.mark.parametrize(
    ("length", "load", "options", "words"),
    [
        ([], [], {}, "length_mm must have at least 1"),
        ([25], [5], {}, "length_mm must hold two different lengths"),
        ([25, 25], [5, 6], {}, "length_mm must hold two different lengths"),
        ([20, 21], [0, 0], {}, "length_mm must hold two different lengths"),
        ([25, 30], [5], {}, "load_n must have as many values as length_mm"),
        ([25, np.nan], [5, 6], {}, "length_mm must be above 0 and at most 500, got nan"),
        ([25, 30], [5, -1], {}, "load_n must be from 0 to 5000, got -1"),
        ([25, 30], [6, 5], {}, "load_n must rise with length_mm, got -0.2 N/mm"),
        ([25, 30], [5, 5], {}, "load_n must rise with length_mm, got 0 N/mm"),
        ([25, 30], [5, 6], {"free_length_mm": 0}, "free_length_mm must be above 0"),
        ([25, 30], [5, 6], {"load_sd_n": 0}, "load_sd_n must be above 0"),
        ([20, 22], [3, 5], {"free_length_mm": 25}, "length_mm must not be below the free length of 25 mm"),
        (
            [20, 22, 25],
            [3, 5, 0],
            {},
            "length_mm must not be below the free length of 25 mm under load, got 20",
        ),
        ([25, 30], [100, 101], {}, "must leave a free length above 0, got -475 mm"),
        ([25, 25.02], [5, 80], {}, "load_n must rise by at most 1000 N/mm, got 3750 N/mm"),
        ([25, 25.0001], [5, 8], {}, "length_mm must hold two different lengths"),
        ([1e-300, 2e-300], [5, 8], {}, "length_mm must hold two different lengths"),
    ],
)
def test_bad_input_is_named(length, load, options, words):
    with pytest.raises(ValueError, match=words):
        spring_from_loads(length, load, **options)


@settings(max_examples=60, deadline=None)
@given(rate=st.floats(0.05, 20), tension=st.floats(0, 30), free=st.floats(8, 60), stretch=st.floats(0.5, 20))
def test_any_exact_spring_comes_back(rate, tension, free, stretch):
    length = free + stretch * np.array([0.25, 0.5, 0.75, 1.0])
    test = spring_from_loads(length, tension + rate * (length - free), free_length_mm=free)
    assert test.rate_n_per_mm == pytest.approx(rate, rel=1e-8)
    assert test.initial_tension_n == pytest.approx(tension, abs=1e-6)
    assert test.free_length_mm == free
