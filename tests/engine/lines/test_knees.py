"""Straight pieces through readings: begin, slopes, knee, stop, and what few readings can say."""

import warnings
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from uncertainties import ufloat

from curves.engine import Curve, Readings, Run, Spring, fit_knees
from curves.engine.codes import Code, warn
from curves.engine.lines.pieces import Shape
from curves.engine.lines.ramps import fit_pieces
from curves.engine.units import FOUR_STROKE
from tests.engine.published import FOUR_CYLINDER_DEG, FOUR_CYLINDER_RPM
from tests.engine.warned import codes, values

SPEED = np.linspace(200, 2500, 20)
SHAPES = {  # corners of invented curves: rpm, degrees, slopes, has a stop
    "single slope": ([400, 2600], [0, 11], 1, False),
    "single slope and stop": ([400, 1500, 3000], [0, 10, 10], 1, True),
    "two slopes": ([400, 900, 2600], [0, 6, 12], 2, False),
    "two slopes and stop": ([400, 900, 2000, 3000], [0, 6, 11, 11], 2, True),
    "three slopes and stop": ([300, 700, 1300, 2100, 3000], [0, 5, 6, 13, 13], 3, True),
}


def bench(corners, seed=3, sd=0.1):
    """Readings of a known curve with scatter."""
    rpm, deg, *_ = corners
    return np.interp(SPEED, rpm, deg) + np.random.default_rng(seed).normal(0, sd, SPEED.size)


def test_published_two_slope_curve_has_its_knee_at_2000():
    # fordsix.com, thread 27815: knee at 2000 +/- 150 crank rpm, residuals below 0.5 crank degree.
    knees = fit_knees(
        FOUR_STROKE.to_shaft_rpm(FOUR_CYLINDER_RPM), FOUR_STROKE.to_shaft_deg(FOUR_CYLINDER_DEG)
    )
    assert knees.slope_deg_per_100rpm.size == 2
    assert FOUR_STROKE.to_crank_rpm(knees.knee_rpm) == pytest.approx([2000], abs=150)
    assert np.abs(FOUR_STROKE.to_crank_deg(knees.residual_deg)).max() < 0.5
    assert knees.stop_rpm is None
    assert Code.STOP_NOT_READ in codes(knees)


@pytest.mark.parametrize(
    ("begin", "stop", "slope"), [(550, 2300, 0.6286), (600, 1950, 0.8148)]
)  # slopes computed from the printed points
def test_published_single_slopes(begin, stop, slope):
    # Datsun pick-up 1977, service manual p. EE-34 (OCR; column order is a reading): manual gearbox 0 deg at
    # 550 and 11.0 at 2300, automatic 0 at 600 and 11.0 at 1950 distributor rpm.
    speed = np.arange(300, 2800, 125)
    knees = fit_knees(speed, np.interp(speed, [begin, stop], [0, 11.0]))
    assert knees.slope_deg_per_100rpm == pytest.approx([slope], abs=1e-4)
    assert (knees.begin_rpm, knees.stop_rpm, knees.top_deg) == pytest.approx((begin, stop, 11.0))


@pytest.mark.parametrize(("crank_deg", "unusual"), [(15, False), (19, False), (42, False), (43, True)])
def test_published_maxima_bound_the_plausible(crank_deg, unusual):
    # TM 10-3930-623-12, para 4-22: at most 15 to 19 crank degrees; in general "only a few" to 42.
    top = FOUR_STROKE.to_shaft_deg(crank_deg)
    knees = fit_knees(SPEED, np.interp(SPEED, [400, 1500], [0, top]))
    assert (Code.ADVANCE_UNUSUALLY_MUCH in codes(knees)) is unusual


@pytest.mark.parametrize("name", SHAPES)
def test_known_corners_come_back_within_their_errors(name):
    rpm, _deg, slopes, stop = SHAPES[name]
    knees = fit_knees(SPEED, bench(SHAPES[name]))
    assert knees.converged
    assert knees.slope_deg_per_100rpm.size == slopes
    assert (knees.stop_rpm is not None) is stop
    found = [knees.begin_rpm, *knees.knee_rpm] + ([knees.stop_rpm] if stop else [])
    errors = [knees.begin_se_rpm, *knees.knee_se_rpm] + ([knees.stop_se_rpm] if stop else [])
    np.testing.assert_array_less(np.abs(np.array(found) - rpm[: len(found)]), 2 * np.array(errors))


def test_exact_readings_give_exact_corners():
    rpm, deg, *_ = SHAPES["two slopes and stop"]
    knees = fit_knees(SPEED, np.interp(SPEED, rpm, deg))
    assert [knees.begin_rpm, *knees.knee_rpm, knees.stop_rpm] == pytest.approx(rpm[:3], abs=1e-6)
    assert knees.slope_deg_per_100rpm == pytest.approx([1.2, 5 / 11], rel=1e-9)
    assert knees.top_deg == pytest.approx(11, abs=1e-9)
    assert knees.sse_deg2 == pytest.approx(0, abs=1e-16)
    assert knees.warnings == ()


def test_values_and_errors_agree_with_scipy_curve_fit():
    y = bench(SHAPES["two slopes and stop"], sd=0.3)
    knees = fit_knees(SPEED, y, slopes=2, stop=True, reading_sd_deg=1e-3)

    def model(n, begin, knee, stop, first, second):
        ramp = first * (np.clip(n, begin, knee) - begin) + second * (np.clip(n, knee, stop) - knee)
        return ramp / 100

    start = [knees.begin_rpm, knees.knee_rpm[0], knees.stop_rpm, *knees.slope_deg_per_100rpm]
    values, covariance = curve_fit(model, SPEED, y, start)
    np.testing.assert_allclose(start, values, rtol=1e-4)
    errors = [knees.begin_se_rpm, knees.knee_se_rpm[0], knees.stop_se_rpm, *knees.slope_se]
    np.testing.assert_allclose(errors, np.sqrt(np.diag(covariance)), rtol=0.02)


def test_squared_error_is_no_higher_than_any_local_search_finds():
    # scipy's curve_fit from 60 random starts is the outside witness of the global optimum.
    rng = np.random.default_rng(5)
    y = bench(SHAPES["two slopes and stop"], sd=0.4)
    (fit,) = fit_pieces(SPEED, y, [Shape(3, False, level_free=True, begin_free=False)])

    def model(n, first, second, level, *slopes):
        low, high = sorted((first, second))
        ramps = [np.clip(n, a, b) - a for a, b in ((200, low), (low, high), (high, 2500))]
        return level + sum(slope * ramp for slope, ramp in zip(slopes, ramps, strict=True)) / 100

    def error_from(start):
        try:
            values, _ = curve_fit(model, SPEED, y, start, maxfev=2000)
        except RuntimeError:
            return np.inf
        return ((y - model(SPEED, *values)) ** 2).sum()

    starts = [[*np.sort(rng.uniform(300, 2400, 2)), 0, 0.5, 0.5, 0.5] for _ in range(60)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the witness complains of starts that lead nowhere
        best = min(error_from(start) for start in starts)
    assert fit.sse <= best * (1 + 1e-9)
    assert fit.sse == pytest.approx(((y - fit.value(SPEED)) ** 2).sum(), rel=1e-9)


def test_fixed_number_of_pieces_fits_no_worse_than_the_flat_ended_shape():
    y = bench(SHAPES["two slopes and stop"])
    assert fit_knees(SPEED, y, pieces=4).sse_deg2 <= fit_knees(SPEED, y, slopes=2, stop=True).sse_deg2


def test_floor_is_fitted_when_the_light_reads_the_initial_timing_too():
    y = bench(SHAPES["two slopes and stop"]) + 5
    knees = fit_knees(SPEED, y, floor_deg=None)
    assert knees.floor_deg == pytest.approx(5, abs=3 * knees.floor_se_deg)
    assert knees.begin_rpm == pytest.approx(400, abs=2 * knees.begin_se_rpm)
    assert knees.top_deg == pytest.approx(16, abs=3 * knees.top_se_deg)


def test_initial_timing_left_in_is_said():
    knees = fit_knees([500, 1000, 1500, 2000], [9, 10.5, 12, 13.5])
    assert Code.SLOPE_ABOVE_FLOOR in codes(knees)


def test_order_of_readings_does_not_matter_and_they_stay_untouched():
    y = bench(SHAPES["two slopes"])
    mixed = np.random.default_rng(0).permutation(SPEED.size)
    speed, advance = SPEED[mixed], y[mixed]
    copies = speed.copy(), advance.copy()
    knees = fit_knees(speed, advance)
    assert knees.begin_rpm == pytest.approx(fit_knees(SPEED, y).begin_rpm)
    np.testing.assert_array_equal(speed, copies[0])
    np.testing.assert_array_equal(advance, copies[1])


@pytest.mark.parametrize("kind", [Readings, Curve, partial(Run, Spring("P", 1.0, 20.0), None)])
def test_whatever_holds_readings_gives_the_same_as_arrays(kind):
    y = bench(SHAPES["two slopes"])
    assert fit_knees(kind(SPEED, y)).sentence == fit_knees(SPEED, y).sentence


def test_standard_errors_are_as_large_as_they_say():
    rng = np.random.default_rng(21)
    rpm, deg, *_ = SHAPES["two slopes and stop"]
    speed = np.linspace(200, 2500, 24)
    off = []
    for _ in range(80):
        knees = fit_knees(speed, np.interp(speed, rpm, deg) + rng.normal(0, 0.25, 24), slopes=2, stop=True)
        found = np.array([knees.begin_rpm, *knees.knee_rpm, knees.stop_rpm, knees.top_deg])
        errors = [knees.begin_se_rpm, *knees.knee_se_rpm, knees.stop_se_rpm, knees.top_se_deg]
        off.append((found - [*rpm[:3], deg[2]]) / errors)
    # 80 standard deviations of a unit normal: 1 +/- three of their own standard errors.
    np.testing.assert_allclose(np.std(off, axis=0), 1.0, atol=3 / np.sqrt(160))


def test_advance_and_slope_take_one_speed_or_many():
    knees = fit_knees(SPEED, np.interp(SPEED, *SHAPES["two slopes and stop"][:2]))
    at = np.array([300.0, 500.0, 1000.0, 2400.0])
    np.testing.assert_allclose(knees.advance_at(at), [knees.advance_at(n) for n in at])
    np.testing.assert_allclose(knees.slope_at(at), [0, 1.2, 5 / 11, 0], atol=1e-9)
    assert knees.slope_at(500.0) == pytest.approx(1.2)


def test_corners_are_the_curve_that_was_described():
    rpm, deg, *_ = SHAPES["two slopes and stop"]
    knees = fit_knees(SPEED, np.interp(SPEED, rpm, deg))
    np.testing.assert_allclose(knees.speed_rpm, [200, 400, 900, 2000, 2500], atol=1e-6)
    np.testing.assert_allclose(knees.advance_deg, [0, 0, 6, 11, 11], atol=1e-8)


def test_sentence_says_it_aloud():
    knees = fit_knees(SPEED, np.interp(SPEED, *SHAPES["two slopes and stop"][:2]))
    assert knees.sentence == (
        "Begins at 400 rpm, 1.20 degrees per 100 rpm, knee at 900 rpm, then 0.45 per 100 rpm, "
        "stop at 2000 rpm and 11.0 degrees."
    )


def test_one_reading_gives_a_level_and_a_warning():
    knees = fit_knees(1000, 5)
    assert (knees.begin_rpm, knees.floor_deg, knees.converged) == (None, 5.0, False)
    assert knees.sentence == "5.0 degrees at the one speed read, 1000 rpm."
    assert codes(knees)[0] == Code.READ_AT_ONE_SPEED


def test_one_speed_read_often_gives_a_level_and_a_warning():
    knees = fit_knees([1000, 1000, 1000], [5, 5.5, 4.5], floor_deg=None)
    assert knees.floor_deg == pytest.approx(5)
    assert knees.slope_at(1000) == 0
    assert codes(knees)[0] == Code.READ_AT_ONE_SPEED


def test_two_readings_give_a_line_and_a_warning():
    knees = fit_knees([800, 1300], [4, 9])
    assert knees.begin_rpm == pytest.approx(400)
    assert knees.slope_deg_per_100rpm == pytest.approx([1])
    assert knees.warnings[0] == warn(Code.READ_AT_FEW_SPEEDS, speed_count=2)
    # The begin of a line through two readings: uncertainty of a quotient, by the `uncertainties` package.
    low, high = ufloat(4, 0.25), ufloat(9, 0.25)
    begin = 800 - low * 500 / (high - low)
    assert knees.begin_se_rpm == pytest.approx(begin.s, rel=1e-6)


def test_two_readings_of_which_one_is_at_rest_do_not_place_the_begin():
    knees = fit_knees([250, 500], [0, 1])
    assert knees.slope_deg_per_100rpm[0] > 0
    assert not np.isfinite(knees.begin_se_rpm)


def test_two_readings_with_a_free_floor_cannot_be_placed():
    knees = fit_knees([800, 1300], [4, 9], floor_deg=None)
    assert knees.warnings[0] == warn(Code.READ_AT_FEW_SPEEDS, speed_count=2)


def test_three_readings_give_what_can_be_said():
    knees = fit_knees([400, 900, 1400], [0, 5, 10])
    assert knees.begin_rpm == pytest.approx(400, abs=1e-6)
    assert knees.slope_deg_per_100rpm == pytest.approx([1])
    assert knees.warnings[0] == warn(Code.READ_AT_FEW_SPEEDS, speed_count=3)


def test_no_advance_is_said():
    knees = fit_knees(SPEED, np.zeros(SPEED.size))
    assert knees.begin_rpm is None
    assert knees.sentence == "No advance: 0.0 degrees throughout."
    assert codes(knees)[0] == Code.NO_ADVANCE


def test_mistyped_reading_is_named_and_left_aside_but_kept():
    y = np.interp(SPEED, *SHAPES["two slopes and stop"][:2])
    y[8] += 9
    knees = fit_knees(SPEED, y)
    assert not knees.used[8]
    assert knees.used.sum() == SPEED.size - 1
    assert knees.residual_deg[8] == pytest.approx(9, abs=1e-6)
    left_aside = values(knees, Code.STRAY_LEFT_ASIDE)
    assert left_aside["speed_shaft_rpm"] == SPEED[8]
    assert left_aside["offset_shaft_deg"] == pytest.approx(9, abs=1e-6)


def test_scatter_beyond_the_expected_is_said():
    y = bench(SHAPES["single slope"], sd=0.9, seed=1)
    knees = fit_knees(SPEED, y, slopes=1, stop=False)
    assert Code.READINGS_SCATTER in codes(knees)


def test_falling_slope_and_unusual_advance_are_said():
    knees = fit_knees([500, 1000, 1500, 2000, 2500, 3000], [0, 8, 16, 24, 23.4, 22.8], slopes=2, stop=False)
    assert knees.slope_deg_per_100rpm[1] < 0
    assert Code.ADVANCE_GOES_BACK in codes(knees)
    # TM 10-3930-623-12, para 4-22: maxima from "only a few" to 42 crank degrees.
    assert Code.ADVANCE_UNUSUALLY_MUCH in codes(knees)


def test_begin_drawn_on_from_above_is_said():
    knees = fit_knees([1000, 1200, 1400, 1600], [5, 7, 9, 11])
    assert knees.begin_rpm == pytest.approx(500)
    assert knees.speed_rpm[0] == pytest.approx(500)
    assert values(knees, Code.BEGIN_NOT_READ)["lowest_shaft_rpm"] == 1000


def test_one_reading_on_a_slope_leaves_its_ends_open():
    knees = fit_knees([500, 700, 1500, 2200, 2400], [0, 0, 6, 12, 12], slopes=1, stop=True)
    assert not np.isfinite(knees.begin_se_rpm)
    assert "begin" in [one.values.get("corner") for one in knees.warnings]


def test_more_readings_than_the_grid_has_places_still_find_the_corners():
    speed = np.linspace(200, 2500, 90)
    y = np.interp(speed, *SHAPES["two slopes and stop"][:2])
    knees = fit_knees(speed, y + np.random.default_rng(2).normal(0, 0.1, 90))
    assert [knees.begin_rpm, *knees.knee_rpm, knees.stop_rpm] == pytest.approx([400, 900, 2000], abs=60)


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (([], []), {}, "speed_rpm must have at least 1"),
        (([500, 1000], [0, np.nan]), {}, "advance_deg must be from -180 to 180, got nan"),
        (([500, -1], [0, 1]), {}, "speed_rpm must be from 0 to 20000, got -1"),
        (([500, 1000], [0]), {}, "advance_deg must have as many"),
        (([500, 1000], [0, 5]), {"slopes": 4}, "slopes must be from 1 to 3, got 4"),
        (([500, 1000], [0, 5]), {"pieces": 9}, "pieces must be from 1 to 5, got 9"),
        (([500, 1000], [0, 5]), {"reading_sd_deg": 0}, "reading_sd_deg must be from 0.001 to 10, got 0"),
        (([500, 1000], [0, 5]), {"floor_deg": np.inf}, "floor_deg must be from -180 to 180"),
    ],
)
def test_bad_input_is_named(arguments, options, words):
    with pytest.raises(ValueError, match=words):
        fit_knees(*arguments, **options)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(200, 3000), st.floats(-1, 25)),
        min_size=1,
        max_size=25,
        unique_by=lambda p: p[0],
    )
)
def test_any_readings_give_a_finite_description(points):
    speed, advance = zip(*points, strict=True)
    knees = fit_knees(speed, advance)
    assert np.isfinite(knees.residual_deg).all()
    assert np.isfinite(knees.advance_at(np.linspace(0, 3000, 50))).all()
    assert (np.diff(knees.speed_rpm) > 0).all()
    assert knees.rms_deg == pytest.approx(np.sqrt(np.mean(knees.residual_deg[knees.used] ** 2)), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    begin=st.floats(300, 600),
    widths=st.tuples(st.floats(400, 700), st.floats(600, 1000)),
    slopes=st.tuples(st.floats(0.8, 2.0), st.floats(0.2, 0.5)),
)
def test_any_two_slope_curve_comes_back(begin, widths, slopes):
    rpm = np.cumsum([begin, *widths])
    deg = np.cumsum([0, slopes[0] * widths[0] / 100, slopes[1] * widths[1] / 100])
    speed = np.arange(150, 2600, 75)
    knees = fit_knees(speed, np.interp(speed, rpm, deg))
    assert knees.begin_rpm == pytest.approx(begin, abs=1e-3)
    assert knees.knee_rpm == pytest.approx([rpm[1]], abs=1e-3)
    assert knees.stop_rpm == pytest.approx(rpm[2], abs=1e-3)
    assert knees.top_deg == pytest.approx(deg[2], abs=1e-6)
