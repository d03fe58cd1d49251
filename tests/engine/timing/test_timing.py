"""The initial timing behind light readings, the idle, the best setting and its card."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import linregress

from curves.engine import (
    Curve,
    Drive,
    Target,
    best_initial,
    fit_knees,
    idle_timing,
    judge_curve,
    setting_card,
    total_timing,
    true_initial,
)
from curves.engine.codes import Code, warn
from curves.engine.units import FOUR_STROKE
from tests.engine.published import FOUR_CYLINDER_DEG, FOUR_CYLINDER_LIGHT, FOUR_CYLINDER_RPM
from tests.engine.warned import codes, values

CURVE = Curve([450, 900, 1500], [0, 6, 12])  # shaft frame, invented
SPEEDS = np.array([800, 1200, 1600, 2000, 2400, 2800, 3200, 3600])


def light(initial, speeds=SPEEDS, extra=0.0):
    """What the light reads on an engine of that initial timing."""
    return initial + FOUR_STROKE.to_crank_deg(CURVE.at(FOUR_STROKE.to_shaft_rpm(speeds))) + extra


def published_curve():
    return Curve(FOUR_STROKE.to_shaft_rpm(FOUR_CYLINDER_RPM), FOUR_STROKE.to_shaft_deg(FOUR_CYLINDER_DEG))


class TestTrueInitial:
    def test_published_light_readings_have_six_degrees_behind_them(self):
        # fordsix.com, thread 27815: with 6 initial the light reads 6, 8, 15, 20, 27, 34, 38.
        found = true_initial(FOUR_CYLINDER_RPM, FOUR_CYLINDER_LIGHT, published_curve())
        np.testing.assert_allclose(found.initial_deg, 6)
        assert found.pooled_deg == pytest.approx(6)
        assert found.finding == "steady"
        assert found.converged
        assert found.warnings == ()

    def test_published_readings_without_the_curve_drift(self):
        found = true_initial(FOUR_CYLINDER_RPM, FOUR_CYLINDER_LIGHT, ([500], [0]))
        assert found.finding == "drift"
        slope = linregress(FOUR_CYLINDER_RPM / 1000, FOUR_CYLINDER_LIGHT)
        assert found.drift_deg_per_1000rpm == pytest.approx(slope.slope)
        assert found.drift_se == pytest.approx(slope.stderr)
        assert not found.converged
        rises = values(found, Code.INITIAL_RISES)
        assert (rises["lowest_crank_rpm"], rises["initial_crank_deg"]) == (500, pytest.approx(6.0))

    def test_scatter_is_pooled_and_its_error_stated(self):
        noise = np.random.default_rng(1).normal(0, 1, SPEEDS.size)
        found = true_initial(SPEEDS, light(8) + noise, CURVE)
        np.testing.assert_allclose(found.initial_deg, 8 + noise)
        assert found.pooled_deg == pytest.approx(8 + noise.mean())
        assert found.spread_deg == pytest.approx(noise.std(ddof=1))
        assert found.pooled_se_deg == pytest.approx(max(1, noise.std(ddof=1)) / np.sqrt(SPEEDS.size))

    def test_setting_on_advance_already_in_is_undone(self):
        # Light set to 12 at an idle where 4 crank degrees are in: the true initial timing is 8.
        curve = ([300, 600, 1500], [0, 4, 12])
        idle = 900.0
        found = true_initial([idle], [12], curve)
        assert found.initial_deg == pytest.approx([8.0])
        assert Code.LIGHT_READ_ONCE in codes(found)
        assert not found.converged
        assert np.isnan(found.spread_deg)
        assert np.isnan(found.drift_deg_per_1000rpm)

    def test_vacuum_line_is_found_at_part_throttle(self):
        part = np.array([False, False, True, True, True, False, False, False])
        found = true_initial(SPEEDS, light(8, extra=12 * part), CURVE, part_throttle=part)
        np.testing.assert_array_equal(found.vacuum_on, part)
        assert found.finding == "vacuum line"
        assert found.pooled_deg == pytest.approx(8)
        assert found.vacuum_deg == pytest.approx(12)
        suspected = values(found, Code.VACUUM_SUSPECTED)
        assert suspected == {"speeds_crank_rpm": (1600, 2000, 2400), "above_crank_deg": pytest.approx(12)}

    def test_vacuum_line_is_found_without_being_told_the_throttle(self):
        on = np.array([False, True, False, True, True, False, True, False])
        found = true_initial(SPEEDS, light(8, extra=10 * on), CURVE)
        np.testing.assert_array_equal(found.vacuum_on, on)
        assert found.pooled_deg == pytest.approx(8)

    def test_part_throttle_without_a_difference_has_no_vacuum(self):
        part = SPEEDS > 2000
        found = true_initial(SPEEDS, light(8), CURVE, part_throttle=part)
        assert not found.vacuum_on.any()
        assert found.finding == "steady"

    def test_known_vacuum_readings_are_not_pooled(self):
        # Acura Legend 1987: base 3 at 720 rpm, hoses on 23 +/- 2: the capsule adds 20 +/- 2.
        found = true_initial([720, 720], [3, 23], ([500], [0]), vacuum_on=[False, True])
        assert found.pooled_deg == 3
        assert found.vacuum_deg == 20
        assert found.finding == "steady"

    def test_nothing_but_vacuum_readings_is_said(self):
        found = true_initial([720, 900], [23, 23], ([500], [0]), vacuum_on=[True, True])
        assert found.pooled_deg == 23
        assert found.vacuum_deg == 0
        assert codes(found)[0] == Code.VACUUM_THROUGHOUT

    def test_drift_is_not_taken_for_a_vacuum_line(self):
        found = true_initial(SPEEDS, light(8) + (SPEEDS - 800) / 200, CURVE)
        assert not found.vacuum_on.any()
        assert found.finding == "drift"
        assert found.drift_deg_per_1000rpm == pytest.approx(5)
        rises = values(found, Code.INITIAL_RISES)
        assert rises["drift_crank_deg_per_1000rpm"] == pytest.approx(5)

    def test_scatter_that_grows_with_speed_means_wear(self):
        off = np.array([0.2, -0.2, 0.1, -0.1, 3.0, -3.5, 3.5, -3.0])
        found = true_initial(SPEEDS, light(8) + off, CURVE)
        assert found.finding == "scatter"
        assert Code.LIGHT_SCATTERS_AT_SPEED in codes(found)

    def test_few_readings_that_disagree_are_not_called_steady(self):
        found = true_initial([900, 1500, 2100], [8, 26, 23], CURVE)
        np.testing.assert_allclose(found.initial_deg, [8, 18, 8])
        assert (found.finding, found.converged) == ("disagree", False)
        assert values(found, Code.LIGHT_DISAGREES)["span_crank_deg"] == pytest.approx((8, 18))

    def test_misread_reading_is_left_aside_and_named(self):
        readings = light(8)
        readings[3] += 20
        found = true_initial(SPEEDS, readings, CURVE)
        assert not found.used[3]
        assert found.pooled_deg == pytest.approx(8)
        strays = values(found, Code.LIGHT_STRAYS)
        assert strays == {"speed_crank_rpm": 2000, "initial_crank_deg": pytest.approx(28)}

    def test_reading_above_a_curve_still_rising_is_said(self):
        found = true_initial([1000, 4000], [10, 36], CURVE)
        assert values(found, Code.LIGHT_ABOVE_CURVE)["highest_crank_rpm"] == 3000

    def test_other_drives_scale_otherwise(self):
        found = true_initial([1500, 900], [22, 16], CURVE, drive=Drive.two_stroke())
        np.testing.assert_allclose(found.initial_deg, [10, 10])

    @pytest.mark.parametrize(
        ("speed", "reading", "options", "words"),
        [
            ([], [], {}, "speed_crank_rpm must have at least 1"),
            ([900, -1], [5, 5], {}, "speed_crank_rpm must be from 0 to 20000, got -1"),
            ([900], [np.nan], {}, "light_crank_deg must be from -180 to 180, got nan"),
            ([900, 1000], [5], {}, "light_crank_deg must have as many"),
            (
                [900],
                [5],
                {"vacuum_on": [True, False]},
                "vacuum_on must be True or False, once or for each of 1",
            ),
            ([900], [5], {"part_throttle": [0.5]}, "part_throttle must be True or False"),
            ([900], [5], {"reading_sd_deg": 0}, "reading_sd_deg must be above 0"),
        ],
    )
    def test_bad_input_is_named(self, speed, reading, options, words):
        with pytest.raises(ValueError, match=words):
            true_initial(speed, reading, CURVE, **options)

    @settings(max_examples=50, deadline=None)
    @given(
        initial=st.floats(-5, 25),
        speeds=st.lists(st.integers(500, 6000), min_size=1, max_size=12),
        ratio=st.sampled_from([1.0, 2.0, 1 / 1.5]),
    )
    def test_curve_subtracted_leaves_the_initial(self, initial, speeds, ratio):
        drive = Drive(ratio)
        readings = initial + drive.to_crank_deg(CURVE.at(drive.to_shaft_rpm(np.array(speeds))))
        found = true_initial(speeds, readings, CURVE, drive=drive)
        np.testing.assert_allclose(found.initial_deg, initial, atol=1e-9)
        assert found.finding == "steady"
        assert found.used.all()


class TestIdle:
    def test_idle_below_the_begin_is_steady(self):
        idle = idle_timing(CURVE, 650)
        assert (idle.advance_crank_deg, idle.slope_deg_per_100rpm, idle.margin_crank_rpm) == (0, 0, 250)
        assert idle.steady
        assert idle.warnings == ()

    def test_slope_is_the_same_number_in_both_frames(self):
        # Six shaft degrees over 450 shaft rpm are twelve crank degrees over 900 crank rpm.
        idle = idle_timing(CURVE, 1200)
        assert idle.slope_deg_per_100rpm == pytest.approx(12 / 9)
        assert idle.advance_crank_deg == pytest.approx(4)
        assert idle.margin_crank_rpm == -300
        assert not idle.steady
        assert codes(idle)[0] == Code.BEGIN_BELOW_IDLE

    def test_narrow_margin_is_said(self):
        idle = idle_timing(CURVE, 800)
        assert not idle.steady
        near = values(idle, Code.BEGIN_NEAR_IDLE)
        assert (near["margin_crank_rpm"], near["wanted_crank_rpm"]) == (100, 200)

    def test_knees_of_scattered_readings_serve_as_curve(self):
        speed = np.linspace(300, 1500, 13)
        scatter = np.random.default_rng(2).normal(0, 0.1, speed.size)
        idle = idle_timing(fit_knees(speed, CURVE.at(speed) + scatter), 650)
        assert idle.begin_crank_rpm == pytest.approx(900, abs=40)
        assert idle.steady

    def test_curve_without_advance_is_steady_and_said(self):
        idle = idle_timing(([500, 1000], [0, 0]), 700)
        assert idle.begin_crank_rpm is None
        assert idle.steady
        assert codes(idle)[0] == Code.CURVE_WITHOUT_ADVANCE

    def test_curve_that_starts_above_idle_with_advance_in_is_said(self):
        idle = idle_timing(([450, 900], [2, 6]), 600)
        assert values(idle, Code.ADVANCED_AT_LOWEST_SPEED)["lowest_crank_rpm"] == 900

    def test_bad_idle_is_named(self):
        with pytest.raises(ValueError, match="idle_crank_rpm must be above 0 and at most 20000, got 0"):
            idle_timing(CURVE, 0)


class TestBestInitial:
    TARGET = Target([450, 900, 1500], [5, 10, 16], 0.5, initial_range_deg=(2, 7))

    def test_best_splits_the_difference(self):
        # Off by 5, 4, 4 degrees: half-way, 4.5, leaves half a degree everywhere, just in the band.
        best = best_initial(CURVE, self.TARGET)
        assert (best.initial_deg, best.initial_crank_deg) == (4.5, 9.0)
        assert (best.worst_deg, best.within) == (0.0, True)
        assert judge_curve(self.TARGET, CURVE, initial_deg=best.initial_deg).within

    def test_choices_trade_too_much_against_too_little(self):
        best = best_initial(CURVE, self.TARGET, step_deg=1)
        assert [choice.initial_deg for choice in best.choices] == [2, 3, 4, 5, 6, 7]
        little = [choice.too_little_deg_rpm for choice in best.choices]
        much = [choice.too_much_deg_rpm for choice in best.choices]
        assert little == sorted(little, reverse=True)
        assert much == sorted(much)
        # At 4: short by 1 falling to 0 between 450 and 900: half a degree times 450 rpm.
        assert little[2] == pytest.approx(225)
        assert much[2] == 0
        (stretch,) = best.choices[2].ranges
        assert (stretch.side, stretch.from_rpm, stretch.to_rpm, stretch.worst_deg) == ("below", 450, 900, 1)

    def test_limit_of_the_range_is_kept_and_said(self):
        best = best_initial(CURVE, self.TARGET, range_deg=(0, 3))
        assert best.initial_deg == 3
        assert best.worst_deg == pytest.approx(1.5)
        assert best.warnings == (warn(Code.MORE_INITIAL_SUITS, by_shaft_deg=1.5),)
        low = best_initial(CURVE, self.TARGET, range_deg=(6, 7))
        assert codes(low)[0] == Code.LESS_INITIAL_SUITS

    def test_wrong_shape_is_said(self):
        best = best_initial(([450, 1500], [0, 20]), self.TARGET)
        assert not best.within
        assert codes(best) == [Code.LESS_INITIAL_SUITS, Code.NO_INITIAL_SUITS]

    def test_curve_that_stops_short_is_not_within(self):
        best = best_initial(([450, 900], [0, 5]), self.TARGET)
        assert best.worst_deg == 0
        assert not best.within
        assert best.warnings[0] == warn(Code.TARGET_NOT_COVERED, span_shaft_rpm=(450.0, 900.0))

    @pytest.mark.parametrize(
        ("curve", "options", "words"),
        [
            (([3000], [5]), {}, "curve must share speeds with the target"),
            (CURVE, {"range_deg": (5, 1)}, r"range_deg must be \(low, high\)"),
            (CURVE, {"range_deg": (5,)}, "range_deg must have as many"),
            (CURVE, {"step_deg": 0}, "step_deg must be above 0"),
        ],
    )
    def test_bad_input_is_named(self, curve, options, words):
        with pytest.raises(ValueError, match=words):
            best_initial(curve, self.TARGET, **options)

    @settings(max_examples=20, deadline=None)
    @given(
        advance=st.lists(st.floats(0, 15), min_size=4, max_size=4),
        tolerance=st.lists(st.floats(0.3, 2), min_size=3, max_size=3),
    )
    def test_no_other_initial_is_better(self, advance, tolerance):
        target = Target([450, 900, 1500], [5, 10, 16], tolerance)
        curve = Curve([450, 800, 1000, 1500], advance)
        best = best_initial(curve, target, range_deg=(-30, 30))

        def miss(initial):
            return judge_curve(target, curve, initial_deg=initial).worst_deg

        other = minimize_scalar(miss, bounds=(-30, 30), method="bounded")
        assert miss(best.initial_deg) <= other.fun + 1e-6
        assert best.worst_deg == pytest.approx(miss(best.initial_deg), abs=1e-8)


class TestSettingCard:
    def test_published_light_readings_are_on_the_card(self):
        # fordsix.com, thread 27815.
        card = setting_card(6, published_curve(), FOUR_CYLINDER_RPM[0], FOUR_CYLINDER_RPM[1:])
        readings = [card.idle.light_crank_deg, *(line.light_crank_deg for line in card.lines)]
        np.testing.assert_allclose(readings, FOUR_CYLINDER_LIGHT)
        assert card.vacuum_line == "off and plugged"

    def test_lines_carry_advance_and_the_band_shifted_by_the_initial_timing(self):
        # At 900 shaft rpm, halfway, the band goes from 5 to 7 of the shaft: 10 to 14 crank.
        band = Target([600, 1200], [2, 10], [0.5, 1.5])
        card = setting_card(8, CURVE, 700, [1800, 3000], band=band)
        line, beyond = card.lines
        assert (line.speed_crank_rpm, line.advance_crank_deg, line.light_crank_deg) == (1800, 12, 20)
        assert (line.low_crank_deg, line.high_crank_deg) == (18, 22)
        assert np.isnan([card.idle.low_crank_deg, beyond.high_crank_deg]).all()  # nothing was agreed there
        assert card.idle.light_crank_deg == 8

    def test_idle_on_the_slope_and_unread_speeds_are_said(self):
        card = setting_card(8, CURVE, 1200, [2000, 4000])
        assert card.idle.light_crank_deg == pytest.approx(12)
        assert not np.isnan(card.lines[0].light_crank_deg)
        assert np.isnan([card.lines[1].advance_crank_deg, card.lines[1].light_crank_deg]).all()
        assert Code.BEGIN_BELOW_IDLE in codes(card)
        beyond = values(card, Code.CARD_ABOVE_CURVE)
        assert beyond == {"highest_crank_rpm": 3000, "asked_crank_rpm": 4000}

    @pytest.mark.parametrize(
        ("first_deg", "below"), [(0, 8), (0.5, np.nan), (-0.5, np.nan)]
    )  # weights that have not moved at a speed have not moved below it: elementary
    def test_below_the_first_reading_only_weights_that_stand_are_known(self, first_deg, below):
        card = setting_card(8, ([450, 900], [first_deg, 6]), 700, [800, 900, 1800, 1801])
        lights = [card.idle.light_crank_deg, *(line.light_crank_deg for line in card.lines)]
        np.testing.assert_allclose(lights, [below, below, 8 + 2 * first_deg, 20, np.nan])

    def test_one_reading_says_nothing_of_other_speeds(self):
        card = setting_card(8, ([850], [4]), 900, [1700, 3800])
        lights = [card.idle.light_crank_deg, *(line.light_crank_deg for line in card.lines)]
        np.testing.assert_allclose(lights, [np.nan, 16, np.nan])

    @given(st.floats(0.01, 100), st.floats(1, 100))
    def test_the_last_reading_is_read_whatever_the_drive(self, ratio, shaft_rpm):
        drive = Drive(ratio)
        card = setting_card(8, ([shaft_rpm], [4]), drive.to_crank_rpm(shaft_rpm), [1], drive=drive)
        assert card.idle.light_crank_deg == pytest.approx(8 + 4 * ratio)

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match="speeds_crank_rpm must have at least 1"):
            setting_card(6, CURVE, 700, [])
        with pytest.raises(ValueError, match="initial_crank_deg must be from -180 to 180, got nan"):
            setting_card(np.nan, CURVE, 700, [1000])
        with pytest.raises(ValueError, match="target must be a Target"):
            setting_card(6, CURVE, 700, [1000], band=2)


class TestTotal:
    @pytest.mark.parametrize(
        ("shaft_deg", "shaft_rpm", "crank_deg", "crank_rpm"),
        [  # 1937-38, distributor degrees at distributor rpm (hudson-amc.org.au; yumpu.com 26298541)
            (14, 1580, 28, 3160),  # six
            (17.5, 1700, 35, 3400),  # eight
        ],
    )
    def test_published_maxima_double_at_the_crank(self, shaft_deg, shaft_rpm, crank_deg, crank_rpm):
        total = total_timing(0, ([400, shaft_rpm], [0, shaft_deg]), 4500, 40)
        assert (total.total_crank_deg, total.at_crank_rpm) == (crank_deg, crank_rpm)

    def test_published_totals(self):
        # Datsun roadster: 17.5 distributor are 35 crank degrees.
        assert total_timing(0, ([500, 2000], [0, 17.5]), 6000, 40).total_crank_deg == 35
        # Volvo B23E 1982: basic 10, vacuum 9 to 14 crank degrees at 200 mmHg: the light reads 19 to 24.
        for vacuum, reading in ((9, 19), (14, 24)):
            assert total_timing(10, ([500], [0]), 900, 40, vacuum_crank_deg=vacuum).total_crank_deg == reading

    def test_total_over_the_limit_is_said_with_the_caution(self):
        total = total_timing(12, CURVE, 5000, 34)
        assert (total.total_crank_deg, total.at_crank_rpm, total.over_deg, total.within) == (
            36,
            3000,
            2,
            False,
        )
        assert values(total, Code.TOTAL_OVER_LIMIT)["over_crank_deg"] == pytest.approx(2)

    def test_top_speed_below_the_stop_counts(self):
        total = total_timing(12, CURVE, 1800, 34)
        assert (total.total_crank_deg, total.over_deg, total.within) == (24, -10, True)
        assert total.warnings == ()

    def test_curve_not_seen_to_stop_is_said(self):
        assert codes(total_timing(0, CURVE, 5000, 40)) == [Code.TOTAL_ABOVE_CURVE]
        assert total_timing(0, ([450, 900, 1500], [0, 6, 6]), 5000, 40).warnings == ()

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match="top_crank_rpm must be above 0"):
            total_timing(0, CURVE, 0, 40)
        with pytest.raises(ValueError, match="limit_crank_deg must be from -180 to 180"):
            total_timing(0, CURVE, 5000, np.inf)
