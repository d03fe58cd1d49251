"""Sweeps on the engine through HTTP: by whom, what is refused and kept, and what the readings say."""

import json

import pytest

from curves.judging import responses
from curves.models import Response, Run, Sweep
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
LIGHTS = [("900", "10", ""), ("1600", "17", ""), ("3000", "30", "")]
TRIES = [("20", "89"), ("24", "94.5"), ("28", "98.6"), ("32", "99.9"), ("36", "99"), ("40", "94.2")]


@pytest.fixture
def job():
    row = build.job(stage="teardown")
    build.run(row.build, [(450, 0), (1500, 10), (2000, 10)], kind=Run.Kind.AS_RECEIVED)
    return row


def grid(keys, rows):
    return json.dumps([dict(zip(keys, row, strict=True)) for row in rows])


def light(rows=LIGHTS, **fields):
    values = {"json": grid(("speed", "light", "part"), rows), "when": "before", "vacuum": "off", "once": "k"}
    return values | fields


def tries(rows=TRIES, **fields):
    values = {"json": grid(("timing", "value"), rows), "crank_rpm": "3000", "measure": "pull", "once": "r"}
    return values | {"best": "most", "unit": "N"} | fields


KINDS = {"sweeps": (Sweep, light), "responses": (Response, tries)}


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param, *KINDS[request.param]


def test_a_sweep_is_written_once_changed_and_told_of_a_conflict(client_as, job, kind):
    name, model, typed = kind
    client, address = client_as("technician"), f"/jobs/{job.number}/{name}/"
    for _ in range(2):
        answer = client.post(f"{address}new/", typed())
        assert (answer.status_code, answer["Location"]) == (302, f"{address}1/")
    row = model.objects.get()
    assert row.readings.count() == len(json.loads(typed()["json"]))
    shorter = json.dumps(json.loads(typed()["json"])[:2])
    assert client.post(f"{address}1/", typed(json=shorter, version="1")).status_code == 302
    assert row.readings.count() == 2
    answer = client.post(f"{address}1/", typed(note="mine", version="1"))
    assert answer.status_code == 409
    assert "mine" in answer.content.decode()
    assert "Someone else saved first" in answer.content.decode()
    assert row.readings.count() == 2


def test_a_sweep_is_taken_off_and_put_back(client_as, job, kind):
    name, model, typed = kind
    client, address = client_as("technician"), f"/jobs/{job.number}/{name}/"
    client.post(f"{address}new/", typed())
    assert client.get(f"{address}1/remove/").status_code == 405
    client.post(f"{address}1/remove/")
    assert model.objects.get().removed
    assert f'{address}1/"' not in client.get(f"/jobs/{job.number}/sweeps/").content.decode()
    client.post(f"{address}1/remove/", {"restore": "1"})
    assert not model.objects.get().removed


def test_the_counter_reads_and_does_not_write(client_as, job, kind):
    name, model, typed = kind
    address = f"/jobs/{job.number}/{name}/"
    client_as("technician").post(f"{address}new/", typed())
    client = client_as("counter")
    assert client.get(f"{address}1/").status_code == 200
    assert client.get(f"{address}new/").status_code == 403
    assert client.post(f"{address}new/", typed(once="other")).status_code == 403
    assert client.post(f"{address}1/", typed(version="1")).status_code == 403
    assert client.post(f"{address}1/remove/").status_code == 403
    assert model.objects.count() == 1
    assert client.get(f"{address}2/").status_code == 404


def test_a_locked_build_takes_no_sweep(client_as, job, kind):
    name, model, typed = kind
    job.build.locked = True
    job.build.save()
    assert client_as("technician").post(f"/jobs/{job.number}/{name}/new/", typed()).status_code == 403
    assert not model.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"json": grid(("speed", "light", "part"), [("900", "ten", "")])}, "is not a number"),
        ({"json": grid(("speed", "light", "part"), [("900", "NaN", "")])}, "is not a number"),
        ({"json": grid(("speed", "light", "part"), [("-900", "10", "")])}, "is not possible"),
        ({"json": grid(("speed", "light", "part"), [("900", "400", "")])}, "is not possible"),
        ({"json": "[]"}, "No reading yet"),
        ({"idle_low_crank_deg": "14", "idle_high_crank_deg": "12"}, "turn them round"),
        ({"idle_low_crank_deg": "14"}, "write both or none"),
        ({"json": "", "lines": "900"}, "is missing"),
    ],
)
def test_a_bad_sweep_is_refused_and_kept(client_as, job, change, words):
    answer = client_as("technician").post(f"/jobs/{job.number}/sweeps/new/", light(note="kept", **change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "kept" in answer.content.decode()
    assert not Sweep.objects.exists()


def test_lines_stand_in_for_the_grid(client_as, job):
    text = "900\t10\n1600\t17,5\tpart\n"
    client_as("technician").post(f"/jobs/{job.number}/sweeps/new/", light(json="", lines=text))
    rows = Sweep.objects.get().readings.values_list("crank_rpm", "crank_deg", "part_throttle")
    assert list(rows) == [(900, 10, False), (1600, 17.5, True)]


def test_too_few_tries_say_so(client_as, job):
    client = client_as("technician")
    client.post(f"/jobs/{job.number}/responses/new/", tries(TRIES[:2]))
    text = markup(client.get(f"/jobs/{job.number}/responses/1/"))
    assert "The readings cannot tell" in text
    assert "Best advance in all" not in text


def test_the_best_advance_comes_with_its_interval(client_as, job):
    # Least squares by hand (u = (a - 30) / 2; u = -5, -3, -1, 1, 3, 5; sum u^2 = 70, sum u^4 = 1414):
    # sum y = 575.2, sum uy = 40.8, sum u^2 y = 6520.0.  c1 = 40.8 / 70 = 0.582857;
    # c2 = (6 * 6520.0 - 70 * 575.2) / (6 * 1414 - 70^2) = -1144 / 3584 = -0.319196;
    # best u = 0.582857 / (2 * 0.319196) = 0.9130, a = 30 + 2 * 0.9130 = 31.83 crank degrees.
    client = client_as("technician")
    client.post(f"/jobs/{job.number}/responses/new/", tries())
    said = client.get(f"/jobs/{job.number}/responses/1/").context["said"]
    assert said.best_crank_deg == pytest.approx(31.826, abs=0.001)
    assert said.low_crank_deg < said.best_crank_deg < said.high_crank_deg
    assert "31.8" in client.get(f"/jobs/{job.number}/sweeps/").content.decode()


@pytest.mark.parametrize("count", [1, 9])
def test_the_page_of_sweeps_costs_the_same_for_many(client_as, job, count, django_assert_max_num_queries):
    client = client_as("technician")
    for place in range(count):
        client.post(f"/jobs/{job.number}/sweeps/new/", light(once=f"s{place}"))
        client.post(f"/jobs/{job.number}/responses/new/", tries(once=f"r{place}"))
    client.get(f"/jobs/{job.number}/sweeps/")
    with django_assert_max_num_queries(12):
        assert client.get(f"/jobs/{job.number}/sweeps/").status_code == 200


def test_the_card_asks_for_its_sweeps_and_gets_those_of_its_stage(client_as, job):
    client = client_as("technician")
    client.post(f"/jobs/{job.number}/sweeps/new/", light(once="a"))
    client.post(f"/jobs/{job.number}/sweeps/new/", light(once="b", when="after"))
    address = f"/jobs/{job.number}/sweeps/?when=before"
    assert f'hx-get="{address}"' in markup(client.get(f"/jobs/{job.number}/"))
    text = markup(client.get(address, HTTP_HX_REQUEST="true"))
    assert "Engine sweep 1" in text
    assert "Engine sweep 2" not in text
    assert "<html" not in text


def test_each_sweep_is_drawn_on_its_page_but_not_on_the_card(client_as, job):
    client = client_as("technician")
    client.post(f"/jobs/{job.number}/sweeps/new/", light())
    client.post(f"/jobs/{job.number}/responses/new/", tries())
    address = f"/jobs/{job.number}/sweeps/"
    page = client.get(address).content.decode()
    assert page.count("<svg") == 1 + 2  # the mark of the program, the light, the answer
    assert "best 31.8°" in page
    assert "<svg" not in client.get(f"{address}?when=before", HTTP_HX_REQUEST="true").content.decode()


def test_a_response_without_a_try_warns_of_nothing(job):
    row = Response.objects.create(build=job.build, number=1, crank_rpm=3000, by=build.person())
    said = responses.result_of(row)
    assert (said.finding, said.warnings) == ("No try written down yet", ())
