"""One is said as one: a reading, a point."""

import json

import pytest
from django.urls import reverse

from curves.readings import csvfile
from tests import build

pytestmark = pytest.mark.django_db
ONE, TWO = [(300, 0.5)], [(300, 0.5), (400, 1.0)]


@pytest.mark.parametrize(("readings", "says"), [(ONE, "1 reading"), (TWO, "2 readings"), ([], "0 readings")])
def test_lists_of_runs_count_one_reading_as_one(client_as, readings, says):
    job = build.job(stage="bench_curve")
    build.run(job.build, readings, kind="final")
    client = client_as("technician")
    for address in (reverse("card", args=[job.number]), f"{reverse('bench', args=[job.number])}?new=1"):
        page = " ".join(client.get(address).content.decode().split())
        assert f"{says} in distributor degrees" in page or f"{says}</small>" in page


def test_what_was_read_in_counts_one_line_as_one():
    assert csvfile.read(b"rpm;deg\n300;0,5\n", frame="shaft").stated[0].startswith("1 reading, columns")
    assert (
        csvfile.read(b"rpm;deg\n300;0,5\n400;1,5\n", frame="shaft")
        .stated[0]
        .startswith("2 readings, columns")
    )


def test_what_is_saved_counts_one_point_as_one(client_as):
    job, client = build.job(), client_as("technician")
    point = {"speed": "1000", "advance": "0", "tolerance": "1"}
    for version, points in enumerate(([point], [point, point | {"speed": "2000"}])):
        typed = {"json": json.dumps(points), "version": version, "initial_crank_deg": "8"}
        answer = client.post(reverse("target", args=[job.number]), typed, follow=True)
        says = ("1 point.", "2 points.")[version]
        assert f"The target is saved: {says}" in answer.content.decode()
