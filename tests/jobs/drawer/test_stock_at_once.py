"""Two tablets reach for the last spring of a kind: one has it, the other is told; no move comes twice."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.db.models import Sum
from django.test import Client
from django.utils import timezone

from curves.models import Run, Spring, SpringMove
from curves.rows import stock
from jobs.curvework import actions as curve
from jobs.intake import opening
from jobs.models import Job, PartLine
from jobs.moves import actions as moving
from shop.idempotency import new_key
from tests import build

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*work):
    """Run each work on a thread of its own at the same moment; what each gave, or what it raised."""
    together = Barrier(len(work))

    def one(act):
        together.wait()
        try:
            return act()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(work)) as pool:
        return list(pool.map(one, work))


def sums_hold():
    rows = Spring.objects.annotate(sum=Sum("moves__quantity"))
    return all(row.quantity == row.sum for row in rows)


@pytest.mark.parametrize("round_", range(3))
def test_two_tablets_take_the_last_one(round_):
    spring, by = build.spring("P 7", quantity=1), build.person()
    jobs = [build.job(stage="spring_trials") for _ in range(4)]

    def take(job):
        client = Client()
        client.force_login(by)
        begin = {"kind": "trial", "frame": "shaft", "primary": spring.pk, "once": new_key()}
        return client.post(f"/jobs/{job.number}/bench/", begin)

    answers = at_once(*(lambda job=job: take(job) for job in jobs))
    assert sorted(answer.status_code for answer in answers) == [302, 422, 422, 422]
    winner = Run.objects.get().build.job
    for answer in answers:
        assert answer.status_code == 302 or f"hangs in job {winner.number}" in answer.content.decode()
    assert (Spring.objects.get().quantity, SpringMove.objects.filter(kind="out").count()) == (0, 1)
    assert sums_hold()


def test_the_same_final_run_begun_on_two_tablets_fits_it_once():
    spring, by = build.spring("P 7", quantity=3), build.person()
    job = build.job(stage="bench_curve")

    def begin():
        return curve.add_run(job, {"kind": "final", "primary": spring}, [], by=by)

    at_once(begin, begin, begin)
    assert Spring.objects.get().quantity == 2
    assert SpringMove.objects.filter(kind="fitted").count() == 1
    assert PartLine.objects.get().quantity == 1
    assert sums_hold()


def test_two_units_that_swap_their_pairs_never_wait_for_each_other():
    by = build.person()
    first, second = build.spring("P 1", quantity=2), build.spring("P 2", quantity=2)
    jobs = [build.job(stage="spring_trials") for _ in range(2)]
    curve.add_run(jobs[0], {"kind": "trial", "primary": first, "secondary": second}, [], by=by)
    curve.add_run(jobs[1], {"kind": "trial", "primary": second, "secondary": first}, [], by=by)
    outcomes = at_once(
        lambda: curve.add_run(jobs[0], {"kind": "trial", "primary": second}, [], by=by),
        lambda: curve.add_run(jobs[1], {"kind": "trial", "primary": first}, [], by=by),
    )
    assert all(isinstance(one, Run) for one in outcomes)
    assert sums_hold()
    assert {row.label: row.quantity for row in Spring.objects.all()} == {"P 1": 1, "P 2": 1}


def handed_back(spring, by):
    job = build.job(stage="hand_back")
    curve.add_run(job, {"kind": "final", "primary": spring}, [], by=by)
    moving.hand_back(job, by=by, reason="shown in a test")
    return job


def test_a_unit_reopened_twice_at_once_gets_one_card_and_brings_its_springs_once():
    spring, by = build.spring("P 7", quantity=1), build.person()
    job = handed_back(spring, by)
    came = at_once(*([lambda: opening.reopen(Job.objects.get(pk=job.pk), by=by)] * 3))
    opened = [one for one in came if isinstance(one, Job)]
    assert [one.number for one in opened] == [2]
    refused = [str(one) for one in came if one not in opened]
    assert refused == ["This unit is still on the bench as job 2: go on there."] * 2
    assert Job.objects.count() == 2
    assert SpringMove.objects.filter(kind="returned").count() == 1
    assert SpringMove.objects.filter(kind="came_back").count() == 1
    assert sums_hold()


def test_a_unit_reopened_and_given_away_at_once_does_one_of_them():
    by = build.person()
    job = build.job(stage="hand_back", customer=None, closed_at=timezone.now())
    owner = build.customer()
    came = at_once(
        lambda: opening.reopen(Job.objects.get(pk=job.pk), by=by),
        lambda: moving.allocate(Job.objects.get(pk=job.pk), customer=owner, by=by),
    )
    new = Job.objects.filter(previous=job).first()
    assert new is not None
    assert new.customer == Job.objects.get(pk=job.pk).customer, came


def test_a_unit_comes_back_while_its_spring_is_hung_elsewhere():
    """Numbers and entries of the record wait for the shop's row: no spring may be waited for after it."""
    spring, by = build.spring("P 7", quantity=30), build.person()
    for _ in range(5):
        job, other = handed_back(spring, by), build.job(stage="spring_trials")
        came = at_once(
            lambda job=job: opening.reopen(Job.objects.get(pk=job.pk), by=by, road_report="pinks"),
            lambda other=other: curve.add_run(other, {"kind": "trial", "primary": spring}, [], by=by),
            lambda other=other: curve.add_run(other, {"kind": "trial", "secondary": spring}, [], by=by),
        )
        assert [type(one).__name__ for one in came] == ["Job", "Run", "Run"], came
    assert sums_hold()


def test_a_run_that_only_names_a_spring_waits_for_nobody():
    """It points at the spring's row, which is asked for as it is saved, after the record's entry."""
    spring, by = build.spring("P 7", quantity=30), build.person()
    for _ in range(5):
        received, other = build.job(stage="teardown"), build.job(stage="spring_trials")
        came = at_once(
            lambda job=received: curve.add_run(job, {"kind": "as_received", "primary": spring}, [], by=by),
            lambda job=other: curve.add_run(job, {"kind": "trial", "primary": spring}, [], by=by),
        )
        assert [type(one).__name__ for one in came] == ["Run", "Run"], came


def test_a_count_meets_a_spring_that_goes_out():
    spring, by = build.spring("P 7", quantity=2), build.person()
    job = build.job(stage="spring_trials")
    counted, run = at_once(
        lambda: stock.count(spring, 2, seen=2, by=by),
        lambda: curve.add_run(job, {"kind": "trial", "primary": spring}, [], by=by),
    )
    assert isinstance(run, Run)
    assert counted is None or type(counted).__name__ == "Conflict"
    assert Spring.objects.get().quantity == 1
    assert sums_hold()
