"""One frame within one run: asked for, kept, shown again and proved in it; no factor of two in silence."""

import json
import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from curves.judging import checks
from curves.models import Build, DwellReading, Run, SparkReading, VacuumReading
from curves.rows import queries, recording
from jobs.curvework import actions
from jobs.models import AuditEntry, Job
from tests import build

pytestmark = pytest.mark.django_db
# TM 5-4210-230-14&P-1: sparks within 2 degrees of the distributor, which are 4 of a four-stroke's crank.
LIMIT_SHAFT_DEG = 2.0


@pytest.fixture
def job():
    row = build.job(stage="bench_curve")
    build.target(row.build)
    return row


def final(job, frame, **fields):
    return build.run(job.build, [], kind=Run.Kind.FINAL, frame=frame, **fields)


def send(client, job, run, kind, frame, **values):
    sent = {"person": client.person.pk, "kind": kind, "values": values, "version": None, "gone": False}
    sent |= {"frame": frame} if frame else {}
    where = f"/jobs/{job.number}/runs/{run.number}/readings/{uuid.uuid4()}/"
    return client.post(where, json.dumps(sent), content_type="application/json")


def scatter(client, job, run, worst, frame, speed):
    """Four sparks, the first and the last off by so much: their mean is 0."""
    for cylinder, off in enumerate((worst, 0, 0, -worst), start=1):
        values = {"speed_rpm": str(speed), "cylinder": str(cylinder), "offset_deg": f"{off}"}
        assert send(client, job, run, "spark", frame, **values).status_code == 200


def proved(job, number):
    fetched = queries.build_for(job.build_id)
    run = next(run for run in queries.live_runs(fetched) if run.number == number)
    return {check.kind: check for check in checks.checks_of(run, fetched, cylinders=4)}


def state(client, job, run):
    return client.get(f"/jobs/{job.number}/runs/{run.number}/readings/").json()


@pytest.mark.parametrize(("share", "passed"), [(0.75, True), (1.5, False)])
def test_the_same_scatter_typed_in_either_frame_has_the_same_verdict(client_as, job, share, passed):
    client, worst = client_as("technician"), share * LIMIT_SHAFT_DEG
    runs = {frame: final(job, frame) for frame in ("shaft", "crank")}
    scatter(client, job, runs["shaft"], worst, "shaft", 300)
    scatter(client, job, runs["crank"], 2 * worst, "crank", 600)
    at_shaft, at_crank = (proved(job, runs[frame].number)["spark"] for frame in ("shaft", "crank"))
    assert (at_shaft.passed, at_crank.passed) == (passed, passed)
    both = (f"{worst:.1f}", f"{2 * worst:.1f}")
    assert f"{both[0]} distributor degrees ({both[1]} crank) at worst" in at_shaft.lines[0].found
    assert f"{both[1]} crank degrees ({both[0]}0 distributor) at worst" in at_crank.lines[0].found
    assert at_crank.lines[-1].found == "4.0 crank degrees (2.00 distributor) either way"
    rows = SparkReading.objects.order_by("run", "cylinder").values_list("speed_rpm", "offset_deg")
    assert list(rows[:4]) == list(rows[4:])


@pytest.mark.parametrize("ratio", [2, 1, 1.5, 2 / 3, 3])
@pytest.mark.parametrize("frame", ["shaft", "crank"])
def test_what_was_typed_is_what_is_shown_again(client_as, job, frame, ratio):
    job.build.crank_per_shaft = ratio
    job.build.save()
    client, run = client_as("technician"), final(job, frame)
    typed = {
        "spark": {"speed_rpm": "610", "cylinder": "2", "offset_deg": "-0.7"},
        "dwell": {"speed_rpm": "613", "dwell_deg": "53.1"},
        "vacuum": {"vacuum_kpa": "20.3", "advance_deg": "7.3"},
        "reading": {"speed_rpm": "611", "advance_deg": "7.1", "falling": False},
    }
    for kind, values in typed.items():
        answer = send(client, job, run, kind, frame, **values)
        shown = answer.json()["reading"]["values"]
        assert shown == {
            name: float(text) if isinstance(text, str) else text for name, text in values.items()
        }
    rows = {row["kind"]: row["values"] for row in state(client, job, run)["rows"]}
    assert rows["dwell"] == {"speed_rpm": 613.0, "dwell_deg": 53.1}
    # Corrected to the same: the same reading, not a new one.
    assert DwellReading.objects.get().version == 1


def test_a_tablet_that_names_no_frame_means_what_it_showed(client_as, job):
    """What waited on a tablet since before: sparks and dwell were asked for in distributor degrees."""
    client, run = client_as("technician"), final(job, "crank")
    send(client, job, run, "dwell", None, speed_rpm="300", dwell_deg="51")
    send(client, job, run, "reading", None, speed_rpm="600", advance_deg="7", falling=False)
    assert DwellReading.objects.values_list("speed_rpm", "dwell_deg").get() == (300, 51)
    assert run.readings.values_list("speed_rpm", "advance_deg").get() == (600, 7)
    assert send(client, job, run, "dwell", "sideways", speed_rpm="1", dwell_deg="1").status_code == 422
    assert send(client, job, run, "dwell", ["crank"], speed_rpm="1", dwell_deg="1").status_code == 422


def test_what_was_typed_before_the_frame_changed_keeps_its_own(client_as, job):
    client, run = client_as("technician"), final(job, "shaft")
    send(client, job, run, "reading", "crank", speed_rpm="2000", advance_deg="14", falling=False)
    assert run.readings.values_list("speed_rpm", "advance_deg").get() == (1000, 7)


def test_limits_are_said_in_the_frame_that_is_typed_in(client_as, job):
    client, run = client_as("technician"), final(job, "crank")
    answer = send(client, job, run, "spark", "crank", speed_rpm="600", cylinder="1", offset_deg="100")
    assert answer.status_code == 422
    assert answer.json()["why"] == (
        "Off by of 100 crank degrees is not possible: write −90 to 90. That is −45 to 45 distributor degrees."
    )
    assert send(
        client, job, run, "spark", "crank", speed_rpm="600", cylinder="1", offset_deg="60"
    ).status_code == (200)
    page = client.get(f"/jobs/{job.number}/bench/?run={run.number}")
    for sheet in page.context["data"]["grids"]:
        said = json.dumps({name: text for name, text in sheet.items() if name != "beside"})
        assert "crank" in said
        assert "distributor" not in json.dumps(
            {name: sheet[name] for name in ("unit", "heading", "speed_unit", "columns")}
        )


def test_the_paper_proves_in_the_frame_of_the_run(client_as, job):
    client, run = client_as("technician"), final(job, "crank")
    send(client, job, run, "dwell", "crank", speed_rpm="600", dwell_deg="102")
    send(client, job, run, "dwell", "crank", speed_rpm="1750", dwell_deg="98")
    run = queries.live_runs(queries.build_for(job.build_id))[0]
    said = checks.as_data(checks.checks_of(run, job.build, cylinders=4))
    [dwell] = [check for check in said if check["kind"] == "dwell"]
    assert dwell["lines"][0]["where"] == "at 600 crank rpm (300 distributor)"
    assert (
        dwell["lines"][-2]["found"]
        == "−4.0 crank degrees (−2.00 distributor) by 1750 crank rpm (875 distributor)"
    )


def read_run(client, job):
    """A final run typed in distributor degrees, with what was read beside it; and its form as it stands."""
    run = build.run(job.build, [(300, 0), (1000, 7)], kind=Run.Kind.FINAL, frame="shaft")
    send(client, job, run, "dwell", "shaft", speed_rpm="300", dwell_deg="51")
    send(client, job, run, "vacuum", "shaft", vacuum_kpa="20", advance_deg="3")
    run.refresh_from_db()
    rows = [{"speed": "300", "advance": "0"}, {"speed": "1000", "advance": "7"}]
    typed = {"kind": "final", "frame": "crank", "version": run.version, "json": json.dumps(rows)}
    return run, f"/jobs/{job.number}/runs/{run.number}/", typed


def kept(run):
    sweep = list(run.readings.values_list("speed_rpm", "advance_deg"))
    dwell = DwellReading.objects.values_list("speed_rpm", "dwell_deg").get()
    return sweep, dwell, VacuumReading.objects.get().advance_deg


def test_another_frame_asks_what_the_numbers_are(client_as, job):
    client = client_as("technician")
    run, where, typed = read_run(client, job)
    answer = client.post(where, typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "This run was typed in distributor degrees. Say what its numbers are now." in page
    assert 'name="meant" value="keep"' in page
    assert kept(run) == ([(300, 0), (1000, 7)], (300, 51), 3)
    run.refresh_from_db()
    assert run.frame == "shaft"


def test_numbers_kept_are_read_anew_all_of_them(client_as, job):
    client = client_as("technician")
    run, where, typed = read_run(client, job)
    assert client.post(where, typed | {"meant": "keep"}).status_code == 302
    assert kept(run) == ([(300, 0), (1000, 7)], (150, 25.5), 1.5)  # kept at the distributor
    rows = {row["kind"]: row["values"] for row in state(client, job, run)["rows"]}
    assert rows["dwell"] == {"speed_rpm": 300, "dwell_deg": 51}  # and shown as it was typed
    assert rows["vacuum"] == {"vacuum_kpa": 20, "advance_deg": 3}
    assert DwellReading.objects.get().version == 2  # another tablet's correction of it must not pass
    detail = AuditEntry.objects.get(verb="changed a run").detail
    assert detail["frame"] == "distributor, now crank; numbers as typed"


def test_numbers_turned_leave_the_curve_as_it_is(client_as, job):
    client = client_as("technician")
    run, where, typed = read_run(client, job)
    assert client.post(where, typed | {"meant": "turn"}).status_code == 302
    assert kept(run) == ([(600, 0), (2000, 14)], (300, 51), 3)
    rows = {row["kind"]: row["values"] for row in state(client, job, run)["rows"]}
    assert rows["dwell"] == {"speed_rpm": 600, "dwell_deg": 102}


@pytest.mark.parametrize("meant", ["keep", "turn"])
def test_numbers_that_can_not_be_in_the_new_frame_are_refused(client_as, job, meant):
    client = client_as("technician")
    run = build.run(job.build, [(300, 0), (1000, 60)], kind=Run.Kind.FINAL, frame="shaft")
    send(client, job, run, "spark", "shaft", speed_rpm="300", cylinder="1", offset_deg="1")
    run.refresh_from_db()
    rows = json.dumps([{"speed": "300", "advance": "0"}, {"speed": "1000", "advance": "60"}])
    typed = {"kind": "final", "frame": "crank", "version": run.version, "json": rows, "meant": meant}
    if meant == "keep":  # back at the distributor from 80 crank degrees would be 80 there
        Run.objects.update(frame="crank")
        SparkReading.objects.update(offset_deg=40)
        typed["frame"] = "shaft"
    answer = client.post(f"/jobs/{job.number}/runs/{run.number}/", typed)
    assert answer.status_code == 422
    assert "meant" in answer.context["form"].errors
    assert 'value="60"' in answer.content.decode()  # as typed


def test_a_paste_in_another_frame_does_not_join_what_stands(client_as, job):
    client = client_as("technician")
    _, where, typed = read_run(client, job)
    pasted = "crank rpm\tcrank deg\n3000\t20"
    answer = client.post(where, typed | {"lines": pasted, "read": "1"})
    assert answer.status_code == 422
    assert "What stands here is in distributor degrees" in answer.content.decode()
    assert [row[0].text for row in answer.context["form"].grid.rows] == ["300", "1000"]


def test_a_reading_on_its_way_while_the_frame_changes_is_not_kept_in_the_wrong_one(client_as, job):
    client, run = client_as("technician"), final(job, "shaft")
    Run.objects.update(frame="crank")
    values = {"speed_rpm": 300.0, "advance_deg": 1.0, "falling": False}
    with pytest.raises(ValidationError, match="read in crank degrees now"):
        recording.put(run, "reading", uuid.uuid4(), values, by=client.person)


def trials_page(client_as, job, query=""):
    return client_as("technician").get(f"/jobs/{job.number}/trials/{query}")


def tried(job, frame, factor):
    """A card whose last run was typed in a frame, out of the band, with springs to choose from."""
    head = {
        "primary": build.spring("P 1", position="primary"),
        "secondary": build.spring("S 1", position="secondary"),
    }
    build.spring("P 2", position="primary", rate_n_per_mm=1.9)
    rows = [(300, 0), (600, 4.5), (1000, 8.5), (1500, 10.5), (1800, 11)]
    build.run(job.build, [(rpm * factor, deg * factor) for rpm, deg in rows], frame=frame, **head)


@pytest.mark.parametrize(("frame", "factor"), [("shaft", 1), ("crank", 2)])
def test_proposals_speak_the_frame_of_who_types(client_as, job, frame, factor):
    tried(job, frame, factor)
    answer = trials_page(client_as, job)
    state, page = answer.context["state"], answer.content.decode()
    name, beside = ("crank", "distributor") if frame == "crank" else ("distributor", "crank")
    offer = state.offers[0]
    assert f"{name} degrees (" in offer.why
    assert f"{beside})" in offer.why
    assert f'{name.capitalize()} <span class="unit">rpm</span>' in page
    assert f"{name} deg (" in page
    # The miss is one and the same: 4.5 at 600 are 9 at 1200, where the band ends at 6 + 1.
    assert state.last.miss.distance_deg.crank == pytest.approx(2)


def test_the_travel_to_allow_is_typed_in_the_frame_of_who_types(client_as, job):
    tried(job, "crank", 2)
    answer = trials_page(client_as, job)
    assert 'name="frame" value="crank"' in answer.content.decode()
    allowed = trials_page(client_as, job, "?bend=0.5&travel=20&frame=crank").context["state"].choices
    assert allowed.least_travel_deg == 10
    # An address of before, or of one who types at the distributor, means what it meant.
    assert trials_page(client_as, job, "?travel=10").context["state"].choices.least_travel_deg == 10
    refused = trials_page(client_as, job, "?travel=70&frame=crank")
    assert refused.status_code == 422
    assert "write 2 to 60" in refused.content.decode()


def set_ratio(job, ratio, person):
    build_row = Build.objects.get(pk=job.build_id)
    actions.save_head(
        Job.objects.get(pk=job.pk), {"crank_per_shaft": ratio}, by=person, version=build_row.version
    )


def shown_rows(client, job, run):
    """What a tablet shows of a run, in the run's frame: kind and numbers of each reading."""
    return sorted((row["kind"], *map(str, row["values"].values())) for row in state(client, job, run)["rows"])


@pytest.mark.parametrize("ratio", [1, 1.5, 2 / 3, 3])
def test_both_readings_of_a_run_follow_the_ratio_alike(client_as, job, ratio):
    client = client_as("technician")
    runs = {frame: final(job, frame) for frame in ("shaft", "crank")}
    for frame, run in runs.items():
        rising = {"speed_rpm": "1200", "advance_deg": "6", "falling": False}
        assert send(client, job, run, "reading", frame, **rising).status_code == 200
        scatter(client, job, run, 1.5, frame, 600)
        assert send(client, job, run, "dwell", frame, speed_rpm="600", dwell_deg="80").status_code == 200
        assert send(client, job, run, "vacuum", frame, vacuum_kpa="20", advance_deg="10").status_code == 200
    before = {frame: shown_rows(client, job, run) for frame, run in runs.items()}
    set_ratio(job, ratio, client.person)
    assert {frame: shown_rows(client, job, run) for frame, run in runs.items()} == before
    dwell = DwellReading.objects.get(run=runs["crank"])
    assert (dwell.speed_rpm * ratio, dwell.dwell_deg * ratio) == (pytest.approx(600), pytest.approx(80))
    set_ratio(job, 2, client.person)
    assert {frame: shown_rows(client, job, run) for frame, run in runs.items()} == before


def test_a_scatter_typed_at_the_crank_is_judged_by_the_ratio_that_holds(client_as, job):
    client, run = client_as("technician"), final(job, "crank")
    scatter(client, job, run, 1.5 * LIMIT_SHAFT_DEG, "crank", 600)
    assert proved(job, run.number)["spark"].passed is True  # 3 of the crank are 1.5 of the distributor
    Run.objects.update(removed=True)
    set_ratio(job, 1, client.person)
    Run.objects.update(removed=False)
    assert proved(job, run.number)["spark"].passed is False


def test_a_ratio_at_which_what_was_typed_can_not_be_is_refused(client_as, job):
    client, run = client_as("technician"), final(job, "crank")
    job.build.target.delete()
    assert send(client, job, run, "dwell", "crank", speed_rpm="600", dwell_deg="170").status_code == 200
    version = Build.objects.get(pk=job.build_id).version
    sent = {"version": str(version), "crank_per_shaft": "0.25", "scale_deg": "0.5"}
    answer = client.post(f"/jobs/{job.number}/head/", sent)
    assert answer.status_code == 422
    assert "Final run 1: Dwell reading" in " ".join(answer.context["form"].errors["crank_per_shaft"])
    with pytest.raises(PermissionDenied, match="Dwell reading"):
        set_ratio(job, 0.25, client.person)
    assert DwellReading.objects.get().dwell_deg == 85
