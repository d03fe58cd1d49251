"""The practice bench errs as a bench does, and keeps its secret.

Every true value here is invented by curves/practice/simulated.py from a seed; nothing is a maker's figure.
"""

from statistics import mean, stdev

import pytest

from curves.models import Frame, Run, Spring
from curves.practice import bench, simulated
from curves.rows import queries
from jobs.practice import actions
from tests import build as made

pytestmark = pytest.mark.django_db
SEED = 5


@pytest.fixture
def job(person):
    return actions.open_practice(by=person, seed=SEED)


@pytest.fixture
def run(job):
    return job.build.runs.get()


def looks(job, run, rpm, count, *, falling=False):
    """What the needle shows at one speed, looked at again and again, each look kept as a reading."""
    seen = []
    for place in range(count):
        seen.append(bench.read_at(job.build, run, rpm, falling))
        run.readings.create(position=place, speed_rpm=rpm, advance_deg=seen[-1], falling=falling)
    run.readings.all().delete()
    return seen


def middle_rpm(job):
    """A speed in the middle of the curve of the springs that the unit came with [distributor rpm]."""
    unit = bench.invented(SEED).unit
    return next(
        rpm for rpm in range(300, 3000, 25) if unit.advance(*unit.received, rpm) > unit.travel_deg / 2
    )


def test_the_same_look_shows_the_same_and_the_next_one_another(job, run):
    rpm = middle_rpm(job)
    assert bench.read_at(job.build, run, rpm, False) == bench.read_at(job.build, run, rpm, False)
    assert len(set(looks(job, run, rpm, 12))) > 1


def test_the_needle_is_read_to_the_scales_division(job, run):
    assert all(seen % job.build.scale_deg == 0 for seen in looks(job, run, middle_rpm(job), 8))
    job.build.scale_deg = 0.25
    finer = looks(job, run, middle_rpm(job), 12)
    assert all(seen % 0.25 == 0 for seen in finer)
    assert any(seen % 0.5 for seen in finer)


def test_the_needle_scatters_about_the_true_advance(job, run):
    rpm = middle_rpm(job)
    unit = bench.invented(SEED).unit
    seen = looks(job, run, rpm, 60)
    slope = (unit.advance(*unit.received, rpm * 1.01) - unit.advance(*unit.received, rpm)).item() / 0.01
    tachometer = 4 * simulated.ERRORS.tachometer * slope  # one error for the whole run, four deviations wide
    assert mean(seen) == pytest.approx(unit.advance(*unit.received, rpm).item(), abs=tachometer + 0.2)
    # Scatter 0.25 and a division of 0.5, whose rounding adds 0.5 / sqrt(12) = 0.14: 0.29 together, and some
    # more for the tachometer's jitter.
    assert 0.2 < stdev(seen) < 0.45


def test_the_falling_sweep_lags_behind_the_rising_one(job, run):
    rpm = middle_rpm(job)
    assert mean(looks(job, run, rpm, 40, falling=True)) > mean(looks(job, run, rpm, 40))


def test_a_run_in_crank_degrees_is_read_at_crank_speeds(job, run):
    # A four-stroke's crank turns twice for each turn of its distributor: common practice, no source.
    at_shaft = bench.read_at(job.build, run, 800, False)
    run.frame = Frame.CRANK
    assert bench.read_at(job.build, run, 1600, False) == 2 * at_shaft


def test_labels_differ_from_the_springs_and_weighing_comes_nearer(job, person):
    springs = list(queries.drawer(job.build))
    assert len(springs) == 28
    off = {"label": [], "weighed": []}
    for spring in springs[:8]:
        true = bench._true_spring(job.build, spring)
        assert spring.rate_n_per_mm != pytest.approx(true.rate, rel=1e-4)
        off["label"].append(abs(spring.rate_n_per_mm / true.rate - 1))
        label_sd = spring.rate_sd
        actions.weigh_spring(job, spring, by=person)
        actions.weigh_spring(job, spring, by=person)
        spring.refresh_from_db()
        assert (spring.source, spring.load_tests.count()) == (Spring.Source.WEIGHED, 12)
        assert spring.rate_sd < label_sd
        off["weighed"].append(abs(spring.rate_n_per_mm / true.rate - 1))
    assert mean(off["weighed"]) < mean(off["label"])


def test_a_second_time_on_the_tester_says_something_else(job, person):
    spring = queries.drawer(job.build).first()
    assert bench.weigh(job.build, spring, 0) == bench.weigh(job.build, spring, 0)
    assert bench.weigh(job.build, spring, 0) != bench.weigh(job.build, spring, 1)


def test_calipers_err_and_err_otherwise_the_next_time(job, person):
    first = actions.measure_head(job, by=person)
    job.build.refresh_from_db()
    second = actions.measure_head(job, by=person)
    assert first != second
    truth = bench.invented(SEED).unit.true_gap_mm
    # Five deviations of a caliper reading (0.2 mm), and its rounding to 0.1 mm.
    assert first["primary_gap_mm"] == pytest.approx(truth[0], abs=1.05)
    assert first["primary_gap_mm"] != pytest.approx(truth[0], abs=1e-6)


def test_the_stop_that_was_set_is_where_the_needle_ends(job, run, person):
    full = bench.read_at(job.build, run, 4000, False)
    actions.set_stop(job, 7, by=person)
    job.build.refresh_from_db()
    assert full > 8.5
    assert bench.read_at(job.build, run, 4000, False) == pytest.approx(7, abs=1.5)
    assert job.build.travel_measured_deg == pytest.approx(7, abs=1.5)


def test_a_bent_post_moves_the_curve_and_stays_where_it_was_bent(job, run, person):
    first, second = (
        queries.drawer(job.build).filter(position=place)[0] for place in ("primary", "secondary")
    )
    straight = made.run(job.build, [], primary=first, secondary=second, by=person)
    bent = made.run(job.build, [], primary=first, secondary=second, primary_bend_mm=0.6, by=person)
    again = made.run(job.build, [], primary=first, secondary=second, primary_bend_mm=0.6, by=person)
    assert bench._true_bends(job.build, straight) == (0.0, 0.0)
    assert bench._true_bends(job.build, bent) == bench._true_bends(job.build, again)
    assert bench._true_bends(job.build, bent)[0] == pytest.approx(0.6, abs=5 * simulated.ERRORS.bend_mm)
    assert bench._true_bends(job.build, bent)[0] != 0.6
    # A wider gap stretches the spring: the weights need more speed for the same angle.
    rpm = middle_rpm(job)
    assert mean(looks(job, bent, rpm, 20)) < mean(looks(job, straight, rpm, 20))


def test_a_spring_of_the_shop_can_not_be_hung_in_an_invented_unit(job, person):
    other = made.run(job.build, [], kind=Run.Kind.TRIAL, primary=made.spring(), by=person)
    with pytest.raises(ValueError, match="not on this practice bench"):
        bench.read_at(job.build, other, 800, False)


def test_inside_says_what_was_taken_and_what_was_true(job, run, person):
    actions.measure_head(job, by=person)
    job.build.refresh_from_db()
    said = {one.what: one for one in bench.inside(job.build, [run])}
    unit = bench.invented(SEED).unit
    assert said["Travel"].true == unit.travel_deg
    assert said["Travel"].off == pytest.approx(job.build.travel_measured_deg - unit.travel_deg)
    assert said["Post gap, secondary"].true == unit.true_gap_mm[1]
