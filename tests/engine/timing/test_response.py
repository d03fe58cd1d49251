"""Best advance from sweeps at one speed, and honesty when the readings can't tell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import t
from uncertainties import correlated_values

from curves.engine import fit_response
from curves.engine.codes import Code, warn
from tests.engine.warned import codes, values

ADVANCE = np.array([20.0, 24.0, 28.0, 32.0, 36.0, 40.0])


def pull(best=31.0, sd=0.0, advance=ADVANCE, seed=0):
    return 100 - 0.06 * (advance - best) ** 2 + np.random.default_rng(seed).normal(0, sd, advance.size)


def test_known_best_comes_back():
    found = fit_response(ADVANCE, pull())
    assert found.best_deg == pytest.approx(31.0)
    assert found.best_value == pytest.approx(100.0)
    assert found.curvature == pytest.approx(-0.12)
    assert (found.finding, found.converged) == ("best inside", True)
    assert found.low_deg == pytest.approx(31.0, abs=1e-4)


def test_least_time_is_found_too():
    found = fit_response(ADVANCE, 200 - pull(), best="least")
    assert found.best_deg == pytest.approx(31.0)
    assert found.best_value == pytest.approx(100.0)
    assert found.curvature == pytest.approx(0.12)


def test_enough_advance_loses_just_the_share_allowed():
    found = fit_response(ADVANCE, pull(), allowed_share=0.01)
    assert 100 - 0.06 * (found.enough_deg - 31) ** 2 == pytest.approx(99.0)
    assert found.enough_deg < found.best_deg


def test_best_and_error_agree_with_curve_fit_and_uncertainties():
    y = pull(sd=0.3)
    found = fit_response(ADVANCE, y)
    values, covariance = curve_fit(lambda a, c0, c1, c2: c0 + c1 * a + c2 * a**2, ADVANCE, y)
    _, c1, c2 = correlated_values(values, covariance)
    top = -c1 / (2 * c2)
    assert found.best_deg == pytest.approx(top.n, rel=1e-5)
    assert found.best_se_deg == pytest.approx(top.s, rel=1e-3)


def test_interval_ends_are_where_the_squared_error_says_so():
    # Least squares with the top held at an end rises by just t^2 s^2: the definition of the interval.
    advance = np.repeat(ADVANCE, 2)
    y = pull(sd=0.8, advance=advance, seed=4)
    found = fit_response(advance, y, confidence=0.9)
    free = (found.residual**2).sum()
    for end in (found.low_deg, found.high_deg):
        columns = np.stack([np.ones_like(advance), (advance - end) ** 2], axis=1)
        held = np.linalg.lstsq(columns, y, rcond=None)[1][0]
        spare = advance.size - 3
        assert held - free == pytest.approx(t.ppf(0.95, spare) ** 2 * free / spare, rel=1e-6)


def test_interval_covers_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(11)
    hits = []
    for _ in range(300):
        y = 100 - 0.06 * (ADVANCE - 31) ** 2 + rng.normal(0, 0.5, ADVANCE.size)
        found = fit_response(ADVANCE, y, confidence=0.8)
        hits.append(found.low_deg <= 31 <= found.high_deg)
    assert 0.73 < np.mean(hits) < 0.87  # 0.8 +/- three standard errors of 300 trials


def test_pull_that_still_rises_has_no_best():
    found = fit_response(ADVANCE, 50 + ADVANCE)
    assert found.best_deg is None
    assert found.best_value is None
    assert found.high_deg == np.inf
    assert (found.finding, found.converged) == ("more is still better", False)
    assert found.warnings == (warn(Code.MORE_IS_BETTER, most_deg=40.0),)


def test_pull_that_falls_wants_less_advance():
    found = fit_response(ADVANCE, 150 - ADVANCE + np.array([0.1, -0.1, 0, 0.1, 0, -0.1]))
    assert found.low_deg == -np.inf
    assert found.finding == "less is still better"
    assert codes(found)[0] == Code.LESS_IS_BETTER


def test_rise_that_only_begins_to_bend_is_open_above():
    y = np.array([90.0, 92.1, 93.9, 95.9, 97.4, 99.5])
    found = fit_response(ADVANCE, y)
    assert found.finding == "more is still better"
    assert found.low_deg > 36
    assert found.high_deg == np.inf


def test_best_beyond_the_readings_is_said():
    found = fit_response(ADVANCE, pull(best=46))
    assert found.best_deg == pytest.approx(46)
    assert (found.finding, found.converged) == ("best beyond the readings", False)
    assert found.enough_deg is None
    beyond = values(found, Code.BEST_BEYOND_TRIES)
    assert (beyond["least_deg"], beyond["most_deg"]) == (20, 40)


def test_noise_cannot_tell():
    y = 100 + np.array([0.5, -0.6, 0.4, -0.3, 0.6, -0.5])
    found = fit_response(ADVANCE, y)
    assert (found.low_deg, found.high_deg, found.finding) == (-np.inf, np.inf, "cannot tell")
    assert codes(found)[0] == Code.BEST_NOT_TOLD


def test_dip_in_the_middle_is_no_best():
    found = fit_response(ADVANCE, 100 + 0.06 * (ADVANCE - 30) ** 2 + [0.1, 0, -0.1, 0.1, -0.1, 0])
    assert found.best_deg is None
    assert found.finding == "cannot tell"


def test_hollow_rise_is_still_better_upwards():
    found = fit_response(ADVANCE, 60 + 0.05 * (ADVANCE - 5) ** 2 + [0.1, 0, -0.1, 0.1, -0.1, 0])
    assert found.finding == "more is still better"
    assert found.low_deg == 40


def test_loose_interval_that_reaches_beyond_the_readings_is_said():
    y = np.array([97.0, 99.2, 98.6, 100.3, 99.6, 99.9])
    found = fit_response(ADVANCE, y, confidence=0.95)
    assert not np.isfinite(found.high_deg) or found.high_deg > 40
    assert found.warnings != ()


def test_three_readings_need_a_stated_error():
    bare = fit_response([24, 30, 36], [96, 100, 97])
    assert bare.finding == "best inside"
    assert (bare.low_deg, bare.high_deg, bare.converged) == (-np.inf, np.inf, False)
    assert codes(bare)[0] == Code.TRIED_ONCE_EACH
    known = fit_response([24, 30, 36], [96, 100, 97], value_sd=0.2)
    assert known.low_deg < known.best_deg < known.high_deg
    assert known.converged
    rising = fit_response([24, 30, 36], [90, 95, 99.9])
    assert rising.finding == "cannot tell"


def test_readings_worse_than_the_stated_error_are_believed():
    y = pull(sd=0.8, seed=2)
    assert fit_response(ADVANCE, y, value_sd=1e-6).best_se_deg == pytest.approx(
        fit_response(ADVANCE, y).best_se_deg
    )


@pytest.mark.parametrize(("advance", "value"), [([30], [100]), ([30, 30], [100, 101]), ([24, 30], [96, 100])])
def test_one_or_two_timings_say_what_they_can(advance, value):
    found = fit_response(advance, value)
    assert (found.best_deg, found.finding) == (None, "cannot tell")
    two = len(set(advance)) == 2
    told = warn(Code.TRIED_TWO, better_deg=30.0) if two else warn(Code.TRIED_TOO_FEW)
    assert found.warnings == (told,)


def test_order_does_not_matter_and_the_input_stays():
    mixed = np.array([3, 0, 5, 1, 4, 2])
    advance, y = ADVANCE[mixed], pull(sd=0.3)[mixed]
    copies = advance.copy(), y.copy()
    assert fit_response(advance, y).best_deg == pytest.approx(fit_response(ADVANCE, pull(sd=0.3)).best_deg)
    np.testing.assert_array_equal((advance, y), copies)


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (([], []), {}, "advance_deg must have at least 1"),
        (([20, 24], [1]), {}, "value must have as many values as advance_deg"),
        (([20, 24], [1, np.nan]), {}, "value must be from -1e.09 to 1e.09, got nan"),
        (([20, 24], [1, 1e300]), {}, "value must be from -1e.09 to 1e.09, got 1e.300"),
        (([20, 400], [1, 2]), {}, "advance_deg must be from -180 to 180, got 400"),
        (([20, 24], [1, 2]), {"best": "max"}, "best must be one of \\('most', 'least'\\), got 'max'"),
        (([20, 24], [1, 2]), {"confidence": 1}, "confidence must be below 1"),
        (([20, 24], [1, 2]), {"confidence": 0}, "confidence must be above 0"),
        (([20, 24], [1, 2]), {"value_sd": 0}, "value_sd must be above 0"),
        (([20, 24], [1, 2]), {"allowed_share": 2}, "allowed_share must be from 0 to 1, got 2"),
    ],
)
def test_bad_input_is_named(arguments, options, words):
    with pytest.raises(ValueError, match=words):
        fit_response(*arguments, **options)


@settings(max_examples=80, deadline=None)
@given(
    values=st.lists(st.floats(50, 150), min_size=3, max_size=9),
    step=st.floats(0.5, 6),
    start=st.floats(-10, 30),
)
def test_any_sweep_gives_an_ordered_interval(values, step, start):
    found = fit_response(start + step * np.arange(len(values)), values)
    assert found.low_deg <= found.high_deg
    if found.converged:
        assert found.low_deg - 1e-6 <= found.best_deg <= found.high_deg + 1e-6
    else:
        assert found.warnings != ()
