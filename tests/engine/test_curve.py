"""A curve as straight lines between points."""

import numpy as np
import pytest

from curves.engine import Curve


def test_value_and_slope_take_one_speed_or_many():
    curve = Curve([500, 1000, 2000], [0, 6, 11])
    at = np.array([100.0, 500.0, 750.0, 1500.0, 2500.0])
    np.testing.assert_allclose(curve.at(at), [0, 0, 3, 8.5, 11])
    np.testing.assert_allclose(curve.slope_at(at), [0, 1.2, 1.2, 0.5, 0])
    np.testing.assert_allclose([curve.at(n) for n in at], curve.at(at))
    np.testing.assert_allclose([curve.slope_at(n) for n in at], curve.slope_at(at))


def test_order_is_mended_repeats_are_averaged_and_the_input_stays():
    speed, advance = np.array([1000.0, 500.0, 1000.0]), np.array([7.0, 0.0, 5.0])
    curve = Curve(speed, advance)
    np.testing.assert_array_equal(curve.speed_rpm, [500, 1000])
    np.testing.assert_array_equal(curve.advance_deg, [0, 6])
    np.testing.assert_array_equal(speed, [1000, 500, 1000])
    with pytest.raises(ValueError, match="read-only"):
        curve.advance_deg[0] = 1


def test_begin_is_where_the_advance_rises():
    curve = Curve([300, 500, 1000], [0, 0, 10])
    assert curve.begin_rpm() == 500
    assert curve.begin_rpm(1.0) == 550
    assert Curve([300, 500], [3, 3]).begin_rpm() is None
    assert Curve([300, 500], [0, 2]).begin_rpm() == 300


def test_springs_are_set_one_degree_from_either_end():
    # Hudson Rambler Technical Service Manual 1955, p. 30: the weak spring is set where 1 degree is reached,
    # the heavy one at 1 degree below the maximum.
    curve = Curve([400, 900, 1900], [0, 5, 10])
    assert curve.begin_rpm(1.0) == 500
    assert curve.begin_rpm(curve.advance_deg.max() - 1.0) == 1700


def test_one_point_is_a_level():
    curve = Curve(1000, 4)
    assert (curve.at(0), curve.at(9000), curve.slope_at(1000)) == (4, 4, 0)
