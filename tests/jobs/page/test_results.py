"""The line of a folded stage speaks of what was done in that stage."""

import pytest

from jobs.page.results import result_of
from jobs.queries import card_for
from jobs.stages import Stage
from tests import build
from tests.jobs.curvework.test_proof import OVER, fresh, job_with

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("inside", [True, False])
def test_the_line_of_the_trials_speaks_of_the_trials_and_not_of_the_final_run(inside):
    good, bad = build.SWEPT, [(rpm, deg + 4) for rpm, deg in build.RISING]
    job = build.job(stage="bench_curve", worked=True)
    build.target(job.build)
    build.run(job.build, bad)
    build.run(job.build, good if inside else bad)
    build.run(job.build, OVER if inside else good, kind="final")
    said = result_of(fresh(job), Stage.SPRING_TRIALS)
    assert said == f"2 trial runs; {'inside' if inside else 'outside'} the band."
    final = ": falling sweep out of the band" if inside else " proved: sweeps in the band"
    card = card_for(build.person("owner"), job.number)
    assert f"Final run 3{final}" in result_of(card, Stage.BENCH_CURVE)


def test_without_a_trial_run_the_line_of_the_trials_says_nothing_of_the_final_run():
    assert result_of(fresh(job_with(OVER)), Stage.SPRING_TRIALS) == "No trial run."
