"""What jobs teach of springs: kept once a build and place, used by later jobs only, and reversible."""

import pytest
from django.core.exceptions import PermissionDenied

from curves import convert, corrections, queries, trials
from curves.models import Spring, SpringCorrection
from tests import build
from tests.curves.loop import simulated_bench

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
    state = trials.trial_state(bench.fresh())
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
