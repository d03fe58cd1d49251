"""The travel typed at the inspection is the head's, unless the head has another: then both are shown."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from django.utils import timezone

from jobs.curvework.actions import save_head
from jobs.models import InspectionPoint
from jobs.rules.points import TRAVEL, seed_points
from jobs.rules.recorded import recorded
from jobs.teardown.actions import answer_point
from jobs.teardown.travel import take_travel
from shop.rights import RIGHTS
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}
TAKEN = "The advance head&#x27;s travel is now 10.2 distributor degrees, as measured at the inspection."


@pytest.fixture
def job():
    seed_points()
    return build.job(stage="teardown", build=build.build(travel_stamped_deg=11, travel_measured_deg=None))


def point():
    return InspectionPoint.objects.get(key=TRAVEL)


def type_in(client, job, value, **headers):
    now, asked = job.inspections.filter(point__key=TRAVEL).first(), point()
    typed = {"value": value, "verdict": "good", "note": "", "version": now.version if now else ""}
    values = {f"p{asked.pk}-{name}": text for name, text in typed.items()}
    return client.post(reverse("answer_one", args=[job.number, asked.pk]), values, headers=HTMX)


def head_of(job):
    job.build.refresh_from_db()
    return job.build.travel_measured_deg


def card_of(client, job):
    return markup(client.get(reverse("card", args=[job.number])))


def take(client, job, seen="10.2", version=None):
    job.build.refresh_from_db()
    values = {"seen": seen, "version": job.build.version if version is None else version}
    return client.post(reverse("take_travel", args=[job.number]), values, follow=True)


def test_a_head_without_one_takes_the_travel_of_the_inspection_over_and_says_so(client_as, job):
    client = client_as("technician")
    answer = markup(type_in(client, job, "10,2"))
    assert TAKEN in answer
    assert head_of(job) == 10.2
    assert recorded(job, job.build)["head"]["travel_measured_deg"] == 10.2  # what the sheet prints
    entry = job.history.get(verb="took the travel over from the inspection")
    assert entry.by == client.person
    assert entry.detail["changes"] == {"travel measured (distributor deg)": ["", "10.2"]}
    card = card_of(client, job)
    assert "Travel measured</dt><dd>10.2" in card
    assert "travel-offer" not in card


def test_the_whole_list_sent_at_once_says_it_on_the_card(client_as, job):
    client = client_as("technician")
    values = {f"p{point().pk}-value": "10.2", f"p{point().pk}-verdict": "good"}
    page = client.post(reverse("answer_points", args=[job.number]), values, follow=True)
    assert TAKEN in page.content.decode()
    assert head_of(job) == 10.2


def test_a_head_with_another_keeps_it_until_somebody_takes_the_new_one_over(client_as, job):
    client = client_as("technician")
    save_head(job, {"travel_measured_deg": 11.5}, by=client.person, version=job.build.version)
    answer = type_in(client, job, "10.2").content.decode()
    both = "The inspection measured a travel of 10.2 distributor degrees; the advance head says 11.5"
    assert both in answer
    assert head_of(job) == 11.5
    assert both in card_of(client, job)
    assert "Take the 10.2 over into the head" in card_of(client, job)
    assert TAKEN in take(client, job).content.decode()
    assert head_of(job) == 10.2
    stood = job.build.version
    assert TAKEN in take(client, job, version=stood - 1).content.decode()  # tapped twice
    assert head_of(job) == 10.2
    assert job.build.version == stood
    assert job.history.filter(verb="took the travel over from the inspection").count() == 1
    assert "travel-offer" not in card_of(client, job)


def test_what_is_corrected_at_the_inspection_is_offered_and_what_is_taken_out_leaves_the_head(client_as, job):
    client = client_as("technician")
    type_in(client, job, "10.2")
    type_in(client, job, "10.4")
    assert head_of(job) == 10.2
    assert "Take the 10.4 over" in card_of(client, job)
    type_in(client, job, "")
    assert head_of(job) == 10.2
    assert "travel-offer" not in card_of(client, job)
    assert "measured anew since" in take(client, job, seen="10.4").content.decode()
    assert head_of(job) == 10.2


@pytest.mark.parametrize("version", ["1", "", "x", "9" * 30])
def test_nothing_is_taken_over_that_the_page_did_not_show(client_as, job, version):
    client = client_as("technician")
    save_head(job, {"travel_measured_deg": 11.5}, by=client.person, version=job.build.version)
    type_in(client, job, "10.2")
    assert "measured anew since" in take(client, job, seen="10.3").content.decode()
    assert "measured anew since" in take(client, job, version=version).content.decode()
    assert head_of(job) == 11.5


@pytest.mark.parametrize(
    ("unit", "typed", "ratio", "taken"),
    [
        ("distributor deg", "10.2", 2, 10.2),
        ("crank deg", "20.4", 2, 10.2),
        ("° at the crank", "10.2", 1, 10.2),
        ("mm", "10.2", 2, None),
    ],
)
def test_it_is_taken_over_in_distributor_degrees_whatever_the_list_asks_for(
    client_as, unit, typed, ratio, taken
):
    seed_points()
    InspectionPoint.objects.filter(key=TRAVEL).update(unit=unit)
    head = build.build(crank_per_shaft=ratio, travel_measured_deg=None)
    job = build.job(stage="teardown", build=head)
    type_in(client_as("technician"), job, typed)
    assert head_of(job) == taken


def test_a_travel_that_no_head_has_is_kept_as_measured_and_not_taken_over(client_as, job):
    client = client_as("technician")
    assert "No head is taken to have that: 1 to 30 can be." in markup(type_in(client, job, "41"))
    assert head_of(job) is None
    assert "over into the head" not in card_of(client, job)
    assert "No head is taken to have that" in markup(take(client, job, seen="41"))
    assert head_of(job) is None


def test_who_may_not_write_curve_work_fills_no_head(client_as, job, monkeypatch):
    monkeypatch.setitem(RIGHTS, "edit_curve", frozenset({"owner"}))
    client = client_as("technician")
    type_in(client, job, "10.2")
    assert head_of(job) is None
    assert "the advance head has none" in card_of(client, job)
    assert "over into the head" not in card_of(client, job)
    assert take(client, job).status_code == 403
    assert TAKEN in markup(take(client_as("owner"), job))
    assert head_of(job) == 10.2


def test_a_closed_card_and_the_counter_take_nothing_over(client_as, person, job):
    answer_point(job, point(), by=person, value=10.2, verdict="good")
    save_head(job, {"travel_measured_deg": 11.5}, by=person, version=job.build.version)
    with pytest.raises(PermissionDenied):
        take_travel(job, by=build.person("counter"), seen="10.2", version=job.build.version)
    with pytest.raises(ValidationError):
        take_travel(job, by=person, seen="10.2", version=job.build.version - 1)
    type(job).objects.filter(pk=job.pk).update(closed_at=timezone.now())
    with pytest.raises(PermissionDenied):
        take_travel(job, by=person, seen="10.2", version=job.build.version)
    assert take(client_as("owner"), job).status_code == 403
    assert head_of(job) == 11.5


def test_a_head_form_opened_before_is_told_of_the_travel_that_came_in(client_as, job):
    client, stood = client_as("technician"), job.build.version
    type_in(client, job, "10.2")
    sent = {"version": stood, "scale_deg": "0.5", "crank_per_shaft": "2", "travel_measured_deg": "12"}
    answer = client.post(reverse("head", args=[job.number]), sent)
    assert answer.status_code == 409
    assert "Now stands: <b>10.2" in answer.content.decode()
    assert head_of(job) == 10.2
