"""The drawer: what counts and why, the spring tester, corrections switched, where a spring hangs."""

import json
from itertools import count

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from curves.engine import spring_from_loads
from curves.models import LoadTest, Spring, SpringCorrection, SpringMove
from curves.springs import corrections
from jobs.curvework import actions
from jobs.drawer.queries import open_cards
from jobs.models import Job
from tests import build
from tests.curves.trials.loop import simulated_bench

pytestmark = pytest.mark.django_db
# 5 N at 22 mm, then 1 N more for each millimetre, 20 mm free: 1 N/mm and 3 N of initial tension, by hand from
# F = T0 + k (L - L0).
PAIRS = [(20.0, 0.0), (22.0, 5.0), (24.0, 7.0), (26.0, 9.0)]


def typed(pairs=PAIRS, **fields):
    rows = [{"length": f"{length:g}", "load": f"{load:g}"} for length, load in pairs]
    return {"json": json.dumps(rows), "version": "1", "unit": "N", **fields}


@pytest.fixture
def row():
    return build.spring("P 7", rate_n_per_mm=1.5, free_length_mm=19.0)


def test_a_load_test_is_fitted_and_kept_without_touching_the_figures(client_as, row):
    client = client_as("technician")
    assert client.post(f"/springs/{row.pk}/loads/", typed()).status_code == 302
    page = client.get(f"/springs/{row.pk}/")
    said = page.context["test"].test
    assert (said.rate_n_per_mm, said.initial_tension_n) == pytest.approx((1.0, 3.0))
    assert said.rate_n_per_mm == spring_from_loads(*zip(*PAIRS, strict=True)).rate_n_per_mm
    assert "1.000" in page.content.decode()
    row.refresh_from_db()
    assert (row.rate_n_per_mm, row.version) == (1.5, 2)
    assert [(one.length_mm, one.load, one.by) for one in row.load_tests.all()] == [
        (*pair, client.person) for pair in PAIRS
    ]


def test_the_fit_becomes_the_springs_own_figures_when_asked(client_as, row):
    client_as("technician").post(f"/springs/{row.pk}/loads/", typed(use="1"))
    row.refresh_from_db()
    assert (row.rate_n_per_mm, row.free_length_mm, row.initial_tension_n) == pytest.approx((1, 20, 3))
    assert (row.source, row.rate_sd > 0) == ("weighed", True)


def test_pairs_that_stay_keep_who_weighed_them(client_as, row):
    client_as("technician").post(f"/springs/{row.pk}/loads/", typed())
    owner = client_as("owner")
    owner.post(f"/springs/{row.pk}/loads/", typed([*PAIRS[:3], (28.0, 11.0)], version="2"))
    assert [one.by == owner.person for one in row.load_tests.all()] == [False, False, False, True]


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([(22.0, 5.0)], "two different lengths"),
        ([(22.0, 5.0), (24.0, 4.0)], "does not rise"),
    ],
)
def test_pairs_that_say_nothing_give_no_figures(client_as, row, pairs, words):
    answer = client_as("technician").post(f"/springs/{row.pk}/loads/", typed(pairs, use="1"))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    row.refresh_from_db()
    assert row.rate_n_per_mm == 1.5
    assert not LoadTest.objects.exists()


def test_two_people_at_the_tester_are_told(client_as, row):
    client = client_as("technician")
    client.post(f"/springs/{row.pk}/loads/", typed())
    answer = client.post(f"/springs/{row.pk}/loads/", typed([(30.0, 13.0), (32.0, 15.0)]))
    assert answer.status_code == 409
    assert "30" in answer.content.decode()
    assert LoadTest.objects.count() == len(PAIRS)


def learned():
    job = build.job(stage="spring_trials")
    bench = simulated_bench(into=job.build)
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    corrections.learn_springs(bench.fresh(), by=build.person())
    return job, SpringCorrection.objects.get(spring__label="P1")


def test_a_correction_is_shown_switched_off_and_taken_back(client_as):
    job, correction = learned()
    client, address = client_as("technician"), f"/springs/{correction.spring_id}/"
    page = client.get(address)
    assert page.context["row"].counting.values.rate_n_per_mm == correction.rate_n_per_mm
    assert page.context["row"].source == f"learned in job {job.number}"
    switch = f"{address}corrections/{correction.pk}/"
    client.post(switch, {"in_use": ""})
    page = client.get(address)
    assert page.context["row"].counting.values.rate_n_per_mm == correction.spring.rate_n_per_mm
    assert "Switched off" in page.content.decode()
    assert switch in page.content.decode()  # the way back
    client.post(switch, {"in_use": "1"})
    assert client.get(address).context["row"].counting.correction == correction
    assert job.history.filter(verb="switched a correction off").count() == 1


def test_a_correction_without_its_runs_says_why_it_stays_off(client_as):
    job, correction = learned()
    client, address = client_as("technician"), f"/springs/{correction.spring_id}/"
    switch = f"{address}corrections/{correction.pk}/"
    client.post(switch, {"in_use": ""})
    job.build.runs.update(removed=True)
    answer = client.post(switch, {"in_use": "1"}, follow=True)
    assert "The runs that taught it are off their card" in answer.content.decode()
    assert not SpringCorrection.objects.get(pk=correction.pk).in_use


def test_a_spring_hangs_where_its_newest_run_says(client_as):
    job, by = build.job(stage="spring_trials"), build.person()
    first, second, other = build.spring("P 1"), build.spring("P 2"), build.spring("S 1")
    actions.add_run(job, {"kind": "trial", "primary": first, "secondary": other}, [], by=by)
    actions.add_run(job, {"kind": "trial", "primary": second, "secondary": other}, [], by=by)
    gone = build.job(stage="hand_back")
    actions.add_run(gone, {"kind": "final", "primary": first}, [], by=by)
    Job.objects.filter(pk=gone.pk).update(closed_at=timezone.now())
    rows = client_as("counter").get("/springs/").context["rows"]
    assert {str(row.spring): [one.job.number for one in row.away] for row in rows} == {
        "P 1": [],
        "P 2": [job.number],
        "S 1": [job.number],
    }


def test_who_may_not(client_as, row):
    _, correction = learned()
    counter = client_as("counter")
    switch = f"/springs/{correction.spring_id}/corrections/{correction.pk}/"
    assert counter.get(f"/springs/{row.pk}/").status_code == 200
    assert counter.post(f"/springs/{row.pk}/loads/", typed()).status_code == 403
    assert counter.post(switch, {"in_use": ""}).status_code == 403
    assert client_as("technician").get(switch).status_code == 405
    assert client_as("technician").get(f"/springs/{row.pk}/loads/").status_code == 405
    assert client_as("technician").post(f"/springs/{row.pk}/corrections/{correction.pk}/").status_code == 404
    assert SpringCorrection.objects.get(pk=correction.pk).in_use
    assert not LoadTest.objects.exists()


def test_where_springs_are_is_asked_of_the_open_cards_by_their_index():
    """However many cards were closed: their rows and moves are not looked at."""
    plan = open_cards().explain()
    moves = SpringMove.objects.filter(build__in=[1, 2, 3]).explain()
    if connection.vendor == "sqlite":
        assert "open_jobs" in plan
        assert "USING INDEX" in moves
        assert "build_id=?" in moves


def test_the_drawer_costs_the_same_however_full(client_as):
    learned()
    client, counts, serial = client_as("technician"), [], count()
    client.get("/springs/")  # the first makes the shop's own row
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            client.get("/springs/")
        counts.append(len(queries))
        for _ in range(10):
            pair = {place: build.spring(f"{place} {next(serial)}") for place in ("primary", "secondary")}
            actions.add_run(build.job(), {"kind": "trial", **pair}, [], by=build.person())
    assert counts[0] == counts[1] <= 10
