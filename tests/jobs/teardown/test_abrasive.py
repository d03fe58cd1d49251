"""Abrasive: a step done with it asks for the sign-off, in whatever order, and no step is left open unsaid."""

import datetime
import importlib
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, Step
from jobs.moves import actions
from jobs.page.results import needs_of, result_of
from jobs.queries import card_for
from jobs.rules import guards
from jobs.rules.points import new_steps
from jobs.rules.recorded import recorded
from jobs.stages import ORDER, Stage
from jobs.teardown import steps
from tests import build

pytestmark = pytest.mark.django_db
SIGN_OFF = "abrasive-free sign-off"
HTMX = {"HX-Request": "true"}


@pytest.fixture
def job():
    """A card at cleaning with the shop's own steps, as a new one has them."""
    job = build.job(stage="cleaning", worked=True)
    job.steps.all().delete()
    Step.objects.bulk_create(new_steps(job))
    return job


def fresh(job):
    return Job.objects.get(pk=job.pk)


def blasting(job):
    return job.steps.get(abrasive=True)


def do_the_others(job, person):
    for step in job.steps.filter(list="cleaning", abrasive=False, at=None):
        steps.do_step(step, by=person)


def test_open_steps_are_missing_and_counted(job, person):
    assert guards.missing(job) == ["4 cleaning steps to do"]
    do_the_others(job, person)
    assert guards.missing(fresh(job)) == ["1 cleaning step to do"]
    steps.put_aside(blasting(job), by=person)
    assert guards.missing(fresh(job)) == []


def test_a_card_without_any_step_done_or_put_aside_is_not_ready(person):
    job = build.job(stage="cleaning", worked=True)
    job.steps.all().delete()
    assert guards.missing(job) == ["a cleaning step done or put aside"]
    with pytest.raises(ValidationError, match="a cleaning step done or put aside"):
        actions.move_stage(job, to=Stage.SPRING_TRIALS, by=person)


def test_ticking_the_blasting_step_says_that_it_was_blasted(job, person):
    do_the_others(job, person)
    steps.do_step(blasting(job), by=person)
    assert guards.missing(fresh(job)) == [SIGN_OFF]
    steps.sign_abrasive_free(fresh(job), by=person)
    assert guards.missing(fresh(job)) == []


def test_no_switch_says_that_a_ticked_blasting_was_none(job, client_as):
    client = client_as("technician")
    steps.do_step(blasting(job), by=client.person)
    answer = client.post(reverse("abrasive", args=[job.number, "not-blasted"]), headers=HTMX)
    assert answer.status_code == 422
    assert "take its tick away first" in answer.content.decode()
    assert SIGN_OFF in guards.missing(fresh(job))
    steps.say_blasted(job, blasted=True, by=client.person)
    with pytest.raises(ValidationError):
        steps.say_blasted(job, blasted=False, by=client.person)
    assert SIGN_OFF in guards.missing(fresh(job))


def test_what_was_signed_before_the_step_was_ticked_does_not_count(job, person):
    steps.say_blasted(job, blasted=True, by=person)
    steps.sign_abrasive_free(job, by=person)
    steps.do_step(blasting(job), by=person)
    assert SIGN_OFF in guards.missing(fresh(job))


def test_nothing_is_signed_before_the_blasting(job, person):
    with pytest.raises(ValidationError, match="not blasted"):
        steps.sign_abrasive_free(job, by=person)


def test_unticking_and_ticking_again_wants_it_signed_again(job, person):
    step = blasting(job)
    steps.do_step(step, by=person)
    steps.sign_abrasive_free(job, by=person)
    steps.undo_step(step, by=person)
    assert SIGN_OFF not in guards.missing(fresh(job))
    steps.do_step(step, by=person)
    assert SIGN_OFF in guards.missing(fresh(job))
    steps.sign_abrasive_free(job, by=person)
    assert SIGN_OFF not in guards.missing(fresh(job))


def test_a_sign_off_older_than_the_last_blasting_counts_for_nothing(job, person):
    """Whatever wrote it: the guard itself looks at when."""
    do_the_others(job, person)
    now = timezone.now()
    Step.objects.filter(pk=blasting(job).pk).update(at=now, by=person)
    signed = {"abrasive_free_by": person, "abrasive_free_at": now - datetime.timedelta(seconds=1)}
    Job.objects.filter(pk=job.pk).update(**signed)
    assert guards.missing(fresh(job)) == [SIGN_OFF]
    assert "not signed free of abrasive" in result_of(card_for(person, job.number), Stage.CLEANING)
    steps.sign_abrasive_free(job, by=person)
    assert guards.missing(fresh(job)) == []


def test_a_second_blasting_step_wants_a_second_sign_off(job, person):
    steps.do_step(blasting(job), by=person)
    steps.sign_abrasive_free(job, by=person)
    other = {"list_name": "cleaning", "text": "Bead the base plate", "parts": "", "blasts": True}
    steps.do_step(steps.add_step(job, by=person, **other), by=person)
    assert SIGN_OFF in guards.missing(fresh(job))


@pytest.mark.parametrize("stage", ["spring_trials", "bench_curve", "hand_back"])
def test_blasting_after_the_cleaning_is_asked_for_wherever_the_card_stands(job, person, stage):
    Job.objects.filter(pk=job.pk).update(stage=stage)
    assert SIGN_OFF not in guards.missing(fresh(job))
    steps.do_step(blasting(job), by=person)
    assert SIGN_OFF in guards.missing(fresh(job))


def test_a_step_of_ones_own_says_whether_it_is_abrasive(job, client_as):
    client, address = client_as("technician"), reverse("add_step", args=[job.number, "cleaning"])
    assert client.post(address, {"text": "Walnut shells", "abrasive": "on", "once": "a"}).status_code == 302
    assert job.steps.get(text="Walnut shells").abrasive
    refused = client.post(address, {"text": "Grit the lugs", "once": "b"}, headers=HTMX)
    assert refused.status_code == 422
    assert "sounds like abrasive" in refused.content.decode()
    assert 'value="Grit the lugs"' in refused.content.decode()
    client.post(address, {"text": "Grit the lugs", "abrasive": "on", "once": "b"}, headers=HTMX)
    assert job.steps.get(text="Grit the lugs").abrasive
    client.post(address, {"text": "Ultrasonic bath", "once": "c"})
    assert not job.steps.get(text="Ultrasonic bath").abrasive


@pytest.mark.parametrize("list_name", Step.List.values)
def test_abrasive_on_either_list_asks_for_the_sign_off(job, client_as, list_name):
    client, address = client_as("technician"), reverse("add_step", args=[job.number, list_name])
    refused = client.post(address, {"text": "Bead blast the body again", "once": "a"}, headers=HTMX)
    assert refused.status_code == 422
    assert "sounds like abrasive" in refused.content.decode()
    client.post(address, {"text": "Bead blast the body again", "abrasive": "on", "once": "a"})
    step = job.steps.get(text="Bead blast the body again")
    assert (step.list, step.abrasive) == (list_name, True)
    Job.objects.filter(pk=job.pk).update(stage="bench_curve")
    assert SIGN_OFF not in guards.missing(fresh(job))
    client.post(reverse("tick_step", args=[job.number, step.pk, "do"]))
    assert SIGN_OFF in guards.missing(fresh(job))
    Job.objects.filter(pk=job.pk).update(stage="hand_back")
    assert SIGN_OFF in guards.missing(fresh(job))


def test_a_step_is_put_aside_with_a_reason_and_taken_up_again(job, client_as):
    client, step = client_as("technician"), blasting(job)

    def tick(name, **sent):
        return client.post(reverse("tick_step", args=[job.number, step.pk, name]), sent, headers=HTMX)

    refused = tick("aside", why="  ")
    assert refused.status_code == 422
    assert "Write why the step is put aside." in refused.content.decode()
    assert (
        "put aside: plated, not to be blasted"
        in tick("aside", why="plated, not to be blasted").content.decode()
    )
    step.refresh_from_db()
    assert (step.aside, step.by, step.is_done) == ("plated, not to be blasted", client.person, False)
    tick("do")  # a stale page: what is put aside is not done by the way
    step.refresh_from_db()
    assert not step.is_done
    tick("undo")
    step.refresh_from_db()
    assert (step.aside, step.at) == ("", None)
    assert client.post(reverse("tick_step", args=[job.number, step.pk, "remove"])).status_code == 404


def test_put_aside_blasting_was_no_blasting(job, person):
    steps.put_aside(blasting(job), by=person)
    assert SIGN_OFF not in guards.missing(fresh(job))


def test_paper_says_what_was_put_aside_and_what_is_not_signed(job, person):
    steps.do_step(blasting(job), by=person)
    steps.put_aside(job.steps.get(text="Degrease"), by=person, why="came clean")
    said = recorded(fresh(job), job.build)
    assert said["abrasive_open"] is True
    degrease = next(step for step in said["steps"]["cleaning"] if step["text"] == "Degrease")
    assert degrease["aside"].startswith("came clean: ")
    assert degrease["done"] == ""
    steps.sign_abrasive_free(job, by=person)
    said = recorded(fresh(job), job.build)
    assert said["abrasive_free"].startswith(person.initials)
    assert "abrasive_open" not in said


def test_a_card_without_any_of_it_is_recorded_as_ever(job):
    """Else every sheet signed before would look outdated."""
    said = recorded(fresh(job), job.build)
    assert said["abrasive_free"] == ""
    assert "abrasive_open" not in said
    assert all(set(step) == {"text", "parts", "done"} for step in said["steps"]["cleaning"])


def test_rows_there_were_are_marked_by_their_words(job):
    named = ["Blast or bead outside, bores plugged", "Glass bead the body", "Degrease"]
    Step.objects.all().delete()
    for text in named:
        Step.objects.create(job=job, list="cleaning", text=text)
    Step.objects.create(job=job, list="assembly", text="Beaded edge greased")
    migration = importlib.import_module("jobs.migrations.0004_steps_say_abrasive_and_aside")
    migration.mark_abrasive(apps, SimpleNamespace(connection=connection))
    assert set(Step.objects.filter(abrasive=True).values_list("text", flat=True)) == set(named[:2])


def test_words_of_a_stage_are_those_of_its_guards():
    """One home: each need has its words beside the question it asks."""
    for stage in ORDER:
        for need in guards.NEEDS[stage]:
            assert need.words in needs_of(stage)
    assert "every cleaning step done or put aside" in needs_of(Stage.CLEANING)
