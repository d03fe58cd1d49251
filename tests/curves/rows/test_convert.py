"""Rows become engine arrays in the shaft frame, whatever frame they were typed in."""

import pytest

from curves import engine
from curves.models import Frame
from curves.rows import convert
from curves.trials.lessons import lessons
from tests import build

pytestmark = pytest.mark.django_db


def test_a_run_typed_at_the_crank_is_half_of_it_at_the_shaft():
    # A four-stroke's distributor turns at half crank speed: common practice, no source. Datsun roadster: 17.5
    # distributor degrees are 35 crank degrees.
    made = build.build()
    run = build.run(made, [(3000, 35.0)], frame=Frame.CRANK)
    readings = convert.run_readings(run, convert.drive_of(made))
    assert readings.speed_rpm.tolist() == [1500]
    assert readings.advance_deg.tolist() == [17.5]


def test_a_run_typed_at_the_distributor_stays_as_it_is():
    made = build.build()
    run = build.run(made, [(1500, 17.5)], frame=Frame.SHAFT)
    readings = convert.run_readings(run, convert.drive_of(made))
    assert (readings.speed_rpm.tolist(), readings.advance_deg.tolist()) == ([1500], [17.5])


def test_a_magneto_at_crank_speed_is_not_halved():
    made = build.build(crank_per_shaft=1)
    run = build.run(made, [(3000, 35.0)], frame=Frame.CRANK)
    readings = convert.run_readings(run, convert.drive_of(made))
    assert (readings.speed_rpm.tolist(), readings.advance_deg.tolist()) == ([3000], [35])


def test_the_target_is_halved_with_its_tolerance():
    made = build.build()
    band = convert.target_of(build.target(made, [(1200, 6, 1), (3000, 21, 1.5)]), convert.drive_of(made))
    assert band.speed_rpm.tolist() == [600, 1500]
    assert band.advance_deg.tolist() == [3, 10.5]
    assert band.tolerance_deg.tolist() == [0.5, 0.75]
    assert band.initial_range_deg == (0, 0)


def test_the_target_with_its_initial_timing_is_what_a_light_reads():
    made = build.build()
    row = build.target(made, [(1200, 6, 1)], initial_low_crank_deg=8, initial_high_crank_deg=12)
    band = convert.target_of(row, convert.drive_of(made), initial_crank_deg=10)
    assert band.advance_deg.tolist() == [8]
    assert band.initial_range_deg == (4, 6)


def test_nothing_is_no_target_and_no_readings():
    made = build.build()
    assert convert.target_of(None, convert.drive_of(made)) is None
    assert convert.target_of(build.target(made, []), convert.drive_of(made)) is None
    assert convert.run_readings(build.run(made, []), convert.drive_of(made)) is None


def test_the_measured_travel_rules_and_the_stamped_one_is_a_rough_fallback():
    assert convert.head_of(build.build(travel_stamped_deg=10, travel_measured_deg=12)).travel_deg == 12
    stamped = convert.head_of(build.build(travel_stamped_deg=10, travel_measured_deg=None))
    measured = convert.head_of(build.build(travel_stamped_deg=None, travel_measured_deg=10))
    assert stamped.travel_deg == measured.travel_deg == 10
    assert stamped.travel_sd_deg > measured.travel_sd_deg


def test_a_run_carries_its_springs_bends_and_scale():
    made = build.build(scale_deg=0.25)
    springs = {"primary": build.spring(rate_n_per_mm=1.25), "secondary": build.spring(rate_sd=None)}
    build.run(made, primary_bend_mm=0.3, **springs)
    run = lessons(made, {})[0].teaches
    assert isinstance(run, engine.Run)
    assert (run.primary.rate_n_per_mm, run.secondary.rate_sd) == (1.25, None)
    assert (run.post_bend_mm, run.scale_deg) == ((0.3, 0.0), 0.25)


def test_springs_that_came_in_the_unit_are_unknown_and_not_the_same_between_runs():
    made = build.build()
    build.run(made), build.run(made)
    first, second = (lesson.teaches for lesson in lessons(made, {}))
    assert first.primary.rate_n_per_mm is None
    assert first.primary.key != second.primary.key != first.secondary.key
