"""What the engine cannot take at a card's drive is refused at the door, and never breaks a page."""

import json

import pytest
from django.core.exceptions import PermissionDenied

from curves.models import Build, Frame, LightReading, Reading, Run, SparkReading, Sweep
from jobs.curvework import actions
from shop.models import new_key
from tests import build
from tests.reading import markup

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]
KEY = "0b5e1f0e-3f6b-4c57-9d0a-0a1b2c3d4e5f"
PAGES = ("", "bench/", "trials/", "target/", "sweeps/", "head/")
# Crank turns per shaft turn: the head's least, one more, a two-stroke's, a four-stroke's, the head's most.
RATIOS = (0.25, 0.5, 1, 2, 4)


def job_with(**fields):
    return build.job(stage="spring_trials", build=build.build(**fields))


def all_answer(client, job):
    for page in PAGES:
        assert client.get(f"/jobs/{job.number}/{page}").status_code == 200, page
    assert client.get("/").status_code == 200


def head(client, job, ratio):
    sent = {"version": "1", "crank_per_shaft": str(ratio), "scale_deg": "0.5"}
    return client.post(f"/jobs/{job.number}/head/", sent)


def grid(job, rows, **sent):
    return {"json": json.dumps(rows), "version": "0", "once": new_key(), **sent}


def hold_a_target(job):
    build.target(job.build, [(600, 0.0), (12000, 20.0)])


def hold_a_crank_run(job):
    build.run(job.build, [(600, 0.0), (12000, 20.0)], frame=Frame.CRANK)


def hold_a_run_off_the_card(job):
    build.run(job.build, [(600, 0.0), (12000, 20.0)], frame=Frame.CRANK, removed=True)


def hold_a_sweep(job):
    sweep = Sweep.objects.create(build=job.build, number=1, by=build.person())
    LightReading.objects.create(sweep=sweep, position=0, crank_rpm=12000, crank_deg=30)


@pytest.mark.parametrize("hold", [hold_a_target, hold_a_crank_run, hold_a_run_off_the_card, hold_a_sweep])
def test_a_ratio_that_puts_what_stands_out_of_reach_is_refused_beside_it(client_as, hold):
    client, job = client_as("technician"), job_with()
    hold(job)
    answer = head(client, job, 0.5)
    assert answer.status_code == 422
    assert "12000 crank rpm" in " ".join(answer.context["form"].errors["crank_per_shaft"])
    job.build.refresh_from_db()
    assert job.build.crank_per_shaft == 2
    assert head(client, job, 1).status_code == 302  # where it stays within reach
    all_answer(client, job)


def test_a_target_out_of_reach_is_refused_and_drawn_without_it(client_as):
    client, job = client_as("technician"), job_with(crank_per_shaft=0.5)
    rows = [{"speed": "600", "advance": "0", "tolerance": "1"}]
    rows += [{"speed": "12000", "advance": "20", "tolerance": "1"}]
    answer = client.post(f"/jobs/{job.number}/target/", grid(job, rows))
    assert answer.status_code == 422
    assert "write 0 to 10000" in markup(answer)
    assert "(0.5)" in markup(answer)
    lines = {"lines": "600 0 1\n12000 20 1", "version": "0"}
    assert client.post(f"/jobs/{job.number}/target/", lines).status_code == 422
    all_answer(client, job)


@pytest.mark.parametrize("frame", Frame.values)
def test_a_run_out_of_reach_is_refused_typed_pasted_or_previewed(client_as, frame):
    ratio = {"crank": 0.5, "shaft": 2}[frame]  # either way 12000 rpm are 24000 in the other frame
    client, job = client_as("technician"), job_with(crank_per_shaft=ratio)
    rows = [{"speed": "600", "advance": "0"}, {"speed": "12000", "advance": "20"}]
    typed = grid(job, rows, kind="trial", frame=frame)
    pasted = {"lines": "600 0\n12000 20", "kind": "trial", "frame": frame, "once": new_key()}
    for sent in (typed, pasted):
        assert client.post(f"/jobs/{job.number}/runs/new/", sent).status_code == 422
        assert client.post(f"/jobs/{job.number}/runs/draw/", sent).status_code == 200
    assert client.post(f"/jobs/{job.number}/runs/new/", pasted | {"read": "1"}).status_code == 200
    assert not Run.objects.exists()


def test_pasted_lines_that_are_not_drawn_are_said_to_be_and_why(client_as):
    client, job = client_as("technician"), job_with()
    for lines, said in (("600 0\n900 four", True), ("600 0\n900 4", False), ("", False)):
        sent = {"lines": lines, "kind": "trial", "frame": "shaft", "once": new_key()}
        drawn = markup(client.post(f"/jobs/{job.number}/runs/draw/", sent))
        assert ("The lines are not drawn. Row 2, column 2: “four” is not a number" in drawn) == said


def test_a_reading_out_of_reach_is_refused_at_the_bench(client_as):
    client, job = client_as("technician"), job_with(crank_per_shaft=0.5)
    build.run(job.build, [], frame=Frame.CRANK)
    values = {"speed_rpm": "12000", "advance_deg": "20", "falling": False}
    answer = put(client, job, "reading", values)
    assert answer.status_code == 422
    assert "write 0 to 10000" in answer.json()["why"]
    assert not Reading.objects.exists()


def test_a_light_out_of_reach_is_refused(client_as):
    client, job = client_as("technician"), job_with(crank_per_shaft=0.5)
    sent = grid(job, [{"speed": "12000", "light": "30"}], when="before")
    assert client.post(f"/jobs/{job.number}/sweeps/new/", sent).status_code == 422
    assert not Sweep.objects.exists()


def test_sparks_at_rest_are_refused(client_as):
    client, job = client_as("technician"), job_with()
    build.run(job.build, kind=Run.Kind.FINAL)
    for cylinder in range(1, 5):
        values = {"speed_rpm": "0", "cylinder": str(cylinder), "offset_deg": "0.2"}
        assert put(client, job, "spark", values, key=KEY[:-1] + str(cylinder)).status_code == 422
    assert not SparkReading.objects.exists()
    all_answer(client, job)


@pytest.mark.parametrize("ratio", RATIOS)
def test_the_most_that_is_taken_breaks_no_page(client_as, ratio):
    """Whatever the grids take at a ratio, up to their last number, every page of the card still answers."""
    client, job = client_as("technician"), job_with(crank_per_shaft=ratio)
    build.spring("A"), build.spring("B", position="primary")
    speed, angle = min(20000, 20000 * ratio), min(60, 180 * ratio - 40)
    points = [
        {"speed": str(speed / 4), "advance": "0", "tolerance": "1"},
        {"speed": str(speed), "advance": str(angle), "tolerance": "10"},
    ]
    timing = {"initial_low_crank_deg": "10", "initial_high_crank_deg": "40", "total_limit_crank_deg": "70"}
    assert client.post(f"/jobs/{job.number}/target/", grid(job, points, **timing)).status_code == 302
    for frame, most in (("crank", speed), ("shaft", speed / ratio)):
        top = min(90, 180 * (ratio if frame == "crank" else 1))
        rows = [{"speed": str(most / 8), "advance": "0"}, {"speed": str(most), "advance": str(top)}]
        for kind in Run.Kind.values:
            sent = grid(job, rows, kind=kind, frame=frame)
            assert client.post(f"/jobs/{job.number}/runs/new/", sent).status_code == 302, (frame, kind)
            all_answer(client, job)
    light = [{"speed": "0", "light": "-40"}, {"speed": str(speed), "light": str(min(90, 180 * ratio))}]
    sent = grid(job, light, when="after")
    assert client.post(f"/jobs/{job.number}/sweeps/new/", sent).status_code == 302
    all_answer(client, job)
    assert client.get(f"/jobs/{job.number}/sweeps/1/").status_code == 200


def put(client, job, kind, values, key=KEY):
    sent = {"person": client.person.pk, "kind": kind, "values": values, "version": None}
    where = f"/jobs/{job.number}/runs/1/readings/{key}/"
    return client.post(where, json.dumps(sent), content_type="application/json")


def test_a_ratio_changed_while_a_reading_was_on_its_way_refuses_it(person):
    job = job_with()
    run = build.run(job.build, [], frame=Frame.CRANK)
    Build.objects.filter(pk=job.build_id).update(crank_per_shaft=0.5)
    values = {"speed_rpm": 12000.0, "advance_deg": 20.0, "falling": False}
    with pytest.raises(PermissionDenied, match="load the page anew"):
        actions.put_reading(job, run, "reading", KEY, values, by=person)
    with pytest.raises(PermissionDenied, match="load the page anew"):
        actions.save_target(job, {}, [(12000, 20, 1)], by=person, version=0)
    assert not Reading.objects.exists()


def test_a_reading_that_came_while_the_ratio_was_typed_refuses_the_ratio(person):
    job = job_with()
    hold_a_crank_run(job)
    with pytest.raises(PermissionDenied, match="12000 crank rpm"):
        actions.save_head(job, {"crank_per_shaft": 0.5}, by=person, version=1)
    job.build.refresh_from_db()
    assert job.build.crank_per_shaft == 2
