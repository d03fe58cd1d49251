"""An intake starts from what is known: the customer's engines, and the earlier card of the unit."""

import re

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from curves.models import Run, SpringMove
from curves.rows import stock
from jobs.intake import opening
from jobs.models import Inspection, Job, Unit
from jobs.search import hits
from shop.models import new_key
from tests import build
from tests.jobs.papers.paperwork import finished_job
from tests.reading import markup

pytestmark = pytest.mark.django_db
EMPTY = {"customer": "", "unit-maker": "", "unit-number": "", "engine-make": "", "engine-vehicle": ""}


@pytest.fixture
def counter_client(client_as):
    return client_as("counter")


def send(client, **typed):
    return client.post(reverse("new_job"), EMPTY | {"once": new_key()} | typed)


def shown(answer):
    """The fields of the page that came back, as a browser would send them again."""
    form = markup(answer)
    fields = dict(re.findall(r'<input[^>]*? name="([^"]+)"[^>]*? value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)"[^>]*selected', options)
        fields[name] = chosen[1] if chosen else ""
    for name, text in re.findall(r'<textarea name="([^"]+)"[^>]*>\s?(.*?)</textarea>', form, re.S):
        fields[name] = text
    if 'name="stock"' in form:
        fields.pop("stock", None)
        if re.search(r'name="stock"[^>]*checked', form):
            fields["stock"] = "on"
    return {name: value.replace("&amp;", "&") for name, value in fields.items()}


def closed(**fields):
    job = build.job(stage="hand_back", closed_at=timezone.now(), **fields)
    hits.reindex(job)
    return job


# A customer's engines


def test_choosing_the_customer_offers_their_engines_the_newest_first(counter_client):
    marta = build.customer("Marta Quill")
    for cc in (1100, 1200, 1300, 1400, 1500, 1500):
        build.job(customer=marta, engine=build.engine(displacement_cc=cc))
    build.job(engine=build.engine(displacement_cc=9999), customer=build.customer("Ivo Brandt"))
    text = send(counter_client, customer="Marta Quill", look="engine").content.decode()
    assert re.findall(r"Larkfield L4, (\d+) cc", text) == ["1500", "1400", "1300", "1200"]
    assert not Job.objects.filter(opened_by=counter_client.person).exists()
    live = counter_client.get(reverse("engine_starts"), {"customer": "marta quill"}).content.decode()
    assert re.findall(r"Larkfield L4, (\d+) cc", live) == ["1500", "1400", "1300", "1200"]


def test_one_tap_fills_what_is_empty_and_opens_nothing(counter_client):
    job = build.job(engine=build.engine(compression=9.25, year=1961))
    typed = {"customer": "Marta Quill", "complaint": "Pinks & hunts", "unit-maker": "Gadwall", "tray": "T 4"}
    fields = shown(send(counter_client, **typed, take=str(job.engine_id)))
    assert fields["engine-vehicle"] == "Larkfield saloon"
    assert (fields["engine-compression"], fields["engine-year"]) == ("9.25", "1961")
    assert (fields["engine-use"], fields["engine-induction"]) == ("road", "one_carb")
    assert {name: fields[name] for name in typed} == typed
    assert Job.objects.count() == 1
    counter_client.post(reverse("new_job"), fields)
    new = Job.objects.exclude(pk=job.pk).get()
    assert (new.engine.compression, new.engine.year, new.customer) == (9.25, 1961, job.customer)


def test_what_was_typed_is_not_overwritten_without_saying_so(counter_client):
    job = build.job(engine=build.engine(year=1961))
    typed = {"customer": "Marta Quill", "engine-vehicle": "Larkfield van", "engine-compression": "8,5"}
    answer = send(counter_client, **typed, take=str(job.engine_id))
    text, fields = markup(answer), shown(answer)
    assert fields["engine-vehicle"] == "Larkfield van"
    assert fields["engine-compression"] == "8,5"  # says the same
    assert fields["engine-year"] == "1961"
    assert "Kept as you typed it:</b> vehicle or machine (there: Larkfield saloon)." in text
    fields = shown(counter_client.post(reverse("new_job"), fields | {"take_over": str(job.engine_id)}))
    assert fields["engine-vehicle"] == "Larkfield saloon"


def test_an_engine_of_somebody_else_is_not_filled_in(counter_client):
    other = build.job(customer=build.customer("Ivo Brandt"))
    build.customer("Marta Quill")
    for customer in ("Marta Quill", "Nobody Known", ""):
        fields = shown(send(counter_client, customer=customer, take=str(other.engine_id)))
        assert fields.get("engine-make", "") == ""


def test_two_customers_of_one_name_are_offered_nothing_until_one_is_picked(counter_client):
    build.job(customer=build.customer("Marta Quill", phone="0555 0101"))
    build.customer("Marta Quill", phone="0555 0202")

    def look(name):
        return markup(send(counter_client, customer=name, look="engine"))

    assert "Take it over" not in look("Marta Quill")
    assert "Take it over" in look("Marta Quill (0555 0101)")
    assert "Take it over" not in look("Marta Quill (0555 0202)")


def test_practice_units_are_nobodys_past(counter_client):
    marta = build.customer("Marta Quill")
    job = closed(customer=marta, build=build.build(practice_seed=7), unit=build.unit(number="ES 14"))
    text = markup(send(counter_client, customer="Marta Quill", **{"unit-number": "ES 14"}, look="unit"))
    assert "Take it over" not in text
    assert "Start from it" not in text
    answer = send(counter_client, customer="Marta Quill", **{"unit-maker": "E"}, previous=str(job.number))
    assert answer.status_code == 422
    assert Job.objects.count() == 1


# The unit's earlier card


@pytest.mark.parametrize(
    "typed",
    [
        {"unit-number": "es14"},
        {"unit-number": "ES-14", "unit-maker": "ember & stroud"},
        {"unit-number": "ES 14", "unit-date_code": "3/62"},
        {"earlier": "41"},
    ],
)
def test_number_of_the_unit_or_of_its_card_finds_the_earlier_card(counter_client, typed):
    closed(number=41, unit=build.unit(number="ES 14"))
    closed(number=42, unit=build.unit(number="ES 144"))
    page = markup(send(counter_client, **typed, look="unit"))
    live = markup(counter_client.get(reverse("unit_starts"), typed))
    for text in (page, live):
        assert re.findall(r"This unit was here as job (\d+)", text) == ["41"]
        assert 'name="start" value="41"' in text


@pytest.mark.parametrize(
    "typed",
    [
        {"unit-number": "ES 1"},
        {"unit-number": "ES 14", "unit-maker": "Gadwall"},
        {"unit-number": "ES 14", "unit-date_code": "4 62"},
        {"unit-number": ""},
        {"unit-number": "%"},
        {"earlier": "40"},
        {"earlier": "99999999999999999999"},
        {"earlier": "-41"},
    ],
)
def test_another_unit_is_not_taken_for_it(counter_client, typed):
    closed(number=41, unit=build.unit(number="ES 14"))
    answer = send(counter_client, **typed, look="unit")
    assert answer.status_code == 200
    assert "Start from it" not in markup(answer)


def start(client, job, **typed):
    """Tap "start from it", then open the card with what the page then holds."""
    fields = shown(send(client, **typed, start=str(job.number)))
    answer = client.post(reverse("new_job"), fields | {"complaint": "Pinks again"})
    return answer, Job.objects.filter(previous=job).first()


def test_new_card_starts_from_the_earlier_one_with_another_owner(counter_client):
    before = finished_job()
    Inspection.objects.filter(job=before).update(note="of the first visit")
    spring = build.spring("P 7")
    build.run(before.build, kind=Run.Kind.FINAL, primary=spring)
    stock.settle(before.build, by=build.person())
    Job.objects.filter(pk=before.pk).update(closed_at=timezone.now())
    answer, new = start(counter_client, before, customer="Ivo Brandt", phone="0555 0102")
    assert answer["Location"] == reverse("card", args=[new.number])
    assert (new.unit, new.customer.name, new.complaint) == (before.unit, "Ivo Brandt", "Pinks again")
    assert new.engine is None  # that was the first owner's
    assert new.build.travel_measured_deg == before.build.travel_measured_deg
    assert new.build.target.points.count() == before.build.target.points.count()
    assert stock.in_unit(new.build) == {spring.pk: stock.Held(SpringMove.Kind.CAME_BACK, came=1)}
    assert not new.build.runs.exists()
    assert not new.inspections.exists()
    assert Unit.objects.count() == 1
    assert Job.objects.get(pk=before.pk).customer.name == "Marta Quill"


def test_owner_and_engine_come_along_where_nobody_else_was_typed(counter_client):
    before = closed(customer=build.customer("Marta Quill", phone="0555 0101"))
    _, new = start(counter_client, before)
    assert (new.customer, new.engine) == (before.customer, before.engine)
    assert new.history.filter(verb="changed the unit").count() == 0


def test_what_is_typed_of_the_unit_stands_on_its_cards(counter_client):
    before = closed(unit=build.unit(capsule=""))
    _, new = start(counter_client, before, **{"unit-capsule": "7 kPa"})
    assert Unit.objects.get().capsule == "7 kPa"
    assert new.history.get(verb="changed the unit").detail["changes"] == {"vacuum capsule": ["", "7 kPa"]}


def test_it_is_said_what_stayed_as_typed_of_the_unit(counter_client):
    before = closed()
    answer = send(counter_client, **{"unit-date_code": "5 63"}, start=str(before.number))
    assert "date code (there: 3 62)" in markup(answer)
    again = counter_client.post(reverse("new_job"), shown(answer) | {"start_over": str(before.number)})
    assert shown(again)["unit-date_code"] == "3 62"


@pytest.mark.parametrize("changed", [{"unit-number": "ES 9"}, {"unit-maker": "Gadwall"}])
def test_another_units_card_does_not_start_from_it(counter_client, changed):
    before = closed(unit=build.unit(number="ES 14"))
    fields = shown(send(counter_client, start=str(before.number)))
    answer = counter_client.post(reverse("new_job"), fields | changed)
    assert answer.status_code == 422
    assert f"Job {before.number} is of a unit with" in answer.content.decode()
    assert Job.objects.count() == 1
    assert Unit.objects.get().number == "ES 14"


def test_earlier_number_alone_is_not_passed_over(counter_client):
    before = closed(number=41)
    typed = {"customer": "Ivo", "phone": "0555", "unit-maker": "Gadwall", "earlier": "41"}
    answer = send(counter_client, **typed)
    assert answer.status_code == 422
    assert "does not start from job 41 yet" in answer.content.decode()
    assert list(Job.objects.all()) == [before]


def test_not_to_start_from_it_makes_a_unit_of_its_own(counter_client):
    before = closed(unit=build.unit(number="ES 14"))
    fields = shown(send(counter_client, start=str(before.number)))
    fields = shown(counter_client.post(reverse("new_job"), fields | {"part": "1"}))
    assert fields["unit-number"] == "ES 14"
    counter_client.post(reverse("new_job"), fields)
    new = Job.objects.exclude(pk=before.pk).get()
    assert new.previous is None
    assert new.unit != before.unit


def test_unit_that_is_on_the_bench_is_not_opened_again(counter_client, person):
    before = closed(number=41, unit=build.unit(number="ES 14"))
    fields = shown(send(counter_client, start="41"))
    still = opening.reopen(before, by=person)
    answer = counter_client.post(reverse("new_job"), fields)
    assert answer.status_code == 422
    assert f"still on the bench as job {still.number}" in markup(answer)
    text = markup(send(counter_client, earlier="41", look="unit"))
    assert f"is on the bench now as job {still.number}." in text
    assert "Start from it" not in text
    with pytest.raises(PermissionDenied):
        opening.reopen(before, by=person)
    assert Job.objects.count() == 2


def test_start_sent_twice_opens_one_card(counter_client):
    before = closed()
    fields = shown(send(counter_client, start=str(before.number)))
    first, second = (counter_client.post(reverse("new_job"), fields) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Job.objects.filter(previous=before).count() == 1


@pytest.mark.parametrize("filled", [{"take": "x"}, {"start": "x"}, {"start": ""}, {"take": "", "part": "1"}])
def test_nonsense_behind_a_button_fills_nothing(counter_client, filled):
    answer = send(counter_client, **filled, complaint="hunts")
    assert answer.status_code == 200
    assert shown(answer)["complaint"] == "hunts"
