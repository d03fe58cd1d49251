"""Target, head and drawer through HTTP: by whom, what is refused, and what two people do to one row."""

import json

import pytest

from curves.models import Spring, Target
from tests import build

pytestmark = pytest.mark.django_db
POINTS = [("1200", "6", "1"), ("600", "0", "1,5"), ("3000", "21", "1.5")]


@pytest.fixture
def job():
    return build.job(stage="spring_trials")


def typed(points=POINTS, **fields):
    rows = [dict(zip(("speed", "advance", "tolerance"), row, strict=True)) for row in points]
    return {
        "json": json.dumps(rows),
        "initial_low_crank_deg": "8",
        "initial_high_crank_deg": "12",
        "total_limit_crank_deg": "34",
        "version": "0",
        **fields,
    }


def points(job):
    rows = Target.objects.get(build=job.build).points.all()
    return [(p.crank_rpm, p.crank_deg, p.tolerance_crank_deg) for p in rows]


def test_a_target_is_set_and_changed(client_as, job):
    client, address = client_as("technician"), f"/jobs/{job.number}/target/"
    assert client.post(address, typed()).status_code == 302
    assert points(job) == [(600, 0, 1.5), (1200, 6, 1), (3000, 21, 1.5)]
    form = client.get(address).context["form"]
    assert [cell.text for cell in form.grid.rows[0]] == ["600", "0", "1.5"]
    assert client.post(address, typed(POINTS[:2], version=form["version"].value())).status_code == 302
    assert points(job) == [(600, 0, 1.5), (1200, 6, 1)]


def test_a_target_typed_as_lines_is_the_same(client_as, job):
    text = "1200\t6\t1\n600\t0\t1,5\n3000\t21\t1.5"
    assert (
        client_as("technician").post(f"/jobs/{job.number}/target/", typed(json="", lines=text)).status_code
        == 302
    )
    assert points(job) == [(600, 0, 1.5), (1200, 6, 1), (3000, 21, 1.5)]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"json": json.dumps([{"speed": "600", "advance": "0", "tolerance": "0"}])}, "write 0.1 to 10"),
        ({"json": json.dumps([{"speed": "600", "advance": "61", "tolerance": "1"}])}, "write 0 to 60"),
        ({"json": "[]"}, "No point yet"),
        ({"initial_high_crank_deg": "2"}, "Lower than the 8 it starts from"),
        (
            {"json": json.dumps([{"speed": "600", "advance": "5", "tolerance": "1"}] * 2)},
            "stands there twice: 600",
        ),
        ({"json": "", "lines": "600\t0\n"}, "Either way is missing"),
    ],
)
def test_a_bad_target_is_refused_and_kept(client_as, job, change, words):
    answer = client_as("technician").post(f"/jobs/{job.number}/target/", typed(**change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Target.objects.exists()


def test_two_first_targets_do_not_overwrite_each_other(client_as, job):
    client, address = client_as("technician"), f"/jobs/{job.number}/target/"
    client.post(address, typed())
    answer = client.post(address, typed(POINTS[:1]))
    assert answer.status_code == 409
    assert "21 ± 1.5 at 3000" in answer.content.decode()
    assert len(points(job)) == 3


@pytest.mark.parametrize("page", ["target", "head"])
def test_the_counter_and_a_locked_build_are_refused(client_as, job, page):
    address = f"/jobs/{job.number}/{page}/"
    data = typed(scale_deg="0.5", crank_per_shaft="2", version="1")
    assert client_as("counter").get(address).status_code == 403
    assert client_as("counter").post(address, data).status_code == 403
    job.build.locked = True
    job.build.save()
    assert client_as("technician").post(address, typed() if page == "target" else data).status_code == 403
    assert not Target.objects.exists()


def test_the_head_is_measured_and_two_people_are_told(client_as, job):
    client, address = client_as("technician"), f"/jobs/{job.number}/head/"
    data = {
        "travel_stamped_deg": "11",
        "travel_measured_deg": "12,5",
        "scale_deg": "0.5",
        "crank_per_shaft": "2",
    }
    assert client.post(address, data | {"version": "1"}).status_code == 302
    job.build.refresh_from_db()
    assert (job.build.travel_measured_deg, job.build.primary_gap_mm) == (12.5, None)
    answer = client.post(address, data | {"version": "1", "travel_measured_deg": "9"})
    assert answer.status_code == 409
    assert "12.5" in answer.content.decode()


def spring(**fields):
    values = {
        "label": "P 7",
        "position": "primary",
        "quantity": "3",
        "rate_n_per_mm": "1,25",
        "rate_percent": "4",
    }
    more = {"free_length_mm": "16.2", "free_length_sd_mm": "0.15", "source": "label", "once": "key-1"}
    return values | more | fields


def test_a_spring_goes_into_the_drawer_once(client_as):
    client = client_as("technician")
    for _ in range(2):
        assert client.post("/springs/new/", spring()).status_code == 302
    row = Spring.objects.get()
    assert (row.rate_n_per_mm, row.rate_sd, row.free_length_mm, row.quantity) == (1.25, 0.04, 16.2, 3)
    assert "P 7" in client.get("/springs/").content.decode()


def test_a_loose_label_has_no_error(client_as):
    client_as("technician").post(
        "/springs/new/", spring(rate_percent="", free_length_sd_mm="", source="label")
    )
    row = Spring.objects.get()
    assert (row.rate_sd, row.free_length_sd_mm, row.initial_tension_n) == (None, None, 0)


def test_a_spring_is_changed_by_one_at_a_time(client_as):
    row = build.spring("P 7")
    client, address = client_as("technician"), f"/springs/{row.pk}/"
    assert client.get(address).context["form"]["rate_percent"].value() == "5"
    assert client.post(address, spring(version="1", quantity="9", note="first")).status_code == 302
    answer = client.post(address, spring(version="1", quantity="2", note="second"))
    assert answer.status_code == 409
    row.refresh_from_db()
    assert (row.note, row.quantity) == ("first", 4)  # the form of its figures changes no count


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rate_n_per_mm": "soft"}, "is not a number"),
        ({"rate_n_per_mm": "-1"}, "too low"),
        ({"label": "S 1"}, "Taken already"),
        ({"quantity": "1.5"}, "Not a whole number"),
    ],
)
def test_a_bad_spring_is_refused_beside_the_field(client_as, change, words):
    build.spring("S 1")
    answer = client_as("technician").post("/springs/new/", spring(**change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Spring.objects.count() == 1


def test_the_counter_sees_the_drawer_and_changes_nothing(client_as):
    row = build.spring("S 1")
    client = client_as("counter")
    assert client.get("/springs/").status_code == 200
    assert client.post("/springs/new/", spring()).status_code == 403
    assert client.post(f"/springs/{row.pk}/", spring(version="1")).status_code == 403
    assert client.get("/springs/new/").status_code == 403
    assert Spring.objects.count() == 1
