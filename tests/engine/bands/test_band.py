"""How a curve lies against the band of a target: where, how much, which side."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from curves.engine import (
    Curve,
    Drive,
    Readings,
    Target,
    band_edges,
    best_initial,
    distance_outside,
    judge_curve,
)
from curves.engine.codes import Code, warn

TARGET = Target([500, 1000, 2000], [0, 6, 12], [0.5, 1.0, 0.5])


def test_edges_are_straight_between_points():
    lower, upper = band_edges(TARGET, [500, 750, 1000, 1500, 2000])
    np.testing.assert_allclose(lower, [-0.5, 2.25, 5, 8.25, 11.5])
    np.testing.assert_allclose(upper, [0.5, 3.75, 7, 9.75, 12.5])
    assert band_edges(TARGET, 750) == (2.25, 3.75)


def test_edges_end_with_the_target():
    assert np.isnan(band_edges(TARGET, [499, 2001])).all()


def test_distance_is_signed_and_zero_inside():
    distance = distance_outside(TARGET, [1000, 1000, 1000, 750, 3000], [8, 4, 6.9, 4, 12])
    np.testing.assert_allclose(distance, [1, -1, 0, 0.25, np.nan])
    assert distance_outside(TARGET, 1000, 8) == 1.0


@pytest.mark.parametrize(("crank", "side"), [(1.3, 1), (-0.1, -1)])
def test_a_reading_on_the_edge_is_inside_however_it_was_turned(crank, side):
    # 0.6 +/- 0.7 crank degrees: the halves of 1.3 and of 0.6 + 0.7 differ by rounding only.
    drive = Drive.four_stroke()
    target = Target([500, 1500], drive.to_shaft_deg([0.6, 0.6]), drive.to_shaft_deg(0.7))
    reading = drive.to_shaft_deg(crank)
    assert distance_outside(target, 1000, reading) == 0.0
    verdict = judge_curve(target, ([500, 1500], [reading, reading]))
    assert verdict.within
    assert (verdict.worst_deg, verdict.worst_side, verdict.ranges) == (0.0, "inside", ())
    assert best_initial(([500, 1500], [reading, reading]), target).within
    # A thousandth of a degree is seen.
    beyond = reading + side * 1e-3
    assert distance_outside(target, 1000, beyond) == pytest.approx(side * 1e-3, rel=1e-6)
    assert not judge_curve(target, ([500, 1500], [beyond, beyond])).within


def test_curve_on_the_target_is_within():
    verdict = judge_curve(TARGET, (TARGET.speed_rpm, TARGET.advance_deg))
    assert verdict.within
    assert (verdict.worst_deg, verdict.worst_side) == (0.0, "inside")
    assert verdict.ranges == ()
    np.testing.assert_array_equal(verdict.at_points_deg, [0, 0, 0])


def test_miss_between_the_points_is_found():
    verdict = judge_curve(TARGET, ([500, 1000, 1500, 2000], [0, 6, 11, 12]))
    assert not verdict.within
    np.testing.assert_array_equal(verdict.at_points_deg, [0, 0, 0])
    assert (verdict.worst_deg, verdict.worst_rpm, verdict.worst_side) == (1.25, 1500.0, "above")


def test_ranges_name_side_ends_and_area():
    # Below by 1 at 500 falling to 0 at 750, above from 1250 with a peak of 1 at 1500.
    target = Target([500, 2000], [0, 15], 1)
    verdict = judge_curve(target, ([500, 1000, 1500, 2000], [-2, 5, 12, 15]))
    low, high = verdict.ranges
    assert (low.side, low.from_rpm, low.to_rpm, low.worst_deg, low.worst_rpm) == ("below", 500, 750, 1, 500)
    assert (high.side, high.from_rpm, high.to_rpm) == ("above", 1250, 1750)
    assert (high.worst_deg, high.worst_rpm) == (1, 1500)
    assert verdict.too_little_deg_rpm == pytest.approx(0.5 * 250 * 1)
    assert verdict.too_much_deg_rpm == pytest.approx(0.5 * 500 * 1)


def test_areas_agree_with_scipy_quadrature():
    rng = np.random.default_rng(4)
    curve = Curve(np.linspace(500, 2000, 9), np.linspace(0, 12, 9) + rng.normal(0, 2, 9))
    verdict = judge_curve(TARGET, curve)

    def side(sign):
        breaks = np.unique(np.concatenate([curve.speed_rpm, TARGET.speed_rpm]))
        return sum(
            quad(lambda n: max(sign * distance_outside(TARGET, n, curve.at(n)), 0), a, b, limit=200)[0]
            for a, b in pairwise(breaks)
        )

    assert verdict.too_much_deg_rpm == pytest.approx(side(1), rel=1e-6)
    assert verdict.too_little_deg_rpm == pytest.approx(side(-1), rel=1e-6)


def test_initial_timing_lifts_the_curve():
    verdict = judge_curve(TARGET, (TARGET.speed_rpm, TARGET.advance_deg - 4), initial_deg=4)
    assert verdict.within


def test_curve_that_stops_short_is_not_within():
    verdict = judge_curve(TARGET, ([500, 1000], [0, 6]))
    assert not verdict.within
    assert verdict.worst_side == "inside"
    assert np.isnan(verdict.at_points_deg[2])
    assert verdict.warnings == (warn(Code.TARGET_NOT_REACHED, speeds_shaft_rpm=(2000.0,)),)


def test_curve_elsewhere_is_unknown():
    verdict = judge_curve(TARGET, ([3000, 4000], [12, 12]))
    assert not verdict.within
    assert verdict.worst_side == "unknown"
    assert np.isnan(verdict.worst_deg)
    assert verdict.warnings[0].values["speeds_shaft_rpm"] == (500, 1000, 2000)


def test_readings_that_share_a_speed_are_each_judged():
    # Rising and falling differ by 3 degrees at 1000: their mean lies in the band, neither reading does.
    readings = Readings([500, 1000, 1000, 2000], [0, 4.5, 7.5, 12], [False, False, True, False])
    verdict = judge_curve(TARGET, readings)
    assert not verdict.within
    assert (verdict.worst_deg, verdict.worst_rpm) == (0.5, 1000.0)
    pair = judge_curve(TARGET, ([500, 1000, 1000, 2000], [0, 4.5, 7.5, 12]))
    assert pair.worst_deg == 0.5


def test_target_of_one_point_is_judged_there():
    verdict = judge_curve(Target([1000], [6], 0.5), ([500, 1500], [0, 14]))
    assert (verdict.worst_deg, verdict.worst_rpm, verdict.worst_side) == (0.5, 1000.0, "above")
    assert verdict.too_much_deg_rpm == 0.0


@pytest.mark.parametrize(
    ("speed", "advance", "words"),
    [
        ([], [], "speed_rpm must have at least 1"),
        ([-5], [1], "speed_rpm must be from 0 to 20000, got -5"),
        ([500], [np.nan], "advance_deg must be from -180 to 180, got nan"),
        ([500, 600], [1], "advance_deg must have as many values as speed_rpm"),
    ],
)
def test_bad_points_are_named(speed, advance, words):
    with pytest.raises(ValueError, match=words):
        distance_outside(TARGET, speed, advance)
    with pytest.raises(ValueError, match=words):
        judge_curve(TARGET, (speed, advance))


def test_what_is_no_curve_is_named():
    with pytest.raises(ValueError, match="curve must be a pair"):
        judge_curve(TARGET, 5)
    with pytest.raises(ValueError, match="initial_deg must be from -180 to 180, got nan"):
        judge_curve(TARGET, ([500], [0]), initial_deg=np.nan)


curves = st.lists(
    st.tuples(st.integers(300, 2500), st.floats(-5, 20)), min_size=2, max_size=12, unique_by=lambda p: p[0]
)


@settings(max_examples=80, deadline=None)
@given(curves)
def test_nothing_between_the_points_is_worse_than_the_worst(points):
    curve = Curve(*zip(*points, strict=True))
    verdict = judge_curve(TARGET, curve)
    low, high = max(500, curve.speed_rpm[0]), min(2000, curve.speed_rpm[-1])
    if low > high:
        assert verdict.worst_side == "unknown"
        return
    fine = np.linspace(low, high, 400)
    distance = distance_outside(TARGET, fine, curve.at(fine))
    assert np.abs(distance).max() <= verdict.worst_deg + 1e-9
    area = np.trapezoid(np.abs(distance), fine)
    assert verdict.too_much_deg_rpm + verdict.too_little_deg_rpm == pytest.approx(area, rel=0.02, abs=2)
