"""What jobs teach of springs: kept once a build and place, used by later jobs only, and reversible."""

from dataclasses import replace
from importlib import import_module
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from curves.models import Spring, SpringCorrection
from curves.rows import actions, convert, queries
from curves.springs import corrections
from curves.trials import loop
from tests import build
from tests.curves.trials.loop import simulated_bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    bench = simulated_bench()
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S2")), number=2)
    return bench


def learned(bench, person):
    corrections.learn_springs(bench.fresh(), by=person)
    return {(str(one.spring), one.position): one for one in SpringCorrection.objects.all()}


def test_each_spring_that_was_run_gets_one_correction(bench, person):
    kept = learned(bench, person)
    assert set(kept) == {("P1", "primary"), ("S1", "secondary"), ("S2", "secondary")}
    state = loop.trial_state(bench.fresh())
    spring = next(one for one in state.question.primaries if one.key == "P1")
    found = state.calibration.corrected(spring, "primary")
    row = kept["P1", "primary"]
    assert row.rate_n_per_mm == pytest.approx(found.rate_n_per_mm)
    assert row.rate_sd <= Spring.objects.get(label="P1").rate_sd


def test_learning_again_updates_and_makes_no_second_row(bench, person):
    before = learned(bench, person)
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), (0.2, 0.1), number=3)
    after = learned(bench, person)
    assert set(after) == set(before)
    first, second = before["P1", "primary"], after["P1", "primary"]
    assert first.pk == second.pk
    assert (first.rate_n_per_mm, first.version) != (second.rate_n_per_mm, second.version)
    assert learned(bench, person)["P1", "primary"].version == second.version  # nothing new, nothing written


def test_a_later_job_starts_from_it_and_the_same_job_does_not(bench, person):
    correction = learned(bench, person)["P1", "primary"]
    later = build.build()
    row = Spring.objects.prefetch_related("corrections").get(label="P1")
    used = convert.spring_of(row, position="primary", build=later)
    assert used.rate_n_per_mm == correction.rate_n_per_mm
    assert used.error_correlation == pytest.approx(tuple(correction.correlation))
    own = convert.spring_of(row, position="primary", build=bench.build)
    elsewhere = convert.spring_of(row, position="secondary", build=later)
    assert own.rate_n_per_mm == elsewhere.rate_n_per_mm == row.rate_n_per_mm


def test_switched_off_the_springs_own_figures_count_again_and_it_stays_off(bench, person):
    correction = learned(bench, person)["P1", "primary"]
    later = build.build()

    def rate():
        row = Spring.objects.prefetch_related("corrections").get(label="P1")
        return convert.spring_of(row, position="primary", build=later).rate_n_per_mm

    label = Spring.objects.get(label="P1").rate_n_per_mm
    corrections.use_correction(correction, False, by=person)
    assert rate() == label
    assert learned(bench, person)["P1", "primary"].in_use is False
    corrections.use_correction(SpringCorrection.objects.get(pk=correction.pk), True, by=person)
    assert rate() == SpringCorrection.objects.get(pk=correction.pk).rate_n_per_mm != label


def test_a_run_taken_off_takes_what_it_taught_with_it(bench, person):
    learned(bench, person)
    bench.build.runs.filter(number=2).update(removed=True)
    assert set(learned(bench, person)) == {("P1", "primary"), ("S1", "secondary")}


def test_practice_teaches_nothing(bench, person):
    bench.build.practice_seed = 7
    bench.build.save()
    assert learned(bench, person) == {}


def test_springs_that_came_in_the_unit_are_not_of_the_drawer(person):
    made = build.build()
    build.run(made, kind="as_received")
    assert corrections.learn_springs(queries.build_for(made.pk), by=person) == 0


def test_the_counter_teaches_nothing_and_switches_nothing(bench, person, counter):
    correction = learned(bench, person)["P1", "primary"]
    with pytest.raises(PermissionDenied):
        corrections.learn_springs(bench.fresh(), by=counter)
    with pytest.raises(PermissionDenied):
        corrections.use_correction(correction, False, by=counter)
    assert SpringCorrection.objects.get(pk=correction.pk).in_use


def test_a_correction_switched_off_stays_off_when_its_runs_come_back(bench, person):
    correction = learned(bench, person)["P1", "primary"]
    corrections.use_correction(correction, False, by=person)
    bench.build.runs.update(removed=True)
    learned(bench, person)
    bench.build.runs.update(removed=False)
    kept = learned(bench, person)
    assert not kept["P1", "primary"].in_use
    assert kept["S1", "secondary"].in_use


def test_a_correction_whose_runs_are_gone_is_not_switched_on(bench, person):
    correction = learned(bench, person)["P1", "primary"]
    corrections.use_correction(correction, False, by=person)
    bench.build.runs.update(removed=True)
    learned(bench, person)
    kept = SpringCorrection.objects.get(pk=correction.pk)
    with pytest.raises(PermissionDenied, match="off their card"):
        corrections.use_correction(kept, True, by=person)
    bench.build.runs.update(removed=False)
    corrections.use_correction(kept, True, by=person)
    assert SpringCorrection.objects.get(pk=correction.pk).in_use


def test_nor_is_one_whose_runs_hold_no_reading_any_more(bench, person):
    correction = learned(bench, person)["P1", "primary"]
    corrections.use_correction(correction, False, by=person)
    for run in bench.build.runs.all():
        run.readings.all().delete()
    with pytest.raises(PermissionDenied, match="off their card"):
        corrections.use_correction(SpringCorrection.objects.get(pk=correction.pk), True, by=person)


def weigh(label, rate):
    """What the spring tester writes when its fit is used."""
    spring = Spring.objects.get(label=label)
    spring.rate_n_per_mm, spring.source, spring.weighed_at = rate, Spring.Source.WEIGHED, timezone.now()
    spring.save()


def counting(label, place="primary"):
    """The rate that counts for the next job."""
    row = Spring.objects.prefetch_related("corrections").get(label=label)
    return convert.spring_of(row, position=place, build=build.build()).rate_n_per_mm


def test_a_run_of_another_pair_makes_nothing_newer(bench, person):
    before = learned(bench, person)["P1", "primary"]
    weigh("P1", 1.8)
    assert counting("P1") == 1.8
    bench.read(*(Spring.objects.get(label=label) for label in ("P3", "S3")), number=3)
    after = learned(bench, person)["P1", "primary"]
    assert after.rate_n_per_mm != before.rate_n_per_mm  # reckoned anew all the same
    assert after.learned_at == before.learned_at
    assert counting("P1") == 1.8
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S3")), number=4)
    newest = learned(bench, person)["P1", "primary"]
    assert counting("P1") == newest.rate_n_per_mm != 1.8


def test_only_a_changed_sweep_pair_or_bend_makes_a_run_newer(bench, person):
    run = bench.build.runs.get(number=1)
    rows = [(one.speed_rpm, one.advance_deg, one.falling) for one in run.readings.all()]

    def change(values, readings=rows):
        fresh = bench.build.runs.get(number=1)
        actions.change_run(fresh, values, readings, by=person, version=fresh.version)
        return bench.build.runs.get(number=1).taught_at

    assert change({"note": "dial cleaned"}) == run.taught_at
    fresh = bench.build.runs.get(number=1)
    actions.put(fresh, "spark", uuid4(), {"speed_rpm": 300, "cylinder": 1, "offset_deg": 0.5}, by=person)
    assert bench.build.runs.get(number=1).taught_at == run.taught_at
    bent = change({"primary_bend_mm": 0.1})
    assert bent > run.taught_at
    assert change({}, rows[:-1]) > bent
    weigh("P1", 1.8)
    learned(bench, person)
    assert counting("P1") == 1.8
    assert change({}) > bent
    learned(bench, person)
    assert counting("P1") != 1.8


def test_each_reading_at_the_bench_makes_its_run_newer(bench, person):
    run = bench.build.runs.get(number=2)
    key, at = uuid4(), [run.taught_at]
    values = {"speed_rpm": 1234.0, "advance_deg": 5.0, "falling": False}
    actions.put(run, "reading", key, values, by=person)
    at.append(bench.build.runs.get(number=2).taught_at)
    actions.put(run, "reading", key, values, by=person)  # sent again
    assert bench.build.runs.get(number=2).taught_at == at[-1]
    actions.put(run, "reading", key, values | {"advance_deg": 5.5}, by=person, version=1)
    at.append(bench.build.runs.get(number=2).taught_at)
    actions.take_back(run, "reading", key, by=person, version=2)
    at.append(bench.build.runs.get(number=2).taught_at)
    assert at == sorted(set(at))


def test_a_run_taken_off_and_put_back_outvotes_no_weighing(bench, person):
    before = learned(bench, person)
    weigh("S2", 5.0)
    for removed in (True, False):
        run = bench.build.runs.get(number=2)
        actions.take_off_run(run, by=person, removed=removed)
        after = learned(bench, person)
    assert after["S2", "secondary"].learned_at == before["S2", "secondary"].learned_at
    assert counting("S2", "secondary") == 5.0


def elsewhere(bench):
    """The same unit on another card, its runs read with the same springs."""
    row = build.build()
    for name in ("travel_measured_deg", "primary_gap_mm", "secondary_gap_mm"):
        setattr(row, name, getattr(bench.build, name))
    row.save()
    other = replace(bench, build=row)
    other.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=5)
    return other


def test_of_two_open_jobs_that_whose_run_is_newest_counts(bench, person):
    other = elsewhere(bench)
    for one in (other, bench):  # the newer runs are learned first
        corrections.learn_springs(one.fresh(), by=person)
    newer, older = SpringCorrection.objects.filter(spring__label="P1").order_by("pk")
    assert (newer.build, older.build) == (other.build, bench.build)
    assert newer.learned_at > older.learned_at
    assert counting("P1") == newer.rate_n_per_mm != older.rate_n_per_mm


def test_learning_again_in_two_jobs_by_turns_believes_no_run_twice(bench, person):
    other = elsewhere(bench)
    known = []
    for _ in range(4):
        for one in (bench, other):
            corrections.learn_springs(one.fresh(), by=person)
        rows = SpringCorrection.objects.filter(spring__label="P1").order_by("build")
        known.append([(row.rate_n_per_mm, row.rate_sd, row.version) for row in rows])
    assert known[1:] == known[:1] * 3
    kept = SpringCorrection.objects.get(spring__label="P1", build=other.build)
    assert kept.rests_on == [bench.build.pk]


def test_of_old_corrections_the_older_are_taken_for_the_ground_of_the_newer(bench, person):
    other = elsewhere(bench)
    for one in (bench, other):
        corrections.learn_springs(one.fresh(), by=person)
    SpringCorrection.objects.update(rests_on=[])
    age = import_module("curves.migrations.0008_age_and_ground_of_what_was_learned")
    age.take_the_older_ones_for_the_ground(apps, None)
    found = {(one.build, str(one.spring)): one.rests_on for one in SpringCorrection.objects.all()}
    assert found[other.build, "P1"] == [bench.build.pk]
    assert found[bench.build, "P1"] == found[bench.build, "S2"] == []
