"""What can't be is refused where it is typed, at each door alike; what is unusual is told at the pad."""

import json
import uuid
from types import SimpleNamespace

import pytest
from django.urls import reverse

from curves.models import Run
from curves.readings import limits, reading_grid
from jobs.models import InspectionPoint
from jobs.rules.points import DEFAULT_POINTS, POSSIBLE, possible
from tests import build

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def bench_job(cylinders=4, frame="shaft"):
    job = build.job(unit=build.unit(cylinders=cylinders))
    build.run(job.build, [], kind=Run.Kind.FINAL, frame=frame)
    return job


def send(client, job, kind, frame="shaft", **values):
    sent = {"kind": kind, "values": values, "version": None, "person": client.person.pk, "frame": frame}
    address = reverse("reading", args=[job.number, 1, uuid.uuid4()])
    return client.post(address, json.dumps(sent), content_type="application/json")


@pytest.mark.parametrize("cylinders", [3, 4, 6, 8])
def test_dwell_above_what_lies_between_two_sparks_is_refused(client_as, cylinders):
    # One turn of the distributor fires every cylinder once: elementary.
    job, client = bench_job(cylinders), client_as("technician")
    apart = 360 / cylinders
    answer = send(client, job, "dwell", speed_rpm="300", dwell_deg=f"{apart + 0.5:g}")
    assert answer.status_code == 422
    assert f"write 0 to {apart:g}" in answer.json()["why"]
    assert send(client, job, "dwell", speed_rpm="300", dwell_deg=f"{apart * 0.6:g}").status_code == 200


def test_dwell_in_crank_degrees_is_refused_in_crank_degrees(client_as):
    job, client = bench_job(4, "crank"), client_as("technician")
    assert send(client, job, "dwell", "crank", speed_rpm="600", dwell_deg="181").status_code == 422
    assert send(client, job, "dwell", "crank", speed_rpm="600", dwell_deg="102").status_code == 200


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("spark", {"speed_rpm": "300", "cylinder": "9", "offset_deg": "0"}),
        ("spark", {"speed_rpm": "300", "cylinder": "1", "offset_deg": "23"}),  # 45 apart: nearer to the next
        ("dwell", {"speed_rpm": "300", "dwell_deg": "-1"}),
        ("vacuum", {"vacuum_kpa": "102", "advance_deg": "3"}),
        ("reading", {"speed_rpm": "300", "advance_deg": "91", "falling": False}),
    ],
)
def test_the_impossible_is_refused_at_the_pad(client_as, kind, values):
    job, client = bench_job(8), client_as("technician")
    answer = send(client, job, kind, **values)
    assert answer.status_code == 422
    assert "not possible" in answer.json()["why"]


def test_the_pad_is_told_the_same_limits_and_what_is_usual(client_as):
    job = bench_job(4)
    page = client_as("technician").get(f"{reverse('bench', args=[job.number])}?run=1")
    sheets = {sheet["kind"]: sheet for sheet in page.context["data"]["grids"]}
    assert tuple(sheets["dwell"]["limits"]) == limits.possible("dwell", "dwell_deg", 4) == (0, 90)
    assert tuple(sheets["spark"]["limits"]) == (-45, 45)
    assert tuple(sheets["dwell"]["usual"]) == (36, 72)
    for kind, sheet in sheets.items():
        assert sheet["limits"][0] <= sheet["usual"][0] < sheet["usual"][1] <= sheet["limits"][1], kind


def test_nothing_is_usual_of_a_dwell_while_nobody_knows_the_cylinders():
    assert limits.usual("dwell") is None
    assert limits.possible("dwell", "dwell_deg") == (0, 360)


@pytest.mark.parametrize("door", ["grid", "lines", "bench"])
def test_every_door_of_a_sweep_has_one_limit(client_as, door):
    job, client = build.job(stage="spring_trials"), client_as("technician")
    run = build.run(job.build, [])
    assert reading_grid.limits_in(run, "reading", "advance_deg") == (-20, 90)
    if door == "bench":
        answer = send(client, job, "reading", speed_rpm="600", advance_deg="90.5", falling=False)
    else:
        typed = {"json": json.dumps([{"speed": "600", "advance": "90.5"}])} if door == "grid" else {}
        typed |= {"lines": "600 90.5"} if door == "lines" else {}
        answer = client.post(
            reverse("run_new", args=[job.number]), {"kind": "trial", "frame": "shaft", "once": "k"} | typed
        )
    assert answer.status_code == 422
    said = answer.json()["why"] if door == "bench" else answer.content.decode()
    assert "not possible: write −20 to 90" in said


def test_every_point_with_a_number_has_a_possible_range_around_its_limit():
    for key, _, unit, low, high, _ in DEFAULT_POINTS:
        point = InspectionPoint.objects.get(key=key)
        if not unit:
            continue
        assert key in POSSIBLE
        least, most = possible(point)
        assert least < most
        assert all(least <= limit <= most for limit in (low, high) if limit is not None)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("points-gap", "14", "14 mm is not possible here: write 0 to 2."),
        ("shaft-end-float", "-0.1", "−0.1 mm is not possible here: write 0 to 5."),
        ("dwell", "95", "4 cylinders spark every 90 distributor degrees."),
        ("condenser", "220", "220 µF is not possible here"),  # nanofarad, typed as they stand on it
    ],
)
@pytest.mark.parametrize("door", ["answer_one", "answer_points"])
def test_an_impossible_value_is_refused_beside_its_point(client_as, key, value, said, door):
    job, client = build.job(stage="teardown"), client_as("technician")
    point = InspectionPoint.objects.get(key=key)
    args = [job.number, point.pk] if door == "answer_one" else [job.number]
    typed = {f"p{point.pk}-value": value, f"p{point.pk}-verdict": "good", f"p{point.pk}-note": "by eye"}
    answer = client.post(reverse(door, args=args), typed, headers=HTMX)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not job.inspections.exists()


def test_an_unlikely_value_is_still_written(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    point = InspectionPoint.objects.get(key="points-gap")
    typed = {f"p{point.pk}-value": "1.4", f"p{point.pk}-verdict": "", f"p{point.pk}-note": ""}
    assert client.post(reverse("answer_one", args=[job.number, point.pk]), typed).status_code == 200
    assert job.inspections.get().verdict == "replace"


def test_a_point_of_the_shops_own_goes_as_far_as_its_unit_or_as_it_says(client_as):
    assert possible(SimpleNamespace(key="own", unit="mm", possible_low=None, possible_high=None)) == (0, 500)
    assert possible(SimpleNamespace(key="own", unit="mm", possible_low=1, possible_high=3)) == (1, 3)
    client = client_as("owner")
    values = {"label": "Cap depth", "unit": "mm", "low": "2", "high": "9", "order": "990", "version": "1"}
    refused = client.post(reverse("points"), values | {"possible_low": "3", "possible_high": "20"})
    assert refused.status_code == 422
    assert "The limit goes down to 2: so must this." in refused.content.decode()
    client.post(reverse("points"), values | {"possible_low": "0", "possible_high": "20"})
    point = InspectionPoint.objects.get(label="Cap depth")
    assert possible(point) == (0, 20)
