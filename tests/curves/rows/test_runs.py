"""Runs through HTTP: typed in a grid, as lines or from a file; by whom, and what goes wrong."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from curves.models import Run
from jobs.models import AuditEntry
from shop.models import Shop
from tests import build

pytestmark = pytest.mark.django_db
ROWS = [("300", "0", ""), ("600", "3,5", ""), ("1000", "7.5", ""), ("1000", "8", "1")]
VALUES = [(300, 0, False), (600, 3.5, False), (1000, 7.5, False), (1000, 8, True)]


@pytest.fixture
def job():
    return build.job(stage="spring_trials")


def grid(rows=ROWS):
    return json.dumps([dict(zip(("speed", "advance", "falling"), row, strict=True)) for row in rows])


def typed(**fields):
    return {"kind": "trial", "frame": "shaft", "json": grid(), "once": "one-key", **fields}


def readings(run):
    return [(r.speed_rpm, r.advance_deg, r.falling) for r in run.readings.all()]


def new(job):
    return f"/jobs/{job.number}/runs/new/"


def test_a_typed_grid_becomes_a_run(client_as, job):
    spring = build.spring("P 1")
    answer = client_as("technician").post(
        new(job), typed(primary=spring.pk, primary_bend_mm="0,2", note="cold")
    )
    assert answer.status_code == 302
    assert answer["Location"] == f"/jobs/{job.number}/?open=spring_trials#stage-spring_trials"
    [run] = job.build.runs.all()
    assert readings(run) == VALUES
    assert (run.number, run.kind, run.frame, run.note) == (1, "trial", "shaft", "cold")
    assert (run.primary, run.primary_bend_mm, run.secondary) == (spring, 0.2, None)
    assert AuditEntry.objects.get(job=job).verb == "typed a run"


def test_readings_stay_as_typed_in_the_frame_declared(client_as, job):
    client_as("technician").post(new(job), typed(frame="crank"))
    [run] = job.build.runs.all()
    assert (run.frame, readings(run)) == ("crank", VALUES)


@pytest.mark.parametrize(
    "text", ["300;0\n600;3,5\n1000;7,5\n1000;8;falling\n", "300\t0\n600\t3.5\n1000\t7.5\n1000\t8\tfalling"]
)
def test_plain_lines_become_the_same_run(client_as, job, text):
    assert client_as("technician").post(new(job), typed(json="", lines=text)).status_code == 302
    assert readings(job.build.runs.get()) == VALUES


def test_a_double_send_makes_one_run(client_as, job):
    client = client_as("technician")
    answers = [client.post(new(job), typed()) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert job.build.runs.count() == 1


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (("600", "abc", ""), "“abc” is not a number"),
        (("600", "", ""), "Advance is missing"),
        (("", "5", ""), "Speed is missing"),
        (("-600", "5", ""), "Speed of −600 rpm is not possible"),
        (("600", "400", ""), "Advance of 400 degrees is not possible"),
        (("600", "nan", ""), "“nan” is not a number"),
        (("812.375", "5", ""), "can be 812375 or 812.3750"),
    ],
)
def test_a_bad_cell_is_refused_beside_it_and_all_that_was_typed_stays(client_as, job, bad, message):
    answer = client_as("technician").post(new(job), typed(json=grid([*ROWS, bad]), note="kept too"))
    assert answer.status_code == 422
    form = answer.context["form"]
    assert [[cell.text for cell in row] for row in form.grid.rows] == [list(row) for row in [*ROWS, bad]]
    wrong = [cell for row in form.grid.rows for cell in row if cell.error]
    assert len(wrong) == 1
    assert message in wrong[0].error
    page = answer.content.decode()
    assert f"Row 5, {wrong[0].column.label.lower()}: " in page
    assert f'aria-describedby="cell-5-{wrong[0].column.key}"' in page
    assert "kept too" in page
    assert not job.build.runs.exists()


@pytest.mark.parametrize(
    "broken",
    [
        "{",
        "[1]",
        '{"a": 1}',
        '[{"speed": 3}]',
        "[" * 100_000,
        json.dumps([{"speed": "1", "advance": "1"}] * 501),
    ],
)
def test_a_grid_that_did_not_arrive_whole_is_refused(client_as, job, broken):
    answer = client_as("technician").post(new(job), typed(json=broken))
    assert answer.status_code == 422
    assert not job.build.runs.exists()


def test_the_frame_must_be_said(client_as, job):
    answer = client_as("technician").post(new(job), typed(frame=""))
    assert answer.status_code == 422
    assert "factor of two" in answer.content.decode()


def test_a_run_without_readings_is_refused(client_as, job):
    answer = client_as("technician").post(new(job), typed(json="[]"))
    assert answer.status_code == 422
    assert "No reading yet" in answer.content.decode()


def test_the_unusual_is_accepted_with_a_warning_on_the_card(client_as, job):
    client = client_as("technician")
    assert client.post(new(job), typed(json=grid([("500", "0", ""), ("1500", "21", "")]))).status_code == 302
    page = client.get(f"/jobs/{job.number}/").content.decode()
    assert 'data-kind="much_advance"' in page
    assert "21.0 distributor degrees (42.0 crank) of centrifugal advance is much" in page


def upload(text, name="sweep.csv"):
    return SimpleUploadedFile(name, text if isinstance(text, bytes) else text.encode())


def test_a_file_is_shown_in_the_grid_before_anything_is_saved(client_as, job):
    file = upload("crank rpm;crank deg\n600;0\n1200;7,5\n")
    answer = client_as("technician").post(new(job), typed(frame="", json="", file=file))
    assert answer.status_code == 200
    form = answer.context["form"]
    assert [[cell.text for cell in row] for row in form.grid.rows] == [["600", "0", ""], ["1200", "7.5", ""]]
    assert form["frame"].value() == "crank"
    assert "The headings say crank" in answer.content.decode()
    assert not job.build.runs.exists()


def test_what_was_read_from_a_file_comes_after_what_was_typed(client_as, job):
    answer = client_as("technician").post(new(job), typed(file=upload("1500,9\n")))
    texts = [[cell.text for cell in row] for row in answer.context["form"].grid.rows]
    assert texts == [*[list(row) for row in ROWS], ["1500", "9", ""]]


@pytest.mark.parametrize(
    ("file", "words"),
    [
        ("600;0\n900;x\n", "Row 2, column 2"),
        ("crank rpm,crank deg\n600,0\n", "distributor is declared"),
        ("1,200\t7\n1,400\t9\n", "which mark is the decimal one"),
        (b"\x00\x01\x02", "no text file"),
        ("", "empty"),
    ],
)
def test_a_file_that_cannot_be_read_changes_nothing(client_as, job, file, words):
    answer = client_as("technician").post(new(job), typed(file=upload(file)))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert [[c.text for c in row] for row in answer.context["form"].grid.rows] == [list(row) for row in ROWS]
    assert not job.build.runs.exists()


def test_once_the_decimal_mark_is_said_the_file_is_read(client_as, job):
    answer = client_as("technician").post(
        new(job), typed(json="", decimal=".", file=upload("1,200\t7\n1,400\t9\n"))
    )
    assert [[c.text for c in row] for row in answer.context["form"].grid.rows] == [
        ["1200", "7", ""],
        ["1400", "9", ""],
    ]


@pytest.mark.parametrize("who", ["counter"])
def test_who_may_not_type_runs_is_refused(client_as, job, who):
    client = client_as(who)
    run = build.run(job.build)
    for address in (new(job), f"/jobs/{job.number}/runs/{run.number}/", f"/jobs/{job.number}/runs/draw/"):
        assert client.post(address, typed(version=1)).status_code == 403
    assert client.post(f"/jobs/{job.number}/runs/{run.number}/remove/").status_code == 403
    assert client.get(new(job)).status_code == 403
    assert job.build.runs.filter(removed=False).count() == 1


def test_reading_does_not_write(client_as, job):
    run = build.run(job.build)
    client = client_as("technician")
    assert client.get(new(job), typed()).status_code == 200
    assert client.get(f"/jobs/{job.number}/runs/{run.number}/").status_code == 200
    assert client.get(f"/jobs/{job.number}/runs/{run.number}/remove/").status_code == 405
    assert client.get(f"/jobs/{job.number}/runs/draw/").status_code == 405
    assert job.build.runs.filter(removed=False).count() == 1


def test_a_run_is_changed(client_as, job):
    run = build.run(job.build, [(300, 0), (900, 9)])
    client = client_as("technician")
    page = client.get(f"/jobs/{job.number}/runs/1/")
    assert [[c.text for c in row] for row in page.context["form"].grid.rows] == [
        ["300", "0", ""],
        ["900", "9", ""],
    ]
    answer = client.post(f"/jobs/{job.number}/runs/1/", typed(version=run.version, kind="final"))
    assert answer.status_code == 302
    run.refresh_from_db()
    assert (run.kind, run.version, readings(run)) == ("final", 2, VALUES)


def test_who_saves_second_keeps_the_typing_and_sees_both(client_as, job):
    run = build.run(job.build, [(300, 0), (900, 9)])
    client = client_as("technician")
    address = f"/jobs/{job.number}/runs/1/"
    client.post(address, typed(version=run.version, note="first"))
    answer = client.post(address, typed(version=run.version, note="second", json=grid([("500", "5", "")])))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "Someone else saved first" in page
    assert "3.5 at 600" in page  # what stands
    assert answer.context["form"].grid.rows[0][0].text == "500"  # what was typed
    run.refresh_from_db()
    assert (run.note, readings(run)) == ("first", VALUES)
    again = client.post(address, typed(version=answer.context["form"]["version"].value(), note="second"))
    assert again.status_code == 302
    run.refresh_from_db()
    assert run.note == "second"


def test_a_locked_build_takes_nothing(client_as, job):
    run = build.run(job.build)
    job.build.locked = True
    job.build.save()
    client = client_as("technician")
    assert client.post(new(job), typed()).status_code == 403
    assert client.post(f"/jobs/{job.number}/runs/1/", typed(version=1)).status_code == 403
    assert client.post(f"/jobs/{job.number}/runs/1/remove/").status_code == 403
    assert (job.build.runs.count(), readings(run)) == (1, [(r, d, False) for r, d in build.RISING])


def test_a_closed_job_takes_nothing(client_as, job):
    job.closed_at = job.stage_since
    job.save()
    assert client_as("technician").post(new(job), typed()).status_code == 403
    assert not job.build.runs.exists()


def test_a_run_taken_off_can_be_put_back(client_as, job):
    run = build.run(job.build)
    client = client_as("technician")
    client.post(f"/jobs/{job.number}/runs/1/remove/")
    page = client.get(f"/jobs/{job.number}/").content.decode()
    assert "Trial run 1 is off the card." in page
    assert "No trial run yet" in page
    client.post(f"/jobs/{job.number}/runs/1/remove/", {"restore": "1"})
    run.refresh_from_db()
    assert (run.removed, run.readings.count()) == (False, len(build.RISING))


def test_the_number_of_a_run_taken_off_is_not_given_again(client_as, job):
    build.run(job.build, removed=True)
    client_as("technician").post(new(job), typed())
    assert Run.objects.get(build=job.build, removed=False).number == 2


def test_the_chart_follows_the_typing_and_saves_nothing(client_as, job):
    build.target(job.build)
    client = client_as("technician")
    answer = client.post(
        f"/jobs/{job.number}/runs/draw/", typed(json=grid([("1000", "12", ""), ("900", "bad", "")]))
    )
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "being typed" in page
    # 24 crank degrees against 15 + 1.5
    out = "Out of the band by 3.8 distributor degrees (7.5 crank) over, at 1000 distributor rpm (2000 crank)"
    assert out in page
    assert not job.build.runs.exists()


def test_a_run_of_another_card_is_not_found(client_as, job):
    other = build.job()
    build.run(other.build)
    client = client_as("technician")
    assert client.get(f"/jobs/{job.number}/runs/1/").status_code == 404
    assert client.post(f"/jobs/{job.number}/runs/1/", typed(version=1)).status_code == 404


def test_a_new_run_begins_with_what_hung_in_the_last_one(client_as, job):
    spring = build.spring()
    build.run(job.build, primary=spring, primary_bend_mm=0.2, frame="crank")
    form = client_as("technician").get(f"{new(job)}?kind=trial").context["form"]
    assert (form["frame"].value(), form["primary"].value(), form["primary_bend_mm"].value()) == (
        "crank",
        spring.pk,
        "0.2",
    )


def test_the_first_run_has_no_frame_chosen_for_it(client_as, job):
    assert client_as("technician").get(new(job)).context["form"]["frame"].value() == ""


def test_the_readings_leave_as_csv(client_as, job):
    build.run(job.build, primary=build.spring("=P1"))
    answer = client_as("counter").get(f"/jobs/{job.number}/curve.csv")
    assert answer["Content-Type"].startswith("text/csv")
    first = answer.content.decode().split("\r\n")[1]
    assert first == "1,Trial,'=P1,,300.0,0.0,600.0,0.0,rising"


def test_pages_ask_few_queries(client_as, job, django_assert_max_num_queries):
    build.target(job.build)
    for _ in range(8):
        build.run(job.build, primary=build.spring(), secondary=build.spring())
    client = client_as("technician")
    Shop.current()  # made once, by whoever asks first
    with django_assert_max_num_queries(12):
        client.get(new(job))
    with django_assert_max_num_queries(12):
        client.get("/springs/")


ODD = "speed\tadvance\n500\t0\n800\t3\n1000\t5\n1200\t1\n1500\t9\n1700\t20"


def test_a_paste_is_drawn_against_the_band_before_it_is_saved(client_as, job):
    build.target(job.build)
    sent = typed(json="[]", lines=ODD)
    page = client_as("technician").post(f"/jobs/{job.number}/runs/draw/", sent).content.decode()
    assert page.count("figure-mark") == 6
    # 1 at 1200 goes against its neighbours; 20 at 1700 is 40 crank degrees where the band ends at 22.
    assert "the reading of 1.0 distributor degrees (2.0 crank) at 1200 distributor rpm" in page
    assert ">look again<" in page
    assert "Out of the band by" in page
    assert not job.build.runs.exists()


def test_a_paste_half_typed_is_not_drawn_and_not_refused(client_as, job):
    sent = typed(json=grid(), lines="speed\tadvance\n500\tx")
    answer = client_as("technician").post(f"/jobs/{job.number}/runs/draw/", sent)
    assert answer.status_code == 200
    assert answer.content.decode().count("figure-mark") == len(ROWS)


def test_a_file_read_into_the_grid_is_drawn_with_what_is_odd(client_as, job):
    build.target(job.build)
    file = SimpleUploadedFile("run.csv", ODD.replace("\t", ";").encode())
    answer = client_as("technician").post(new(job), typed(json="[]", read="1", file=file))
    page = answer.content.decode()
    assert "not saved yet" in page
    assert page.count("figure-mark") == 6
    assert ">look again<" in page
    assert not job.build.runs.exists()
