"""The vacuum capsule and its leak-down."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from curves.engine import fit_capsule, leak_down
from curves.engine.codes import Code
from curves.engine.units import KPA_PER_INHG, KPA_PER_MMHG
from tests.engine.warned import codes, values

VACUUM = np.arange(5.0, 60.0, 2.5)


def known(begin, end, degrees, vacuum=VACUUM):
    return np.interp(vacuum, [begin, end], [0, degrees])


class TestCapsule:
    def test_published_capsule_begins_at_150_mmhg(self):
        # Datsun pick-up 1977, service manual p. EE-34: 0 deg at 150 mmHg (5.91 inHg), 3.0 at 250 (9.84 inHg).
        vacuum = np.array([100, 150, 175, 200, 225, 250, 300]) * KPA_PER_MMHG
        capsule = fit_capsule(vacuum, [0, 0, 0.75, 1.5, 2.25, 3.0, 3.0])
        assert capsule.begin_kpa / KPA_PER_MMHG == pytest.approx(150, abs=1e-6)
        assert capsule.begin_kpa / KPA_PER_INHG == pytest.approx(5.91, abs=0.005)
        assert capsule.end_kpa / KPA_PER_INHG == pytest.approx(9.84, abs=0.005)
        assert capsule.degrees == pytest.approx(3.0)
        assert capsule.converged

    def test_known_capsule_comes_back_within_its_errors(self):
        noise = np.random.default_rng(6).normal(0, 0.2, VACUUM.size)
        capsule = fit_capsule(VACUUM, known(15, 40, 8) + noise)
        assert abs(capsule.begin_kpa - 15) < 2 * capsule.begin_se_kpa
        assert abs(capsule.end_kpa - 40) < 2 * capsule.end_se_kpa
        assert abs(capsule.degrees - 8) < 2 * capsule.degrees_se
        assert abs(capsule.slope_deg_per_kpa - 8 / 25) < 2 * capsule.slope_se

    def test_values_and_errors_agree_with_scipy_curve_fit(self):
        y = known(15, 40, 8) + np.random.default_rng(8).normal(0, 0.3, VACUUM.size)
        capsule = fit_capsule(VACUUM, y, reading_sd_deg=0.01)
        values, covariance = curve_fit(
            lambda p, begin, end, slope: slope * (np.clip(p, begin, end) - begin), VACUUM, y, [15, 40, 0.3]
        )
        found = [capsule.begin_kpa, capsule.end_kpa, capsule.slope_deg_per_kpa]
        np.testing.assert_allclose(found, values, rtol=1e-4)
        errors = [capsule.begin_se_kpa, capsule.end_se_kpa, capsule.slope_se]
        np.testing.assert_allclose(errors, np.sqrt(np.diag(covariance)), rtol=0.02)

    def test_stop_not_reached_is_said(self):
        capsule = fit_capsule(VACUUM, known(20, 90, 20))
        assert (capsule.end_kpa, capsule.end_se_kpa) == (None, None)
        assert capsule.degrees == pytest.approx(20 * (57.5 - 20) / 70)
        assert codes(capsule)[0] == Code.CAPSULE_STOP_NOT_READ

    def test_advance_takes_one_vacuum_or_many(self):
        capsule = fit_capsule(VACUUM, known(15, 40, 8))
        np.testing.assert_allclose(capsule.advance_at([0, 27.5, 60]), [0, 4, 8], atol=1e-8)
        assert capsule.advance_at(27.5) == pytest.approx(4)

    def test_order_does_not_matter_and_the_input_stays(self):
        mixed = np.random.default_rng(0).permutation(VACUUM.size)
        vacuum, advance = VACUUM[mixed], known(15, 40, 8)[mixed]
        copies = vacuum.copy(), advance.copy()
        assert fit_capsule(vacuum, advance).begin_kpa == pytest.approx(15, abs=1e-6)
        np.testing.assert_array_equal((vacuum, advance), copies)

    def test_dead_capsule_is_said(self):
        capsule = fit_capsule(VACUUM, np.zeros(VACUUM.size))
        assert (capsule.begin_kpa, capsule.degrees, capsule.converged) == (None, 0.0, False)
        assert codes(capsule)[0] == Code.CAPSULE_STUCK
        assert capsule.advance_at(30) == 0

    def test_one_reading_says_what_it_can(self):
        capsule = fit_capsule(40, 6)
        assert (capsule.degrees, capsule.converged) == (6.0, False)
        assert codes(capsule)[0] == Code.READ_AT_ONE_VACUUM

    def test_three_readings_give_a_line_and_warnings(self):
        capsule = fit_capsule([20, 30, 40], [2, 4, 6])
        assert capsule.begin_kpa == pytest.approx(10)
        assert codes(capsule)[0] == Code.READ_AT_FEW_VACUUMS
        assert values(capsule, Code.CAPSULE_BEGIN_NOT_READ)["begin_kpa"] == pytest.approx(10)

    def test_a_begin_below_no_vacuum_is_said(self):
        # 1 degree for every 10 kPa, 5 degrees in already: the line comes down to 0 at -40 kPa.
        capsule = fit_capsule([10, 20, 30, 40], [5, 6, 7, 8])
        assert capsule.begin_kpa == pytest.approx(-40)
        assert Code.CAPSULE_ABOVE_ZERO in codes(capsule)
        assert Code.CAPSULE_BEGIN_NOT_READ not in codes(capsule)

    def test_retarding_capsule_and_lone_slope_reading_are_said(self):
        assert codes(fit_capsule([5, 10, 20, 30, 40], [0, 0, -2, -4, -6]))[0] == Code.CAPSULE_RETARDS
        lone = fit_capsule([5, 10, 25, 45, 55], [0, 0, 4, 8, 8])
        assert Code.CAPSULE_SLOPE_NOT_READ in codes(lone)

    def test_misread_reading_is_named(self):
        y = known(15, 40, 8)
        y[-1] += 3
        assert values(fit_capsule(VACUUM, y), Code.CAPSULE_STRAY) == {"vacuum_kpa": 57.5}

    @pytest.mark.parametrize(
        ("vacuum", "advance", "words"),
        [
            ([], [], "vacuum_kpa must have at least 1"),
            ([20, -1], [0, 1], "vacuum_kpa must be from 0 to 110, got -1"),
            ([20, 30], [0, np.nan], "advance_deg must be from -180 to 180, got nan"),
            ([20, 30], [0], "advance_deg must have as many values as vacuum_kpa"),
        ],
    )
    def test_bad_input_is_named(self, vacuum, advance, words):
        with pytest.raises(ValueError, match=words):
            fit_capsule(vacuum, advance)

    @settings(max_examples=40, deadline=None)
    @given(begin=st.floats(8, 25), width=st.floats(10, 28), degrees=st.floats(3, 15))
    def test_any_capsule_comes_back(self, begin, width, degrees):
        vacuum = np.arange(2, 60, 1.5)
        capsule = fit_capsule(vacuum, known(begin, begin + width, degrees, vacuum))
        assert capsule.begin_kpa == pytest.approx(begin, abs=1e-4)
        assert capsule.end_kpa == pytest.approx(begin + width, abs=1e-4)
        assert capsule.degrees == pytest.approx(degrees, abs=1e-5)


class TestLeakDown:
    def test_fall_and_errors_agree_with_scipy_curve_fit(self):
        time = np.arange(0, 121, 15.0)
        vacuum = 55 * np.exp(-time / 300) + np.random.default_rng(1).normal(0, 0.6, time.size)
        leak = leak_down(time, vacuum, reading_sd_kpa=0.01)
        values, covariance = curve_fit(lambda s, p, r: p * np.exp(-r * s), time, vacuum, [50, 0.003])
        assert leak.start_kpa == pytest.approx(values[0], rel=1e-5)
        assert leak.start_se_kpa == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-3)
        assert leak.half_time_s == pytest.approx(np.log(2) / values[1], rel=1e-5)
        share = 1 - np.exp(-60 * values[1])
        assert leak.loss_share == pytest.approx(share, rel=1e-5)
        assert leak.loss_share_se == pytest.approx(60 * (1 - share) * np.sqrt(covariance[1, 1]), rel=1e-3)
        assert not leak.tight
        assert leak.converged

    def test_tight_capsule_loses_nothing(self):
        leak = leak_down([0, 30, 60, 120], [50, 50, 50, 50])
        assert leak.tight
        assert leak.loss_share == pytest.approx(0, abs=1e-5)
        assert leak.half_time_s > 1e6
        assert leak.warnings == ()

    def test_torn_diaphragm_is_said(self):
        leak = leak_down([0, 10, 60], [50, 0, 0])
        assert not leak.tight
        assert values(leak, Code.CAPSULE_LEAKS) == {"lost_share": pytest.approx(1), "within_s": 60}
        assert leak.loss_share == pytest.approx(1)

    def test_two_readings_say_little(self):
        leak = leak_down([0, 60], [50, 45.2])
        assert leak.loss_share == pytest.approx(0.096)
        assert not leak.converged
        assert codes(leak)[0] == Code.LEAK_NEAR_LIMIT

    def test_vacuum_that_rises_is_said(self):
        leak = leak_down([0, 30, 60], [50, 45, 55])
        assert leak.loss_share == pytest.approx(0, abs=1e-6)
        assert Code.VACUUM_ROSE in codes(leak)

    @pytest.mark.parametrize(
        ("time", "vacuum", "words"),
        [
            ([0], [50], "time_s must have at least 2"),
            ([10, 10], [50, 49], "time_s must hold two different times"),
            ([0, -5], [50, 49], "time_s must be from 0 to 86400, got -5"),
            ([0, 60], [0, 0], "vacuum_kpa must be above 0 at the start"),
            ([0, 60], [50, np.nan], "vacuum_kpa must be from 0 to 110, got nan"),
        ],
    )
    def test_bad_input_is_named(self, time, vacuum, words):
        with pytest.raises(ValueError, match=words):
            leak_down(time, vacuum)
