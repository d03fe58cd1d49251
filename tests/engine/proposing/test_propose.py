"""Proposals are ranked by chance, use the posts, never repeat a failure, and say when there is no hope."""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from curves.engine import Proposal, Run, Spring, Target, calibrate, propose, wanted_spring
from curves.engine.codes import Code
from curves.engine.governor.equilibrium import speed_at
from curves.engine.proposing.drawer import Drawer
from curves.engine.proposing.ranking import Choices, centring_initial
from tests.engine.bench import Bench
from tests.engine.warned import codes, values

SOFT = Spring("P1", 3.0, 20.0)


@pytest.fixture(scope="module")
def bench():
    return Bench(2)


@pytest.fixture(scope="module")
def calibration(bench):
    return calibrate(bench.head, [bench.run(0, 0, 0), bench.run(1, 1, 1)])


def ask(bench, calibration, **how):
    return propose(calibration, bench.target, bench.primaries, bench.secondaries, **how)


def test_chances_fall_down_the_list_by_steps_of_a_tenth(bench, calibration):
    for limit in (0.0, 0.5):
        chances = [proposal.chance for proposal in ask(bench, calibration, post_bend_limit_mm=limit)]
        assert len(chances) == 10
        steps = [round(chance / 0.1) for chance in chances]
        assert steps == sorted(steps, reverse=True)
        assert all(0.0 <= chance <= 1.0 for chance in chances)


@pytest.mark.parametrize("limit", [0.0, 0.5])
def test_each_pair_is_given_its_own_chance(bench, calibration, limit):
    proposals = ask(bench, calibration, post_bend_limit_mm=limit, count=36)
    drawer = Drawer.open(calibration, bench.target, bench.primaries, bench.secondaries)
    choices = Choices(
        np.array([bench.primaries.index(proposal.primary) for proposal in proposals]),
        np.array([bench.secondaries.index(proposal.secondary) for proposal in proposals]),
        np.array([proposal.post_bend_mm for proposal in proposals]),
        np.full(len(proposals), np.nan),
    )
    own = drawer.bench.score(choices, bench.target).chance
    assert [proposal.chance for proposal in proposals] == pytest.approx(own, abs=1e-6)
    assert proposals.fair == (own.max() >= 0.1)


def test_the_greatest_chance_makes_the_drawer_fair_wherever_it_stands():
    # Within a step of chance the prospect orders, so that the first may have less than the greatest.
    bench = Bench(6)
    calibration = calibrate(bench.head, [bench.run(0, 0, 0), bench.run(1, 1, 1)])
    fair, poor = (
        propose(
            calibration,
            Target(bench.target.speed_rpm, bench.target.advance_deg, tolerance),
            bench.primaries,
            bench.secondaries,
            post_bend_limit_mm=0.5,
        )
        for tolerance in (0.22, 0.15)
    )
    assert fair[0].chance < 0.1 <= max(proposal.chance for proposal in fair)
    assert fair.fair
    assert fair.warnings == ()
    greatest = max(proposal.chance for proposal in poor)
    assert not poor.fair
    assert poor.warnings[0].values["greatest_chance"] == pytest.approx(greatest)


def test_bends_keep_to_their_limit_and_help(bench, calibration):
    straight = ask(bench, calibration)
    bent = ask(bench, calibration, post_bend_limit_mm=0.5)
    assert all(proposal.post_bend_mm == (0.0, 0.0) for proposal in straight)
    assert all(max(map(abs, proposal.post_bend_mm)) <= 0.5 for proposal in bent)
    assert bent[0].chance >= straight[0].chance - 0.05
    steps = np.array([proposal.post_bend_mm for proposal in bent]) / 0.05
    assert np.abs(steps - steps.round()).max() < 1e-9


def test_a_pair_in_the_band_is_found(bench, calibration):
    speeds = bench.target.speed_rpm
    target = Target(speeds, bench.true(1, 1, speeds), 0.8)
    best = propose(calibration, target, bench.primaries, bench.secondaries)[0]
    assert (best.primary.key, best.secondary.key) == ("P2", "S2")
    assert best.chance > 0.7
    assert best.worst_miss_deg < 0.8


def test_the_same_question_has_the_same_answer(bench, calibration):
    first = ask(bench, calibration, post_bend_limit_mm=0.3)
    second = ask(bench, calibration, post_bend_limit_mm=0.3)
    assert first == second


def test_chances_are_those_of_a_plain_count_with_brentq(bench, calibration):
    # The share of draws that lie in the band, each point solved by SciPy's brentq.
    proposal = ask(bench, calibration)[0]
    target, inside = bench.target, []
    balance = calibration.balance_draws(proposal.primary, proposal.secondary)
    for draw in range(0, 512, 8):
        one = type(balance)(*(part[draw, 0] for part in balance))
        angles = []
        for speed in target.speed_rpm:
            low, high = (float(speed_at(one, angle)) - speed for angle in (0.0, one.travel_deg))
            if low >= 0 or high <= 0:
                angles.append(0.0 if low >= 0 else one.travel_deg)
            else:
                angles.append(
                    brentq(lambda t, s=speed, b=one: float(speed_at(b, t)) - s, 0.0, one.travel_deg)
                )
        inside.append(np.all(np.abs(np.array(angles) - target.advance_deg) <= target.tolerance_deg))
    # 64 draws against 128: five standard errors of the difference at most.
    assert proposal.chance == pytest.approx(np.mean(inside), abs=5 * np.sqrt(0.25 / 43))


@pytest.mark.parametrize("form", ["keys", "springs", "bend", "proposal", "run"])
def test_a_tried_pair_does_not_come_back_without_another_bend(bench, calibration, form):
    best = ask(bench, calibration)[0]
    tried = {
        "keys": (best.primary.key, best.secondary.key),
        "springs": (best.primary, best.secondary),
        "bend": (best.primary.key, best.secondary.key, (0.0, 0.0)),
        "proposal": best,
        "run": Run(best.primary, best.secondary, [500], [0]),
    }[form]
    pairs = [(p.primary.key, p.secondary.key) for p in ask(bench, calibration, tried=[tried], count=36)]
    assert (best.primary.key, best.secondary.key) not in pairs
    assert len(pairs) == 35
    bent = ask(bench, calibration, tried=[tried], count=36, post_bend_limit_mm=0.5)
    (back,) = [p for p in bent if (p.primary, p.secondary) == (best.primary, best.secondary)]
    assert back.post_bend_mm != (0.0, 0.0)


def test_keys_alone_stand_for_the_bends_of_all_runs(bench):
    calibration = calibrate(bench.head, [bench.run(0, 0, 0, bend_mm=(0.1, 0.0))])
    target = Target(
        bench.target.speed_rpm, bench.true(0, 0, bench.target.speed_rpm, true_bend_mm=(0.1, 0)), 0.5
    )
    how = {"primaries": bench.primaries[:1], "secondaries": bench.secondaries[:1], "post_bend_limit_mm": 0.5}
    first = propose(calibration, target, **how)[0]
    assert first.chance > 0.2
    again = propose(calibration, target, **how, tried=[("P1", "S1")])[0]
    assert again.post_bend_mm != (0.1, 0.0)


def test_a_failure_makes_its_neighbours_less_likely(bench):
    calibration = calibrate(bench.head, [bench.run(0, 0, 0)])
    speeds = bench.target.speed_rpm
    target = Target(speeds, bench.true(0, 0, speeds), 0.5)
    how = {"primaries": bench.primaries[:1], "secondaries": bench.secondaries[:1], "post_bend_limit_mm": 0.2}
    before = propose(calibration, target, **how)[0].chance
    after = propose(calibration, target, **how, tried=[("P1", "S1")])[0].chance
    assert after < before


def test_an_array_of_springs_is_a_drawer_too(bench, calibration):
    first, second = (np.array(side, dtype=object) for side in (bench.primaries, bench.secondaries))
    assert propose(calibration, bench.target, first, second) == ask(bench, calibration)


def test_when_all_was_tried_nothing_is_proposed(bench, calibration):
    nothing = propose(
        calibration, bench.target, bench.primaries[:1], bench.secondaries[:1], tried=[("P1", "S1")]
    )
    assert len(nothing) == 0
    assert not nothing.fair
    assert codes(nothing)[0] == Code.EVERY_PAIR_TRIED


def test_a_hopeless_drawer_is_called_so(bench, calibration):
    speeds = bench.target.speed_rpm
    impossible = Target(speeds, bench.target.advance_deg[::-1], 0.5)
    hopeless = propose(calibration, impossible, bench.primaries, bench.secondaries)
    assert not hopeless.fair
    assert hopeless[0].chance < 0.1
    assert codes(hopeless) == [Code.NO_PAIR_UNBENT]
    assert hopeless.measurement is None


def test_a_poor_chance_with_good_prospects_is_worth_a_run():
    bench = Bench(4)
    unknown = Spring("came in", None, None, None), Spring("came in too", None, None, None)
    run = Run(*unknown, bench.unit.sweep_speeds(), bench.true(0, 0, bench.unit.sweep_speeds()))
    proposals = propose(
        calibrate(bench.head, [run]),
        bench.target,
        bench.primaries,
        bench.secondaries,
        post_bend_limit_mm=2.0,
    )
    assert proposals[0].prospect > proposals[0].chance


def test_a_poor_chance_that_bends_can_mend_is_worth_a_run(bench, calibration):
    # The right spring, its length known to 2 mm only: hardly ever in at once, often so once it was run.
    label = bench.primaries[1]
    vague = Spring(
        "P?", label.rate_n_per_mm, label.free_length_mm, label.initial_tension_n, free_length_sd_mm=2.0
    )
    speeds = bench.target.speed_rpm
    target = Target(speeds, bench.true(1, 1, speeds), 0.8)
    proposals = propose(calibration, target, [vague], bench.secondaries[1:2], post_bend_limit_mm=3.0)
    assert proposals[0].chance < 0.1
    assert proposals[0].prospect >= 0.5
    worth = values(proposals, Code.NO_PAIR_BUT_WORTH_A_RUN)
    assert worth["prospect_chance"] == proposals[0].prospect


def test_an_unknown_length_is_the_measurement_that_helps():
    bench = Bench(7)
    calibration = calibrate(bench.head, [bench.run(0, 0, 0), bench.run(1, 1, 1)])
    speeds = bench.target.speed_rpm
    target = Target(speeds, bench.true(1, 1, speeds), 0.8)
    label = bench.primaries[1]
    vague = Spring(
        "P?", label.rate_n_per_mm, label.free_length_mm, label.initial_tension_n, free_length_sd_mm=1.0
    )
    best = propose(calibration, target, [vague], bench.secondaries[1:2], post_bend_limit_mm=1.0).measurement
    assert (best.quantity, best.spring, best.position) == ("free_length", "P?", None)
    assert best.gain > 0.03


def test_initial_timing_is_used_within_its_range(bench, calibration):
    speeds = bench.target.speed_rpm
    curve = bench.true(1, 1, speeds)
    pair = bench.primaries[1:2], bench.secondaries[1:2]
    free = propose(calibration, Target(speeds, curve + 3.0, 0.8, initial_range_deg=(0.0, 6.0)), *pair)[0]
    assert free.initial_deg == pytest.approx(3.0, abs=0.4)
    assert free.chance > 0.6
    fixed = propose(calibration, Target(speeds, curve + 3.0, 0.8, initial_range_deg=(3.0, 3.0)), *pair)[0]
    assert fixed.initial_deg == 3.0
    low = propose(calibration, Target(speeds, curve + 3.0, 0.8, initial_range_deg=(0.0, 1.0)), *pair)[0]
    assert low.initial_deg <= 1.0
    assert low.chance < 0.1
    bent = propose(
        calibration,
        Target(speeds, curve + 3.0, 0.8, initial_range_deg=(0.0, 6.0)),
        *pair,
        post_bend_limit_mm=0.3,
    )[0]
    assert bent.prospect >= 0.5


def test_the_centring_shift_is_the_best_one():
    rng = np.random.default_rng(9)
    tolerance = np.array([0.5, 1.0, 0.7])
    for miss in rng.normal(0, 2, (20, 3)):
        best = minimize_scalar(
            lambda shift, m=miss: np.max(np.abs(m + shift) / tolerance), bounds=(-10, 10), method="bounded"
        )
        shift = float(centring_initial(miss, tolerance))
        assert np.max(np.abs(miss + shift) / tolerance) <= best.fun + 1e-6


def test_a_smaller_travel_is_offered_where_it_helps(bench, calibration):
    speeds = np.append(bench.target.speed_rpm, bench.target.speed_rpm[-1] + 600.0)
    wanted = np.minimum(bench.true(1, 1, speeds), 8.0)
    pair = bench.primaries[1:2], bench.secondaries[1:2]
    best = propose(calibration, Target(speeds, wanted, 0.8), *pair, smaller_travels_deg=[8.0])[0]
    assert best.travel_deg == 8.0
    assert best.chance > 0.5
    as_it_is = propose(calibration, Target(speeds, wanted, 0.8), *pair)[0]
    assert as_it_is.travel_deg == pytest.approx(bench.unit.travel_deg, abs=0.3)
    assert as_it_is.chance < 0.1


def test_a_travel_that_is_not_smaller_is_not_offered(bench, calibration):
    offered = ask(bench, calibration, smaller_travels_deg=[50.0, 20.0], count=36)
    assert offered == ask(bench, calibration, count=36)
    assert all(proposal.travel_deg < 20.0 for proposal in offered)


def test_single_spring_heads_have_no_secondary():
    bench = Bench(6)
    calibration = calibrate(bench.head, [bench.run(0, None, 0)])
    speeds = np.array([500.0, 600.0, 700.0])
    target = Target(speeds, bench.true(0, None, speeds), 1.0)
    best = propose(calibration, target, bench.primaries[:2], ())[0]
    assert best.secondary is None
    assert best.primary.key == "P1"
    assert propose(calibration, target, bench.primaries[:2], [None])[0].secondary is None
    wanted = wanted_spring(calibration, target, "primary", None)
    assert wanted.chance > 0.5


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"primaries": []}, "primaries must hold at least 1 Spring"),
        ({"primaries": SOFT}, "primaries must be a list of Springs, got Spring"),
        ({"primaries": 5}, "primaries must be a list of Springs, got 5"),
        ({"primaries": ["P1"]}, "primaries must hold Springs, got 'P1'"),
        ({"secondaries": ["S1"]}, "secondaries must hold Springs or None, got 'S1'"),
        ({"tried": ["P1"]}, "tried must hold"),
        ({"tried": [("P1",)]}, "tried must hold"),
        ({"tried": None}, "tried must be a list of objects, got None"),
        ({"tried": 5}, "tried must be a list of objects, got 5"),
        ({"tried": Proposal(SOFT, None, 0.1, 1.0, 0.0, (0.0, 0.0), 12.0, 0.1)}, "tried must be a list of"),
        ({"tried": [("P1", "S1", None)]}, "bend of tried must be a list of numbers, got None"),
        ({"tried": [("P1", "S1", 0.1)]}, r"bend of tried must have as many values as \(p, s\) \(2\), got 1"),
        ({"tried": [("P1", "S1", (np.nan, 0.0))]}, "bend of tried must be from -20 to 20, got nan"),
        ({"tried": [(["a"], "S1")]}, "tried must be text, a number or a tuple of such"),
        ({"count": 1.7}, "count must be a whole number"),
        ({"count": 0}, "count must be at least 1"),
        ({"post_bend_limit_mm": -1}, "post_bend_limit_mm must be from 0"),
        ({"smaller_travels_deg": [0.0]}, "smaller_travels_deg must be above 0"),
        ({"target": "band"}, "target must be a Target"),
        ({"calibration": None}, "calibration must be a Calibration"),
    ],
)
def test_bad_questions_are_refused(bench, calibration, change, words):
    sound = {
        "calibration": calibration,
        "target": bench.target,
        "primaries": bench.primaries,
        "secondaries": bench.secondaries,
    }
    with pytest.raises(ValueError, match=words):
        propose(**(sound | change))


def test_single_precision_is_good_enough(bench, calibration):
    drawer = Drawer.open(calibration, bench.target, bench.primaries, bench.secondaries)
    pairs = drawer.pairs()
    coarse = drawer.bench.curves(pairs, bench.target.speed_rpm)
    exact = type(drawer.bench)(
        *(np.asarray(part, dtype=float) for part in vars(drawer.bench).values())
    ).curves(pairs, bench.target.speed_rpm)
    assert np.abs(coarse - exact).max() < 1e-3
    assert isinstance(pairs, Choices)
