"""Dwell and copper against printed figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.engine import copper_resistance, dwell, dwell_change
from curves.engine.codes import Code
from curves.engine.units import FOUR_STROKE
from tests.engine.warned import codes


class TestDwell:
    def test_published_four_cylinder(self):
        # ignitioncarsystem, cam dwell angle: 60 of 90 deg at 5000 engine rpm: 2/3, 10 000 sparks/min, 6 and
        # 4 ms.
        points = dwell(4, dwell_deg=60, speed_rpm=FOUR_STROKE.to_shaft_rpm(5000))
        assert points.percent == pytest.approx(200 / 3)
        assert (points.sparks_per_min, points.period_ms, points.closed_ms) == pytest.approx((10_000, 6, 4))
        assert points.open_ms == pytest.approx(2)

    def test_published_six_cylinder(self):
        # Same source: 35 of 60 deg: 58 %, 15 000/min, 4 ms.
        points = dwell(6, dwell_deg=35, speed_rpm=FOUR_STROKE.to_shaft_rpm(5000))
        assert points.percent == pytest.approx(58, abs=0.5)
        assert (points.sparks_per_min, points.period_ms) == pytest.approx((15_000, 4))

    def test_published_eight_cylinder_from_times(self):
        # Same source: 14.27 ms closed of 19.21 ms -> 33.42790213 deg (printed).
        points = dwell(8, closed_ms=14.27, speed_rpm=60_000 / (8 * 19.21))
        assert points.period_ms == pytest.approx(19.21)
        assert points.dwell_deg == pytest.approx(33.42790213, rel=1e-6)

    def test_published_half(self):
        # Same source: 45 of 90 = 50 %.
        assert dwell(4, percent=50).dwell_deg == 45
        assert dwell(4, dwell_deg=45).percent == 50

    @pytest.mark.parametrize(
        ("cylinders", "angle"),
        [
            (4, (49, 55)),  # Datsun 1977: 49 to 55 deg at 0.45 to 0.55 mm
            (6, (35, 35)),  # Hudson six: 35 deg at 0.020 in
            (8, (31, 31)),  # Hudson eight: 31 deg at 0.017 in
        ],
    )
    def test_published_dwells_fit_in_their_period(self, cylinders, angle):
        points = dwell(cylinders, dwell_deg=angle)
        assert (points.percent > 50).all()
        assert (points.percent < 70).all()
        np.testing.assert_allclose(dwell(cylinders, percent=points.percent).dwell_deg, angle)

    def test_one_speed_agrees_with_many(self):
        speeds = np.array([300.0, 900.0, 2500.0])
        many = dwell(4, dwell_deg=50, speed_rpm=speeds)
        ones = [dwell(4, dwell_deg=50, speed_rpm=speed) for speed in speeds]
        np.testing.assert_allclose(many.closed_ms, [one.closed_ms for one in ones])
        np.testing.assert_allclose(many.sparks_per_min, [one.sparks_per_min for one in ones])
        assert many.dwell_deg == pytest.approx(50)

    def test_without_a_speed_there_are_no_times(self):
        points = dwell(4, dwell_deg=50)
        assert (points.closed_ms, points.open_ms, points.period_ms, points.sparks_per_min) == (None,) * 4

    @pytest.mark.parametrize(
        ("cylinders", "options", "words"),
        [
            (0, {"percent": 50}, "cylinders must be from 1 to 24, got 0"),
            (4.5, {"percent": 50}, "cylinders must be a whole number"),
            (4, {}, "give one of dwell_deg, percent and closed_ms, got 0"),
            (4, {"percent": 50, "dwell_deg": 45}, "got 2 of them"),
            (4, {"percent": 101}, "percent must be from 0 to 100, got 101"),
            (4, {"dwell_deg": 91}, "dwell_deg must be from 0 to 90, got 91"),
            (4, {"closed_ms": 3}, "speed_rpm must be given with closed_ms"),
            (4, {"closed_ms": 16, "speed_rpm": 1000}, "closed_ms must be from 0 to 15, got 16"),
            (
                4,
                {"closed_ms": 14, "speed_rpm": [1000, 2000]},
                "closed_ms must not exceed the period of 7.5 ms",
            ),
            (4, {"percent": 50, "speed_rpm": 0}, "speed_rpm must be above 0"),
            (4, {"percent": np.nan}, "percent must be from 0 to 100, got nan"),
        ],
    )
    def test_bad_input_is_named(self, cylinders, options, words):
        with pytest.raises(ValueError, match=words):
            dwell(cylinders, **options)

    @settings(max_examples=60, deadline=None)
    @given(cylinders=st.integers(1, 12), percent=st.floats(0, 100), speed=st.floats(50, 8000))
    def test_all_three_forms_come_back(self, cylinders, percent, speed):
        first = dwell(cylinders, percent=percent, speed_rpm=speed)
        again = dwell(cylinders, closed_ms=min(first.closed_ms, first.period_ms), speed_rpm=speed)
        assert again.percent == pytest.approx(percent, abs=1e-9)
        assert first.closed_ms + first.open_ms == pytest.approx(first.period_ms)


class TestDwellChange:
    def test_published_limit(self):
        # GM 1967 manual, p. 347: idle to 1750 engine rpm at most 3 deg.
        fast = FOUR_STROKE.to_shaft_rpm(1750)
        assert dwell_change([300, fast], [31, 28]).within
        moved = dwell_change([fast, 300], [27.5, 31])
        assert (moved.change_deg, moved.at_rpm, moved.within) == (-3.5, fast, False)
        assert codes(moved)[0] == Code.DWELL_MOVES

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match="speed_rpm must have at least 2"):
            dwell_change([300], [31])
        with pytest.raises(ValueError, match="dwell_deg must be from 0 to 360, got nan"):
            dwell_change([300, 900], [31, np.nan])


class TestCopper:
    @pytest.mark.parametrize(
        ("celsius", "factor"),
        [  # printed table on a base of 25 C, factor (234.5 + T) / 259.5
            (40, 1.058),
            (50, 1.096),
            (55, 1.116),
            (60, 1.135),
            (65, 1.154),
            (70, 1.173),
            (75, 1.193),
            (80, 1.212),
            (85, 1.231),
            (90, 1.250),
            (100, 1.289),
            (105, 1.308),
            (125, 1.385),
            (150, 1.482),
            (200, 1.674),
        ],
    )
    def test_published_factors(self, celsius, factor):
        assert copper_resistance(1.0, 25, celsius) == pytest.approx(factor, abs=1e-3)

    def test_published_temperature_rise(self):
        # Hioki RM3545 manual after IEC 60034: 200 -> 210 mohm, 20 -> 25 C, k 235: rise 7.75 K.
        assert copper_resistance(0.200, 20, 25 + 7.75, zero_c=235) == pytest.approx(0.210, abs=1e-12)

    @pytest.mark.parametrize("celsius", [-10, 10, 25, 40, 90])
    def test_published_coefficient_of_annealed_copper(self, celsius):
        # IEC 60028: 0.00393 per kelvin at 20 C (from memory).
        cold = copper_resistance(1.0 + 0.00393 * (celsius - 20), celsius)
        assert cold == pytest.approx(1.0, abs=1e-4)

    def test_there_and_back_and_arrays(self):
        warm = copper_resistance([1.5, 3.0], 20, 80)
        np.testing.assert_allclose(copper_resistance(warm, 80), [1.5, 3.0])
        assert copper_resistance(1.5, 20, 80) == pytest.approx(warm[0])

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match=r"from_c must be above -234\.5"):
            copper_resistance(1.5, -234.5)
        with pytest.raises(ValueError, match="resistance_ohm must be at least 0, got -1"):
            copper_resistance(-1, 20)
