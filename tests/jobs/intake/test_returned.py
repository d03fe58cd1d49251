"""A unit that came back starts from its target and its warranty; its readings are made anew."""

import html
import re
from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.urls import reverse
from django.utils import timezone

from curves.models import Build, Run
from curves.rows import stock
from jobs.curvework import actions
from jobs.intake import actions as intake
from jobs.intake import opening
from jobs.models import Engine, Job
from jobs.moves import actions as actions_of_moves
from jobs.moves import closing
from shop.models import Customer
from tests import build
from tests.jobs.papers.paperwork import finished_job

pytestmark = pytest.mark.django_db


def handed_back(**fields):
    job = finished_job()
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now(), **fields)
    return Job.objects.get(pk=job.pk)


def test_target_comes_along_and_the_readings_do_not(counter):
    before = handed_back()
    new = opening.reopen(before, by=counter)
    points = ("crank_rpm", "crank_deg", "tolerance_crank_deg")
    stood = list(before.build.target.points.values_list(*points))
    assert stood
    assert list(new.build.target.points.values_list(*points)) == stood
    assert new.build.target.initial_crank_deg == before.build.target.initial_crank_deg
    assert new.build.target.pk != before.build.target.pk
    assert not new.build.runs.exists()
    assert not new.inspections.exists()
    assert new.history.get(verb="took the target over").detail["from_card"] == before.number


def test_card_without_a_target_comes_back_without_one(counter):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    new = opening.reopen(job, by=counter)
    assert not hasattr(Job.objects.get(pk=new.pk).build, "target")


def given_to_another_engine(by):
    """An exchange unit that went on another engine than it was rebuilt for, and the words for that one."""
    shelf = finished_job(customer=None)
    Job.objects.filter(pk=shelf.pk).update(closed_at=timezone.now())
    owner, engine = (
        Customer(name="Ivo Brandt", phone="0555 0102"),
        Engine(make="Pellgrove", vehicle="Cruiser"),
    )
    return actions_of_moves.allocate(shelf, customer=owner, engine=engine, by=by), shelf.engine.in_full


def test_unit_on_another_engine_comes_back_with_what_was_agreed_for_the_earlier(client_as, owner):
    given, earlier = given_to_another_engine(owner)
    new = opening.reopen(given, by=owner)
    client = client_as(owner)
    for address in (f"/jobs/{new.number}/?open=spring_trials", f"/jobs/{new.number}/target/"):
        page = html.unescape(client.get(address).content.decode())
        assert f"agreed for {earlier}; the unit goes on Cruiser: Pellgrove now" in page, address
    again = Job.objects.get(pk=new.pk)
    Job.objects.filter(pk=new.pk).update(closed_at=timezone.now())
    assert opening.reopen(again, by=owner).agreed_for == earlier  # however often it comes back


def test_unit_that_comes_back_on_another_engine_says_what_its_target_was_agreed_for(counter):
    before = handed_back()
    other = opening.reopen(before, by=counter, engine=build.engine(make="Pellgrove", vehicle="Cruiser"))
    assert other.agreed_for == before.engine.in_full
    same = handed_back()
    assert opening.reopen(same, by=counter).agreed_for == ""


def test_engine_typed_anew_on_the_card_of_a_unit_that_came_back_is_not_what_its_target_was_agreed_for(
    client_as, owner
):
    before = handed_back()
    earlier, new = before.engine.in_full, Job.objects.get(pk=opening.reopen(before, by=owner).pk)
    stood = {
        field.name: getattr(new.engine, field.name) for field in Engine._meta.fields if field.name != "id"
    }

    def typed(**figures):
        job = Job.objects.get(pk=new.pk)
        intake.change_engine(job, stood | figures, by=owner, version=job.version)
        return html.unescape(words(client_as(owner), new))

    page = typed(make="Pellgrove", vehicle="Cruiser", displacement_cc=2200)
    assert f"agreed for {earlier}; the unit goes on Cruiser: Pellgrove" in page
    assert f"agreed for {earlier}; the unit goes on that engine as it is written here now" in typed(
        idle_crank_rpm=710
    )
    assert "agreed for" not in typed()  # as it was


def test_engine_put_right_after_the_target_was_saved_here_is_what_it_was_agreed_for(owner):
    new = Job.objects.get(pk=opening.reopen(handed_back(), by=owner).pk)
    actions.save_target(new, {}, [(1000, 4, 1), (3000, 20, 1)], by=owner, version=1)
    new = Job.objects.get(pk=new.pk)
    intake.change_engine(new, {"make": "Pellgrove"}, by=owner, version=new.version)
    assert Job.objects.get(pk=new.pk).agreed_for == ""


def test_target_saved_anew_is_agreed_for_the_engine_as_it_is(client_as, owner):
    given, _ = given_to_another_engine(owner)
    new = Job.objects.get(pk=opening.reopen(given, by=owner).pk)
    actions.save_target(new, {}, [(1000, 4, 1), (3000, 20, 1)], by=owner, version=1)
    assert Job.objects.get(pk=new.pk).agreed_for == ""
    assert "were agreed for" not in words(client_as(owner), new)


def test_cards_that_came_back_before_are_told_while_their_target_is_the_earlier_one(owner):
    given, earlier = given_to_another_engine(owner)
    first = opening.reopen(given, by=owner)
    Job.objects.filter(pk=first.pk).update(closed_at=timezone.now())
    second = Job.objects.get(pk=opening.reopen(Job.objects.get(pk=first.pk), by=owner).pk)
    keys = [first.pk, second.pk]
    fill = import_module("jobs.migrations.0018_engine_that_was_agreed_for_on_a_return").fill
    Job.objects.filter(pk__in=keys).update(agreed_for="")
    fill(apps, None)
    assert [Job.objects.get(pk=key).agreed_for for key in keys] == [earlier, earlier]
    actions.save_target(second, {}, [(1000, 4, 1), (3000, 20, 1)], by=owner, version=1)
    fill(apps, None)
    assert Job.objects.get(pk=second.pk).agreed_for == ""


def test_without_a_target_nothing_comes_back_as_agreed_for_another(owner):
    given, _ = given_to_another_engine(owner)
    given.build.target.delete()
    assert opening.reopen(Job.objects.get(pk=given.pk), by=owner).agreed_for == ""


@pytest.mark.parametrize(("days", "said"), [(0, "in warranty until"), (-1, "warranty ended")])
def test_head_of_a_card_says_whether_its_warranty_holds(client_as, counter, days, said):
    until = timezone.localdate() + timedelta(days=days)
    before = handed_back(warranty_until=until)
    client = client_as("counter")
    line = f"{said} {until:%-d %b %Y}"
    assert line in client.get(reverse("card", args=[before.number])).content.decode()
    new = opening.reopen(before, by=counter)
    page = client.get(reverse("card", args=[new.number])).content.decode()
    assert f"{line}, from job {before.number}" in page


def test_unit_that_came_back_in_time_stays_in_warranty(client_as, counter):
    before = handed_back(warranty_until=timezone.localdate() - timedelta(days=5))
    new = opening.reopen(before, by=counter)
    Job.objects.filter(pk=new.pk).update(opened_at=timezone.now() - timedelta(days=6))
    page = client_as("counter").get(reverse("card", args=[new.number])).content.decode()
    assert "in warranty until" in page


def closed_unrepaired(job, by, ending="returned"):
    collected, consent = ("x", "") if ending == "returned" else ("", "x")
    data = {
        "things": [],
        "fee": 0,
        "labour": 0,
        "collected_by": collected,
        "consent_by": consent,
        "reason": "x",
    }
    closing.close_unrepaired(job, ending, data, by=by, version=job.version)
    return Job.objects.get(pk=job.pk)


def test_warranty_outlives_a_return_that_gave_none(client_as, owner):
    first = handed_back(warranty_until=timezone.localdate() + timedelta(days=300))
    until = f"{first.warranty_until:%-d %b %Y}"
    job = closed_unrepaired(opening.reopen(first, by=owner), owner)
    for _ in range(2):
        job = opening.reopen(job, by=owner)
        page = client_as("counter").get(reverse("card", args=[job.number])).content.decode()
        assert f"in warranty until {until}, from job {first.number}" in page
        Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
        job.refresh_from_db()


@pytest.mark.parametrize("ending", ["kept", "scrapped"])
def test_what_is_scrapped_or_kept_for_parts_is_in_no_warranty_on_any_of_its_cards(client_as, owner, ending):
    first = handed_back(warranty_until=timezone.localdate() + timedelta(days=300))
    second = closed_unrepaired(opening.reopen(first, by=owner), owner, ending)
    third = opening.reopen(second, by=owner)  # kept for parts, and rebuilt after all
    for job in (first, second, third):
        assert "in warranty" not in words(client_as("counter"), job), job.number
    given = timezone.localdate() + timedelta(days=20)
    Job.objects.filter(pk=third.pk).update(closed_at=timezone.now(), warranty_until=given)
    assert f"in warranty until {given:%-d %b %Y}" in words(client_as("counter"), third)


def test_warranty_is_held_against_the_day_of_the_newest_return_and_the_newest_given(client_as, owner):
    first = handed_back(warranty_until=timezone.localdate() - timedelta(days=5))
    second = closed_unrepaired(opening.reopen(first, by=owner), owner)
    Job.objects.filter(pk=second.pk).update(opened_at=timezone.now() - timedelta(days=9))
    third = opening.reopen(second, by=owner)
    page = client_as("counter").get(reverse("card", args=[third.number])).content.decode()
    assert f"warranty ended {first.warranty_until:%-d %b %Y}, from job {first.number}" in page
    given = timezone.localdate() + timedelta(days=20)
    Job.objects.filter(pk=third.pk).update(closed_at=timezone.now(), warranty_until=given)
    fourth = opening.reopen(Job.objects.get(pk=third.pk), by=owner)
    page = client_as("counter").get(reverse("card", args=[fourth.number])).content.decode()
    assert f"in warranty until {given:%-d %b %Y}, from job {third.number}" in page


def words(client, job, stage="spring_trials"):
    Job.objects.filter(pk=job.pk).update(stage=stage)
    return " ".join(re.sub(r"<[^>]+>", " ", client.get(f"/jobs/{job.number}/").content.decode()).split())


def test_card_says_what_came_from_the_earlier_one_until_it_is_changed(client_as, owner):
    job = finished_job()
    Build.objects.filter(pk=job.build_id).update(travel_measured_deg=12)
    spring = build.spring(quantity=1)
    run = job.build.runs.get(kind=Run.Kind.FINAL)
    Run.objects.filter(pk=run.pk).update(primary=spring, secondary=None)
    stock.settle(job.build, by=owner)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    new = opening.reopen(Job.objects.get(pk=job.pk), by=owner)
    client, source = client_as(owner), f"job {job.number}"
    said = words(client, new)
    assert f"As measured on {source} : measure anew" in said
    assert f"As agreed on {source} ." in said
    assert f"{spring} hangs in it, as it left {source} ." in said
    form = client.get(reverse("run_new", args=[new.number]) + "?kind=as_received").context["form"]
    assert form["primary"].value() == spring.pk

    fresh = Job.objects.get(pk=new.pk)
    actions.save_head(fresh, {"travel_measured_deg": 12.5}, by=owner, version=1)
    points = [(1000, 4, 1), (3000, 20, 1)]
    actions.save_target(fresh, {"note": "asked for less"}, points, by=owner, version=1)
    other = build.spring(label="other", quantity=1)
    values = {"kind": Run.Kind.TRIAL, "frame": "crank", "primary": other, "secondary": None}
    actions.add_run(fresh, values, [], by=owner)
    assert source not in words(client, new).split("Advance head")[1].split("Target")[0]
    assert "As agreed on" not in words(client, new)


def test_a_target_of_its_own_comes_from_nowhere(client_as, owner):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    new = opening.reopen(job, by=owner)
    actions.save_target(new, {}, [(1000, 4, 1), (3000, 20, 1)], by=owner, version=0)
    said = words(client_as(owner), new)
    assert "As agreed on" not in said
    assert "hang in it" not in said
