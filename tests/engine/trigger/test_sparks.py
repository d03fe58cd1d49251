"""Spark spacing: worst, range, deviation per cylinder, drift with speed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import linregress

from curves.engine import scatter
from curves.engine.codes import Code, warn
from tests.engine.warned import codes, values

FOUR, EIGHT = np.arange(4) * 90.0, np.arange(8) * 45.0


@pytest.mark.parametrize(("nominal", "cylinder"), [(FOUR, 3), (EIGHT, 6)])
def test_published_limit_is_two_degrees(nominal, cylinder):
    # TM 5-4210-230-14&P-1: spark spacing within +/- 2 degrees at 300 rpm, 45 (8 cylinders) or 90 apart (4).
    turns = np.tile(nominal, (10, 1))
    off = np.zeros(nominal.size)
    count = nominal.size
    off[cylinder - 1] = 1.9 * count / (count - 1)  # the mean of all is the zero
    good = scatter(turns + off, speed_rpm=300)
    assert good.worst_deg == pytest.approx(1.9)
    assert good.within
    bad = scatter(turns + off * 2.1 / 1.9, speed_rpm=300)
    assert (bad.worst_cylinder, bad.within) == (cylinder, False)
    assert bad.warnings == (warn(Code.SPARKS_OFF_STEADILY, cylinders=(cylinder,)),)


@pytest.mark.parametrize(
    ("off", "cylinders"),
    [
        ([0, 6, 0, -6], (2, 4)),
        ([-6, 6, 6, -6], (1, 2, 3, 4)),
        ([0, 6, 0, -5.8], (2,)),
    ],
)
def test_every_cylinder_that_is_off_as_far_as_the_worst_is_named(off, cylinders):
    turns = np.tile(FOUR, (10, 1)) + np.array(off)
    assert scatter(turns, speed_rpm=300).warnings[0].values["cylinders"] == cylinders


def test_statistics_agree_with_numpy():
    rng = np.random.default_rng(2)
    off = rng.normal([0.3, -0.2, 0.1, -0.4], 0.5, (20, 4))
    spread = scatter(FOUR + off + 17.0)
    off = off - off.mean()
    np.testing.assert_allclose(spread.deviation_deg, off, atol=1e-9)
    np.testing.assert_allclose(spread.offset_deg, off.mean(axis=0), atol=1e-9)
    np.testing.assert_allclose(spread.sd_deg, off.std(axis=0, ddof=1))
    np.testing.assert_allclose(spread.range_deg, np.ptp(off, axis=0))
    np.testing.assert_allclose(spread.cylinder_worst_deg, np.abs(off).max(axis=0))
    assert spread.total_range_deg == pytest.approx(np.ptp(off))
    assert spread.total_sd_deg == pytest.approx(np.sqrt((off**2).mean()))
    assert spread.worst_deg == pytest.approx(np.abs(off).max())


def test_angles_that_count_on_are_the_same_as_angles_that_start_again():
    off = np.random.default_rng(3).normal(0, 0.5, (6, 4))
    again = FOUR + off
    on = again + 360.0 * np.arange(6)[:, None]
    np.testing.assert_allclose(scatter(on).deviation_deg, scatter(again % 360).deviation_deg, atol=1e-9)


def test_given_spacing_of_an_odd_firing_engine():
    nominal = np.array([0.0, 150.0])
    even = scatter(np.tile(nominal, (5, 1)))
    assert not even.within
    odd = scatter(np.tile(nominal, (5, 1)), spacing_deg=[150, 210])
    assert odd.worst_deg == pytest.approx(0)
    assert odd.within


def test_advance_between_speeds_is_no_scatter_but_spacing_that_moves_is_drift():
    speed = np.repeat([300.0, 900.0, 1500.0], 10)
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 0.05, (30, 4))
    moving = np.zeros((30, 4))
    moving[:, 1] = 0.8 * speed / 1000
    spread = scatter(FOUR + speed[:, None] / 100 + moving + noise, speed_rpm=speed)
    column = spread.deviation_deg[:, 1]
    line = linregress(speed / 1000, column)
    assert spread.drift_deg_per_1000rpm[1] == pytest.approx(line.slope)
    assert spread.drift_se[1] == pytest.approx(line.stderr)
    assert spread.worst_deg < 1.2  # 0.8 x 1.5 x 3/4, and noise; advance alone would give 6
    assert 2 in values(spread, Code.SPACING_MOVES)["cylinders"]


def test_scatter_from_turn_to_turn_points_at_the_bush():
    off = np.zeros((11, 4))
    off[::2, 2], off[1::2, 2] = 3.0, -3.6
    spread = scatter(FOUR + off)
    assert spread.worst_cylinder == 3
    assert codes(spread) == [Code.SPARKS_OFF_UNSTEADILY]


def test_missed_sparks_are_counted_and_said():
    angle = np.tile(FOUR, (4, 1))
    angle[1, 2] = np.nan
    angle[:, 3] = np.nan
    spread = scatter(angle)
    np.testing.assert_array_equal(spread.missed, [0, 0, 1, 4])
    assert not spread.within
    assert spread.warnings[0] == warn(Code.SPARKS_MISSED, cylinders=(3, 4))
    assert np.isnan(spread.offset_deg[3])
    assert spread.worst_deg == pytest.approx(0)


def test_turn_without_any_spark_does_no_harm():
    angle = np.tile(FOUR, (3, 1))
    angle[1] = np.nan
    spread = scatter(angle, speed_rpm=[300, 400, 500])
    np.testing.assert_array_equal(spread.missed, [1, 1, 1, 1])
    assert np.isnan(spread.drift_deg_per_1000rpm).all()


def test_one_turn_shows_no_scatter_and_says_so():
    spread = scatter(FOUR)
    assert np.isnan(spread.sd_deg).all()
    assert codes(spread)[0] == Code.ONE_TURN


def test_input_stays_untouched():
    angle = np.tile(FOUR, (3, 1)) + 5
    copy = angle.copy()
    scatter(angle)
    np.testing.assert_array_equal(angle, copy)


@pytest.mark.parametrize(
    ("angle", "options", "words"),
    [
        ([], {}, "spark_deg must have 1 to 24 cylinders"),
        ([["x"]], {}, "spark_deg must be a table of numbers"),
        ([[np.nan, np.nan]], {}, "spark_deg must hold at least 1 spark"),
        ([[0, np.inf]], {}, "spark_deg must be finite"),
        ([FOUR], {"spacing_deg": [90, 90, 90]}, "spacing_deg must have as many values as cylinders"),
        ([FOUR], {"spacing_deg": [90, 90, 90, 80]}, "spacing_deg must add up to 360, got 350"),
        ([FOUR], {"speed_rpm": -5}, "speed_rpm must be above 0"),
        ([FOUR], {"speed_rpm": [300, 400]}, "speed_rpm must have as many values as turns"),
        ([FOUR], {"limit_deg": -1}, "limit_deg must be from 0 to 360, got -1"),
    ],
)
def test_bad_input_is_named(angle, options, words):
    with pytest.raises(ValueError, match=words):
        scatter(angle, **options)


@settings(max_examples=50, deadline=None)
@given(
    zero=st.floats(0, 360),
    off=st.lists(st.floats(-10, 10), min_size=6, max_size=6),
)
def test_where_the_protractor_starts_does_not_matter(zero, off):
    angle = np.arange(6) * 60.0 + off
    there, here = scatter((angle + zero) % 360), scatter(angle)
    np.testing.assert_allclose(there.deviation_deg, here.deviation_deg, atol=1e-9)
    assert abs(np.nanmean(here.deviation_deg)) < 1e-9
