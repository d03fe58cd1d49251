"""The bench page: which run it opens, how one is begun, what it shows and what it costs."""

import pytest

from curves.models import DwellReading, Run, SparkReading
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    row = build.job(stage="spring_trials")
    build.run(row.build, [])
    return row


def test_the_bench_opens_at_the_newest_run_of_the_stage_or_begins_one(client_as, job):
    client = client_as("technician")
    where = f"/jobs/{job.number}/bench/"
    build.run(job.build, [], kind=Run.Kind.AS_RECEIVED)
    assert client.get(where).context["run"].number == 1
    assert client.get(f"{where}?run=2").context["run"].kind == "as_received"
    form = client.get(f"{where}?new=1").context["form"]
    assert (form["kind"].value(), form["frame"].value()) == ("trial", "shaft")
    job.stage = "bench_curve"
    job.save()
    assert client.get(where).context["form"]["kind"].value() == "final"


def test_a_run_is_begun_once_with_what_hangs_in_the_unit(client_as, job):
    client = client_as("technician")
    spring = build.spring("P 1")
    sent = {"kind": "final", "frame": "crank", "primary": spring.pk, "primary_bend_mm": "0,2", "once": "key"}
    for _ in range(2):
        answer = client.post(f"/jobs/{job.number}/bench/", sent)
        assert answer["Location"] == f"/jobs/{job.number}/bench/?run=2"
    run = job.build.runs.get(number=2)
    assert (run.kind, run.frame, run.primary, run.primary_bend_mm) == ("final", "crank", spring, 0.2)
    assert job.build.runs.count() == 2
    bad = client.post(f"/jobs/{job.number}/bench/", sent | {"once": "other", "primary_bend_mm": "9"})
    assert bad.status_code == 422
    assert 'value="9"' in bad.content.decode()


def test_presets_are_shown_in_the_runs_own_frame(client_as, job):
    client = client_as("technician")
    job.build.runs.update(frame="crank")
    data = client.get(f"/jobs/{job.number}/bench/").context["data"]
    # A four-stroke's crank turns twice for the distributor's once: 300 and 2200 are 600 and 4400.
    labels = [row["label"] for row in data["grids"][0]["rows"]]
    assert (labels[0], labels[-1], data["to_crank"]) == ("600", "4400", 1.0)


def test_a_run_just_begun_hides_no_curve(client_as, job):
    """The newest trial that has readings is the latest one."""
    build.run(job.build, number=2)
    build.run(job.build, [], number=3)
    page = client_as("technician").get(f"/jobs/{job.number}/").content.decode()
    assert "trial, run 2" in page


def test_advance_that_begins_below_idle_is_said_so_with_no_minus(client_as):
    job = build.job(stage="bench_curve", engine=build.engine(idle_crank_rpm=1600))
    build.run(job.build)
    page = " ".join(client_as("technician").get(f"/jobs/{job.number}/").content.decode().split())
    assert "<dt>Below idle by</dt><dd>" in page
    assert "<dd>−" not in page
    assert 'data-kind="idle"' in page


def test_an_earlier_runs_warning_stands_beside_that_run_and_not_under_the_final_one(client_as):
    job = build.job(stage="bench_curve")
    build.run(job.build, [*build.RISING, *((rpm, deg + 1.5, True) for rpm, deg in build.RISING[-2::-1])])
    build.target(job.build)
    build.run(job.build, build.SWEPT, kind=Run.Kind.FINAL)
    page = markup(client_as("technician").get(f"/jobs/{job.number}/?open=spring_trials"))
    assert page.count("The weights may stick") == 1
    numbers = page.split('id="card-numbers"')[1].split('class="card-work"')[0]
    assert "The weights may stick" not in numbers


def test_the_bench_asks_few_queries(client_as, job, django_assert_max_num_queries):
    build.target(job.build)
    client = client_as("technician")
    build.run(job.build, kind=Run.Kind.FINAL)
    client.get(f"/jobs/{job.number}/bench/")
    with django_assert_max_num_queries(12):
        client.get(f"/jobs/{job.number}/bench/")
    with django_assert_max_num_queries(4):
        client.get(f"/jobs/{job.number}/runs/1/readings/?seen={job.build.runs.get(number=1).version}")


def test_the_card_says_what_the_final_run_proves(client_as):
    job = build.job(stage="bench_curve")
    build.target(job.build)
    run = build.run(job.build, kind=Run.Kind.FINAL)
    for cylinder in range(1, 5):
        SparkReading.objects.create(run=run, speed_rpm=300, cylinder=cylinder, offset_deg=0.5)
    DwellReading.objects.create(run=run, speed_rpm=300, dwell_deg=51)
    DwellReading.objects.create(run=run, speed_rpm=875, dwell_deg=45)
    page = client_as("counter").get(f"/jobs/{job.number}/").content.decode()
    said = {kind: page.split(f'data-check="{kind}"')[1].split("</section>")[0] for kind in ("spark", "dwell")}
    assert ">passes<" in said["spark"]
    assert ">fails<" in said["dwell"]  # 6 degrees where 3 are allowed
    assert "−6.0 distributor degrees (−12.0 crank) by 875 distributor rpm (1750 crank)" in said["dwell"]


@pytest.mark.parametrize(
    ("kind", "words", "where"), [("trial", "To the next pair", "/trials/"), ("final", "To the card", "#")]
)
def test_what_is_all_read_leads_to_what_comes_next(client_as, kind, words, where):
    job = build.job(stage="spring_trials")
    run = build.run(job.build, kind=kind)
    text = client_as("technician").get(f"/jobs/{job.number}/bench/?run={run.number}").content.decode()
    link = text.split("data-bench-done")[1].split("</a>")[0]
    assert words in link
    assert where in link
