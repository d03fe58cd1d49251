"""Spring trials as a loop: what teaches, what is proposed, in which frame, and that it ends in the band."""

import dataclasses
import re
from itertools import count

import numpy as np
import pytest

from curves import engine
from curves.models import Run, Spring
from curves.rows import convert, stock
from curves.trials import firstlook, loop
from shop.models import Shop
from tests import build
from tests.curves.trials.loop import simulated_bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    bench = simulated_bench()
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    return bench


@pytest.mark.any_database
@pytest.mark.parametrize("seed", [5, 11, 23])
def test_the_loop_ends_in_the_band(seed):
    bench = simulated_bench(seed, tolerance=2.5)  # as the practice bench asks: friction parts the sweeps
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    for number in count(1):
        state = loop.trial_state(bench.fresh())
        if state.done:
            break
        assert number <= 4
        best = state.offers[0]
        bench.read(best.primary, best.secondary, best.proposal.post_bend_mm, number=number)
    assert state.last.in_band
    trials_read = [one for one in state.log if one.run.kind == Run.Kind.TRIAL]
    assert [one.run.number for one in trials_read if one.teaches] == list(range(2, number + 1))


def test_both_frames_ask_the_engine_the_same_question():
    # A four-stroke's crank turns twice for each turn of its distributor: common practice, no source.
    asked = []
    for frame in ("shaft", "crank"):
        Spring.objects.all().delete()
        bench = simulated_bench(frame=frame)
        bench.read("P1", "S1", kind=Run.Kind.AS_RECEIVED)
        asked.append(loop.trial_state(bench.fresh()))
    shaft, crank = (np.array(state.question.runs[0][2:4]) for state in asked)
    assert shaft == pytest.approx(crank)
    assert np.array(asked[0].question.band[:3]) == pytest.approx(np.array(asked[1].question.band[:3]))
    assert [one.percent for one in asked[0].offers] == pytest.approx([one.percent for one in asked[1].offers])


def test_an_offer_says_what_the_engine_says_in_both_frames(bench):
    state = loop.trial_state(bench.fresh())
    question = state.question
    found = engine.propose(
        engine.calibrate(question.head, [engine.Run(*run[:4], falling=run[4]) for run in question.runs]),
        question.target,
        question.primaries,
        question.secondaries,
        count=loop.COUNT,
        post_bend_limit_mm=loop.BEND_LIMIT_MM,
        sweeps=engine.Sweeps(question.runs[0][2], question.runs[0][4]),
    )
    assert [one.proposal.chance for one in state.offers] == [one.chance for one in found]
    miss = state.offers[0].worst_miss_deg
    assert (miss.shaft, miss.crank) == (found[0].worst_miss_deg, found[0].worst_miss_deg * 2)
    assert state.offers[0].percent == found[0].chance * 100
    assert state.offers[0].initial_crank_deg == 8
    assert question.band[1] == tuple(convert.target_of(bench.build.target, state.drive).advance_deg)


def test_the_state_is_frozen(bench):
    state = loop.trial_state(bench.fresh())
    with pytest.raises(dataclasses.FrozenInstanceError):
        state.offers = ()


def test_a_pair_that_missed_comes_back_only_with_another_bend(bench):
    first, second = Spring.objects.get(label="P1"), Spring.objects.get(label="S1")
    bench.read(first, second, number=1)
    state = loop.trial_state(bench.fresh())
    assert state.log[-1].in_band is False
    assert state.question.tried == (("P1", "S1", (0.0, 0.0)),)
    for offer in state.offers:
        assert (offer.primary, offer.secondary, offer.proposal.post_bend_mm) != (first, second, (0, 0))
    without = loop.trial_state(bench.fresh(), loop.Choices(bend_limit_mm=0.0))
    assert all((one.primary, one.secondary) != (first, second) for one in without.offers)
    assert all(one.proposal.post_bend_mm == (0, 0) for one in without.offers)


def test_what_is_missing_is_said_and_nothing_is_proposed():
    state = loop.trial_state(build.build())
    assert [one.step for one in state.missing] == ["target", "run", "drawer"]
    assert not state.offers
    assert state.calibration is None


def test_a_spring_that_ran_out_is_not_proposed_unless_it_hangs_in_this_unit(bench):
    Spring.objects.filter(position="primary").exclude(label__in=["P1", "P2"]).update(quantity=0)
    keys = [one.key for one in loop.trial_state(bench.fresh()).question.primaries]
    assert keys == ["P1", "P2"]
    Spring.objects.filter(label="P3").update(quantity=1)
    bench.read(Spring.objects.get(label="P3"), Spring.objects.get(label="S1"), number=1)
    stock.settle(bench.build, by=build.person())
    assert Spring.objects.get(label="P3").quantity == 0
    assert [one.key for one in loop.trial_state(bench.fresh()).question.primaries] == ["P1", "P2", "P3"]


def test_runs_taken_off_and_runs_without_readings_teach_nothing(bench):
    bench.read(Spring.objects.get(label="P3"), Spring.objects.get(label="S1"), number=1)
    build.run(bench.build, [], primary=Spring.objects.get(label="P4"))
    assert [one.run.number for one in loop.trial_state(bench.fresh()).log] == [1, 2]
    bench.build.runs.filter(number=2).update(removed=True)
    assert [one.run.number for one in loop.trial_state(bench.fresh()).log] == [1]


def test_weights_that_stuck_teach_nothing_once_there_is_another_run():
    made = build.build()
    stuck = [(400, 0), (800, 4), (1200, 9), (1600, 11), (1200, 11, True), (800, 7, True), (400, 2, True)]
    build.run(made, stuck, kind=Run.Kind.AS_RECEIVED)
    build.target(made)
    alone = loop.trial_state(made)
    assert [one.teaches for one in alone.log] == [True]
    build.run(made, primary=build.spring("P"), secondary=build.spring("S"))
    state = loop.trial_state(made)
    assert [one.teaches for one in state.log] == [False, True]
    assert "stuck" in state.log[0].note


def test_readings_beyond_the_stop_as_it_is_now_do_not_teach():
    made = build.build(travel_measured_deg=9.0)
    build.run(made, primary=build.spring("P"), secondary=build.spring("S"))  # reads up to 11 degrees
    build.target(made)
    state = loop.trial_state(made)
    assert max(state.question.runs[0][3]) <= 9.0
    assert "past the stop" in state.log[0].note


def test_the_engines_warnings_name_our_runs_and_their_frame():
    made = build.build()
    readings = [
        (300, 0),
        (400, 0.5),
        (600, 3),
        (800, 5.5),
        (1000, 0.5),
        (1250, 9.5),
        (1500, 10.5),
        (1800, 11),
    ]
    build.run(made, [])
    build.run(made, readings, primary=build.spring("P"), secondary=build.spring("S"))
    build.target(made)
    words = " ".join(loop.trial_state(made).warnings)
    assert (
        "Trial run 2: the reading of 0.5 distributor degrees (1 crank) at 1000 distributor rpm (2000 crank) "
        "does not fit the others" in words
    )


def test_a_smaller_travel_is_only_offered_when_allowed(bench):
    travel = bench.build.travel_measured_deg
    assert loop.trial_state(bench.fresh()).question.smaller_travels == ()
    state = loop.trial_state(bench.fresh(), loop.Choices(least_travel_deg=travel - 1.0))
    assert state.question.smaller_travels == pytest.approx((travel - 1.0, travel - 0.5))
    for offer in state.offers:
        assert offer.travel_deg is None or offer.predicted.mean_deg.max() <= offer.travel_deg.shaft + 1e-9


def test_the_initial_timing_moves_only_when_allowed_and_only_in_its_range(bench):
    moved = loop.trial_state(bench.fresh(), loop.Choices(initial_moves=True))
    # 6 to 10 crank degrees are 3 to 5 at the distributor.
    assert moved.question.band[3] == (3.0, 5.0)
    assert all(6 <= one.initial_crank_deg <= 10 for one in moved.offers)
    assert loop.trial_state(bench.fresh()).question.band[3] == (0.0, 0.0)


def test_the_posts_are_told_from_where_they_stand(bench):
    pair = [Spring.objects.get(label=label) for label in ("P1", "S1")]
    bench.read(*pair, (0.2, 0.0), number=1)
    for offer in loop.trial_state(bench.fresh()).offers:
        first = offer.bends[0]
        assert first.by_mm == pytest.approx(offer.proposal.post_bend_mm[0] - 0.2)
        assert first.gap_mm == pytest.approx(bench.build.primary_gap_mm + offer.proposal.post_bend_mm[0])


def test_the_reason_is_one_sentence_about_the_run_before(bench):
    assert loop.trial_state(bench.fresh()).offers[0].why.startswith("It ranks first of 100 pairs")
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    for offer in loop.trial_state(bench.fresh()).offers:
        assert offer.why.startswith("Trial run 2 lay ")
        assert offer.why.count(". ") == 0
        assert offer.why.endswith(".")


def test_the_order_follows_from_what_each_proposal_shows(bench):
    """Not of the chance alone: one with less of it may stand first, and then what it is ahead in is said."""
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    state = loop.trial_state(bench.fresh())
    found = [(round(one.proposal.chance / 0.1), one.proposal.prospect) for one in state.offers]
    assert len(found) > 2
    assert found == sorted(found, reverse=True)
    assert "in steps of 10 %" in state.order
    assert "trimming its posts after its run" in state.order


def test_the_drawer_its_corrections_and_its_moves_cost_a_query_each_and_the_bench_speeds_one(
    bench, django_assert_num_queries
):
    Shop.current()
    whole = bench.fresh()
    with django_assert_num_queries(3):
        loop.trial_state(whole)
    bench.build.runs.get().readings.filter(falling=True).delete()
    begun = bench.fresh()
    with django_assert_num_queries(4):
        loop.trial_state(begun)


def test_the_same_question_is_answered_once(bench, monkeypatch):
    loop.trial_state(bench.fresh())
    monkeypatch.setattr(engine, "calibrate", None)
    monkeypatch.setattr(engine, "propose", None)
    assert loop.trial_state(bench.fresh()).offers


def stuck(bench, apart_deg, number=1):
    """Read a run up and down with weights that stick: the falling sweep so much higher, distributor deg."""
    run = bench.read("P1", "S1", kind=Run.Kind.AS_RECEIVED, number=number, both_ways=False)
    rows = list(run.readings.all())
    top = max(row.advance_deg for row in rows)
    for place, row in enumerate(reversed(rows)):
        moving = 1.0 < row.advance_deg < top - 1.0
        deg = row.advance_deg + apart_deg * moving
        run.readings.create(
            position=len(rows) + place, speed_rpm=row.speed_rpm, advance_deg=deg, falling=True
        )


def typed_on(bench, rows, upto=None):
    """Begin a run with a pair; give where the trials stand after each reading of it."""
    pair = {"primary": Spring.objects.get(label="P2"), "secondary": Spring.objects.get(label="S3")}
    run = build.run(bench.build, [], **pair)
    for place, (rpm, deg, falling) in enumerate(rows[:upto]):
        run.readings.create(position=place, speed_rpm=rpm, advance_deg=deg, falling=falling)
        yield loop.trial_state(bench.fresh())


def judged_at(state):
    """Which readings of the next run its verdict will rest on, by speed and way, and on what scale."""
    speeds, falling, scale = state.question.read
    low, high = state.band.speed_rpm[0], state.band.speed_rpm[-1]
    beside = max(rpm for rpm in speeds if rpm <= low), min(rpm for rpm in speeds if rpm >= high)
    ways = zip(speeds, falling, strict=True)
    return sorted((rpm, way) for rpm, way in ways if beside[0] <= rpm <= beside[1]), scale


@pytest.mark.any_database
def test_no_chance_jumps_because_a_run_is_only_begun():
    bench = simulated_bench(tolerance=2.5)
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    before = judged_at(loop.trial_state(bench.fresh()))
    assert len(before[0]) > 12
    words = []
    for state in typed_on(bench, bench.rows("P2", "S3", number=1)):
        assert judged_at(state) == before
        words.append(state.read_as)
    assert words[0] == "as received run 1 (12 rising and 12 falling)"
    assert words[-1] == "trial run 2 (12 rising and 12 falling)"


def test_one_reading_more_moves_a_chance_by_what_it_teaches_only():
    bench = simulated_bench(tolerance=2.5)
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    before = {one.keys: one.percent for one in loop.trial_state(bench.fresh()).offers}
    # At rest nothing is to be learned: every head reads 0 there.
    (state,) = typed_on(bench, [(250.0, 0.0, False)])
    after = {one.keys: one.percent for one in state.offers}
    assert set(before) & set(after)
    for keys in set(before) & set(after):
        assert after[keys] == pytest.approx(before[keys], abs=5)


def test_while_no_run_is_whole_the_shops_bench_speeds_stand_for_it_up_and_down():
    Shop.current()
    Shop.objects.update(bench_speeds="400, 900, 1400")
    bench = simulated_bench()
    bench.read("P1", "S1", kind=Run.Kind.AS_RECEIVED, both_ways=False)
    state = loop.trial_state(bench.fresh())
    assert state.read_as == "the shop’s usual sweep (3 rising and 3 falling)"
    speeds, falling, scale = state.question.read
    assert list(zip(speeds, falling, strict=True)) == [
        (rpm, way) for way in (False, True) for rpm in (400.0, 900.0, 1400.0)
    ]
    assert scale == bench.build.scale_deg


def test_chances_are_of_a_run_read_as_the_newest_whole_one_was():
    bench = simulated_bench()
    stuck(bench, 0.5)
    state = loop.trial_state(bench.fresh())
    run = bench.build.runs.get()
    readings = list(run.readings.all())
    assert state.read_as == f"{str(run).lower()} (12 rising and 12 falling)"
    assert sorted(zip(state.question.sweeps.speed_rpm, state.question.sweeps.falling, strict=True)) == sorted(
        (row.speed_rpm, row.falling) for row in readings
    )
    assert state.question.sweeps.scale_deg == bench.build.scale_deg


def test_sweeps_that_lie_apart_are_to_be_looked_at_first_and_widen_the_chances():
    found = []
    for apart in (0.0, 1.0):
        Spring.objects.all().delete()
        bench = simulated_bench()
        stuck(bench, apart)
        found.append(loop.trial_state(bench.fresh()))
    free, sticking = found
    assert not any("Free the weights" in text for text in free.look_first)
    assert re.match(
        r"Free the weights: the sweeps lie 1\.0 distributor degrees \(2\.0 crank\) apart at "
        r"\d+ distributor rpm \(\d+ crank\)\.",
        sticking.look_first[0],
    )
    assert sticking.offers[0].percent < free.offers[0].percent


def test_a_band_too_narrow_for_the_scale_is_said():
    bench = simulated_bench()
    bench.read("P1", "S1", kind=Run.Kind.AS_RECEIVED, both_ways=False)
    drive = loop.trial_state(bench.fresh()).drive
    newest = loop.lessons(bench.fresh(), {})[-1]
    found = engine.Proposals((), False, (), greatest_chance=0.2)
    (words,) = firstlook.look_first(found, newest, (), drive, "shaft")
    assert "would be judged in it 20 % of the time" in words
    sound = engine.Proposals((), False, ())
    assert not list(firstlook.look_first(sound, newest, (), drive, "shaft"))
