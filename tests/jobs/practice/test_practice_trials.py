"""Following the proposals on the practice bench, and that nothing learned there counts anywhere else."""

import pytest

from curves.models import Run, SpringCorrection
from curves.practice import bench
from curves.rows import queries
from curves.springs import corrections
from curves.trials import loop
from jobs.curvework import trial_actions
from jobs.practice import actions
from tests import build as made

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]
MAX_RUNS = 4
PRESETS = (300, 400, 500, 600, 700, 800, 1000, 1200, 1500, 1800, 2200)  # distributor rpm, a shop's usual ones


def read(job, run):
    """Read a run as the bench screen does, up and down: each reading kept before the next is looked at."""
    ways = [(rpm, False) for rpm in PRESETS] + [(rpm, True) for rpm in reversed(PRESETS)]
    for place, (rpm, falling) in enumerate(ways):
        deg = bench.read_at(job.build, run, rpm, falling)
        run.readings.create(position=place, speed_rpm=rpm, advance_deg=deg, falling=falling)


def state_of(job):
    return loop.trial_state(queries.build_for(job.build_id))


def follow(job, person):
    """Fit the first proposal and read it; where the trials stand then."""
    offer = state_of(job).offers[0]
    bends = dict(zip(("primary_bend_mm", "secondary_bend_mm"), offer.proposal.post_bend_mm, strict=True))
    pair = {"primary": offer.primary, "secondary": offer.secondary}
    read(job, trial_actions.fit_pair(job, pair | bends, by=person))
    return state_of(job)


@pytest.mark.parametrize("seed", [0, 3, 4, 9, 10, 11])
def test_proposals_lead_into_the_band_in_at_most_four_runs(seed, person):
    job = actions.open_practice(by=person, seed=seed)
    actions.measure_head(job, by=person)
    read(job, job.build.runs.get())
    states = (follow(job, person) for _ in range(MAX_RUNS))
    assert any(state.done for state in states)


def test_practice_teaches_the_drawer_nothing(person):
    job = actions.open_practice(by=person, seed=5)
    actions.measure_head(job, by=person)
    read(job, job.build.runs.get())
    follow(job, person)
    assert corrections.learn_springs(queries.build_for(job.build_id), by=person) == 0
    assert not SpringCorrection.objects.exists()


def test_a_real_card_is_offered_no_practice_spring_and_the_other_way_round(person):
    job = actions.open_practice(by=person, seed=5)
    actions.measure_head(job, by=person)
    read(job, job.build.runs.get())
    mine = [made.spring(position=place) for place in ("primary", "secondary")]
    offered = {spring for one in state_of(job).offers for spring in (one.primary, one.secondary)}
    assert offered
    assert all(spring.practice_id == job.build_id for spring in offered)
    real = made.job(stage="spring_trials")
    made.target(real.build)
    made.run(real.build, kind=Run.Kind.AS_RECEIVED)
    offered = {spring for one in state_of(real).offers for spring in (one.primary, one.secondary)}
    assert offered == set(mine)
