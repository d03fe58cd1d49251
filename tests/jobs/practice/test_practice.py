"""Practice cards: kept out of everything real, refused where they don't belong, secret until the end."""

import json

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from curves.models import HeadType, LoadTest, Run, Spring
from curves.practice import bench
from curves.rows import actions as build_actions
from curves.rows import queries
from jobs import queries as job_queries
from jobs.intake.opening import open_job, reopen, report_from_road
from jobs.models import Engine, Job, Unit
from jobs.moves.actions import allocate, move_stage
from jobs.papers import sheets
from jobs.practice import actions
from jobs.rules import guards
from jobs.search import hits
from jobs.search.similarity import Wanted
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(person):
    return actions.open_practice(by=person, seed=5)


def test_card_stands_at_the_spring_trials_with_all_it_needs(job):
    assert job.stage == "spring_trials"
    assert [run.kind for run in job.build.runs.all()] == ["as_received"]
    assert job.build.target.points.count() >= 3
    assert queries.drawer(job.build).count() == 28


def test_spring_with_a_senseless_pair_typed_by_hand_is_not_weighed(job, person, client_as):
    spring = queries.drawer(job.build).first()
    LoadTest.objects.create(
        spring=spring, length_mm=3, load=5, by=person
    )  # shorter than unloaded, and pulling
    client = client_as("technician")
    answer = client.post(reverse("practice_weigh", args=[job.number, spring.pk]), follow=True)
    said = f"{spring} is not weighed. "
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert actions.BY_HAND in answer.content.decode()
    assert spring.load_tests.count() == 1
    spring.refresh_from_db()
    assert spring.source != Spring.Source.WEIGHED


def test_same_number_invents_the_same_unit(job, person):
    other = actions.open_practice(by=person, seed=5)
    assert bench.band_for(other.build) == bench.band_for(job.build)
    figures = ["position", "rate_n_per_mm", "free_length_mm"]
    first, second = (list(queries.drawer(one.build).values_list(*figures)) for one in (job, other))
    assert sorted(first) == sorted(second)


def test_without_a_number_each_unit_is_another(person):
    seeds = {actions.open_practice(by=person).build.practice_seed for _ in range(3)}
    assert len(seeds) == 3


def test_practice_leaves_no_gap_among_the_cards_numbers(person):
    before = open_job(by=person, unit=build.unit())
    first, second = (actions.open_practice(by=person) for _ in range(2))
    assert open_job(by=person, unit=build.unit()).number == before.number + 1
    assert (second.number, first.number > 900_000) == (first.number + 1, True)


def test_board_does_not_count_practice(job, person):
    assert job_queries.board(person).count == 0
    real = build.job()
    assert [row.job for column in job_queries.board(person).columns for row in column.rows] == [real]


def test_search_finds_no_practice_by_words_number_or_engine(job):
    assert hits.find("practice").hits == []
    assert hits.find(str(job.number)).hits == []
    assert hits.find("", Wanted(cylinders=4)).hits == []
    assert hits.find("").hits == []


def test_fields_suggest_nothing_of_practice(job):
    assert job_queries.values_used(Unit, "maker") == []
    assert job_queries.values_used(Engine, "make") == []
    build.job(unit=build.unit(maker="Ember & Stroud"))
    assert job_queries.values_used(Unit, "maker") == ["Ember & Stroud"]


def test_drawer_holds_no_practice_spring_and_practice_none_of_the_shops(job, client_as):
    mine = build.spring("S-mine")
    assert list(queries.drawer()) == [mine]
    assert list(Spring.objects.all()) == [mine]
    assert mine not in queries.drawer(job.build)
    page = client_as("owner").get(reverse("drawer")).content.decode()
    assert "S-mine" in page
    assert bench.MARK not in page


def test_no_target_starts_from_a_practice_unit_and_no_search_is_like_one(job, client_as):
    client = client_as("technician")
    real = build.job(stage="spring_trials")
    start = {"start": "past", "job": job.number, "take": "target"}
    answer = client.get(reverse("target", args=[real.number]), start)
    assert f"Job {job.number} is a practice card" in answer.content.decode()
    answer = client.get(reverse("search"), {"like": job.number})
    assert f"There is no job {job.number}" in answer.content.decode()


def test_head_types_count_no_practice_unit(job, client_as):
    kind = HeadType.objects.create(name="Two-weight, plate 7")
    type(job.build).objects.filter(pk=job.build_id).update(head_type=kind, locked=True)
    types = client_as("owner").get(reverse("head_types")).context["types"]
    assert [(one.units, one.handed_back) for one in types] == [(0, 0)]
    assert f"Job {job.number}" not in markup(client_as("owner").get(reverse("head_type", args=[kind.pk])))


def test_run_form_offers_a_unit_only_springs_of_its_own(job, client_as):
    mine = build.spring("S-mine")
    other = build.job(stage="spring_trials")
    client = client_as("technician")
    at_practice = client.get(reverse("run_new", args=[job.number])).content.decode()
    elsewhere = client.get(reverse("run_new", args=[other.number])).content.decode()
    assert (f"{bench.MARK}P1/" in at_practice, str(mine) in at_practice) == (True, False)
    assert (f"{bench.MARK}P1/" in elsewhere, str(mine) in elsewhere) == (False, True)


def test_label_of_a_practice_spring_can_not_be_taken_by_the_shops(job, client_as):
    label = queries.drawer(job.build)[0].label
    values = {"label": label, "position": "either", "rate_n_per_mm": "1.5", "free_length_mm": "16"}
    values |= {"initial_tension_n": "0", "source": "label", "quantity": "1"}
    answer = client_as("owner").post(reverse("spring_new"), values)
    assert answer.status_code == 422
    assert not Spring.objects.exists()


def test_invented_unit_goes_to_nobody_and_comes_back_from_nowhere(job, person):
    for refused in (
        lambda: allocate(job, customer=build.customer(), by=person),
        lambda: reopen(job, by=person),
        lambda: report_from_road(job, text="pinks", by=person),
    ):
        with pytest.raises(PermissionDenied, match="practice unit"):
            refused()


def test_nothing_of_the_practice_bench_touches_a_real_card(person):
    real = build.job(stage="spring_trials")
    for refused in (
        lambda: actions.measure_head(real, by=person),
        lambda: actions.set_stop(real, 8, by=person),
        lambda: actions.give_up(real, by=person),
    ):
        with pytest.raises(PermissionDenied, match="is a real one"):
            refused()


@pytest.mark.parametrize("route", ["practice_job", "practice_measure", "practice_stop", "practice_end"])
def test_real_card_has_no_practice_page(client_as, route):
    address = reverse(route, args=[build.job(stage="spring_trials").number])
    client = client_as("technician")
    answer = client.get(address) if route == "practice_job" else client.post(address, {"travel": "8"})
    assert answer.status_code == 404


def test_needle_of_a_real_run_shows_nothing(client_as):
    run = build.run(build.job(stage="spring_trials").build)
    address = reverse("practice_needle", args=[run.build.job.number, run.number])
    assert client_as("technician").get(address, {"speed": 800, "falling": 0}).status_code == 403


def test_needle_answers_what_the_bench_shows_and_writes_nothing(job, client_as):
    run = job.build.runs.get()
    address = reverse("practice_needle", args=[job.number, run.number])
    client = client_as("technician")
    said = json.loads(client.get(address, {"speed": "800", "falling": "1"}).content)
    assert said == {
        "speed_rpm": 800,
        "falling": True,
        "advance_deg": bench.read_at(job.build, run, 800, True),
    }
    assert not run.readings.exists()
    for wrong in ({"speed": "fast", "falling": "0"}, {"speed": "-1", "falling": "0"}, {}, {"speed": "nan"}):
        assert client.get(address, wrong).status_code == 422
    assert client_as("counter").get(address, {"speed": "800", "falling": "0"}).status_code == 403


def test_counter_sees_the_practice_bench_but_invents_nothing(client_as):
    client = client_as("counter")
    assert client.get(reverse("practice")).status_code == 200
    assert client.post(reverse("practice"), {"once": "k"}).status_code == 403
    assert not Job.objects.exists()


def test_one_form_invents_one_unit(client_as):
    client = client_as("technician")
    places = {client.post(reverse("practice"), {"once": "same", "seed": "7"})["Location"] for _ in range(2)}
    assert len(places) == Job.objects.practice().count() == 1


@pytest.mark.parametrize("seed", ["-1", "1000001", "x", "1.5"])
def test_impossible_unit_number_is_refused_beside_the_field(client_as, seed):
    answer = client_as("technician").post(reverse("practice"), {"once": "k", "seed": seed})
    assert answer.status_code == 422
    assert f'value="{seed}"' in answer.content.decode()


def test_stop_beyond_the_slot_is_refused_with_the_cause(job, client_as, person):
    with pytest.raises(ValidationError, match="slot ends"):
        actions.set_stop(job, 29, by=person)
    answer = client_as("technician").post(reverse("practice_stop", args=[job.number]), {"travel": "29"})
    assert answer.status_code == 422
    assert "The slot ends before that" in answer.content.decode()
    job.build.refresh_from_db()
    assert job.build.practice_stop_deg is None


def test_every_page_of_the_card_is_marked(job, client_as):
    client = client_as("owner")
    names = ("card", "practice_job", "run_new", "target", "head", "history", "sheets")
    pages = [reverse("practice"), *(reverse(name, args=[job.number]) for name in names)]
    unmarked = [one for one in pages if "practice-mark" not in client.get(one).content.decode()]
    assert unmarked == []
    spring = client.get(reverse("spring", args=[queries.drawer(job.build)[0].pk]))
    assert spring.status_code == 404 or "practice-mark" in spring.content.decode()
    real = client.get(reverse("card", args=[build.job().number])).content.decode()
    assert "practice-mark" not in real


@pytest.mark.parametrize("kind", ["curve_sheet", "job_sheet", "tray_tag"])
def test_every_paper_is_marked_across(job, kind):
    from django.utils import timezone

    from jobs.papers.pdf import write_html

    def paper(of):
        data = sheets.gather(of, kind, paper_size="A4", token="t", made_at=timezone.now())
        return write_html(json.loads(json.dumps(data, default=str)), data_sha256="0" * 64)

    assert '<p class="practice">◊ PRACTICE ◊</p>' in paper(job)
    assert "PRACTICE" not in paper(build.job())


def test_what_was_inside_is_secret_until_the_end(job, client_as, person):
    client = client_as("technician")
    address = reverse("practice_job", args=[job.number])
    assert "What was inside" not in markup(client.get(address))
    client.post(reverse("practice_end", args=[job.number]))
    assert "What was inside" in markup(client.get(address))
    with pytest.raises(PermissionDenied):
        build_actions.add_run(job.build, {"kind": Run.Kind.TRIAL}, [], by=person)
    with pytest.raises(PermissionDenied):
        actions.measure_head(job, by=person)


def test_a_practice_unit_is_walked_past_no_gate(job):
    """It comes with the stages before the bench answered, and the rest waits for hands as on any card."""
    assert [(move.missing, move.reason) for move in job.moves.all()] == [([], "")] * 3
    assert not job.steps.filter(list="cleaning", at=None).exists()
    assert guards.missing(Job.objects.get(pk=job.pk)) == ["a run"]
    for stage, lacks in (
        ("bench_curve", ["a final run", "8 assembly steps to do"]),
        ("hand_back", ["a signed curve sheet", "a final run", "8 assembly steps to do"]),
    ):
        Job.objects.filter(pk=job.pk).update(stage=stage)
        assert guards.missing(Job.objects.get(pk=job.pk)) == lacks


def test_a_practice_unit_without_its_assembly_and_falling_sweep_wants_a_reason(job, person, client_as):
    build.run(job.build, [(600, 3), (900, 6)], kind="final")
    Job.objects.filter(pk=job.pk).update(stage="bench_curve")
    with pytest.raises(ValidationError, match="8 assembly steps to do"):
        move_stage(Job.objects.get(pk=job.pk), to="hand_back", by=person)
    page = client_as("owner").get(reverse("practice_job", args=[job.number])).content.decode()
    assert "falling sweep not read" in page
    assert "Oil and assemble it" in page
    assert "8 to do" in page
