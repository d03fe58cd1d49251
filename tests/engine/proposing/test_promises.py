"""What is said comes true: a chance is of the verdict on the run as it will be read, in the loop too.

Every unit here is invented by curves/practice/simulated.py from a seed; nothing is a maker's figure.
"""

from dataclasses import replace

import numpy as np
import pytest

from curves.engine import (
    Readings,
    Sweeps,
    Target,
    calibrate,
    judge_sweeps,
    propose,
    sweep_of,
    unread_speeds,
)
from curves.engine.proposing.forecasts import STRANGE, STRANGE_SHARE, Forecast, belief, forecasts_of
from curves.engine.proposing.judge import Judge
from curves.practice.simulated import MEASURED, sticking
from tests.benchmarks.promises import HEADS, promises
from tests.benchmarks.workshop import Job

BOTH_WAYS = Sweeps([500, 700, 900, 1200, 900, 700, 500], [False] * 4 + [True] * 3)


def overstated(said):
    """Give by how many standard deviations more was said than came true."""
    chance, came = np.array(said, dtype=float).T
    # A chance is known to 1 in 100 at best, so that even a certain one may fail.
    spread = np.sqrt(np.maximum(chance * (1.0 - chance), 0.01).sum())
    return float((chance.sum() - came.sum()) / spread)


@pytest.mark.parametrize("kind", list(HEADS))
def test_no_more_is_said_than_comes_true(kind):
    said = promises(5, HEADS[kind], tolerances_deg=(1.25, 2.0), most_runs=3, count=6)
    assert len(said) >= 8
    assert max(chance for chance, _ in said) > 0.6  # something was promised at all
    assert overstated(said) < 2.5
    assert sum(not came for chance, came in said if chance > 0.9) <= 1


def test_the_chance_of_the_curve_alone_would_promise_too_much():
    # What was said before: of the true rising curve, while the run is judged by its readings.
    said = []
    for seed in range(4):
        job = Job.invent(seed, MEASURED, received="unknown", count=6)
        job = replace(job, as_read=True, told_how_it_is_read=False, tolerance_deg=1.25).stuck(1.0)
        job.tune(give_up=3)
        said += job.said
    assert overstated(said) > 2.5
    assert sum(not came for chance, came in said if chance > 0.9) > 1


@pytest.fixture(scope="module")
def job():
    return replace(Job.invent(3, MEASURED, received="unknown", count=6), as_read=True, tolerance_deg=1.25)


def asked(job, runs, **how):
    sweeps = Sweeps(*job.way())
    sides = job.side(job.drawer.primaries), job.side(job.drawer.secondaries)
    return propose(
        calibrate(job.head, runs), job.target(), *sides, post_bend_limit_mm=0.5, sweeps=sweeps, **how
    )


def test_sweeps_that_lie_apart_widen_the_chances_and_are_named(job):
    free, stuck = (replace(job, unit=sticking(job.unit, apart)) for apart in (0.1, 2.0))
    pair = job.drawer.primaries[0], job.drawer.secondaries[0]
    before, after = (asked(one, [one.run(*pair, 0)[0]]) for one in (free, stuck))
    assert after[0].chance < before[0].chance - 0.2
    assert before.sticking is None
    assert after.sticking.apart_deg == pytest.approx(2.0, abs=0.6)
    assert after.sticking.freed_chance > after.sticking.chance + 0.15


def test_a_tried_pair_comes_back_only_with_a_bend_that_a_hand_can_tell_apart(job):
    first, second = job.drawer.primaries[0], job.drawer.secondaries[0]
    run = job.run(first, second, 0)[0]
    only = [job.known[first.key]], [job.known[second.key]]
    tried = []
    for _ in range(4):
        best = propose(
            calibrate(job.head, [run]),
            job.target(),
            *only,
            tried=tried,
            post_bend_limit_mm=0.5,
            sweeps=Sweeps(*job.way()),
        )[0]
        for earlier in tried:
            apart = np.abs(np.subtract(best.post_bend_mm, earlier.post_bend_mm)).max()
            assert apart >= 0.1 - 1e-6  # two bends of 0.05 mm, one standard deviation each
        tried.append(best)


def test_a_band_at_the_scatters_own_width_is_called_narrow():
    # One reading, no rounding, a band of two standard deviations either way: 0.9545, by any table of the
    # normal distribution.
    target = Target([1000], [10], 0.5)
    judge = Judge.of(target, Sweeps([1000], scale_deg=0.0, scatter_deg=0.25))
    assert judge.middle_chance(target) == pytest.approx(0.9545, abs=0.02)
    coarse = Judge.of(target, Sweeps([1000], scale_deg=2.0, scatter_deg=0.25))
    assert coarse.middle_chance(target) == 1.0  # 10 is on the scale


def test_a_bend_of_the_band_between_two_readings_is_named():
    target = Target([600, 1000, 1600], [0, 8, 10], 0.75)  # a corner at 1000
    far = Judge.of(target, Sweeps([600, 800, 1300, 1600]))
    assert far.corners_cut(target) == (1000.0,)
    assert Judge.of(target, Sweeps([600, 1000, 1600, 1800])).corners_cut(target) == ()


@pytest.mark.parametrize("seed", range(6))
def test_many_runs_are_judged_as_one_is(seed):
    rng = np.random.default_rng(seed)
    target = Target([600, 800, 1150], [2, 6, 9], [1.0, 1.5, 1.2])
    speeds = [500, 700, 700, 900, 1200, 900, 650, 500][: 8 - seed % 2]
    falling = [False] * 5 + [True] * (3 - seed % 2)
    sweeps = Sweeps(speeds, falling)
    judge, initial = Judge.of(target, sweeps), 0.5 * (seed % 3)
    found = []
    for _ in range(60):
        middle = np.interp(sweeps.speed_rpm, target.speed_rpm, target.advance_deg) - initial
        read = np.round((middle + rng.normal(0, 0.6, middle.size)) * 2) / 2
        verdicts = judge_sweeps(target, _Read(sweeps, read), initial_deg=initial)
        one = verdicts[0].within and all(verdict.worst_side == "inside" for verdict in verdicts)
        assert bool(judge.inside(read, initial)) == one
        found.append(one)
    assert 0 < sum(found) < 60


def test_a_falling_sweep_starts_where_the_rising_one_turned():
    read = _Read(BOTH_WAYS, np.arange(7.0))
    assert sweep_of(read, falling=True).speed_rpm.tolist() == [500, 700, 900, 1200]
    assert sweep_of(read, falling=False).speed_rpm.tolist() == [500, 700, 900, 1200]


def test_forecasts_kept_and_broken_say_how_far_to_believe():
    kept, broken = Forecast(1, 0.9, True), Forecast(1, 0.9, False)
    assert belief([]) == pytest.approx(1.0 - STRANGE * (1.0 - STRANGE_SHARE))
    assert belief([kept]) > belief([]) > belief([broken]) > belief([broken] * 3) > STRANGE_SHARE
    assert belief([Forecast(1, 0.05, False)]) == pytest.approx(belief([]), abs=0.01)  # nobody counted on it
    # By Bayes' rule, in full: a strange head breaks a forecast of 0.9 with 1 - 0.45, a sound one with 0.1.
    strange = 0.1 * 0.55 / (0.1 * 0.55 + 0.9 * 0.1)
    assert belief([broken]) == pytest.approx(1.0 - strange * 0.5)


def test_a_run_is_held_to_what_the_model_had_it_come_to(job):
    received = job.run(*job.unit.received, 0)[0]
    springs = {spring.key: spring for spring in (*job.drawer.primaries, *job.drawer.secondaries)}
    first = asked(job, [received])
    best = first[0]
    run, good = job.run(springs[best.primary.key], springs[best.secondary.key], 1, best.post_bend_mm)
    (forecast,) = forecasts_of(calibrate(job.head, [received, run]), job.target())
    assert (forecast.run, forecast.kept) == (1, good)
    # The same 256 draws of the head; a spring's label is drawn anew: five standard errors at most.
    assert forecast.chance == pytest.approx(best.chance / first.belief, abs=5 * np.sqrt(0.25 / 256))
    assert asked(job, [received, run], tried=[best]).forecasts == (forecast,)


def test_readings_that_scatter_farther_are_expected_to_go_on_so(job):
    sound = calibrate(job.head, [job.run(*job.unit.received, 0)[0]])
    loose = replace(job, bench_errors=replace(job.bench_errors, scatter_deg=0.7))
    shaky = calibrate(job.head, [loose.run(*job.unit.received, 0)[0]])
    assert 1.0 <= sound.unrest < 1.2
    assert shaky.unrest > 1.4
    assert Sweeps([500]).as_loose_as(shaky).scatter_deg == pytest.approx(0.25 * shaky.unrest)


class _Read:
    """Readings in the order of their sweeps."""

    def __init__(self, sweeps, advance_deg):
        self.speed_rpm, self.falling, self.advance_deg = sweeps.speed_rpm, sweeps.falling, advance_deg


@pytest.mark.parametrize(
    ("speeds", "unread"),
    [
        ([300, 600, 1000, 1500, 1800], []),
        ([320, 650, 950, 1450, 1750], []),  # beside the bends, as a hand sets it
        ([300, 1800], [600, 1000, 1050, 1500]),  # 1050: the middle of what was passed over
        ([200, 1000, 1900], [600, 1500]),
        ([300, 600, 1000, 1300], [1800]),
    ],
)
def test_a_sweep_is_read_near_each_end_and_bend_of_the_band(speeds, unread):
    band = Target([300, 600, 1000, 1500, 1800], [0, 3, 7.5, 10.5, 11], 0.5)
    assert unread_speeds(band, Readings(speeds, [0] * len(speeds))) == tuple(map(float, unread))


def test_a_point_on_the_line_between_two_others_is_no_bend():
    straight = Target([300, 700, 1800], [0, 4, 15], 1.0)
    assert unread_speeds(straight, Readings([300, 1100, 1800], [0, 8, 15])) == ()
    assert unread_speeds(Target([500], [5], 1.0), Readings([500], [5])) == ()
