"""Single readings through HTTP: saved once, by whom, what is refused, and what two tablets are told."""

import json
import uuid
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.test import Client

from curves.models import DwellReading, Reading, SparkReading, VacuumReading
from jobs.models import AuditEntry
from tests import build

pytestmark = pytest.mark.django_db
KEY = "0b5e1f0e-3f6b-4c57-9d0a-0a1b2c3d4e5f"
SENDS = 20


@pytest.fixture
def job():
    row = build.job(stage="spring_trials")
    build.run(row.build, [])
    return row


def address(job, key=KEY, run=1):
    return f"/jobs/{job.number}/runs/{run}/readings/{key}/"


def typed(client, *, kind="reading", version=None, gone=False, **values):
    values = {"speed_rpm": "600", "advance_deg": "3,5", "falling": False} | values
    return {"person": client.person.pk, "kind": kind, "values": values, "version": version, "gone": gone}


def post(client, where, sent):
    text = sent if isinstance(sent, str | bytes) else json.dumps(sent)
    return client.post(where, text, content_type="application/json")


def read(job, run=1):
    rows = Reading.objects.filter(run__build=job.build, run__number=run)
    return [(row.speed_rpm, row.advance_deg, row.falling, row.version) for row in rows]


def test_a_reading_is_saved_and_said_with_its_time(client_as, job):
    client = client_as("technician")
    answer = post(client, address(job), typed(client))
    assert answer.status_code == 200
    said = answer.json()
    assert said["reading"]["values"] == {"speed_rpm": 600.0, "advance_deg": 3.5, "falling": False}
    assert (said["reading"]["key"], said["reading"]["version"], said["version"]) == (KEY, 1, 2)
    assert len(said["at"]) == len("14:02")
    assert read(job) == [(600, 3.5, False, 1)]


def test_sent_again_it_is_the_same_reading(client_as, job):
    client = client_as("technician")
    answers = [post(client, address(job), typed(client)).json()["reading"] for _ in range(3)]
    assert answers[0] == answers[1] == answers[2]
    assert read(job) == [(600, 3.5, False, 1)]


def test_readings_stand_in_the_order_in_which_they_came(client_as, job):
    client = client_as("technician")
    for speed in ("900", "300", "600"):
        post(client, address(job, uuid.uuid4()), typed(client, speed_rpm=speed))
    assert [row[0] for row in read(job)] == [900, 300, 600]


def test_a_correction_takes_the_version_seen_and_is_taken_once(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    for _ in range(2):  # the answer was lost, so it came twice
        answer = post(client, address(job), typed(client, advance_deg="4", version=1))
        assert answer.status_code == 200
    assert read(job) == [(600, 4, False, 2)]
    assert AuditEntry.objects.filter(verb="corrected a reading").count() == 1


@pytest.mark.parametrize("version", [None, 1])
def test_who_corrects_second_is_shown_what_stands(client_as, job, version):
    client = client_as("technician")
    post(client, address(job), typed(client))
    post(client, address(job), typed(client, advance_deg="4", version=1))
    answer = post(client, address(job), typed(client, advance_deg="5", version=version))
    assert answer.status_code == 409
    assert answer.json()["stands"]["values"]["advance_deg"] == 4
    assert read(job) == [(600, 4, False, 2)]
    again = answer.json()["stands"]["version"]
    assert post(client, address(job), typed(client, advance_deg="5", version=again)).status_code == 200
    assert read(job) == [(600, 5, False, 3)]


def test_a_correction_of_what_was_taken_back_is_a_conflict(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    assert post(client, address(job), typed(client, gone=True, version=1)).status_code == 200
    answer = post(client, address(job), typed(client, advance_deg="5", version=1))
    assert (answer.status_code, answer.json()["stands"]) == (409, None)
    assert read(job) == []


def test_taking_back_is_taken_once_and_stays_in_the_history(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    for _ in range(2):
        assert post(client, address(job), typed(client, gone=True)).status_code == 200
    assert read(job) == []
    assert AuditEntry.objects.get(verb="took a reading back").detail["reading"] == "3.5 at 600"


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("reading", {"speed_rpm": "600", "advance_deg": "3", "falling": False}),
        ("dwell", {"speed_rpm": "875", "dwell_deg": "51"}),
    ],
)
def test_a_first_send_that_comes_in_after_its_taking_back_makes_nothing(client_as, job, kind, values):
    """The tablet gave up waiting for its answer, and what it sent waited on for the database."""
    client = client_as("technician")
    late = typed(client, kind=kind) | {"values": values}
    assert post(client, address(job), late | {"gone": True}).status_code == 200
    answer = post(client, address(job), late)
    assert (answer.status_code, answer.json()["stands"]) == (409, None)
    assert post(client, address(job, uuid.uuid4()), late).status_code == 200  # typed again: a key of its own


def test_what_was_taken_back_stays_so_for_a_send_that_is_repeated_late(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    post(client, address(job), typed(client, gone=True, version=1))
    assert post(client, address(job), typed(client)).status_code == 409
    assert read(job) == []


def test_what_was_corrected_meanwhile_is_not_taken_back_unseen(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    post(client, address(job), typed(client, advance_deg="4", version=1))
    answer = post(client, address(job), typed(client, gone=True, version=1))
    assert answer.status_code == 409
    assert read(job) == [(600, 4, False, 2)]


def test_the_history_has_one_entry_for_a_run_and_a_person(client_as, job):
    for who in ("technician", "owner"):
        client = client_as(who)
        for speed in ("300", "600", "900"):
            post(client, address(job, uuid.uuid4()), typed(client, speed_rpm=speed))
    assert AuditEntry.objects.filter(job=job, verb="read at the bench").count() == 2


def test_checks_are_saved_each_as_its_kind(client_as, job):
    client = client_as("technician")
    sent = {
        "spark": {"speed_rpm": "300", "cylinder": "2", "offset_deg": "−1,5"},
        "dwell": {"speed_rpm": "875", "dwell_deg": "51"},
        "vacuum": {"vacuum_kpa": "10", "unit": "inhg", "advance_deg": "4"},
    }
    for kind, values in sent.items():
        sent_as = {"person": client.person.pk, "kind": kind, "values": values, "version": None}
        for _ in range(2):
            assert post(client, address(job), sent_as).status_code == 200
    assert SparkReading.objects.values_list("cylinder", "offset_deg").get() == (2, -1.5)
    assert DwellReading.objects.values_list("speed_rpm", "dwell_deg").get() == (875, 51)
    # NIST SP 811, App. B.8: 1 inch of mercury, conventional, is 3.386389 kPa.
    assert VacuumReading.objects.get().vacuum_kpa == pytest.approx(33.86389, abs=1e-5)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"advance_deg": "abc"}, "“abc” is not a number"),
        ({"advance_deg": "NaN"}, "“NaN” is not a number"),
        ({"advance_deg": "400"}, "Advance of 400 distributor degrees is not possible: write −20 to 90."),
        ({"advance_deg": ""}, "Advance is missing: type it."),
        ({"advance_deg": 3.5}, "Advance is missing"),
        ({"advance_deg": "1" * 41}, "too long"),
        ({"speed_rpm": "-5"}, "Speed of −5 distributor rpm is not possible"),
        ({"speed_rpm": "30,000"}, "can be 30000 or 30: write"),
        ({"falling": "yes"}, "rising or falling"),
        ({"falling": None}, "rising or falling"),
    ],
)
def test_what_can_not_be_is_refused_with_its_cause(client_as, job, values, why):
    client = client_as("technician")
    answer = post(client, address(job), typed(client, **values))
    assert answer.status_code == 422
    assert why in answer.json()["why"]
    assert read(job) == []


@pytest.mark.parametrize("cylinder", ["0", "17", "1.5"])
def test_a_cylinder_is_counted_from_one_to_sixteen(client_as, job, cylinder):
    client = client_as("technician")
    values = {"speed_rpm": "300", "cylinder": cylinder, "offset_deg": "0"}
    sent = {"person": client.person.pk, "kind": "spark", "values": values, "version": None}
    assert post(client, address(job), sent).status_code == 422


def test_a_run_holds_so_many_and_no_more(client_as, job):
    run = job.build.runs.get()
    Reading.objects.bulk_create(
        Reading(run=run, position=n, speed_rpm=300, advance_deg=0) for n in range(500)
    )
    client = client_as("technician")
    answer = post(client, address(job), typed(client))
    assert answer.status_code == 422
    assert "go on with another run" in answer.json()["why"]


ROLES = [("owner", 200), ("technician", 200), ("counter", 403)]


@pytest.mark.parametrize(("role", "status"), ROLES)
def test_who_may_write_readings(client_as, job, role, status):
    client = client_as(role)
    assert post(client, address(job), typed(client)).status_code == status
    assert len(read(job)) == (status == 200)
    assert post(client, address(job), typed(client, gone=True)).status_code == status
    assert client.get(f"/jobs/{job.number}/bench/").status_code == status
    assert client.get(f"/jobs/{job.number}/runs/1/readings/").status_code == 200  # reading is everyone's
    begun = client.post(f"/jobs/{job.number}/bench/", {"kind": "trial", "frame": "shaft", "once": "one"})
    assert begun.status_code == (302 if status == 200 else 403)


def test_a_stranger_is_led_to_the_login(client, job):
    for where in (f"/jobs/{job.number}/bench/", f"/jobs/{job.number}/runs/1/readings/"):
        assert client.get(where)["Location"].startswith("/login/?next=")
    assert post(client, address(job), {})["Location"].startswith("/login/?next=")
    assert read(job) == []


def test_methods(client_as, job):
    client = client_as("technician")
    for method in ("get", "put", "delete", "patch", "head"):
        assert getattr(client, method)(address(job)).status_code == 405
    for method in ("post", "put", "delete"):
        assert getattr(client, method)(f"/jobs/{job.number}/runs/1/readings/").status_code == 405
    assert client.delete(f"/jobs/{job.number}/bench/").status_code == 405


def test_a_reading_without_the_pages_token_is_refused(job, technician):
    client = Client(enforce_csrf_checks=True)
    client.force_login(technician)
    client.person = technician
    assert post(client, address(job), typed(client)).status_code == 403
    assert read(job) == []


def test_what_someone_else_typed_is_not_saved_under_my_name(client_as, job, owner):
    client = client_as("technician")
    answer = post(client, address(job), typed(client) | {"person": owner.pk})
    assert answer.status_code == 401
    assert "typed by someone else" in answer.json()["why"]
    assert read(job) == []


@pytest.mark.parametrize("how", ["locked", "closed", "removed"])
def test_what_takes_no_more_writing_says_so(client_as, job, how):
    if how == "locked":
        job.build.locked = True
        job.build.save()
    elif how == "closed":
        job.closed_at = job.stage_since
        job.save()
    else:
        job.build.runs.update(removed=True)
    client = client_as("technician")
    for sent in (typed(client), typed(client, gone=True)):
        answer = post(client, address(job), sent)
        assert answer.status_code == 403
        assert answer.json()["why"]
    assert read(job) == []


def test_a_run_of_another_card_is_not_found(client_as, job):
    client = client_as("technician")
    assert post(client, address(build.job()), typed(client)).status_code == 404
    assert post(client, address(job, run=99999999999999999999), typed(client)).status_code == 404
    assert client.get(f"/jobs/{job.number}/bench/?run=7").status_code == 404


@pytest.mark.django_db(transaction=True)
def test_twenty_equal_sends_at_once_make_one_reading(job):
    """Design bar: 20 parallel identical posts, one row, the same answer."""
    person = build.person("technician")
    clients = [Client() for _ in range(SENDS)]
    for client in clients:
        client.force_login(person)
        client.person = person
    together = Barrier(SENDS)

    def one(client):
        together.wait()
        try:
            return post(client, address(job), typed(client))
        finally:
            connection.close()

    with ThreadPoolExecutor(SENDS) as pool:
        answers = list(pool.map(one, clients))
    assert {answer.status_code for answer in answers} == {200}
    assert len({json.dumps(answer.json()["reading"]) for answer in answers}) == 1
    assert read(job) == [(600, 3.5, False, 1)]
    assert AuditEntry.objects.filter(verb="read at the bench").count() == 1


def test_the_state_carries_every_reading_the_drawing_and_the_verdict(client_as, job):
    build.target(job.build)
    client = client_as("technician")
    # 12 and 1000 at the distributor are 24 and 2000 at the crank, where the band goes to 15 + 1.5.
    post(client, address(job), typed(client, speed_rpm="1000", advance_deg="12"))
    state = client.get(f"/jobs/{job.number}/runs/1/readings/").json()
    assert [row["key"] for row in state["rows"]] == [KEY]
    assert "being typed" in state["chart"]
    assert (
        "Out of the band by 3.8 distributor degrees (7.5 crank) over, at 1000 distributor rpm (2000 crank)"
        in state["chart"]
    )
    assert "Rising sweep against the band" in state["checks"]
    seen = client.get(f"/jobs/{job.number}/runs/1/readings/?seen={state['version']}")
    assert (seen.status_code, seen.content) == (204, b"")


def test_who_has_the_run_open_in_a_form_is_told_of_new_readings(client_as, job):
    client = client_as("technician")
    version = job.build.runs.get().version
    post(client, address(job), typed(client))
    form = {"kind": "trial", "frame": "shaft", "json": json.dumps([{"speed": "1", "advance": "1"}])}
    answer = client.post(f"/jobs/{job.number}/runs/1/", form | {"version": version})
    assert answer.status_code == 409
    assert read(job) == [(600, 3.5, False, 1)]


def test_a_reading_keeps_its_key_when_the_run_is_changed_as_a_whole(client_as, job):
    client = client_as("technician")
    post(client, address(job), typed(client))
    cells = [{"speed": "300", "advance": "0"}, {"speed": "600", "advance": "3.5"}]
    form = {"kind": "trial", "frame": "shaft", "json": json.dumps(cells)}
    version = job.build.runs.get().version
    assert client.post(f"/jobs/{job.number}/runs/1/", form | {"version": version}).status_code == 302
    assert post(client, address(job), typed(client)).status_code == 200  # sent again: still the same one
    assert [row[:2] for row in read(job)] == [(300, 0), (600, 3.5)]
