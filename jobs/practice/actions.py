"""Practice cards: an invented unit with its drawer and its band, and what hands do to it beside the bench."""

import secrets
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from curves.models import Build, LoadTest, Run, Spring
from curves.practice import bench
from curves.rows import actions as build_actions
from curves.springs import load_tests
from jobs.intake.opening import open_job
from jobs.models import Engine, Inspection, Job, Step, Unit
from jobs.moves.actions import move_stage
from jobs.queries import inspection_of
from jobs.record.noting import note
from jobs.rules.guards import lock_open_card, require_practice
from jobs.stages import Stage
from jobs.teardown.steps import put_aside
from shop.models import LoadUnit, Person
from shop.rights import require
from shop.versions import save_versioned

MAX_SEED = 1_000_000
BY_HAND = "Take out of its load test what was typed in by hand, then weigh it again."
CLEAN = "A practice unit comes taken apart and clean"


@transaction.atomic
def open_practice(*, by: Person, seed: int | None = None) -> Job:
    """Invent a unit from a seed and open its card at the spring trials, ready for its as-received run."""
    require(by, "edit_curve")
    seed = secrets.randbelow(MAX_SEED) if seed is None else seed
    job = open_job(
        by=by,
        unit=Unit(maker="Practice", number=f"no. {seed}", cylinders=4, trigger=Unit.Trigger.POINTS),
        engine=Engine(
            make="Practice", model="four-cylinder", cylinders=4, idle_crank_rpm=600, top_crank_rpm=5000
        ),
        build=Build(practice_seed=seed),
        complaint="Find the springs that bring the curve into the band.",
    )
    Spring.everything.bulk_create(bench.springs_for(job.build))
    values, points = bench.band_for(job.build)
    build_actions.save_target(job.build, values, points, by=by, version=0)
    build_actions.add_run(job.build, {"kind": Run.Kind.AS_RECEIVED}, [], by=by)
    _take_apart_and_clean(job, by)
    for stage in (Stage.TEARDOWN, Stage.CLEANING, Stage.SPRING_TRIALS):
        job = move_stage(job, to=stage, by=by)
    return job


def _take_apart_and_clean(job: Job, by: Person) -> None:
    """Answer what the stages before the bench ask of any unit: nothing to look at, and nothing to clean.

    The stages behind the bench are for the person to work through.
    """
    points = [one.point for one in inspection_of(job) if one.answer is None]
    Inspection.objects.bulk_create(
        Inspection(job=job, point=point, verdict=Inspection.Verdict.NOT_APPLICABLE, note=CLEAN, by=by)
        for point in points
    )
    note("answered every point as not applicable", job, by, because=CLEAN)
    for step in job.steps.filter(list=Step.List.CLEANING).select_related("job"):
        put_aside(step, by=by, why=CLEAN)


@transaction.atomic
def measure_head(job: Job, *, by: Person) -> dict[str, Any]:
    """Put calipers to the head and write down what they say."""
    build = _held(job, by)
    values = bench.measure_head(build)
    build_actions.save_head(build, values, by=by, version=build.version)
    note("measured the head", job, by)
    return values


@transaction.atomic
def set_stop(job: Job, travel_deg: float, *, by: Person) -> float:
    """Set the stop to a travel [distributor deg], as near as a hand does, and measure where it stands."""
    build = _held(job, by)
    try:
        build.practice_stop_deg = bench.stop_after(build, travel_deg)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    save_versioned(build, build.version, ["practice_stop_deg"])
    measured = bench.measure_head(build)["travel_measured_deg"]
    build_actions.save_head(build, {"travel_measured_deg": measured}, by=by, version=build.version)
    note("set the stop", job, by, to=f"{travel_deg:g} distributor deg", measured=measured)
    return measured


@transaction.atomic
def weigh_spring(job: Job, spring: Spring, *, by: Person) -> None:
    """Put a spring of the practice drawer on the tester: its pairs are kept, its figures follow from them.

    ValidationError, and nothing kept, where with the pairs that stand there already no spring comes of it.
    """
    build = _held(job, by)
    require(by, "edit_drawer")
    times = spring.load_tests.count() // len(bench.TESTER_STEPS_MM)
    LoadTest.objects.bulk_create(
        LoadTest(spring=spring, length_mm=length, load=load, by=by)
        for length, load in bench.weigh(build, spring, times)
    )
    unit, pairs = load_tests.typed_of(spring)
    found = load_tests.fitted(pairs, unit or LoadUnit.NEWTON)
    if found is None or found.test is None:
        raise ValidationError(f"{found.refused} {BY_HAND}" if found else BY_HAND)
    values = load_tests.figures_of(found.test) | load_tests.weighed_now(by)
    build_actions.save_spring(spring, values, by=by, version=spring.version)
    note("weighed a spring", job, by, spring=str(spring))


@transaction.atomic
def give_up(job: Job, *, by: Person) -> None:
    """End the practice to look inside: from then on the unit takes no more runs."""
    build = _held(job, by)
    build.locked = True
    save_versioned(build, build.version, ["locked"])
    note("looked inside the practice unit", job, by)


def _held(job: Job, by: Person) -> Build:
    """The build of an open practice card, held against other writers until the transaction ends."""
    require(by, "edit_curve")
    require_practice(job)
    lock_open_card(job)
    return build_actions.require_unlocked(job.build)
