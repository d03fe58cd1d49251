"""Dwell, coil current and copper against printed figures."""

from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.engine import coil_current, copper_resistance, copper_temperature, dwell, dwell_change
from curves.engine.units import FOUR_STROKE


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
        assert "worn bush" in moved.warnings[0]

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match="speed_rpm must have at least 2"):
            dwell_change([300], [31])
        with pytest.raises(ValueError, match="dwell_deg must be from 0 to 360, got nan"):
            dwell_change([300, 900], [31, np.nan])


class TestCoil:
    def test_published_charge(self):
        # ignitioncarsystem: 87 % at 4 ms, 90 % at 4.4 ms; computed 1 - exp(-4 ln 10 / 4.4) = 0.877.
        inductance = 4.4 / log(10)  # mH at 1 ohm
        charge = coil_current(np.array([4.0, 4.4]), 1.0, inductance, 12.0)
        assert charge.share[0] == pytest.approx(0.877, abs=5e-4)
        assert charge.share[1] == pytest.approx(0.90, rel=1e-12)

    def test_current_tends_to_voltage_over_resistance(self):
        charge = coil_current(1e6, 3.0, 8.0, 12.0)
        assert charge.current_a == pytest.approx(4.0)
        assert charge.final_a == 4.0
        assert coil_current(0.0, 3.0, 8.0, 12.0).current_a == 0.0

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            ((-1, 3, 8, 12), "closed_ms must be at least 0, got -1"),
            ((4, 0, 8, 12), "resistance_ohm must be above 0, got 0"),
            ((4, 3, np.nan, 12), "inductance_mh must be above 0, got nan"),
            ((4, 3, 8, -12), "supply_v must be above 0, got -12"),
        ],
    )
    def test_bad_input_is_named(self, arguments, words):
        with pytest.raises(ValueError, match=words):
            coil_current(*arguments)


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
        rise = copper_temperature(0.210, 0.200, 20, zero_c=235) - 25
        assert rise == pytest.approx(7.75, abs=1e-9)

    def test_there_and_back_and_arrays(self):
        warm = copper_resistance([1.5, 3.0], 20, 80)
        np.testing.assert_allclose(copper_resistance(warm, 80), [1.5, 3.0])
        assert copper_temperature(warm[0], 1.5, 20) == pytest.approx(80)
        assert copper_resistance(1.5, 20, 80) == pytest.approx(warm[0])

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match=r"from_c must be above -234\.5"):
            copper_resistance(1.5, -234.5)
        with pytest.raises(ValueError, match="resistance_ohm must be at least 0, got -1"):
            copper_resistance(-1, 20)
        with pytest.raises(ValueError, match="known_ohm must be above 0"):
            copper_temperature(1, 0, 20)
