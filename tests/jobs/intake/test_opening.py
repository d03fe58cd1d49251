"""Opening a card: what it takes, what it refuses, and that two sends make one."""

import threading
from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from jobs.intake.actions import change_engine
from jobs.intake.opening import open_job, reopen
from jobs.models import AuditEntry, Job, Unit
from shop.models import Customer, Shop, new_key
from tests import build

FILLED = {
    "customer": "Marta Quill",
    "phone": "0555 0101",
    "unit-maker": "Ember & Stroud",
    "unit-number": "ES 14",
    "unit-cylinders": "4",
    "unit-trigger": "points",
    "unit-travel_stamped_deg": "11,5",
    "complaint": "Pinks at 3000",
    "came_with": "cap, no leads",
    "tray": "T 4",
    "promised_on": "2099-01-31",
    "estimate": "180",
    "agreed_limit": "250,50",
    "engine-vehicle": "Larkfield saloon",
    "engine-make": "Larkfield",
    "engine-displacement_cc": "1600",
    "engine-idle_crank_rpm": "750",
    "engine-top_crank_rpm": "5500",
}


def send(client, **changes):
    values = FILLED | {"once": new_key()} | changes
    return client.post(
        reverse("new_job"), {name: value for name, value in values.items() if value is not None}
    )


def test_counter_opens_a_card_in_one_send(client_as):
    client = client_as("counter")
    page = client.get(reverse("new_job"))
    assert page.status_code == 200
    answer = send(client)
    job = Job.objects.get()
    assert answer["Location"] == reverse("card", args=[job.number])
    assert (job.customer.name, job.customer.phone) == ("Marta Quill", "0555 0101")
    assert (job.unit.maker, job.unit.number, job.build.travel_stamped_deg) == (
        "Ember & Stroud",
        "ES 14",
        11.5,
    )
    assert (job.engine.make, job.engine.idle_crank_rpm) == ("Larkfield", 750)
    assert (job.tray, job.promised_on, str(job.agreed_limit)) == ("T 4", date(2099, 1, 31), "250.50")
    assert job.stage == "intake"
    assert job.steps.count() > 0
    assert "larkfield" in job.search_text
    entry = AuditEntry.objects.get(job=job, verb="opened the card")
    assert (entry.verb, entry.by) == ("opened the card", client.person)


def test_money_is_asked_for_in_the_shops_currency(client_as):
    Shop.objects.update_or_create(pk=1, defaults={"currency": "CHF"})
    text = client_as("counter").get(reverse("new_job")).content.decode()
    for name in ("Estimate", "Limit agreed"):
        assert "CHF" in text.split(f">{name}", 1)[1][:120]


def test_stranger_is_led_to_the_login(client):
    for answer in (client.get(reverse("new_job")), client.post(reverse("new_job"), FILLED)):
        assert answer.status_code == 302
        assert reverse("login") in answer["Location"]


def test_inactive_person_opens_nothing(technician):
    technician.is_active = False
    with pytest.raises(PermissionDenied):
        open_job(by=technician, unit=Unit(maker="Ember & Stroud"))


def test_page_of_a_new_card_changes_nothing(client_as):
    client_as("counter").get(reverse("new_job"), FILLED)
    assert not Job.objects.exists()


def test_same_form_sent_twice_makes_one_card(client_as):
    client = client_as("counter")
    key = new_key()
    first, second = send(client, once=key), send(client, once=key)
    assert first["Location"] == second["Location"]
    assert Job.objects.count() == 1


def test_same_form_filled_in_anew_makes_a_card_of_its_own(client_as):
    """Back to the form of the card just opened, with its old key, for the same customer's second unit."""
    client, key = client_as("counter"), new_key()
    second = {"unit-number": "ES 15", "complaint": "Misses when hot"}
    first, other, again = send(client, once=key), send(client, once=key, **second), send(client, once=key)
    assert [job.complaint for job in Job.objects.order_by("number")] == ["Pinks at 3000", "Misses when hot"]
    assert first["Location"] == again["Location"] != other["Location"]


def test_shop_stock_needs_no_customer(client_as):
    send(client_as("counter"), customer="", phone="", stock="on")
    assert Job.objects.get().is_stock


def test_engine_may_stay_unknown(client_as):
    empty = {name: "" for name in FILLED if name.startswith("engine-")}
    send(client_as("counter"), **empty)
    assert Job.objects.get().engine is None


def test_known_customer_is_taken_by_name(client_as):
    known = build.customer("Marta Quill", phone="0555 0101")
    send(client_as("counter"), customer="marta quill", phone="")
    assert Job.objects.get().customer == known
    assert Customer.objects.count() == 1


def test_customer_picked_from_the_list_is_the_one_meant(client_as):
    build.customer("Marta Quill", phone="0555 0101")
    meant = build.customer("Marta Quill", phone="0555 0202")
    client = client_as("counter")
    offered = client.get(reverse("customer_names"), {"customer": "marta"}).content.decode()
    assert "Marta Quill (0555 0202)" in offered
    send(client, customer="Marta Quill (0555 0202)", phone="")
    assert Job.objects.get().customer == meant


def test_two_customers_of_one_name_are_asked_about(client_as):
    build.customer("Marta Quill", phone="0555 0101")
    build.customer("Marta Quill", phone="0555 0202")
    answer = send(client_as("counter"), phone="")
    assert answer.status_code == 422
    assert "More than one customer has that name" in answer.content.decode()


def test_mistyped_name_makes_no_new_customer(client_as):
    build.customer("Marta Quill", phone="0555 0101")
    answer = send(client_as("counter"), customer="Marta Quil", phone="")
    assert answer.status_code == 422
    assert "give a phone number or an email" in answer.content.decode()
    assert Customer.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("engine-year", "1870", "too low"),
        ("engine-year", "2300", "too high"),
        ("engine-displacement_cc", "lots", "not a number"),
        ("engine-compression", "NaN", "not a number"),
        ("engine-compression", "inf", "not a number"),
        ("engine-compression", "55", "too high"),
        ("engine-idle_crank_rpm", "-750", "too low"),
        ("unit-travel_stamped_deg", "1,20,0", "is not a number"),
        ("engine-top_crank_rpm", "700", "must lie above the idle"),
        ("engine-make", "", "Whose engine is it?"),
        ("unit-maker", "", "Needed"),
        ("unit-cylinders", "99", "too high"),
        ("unit-travel_stamped_deg", "400", "too high"),
        ("unit-trigger", "steam", "Not on the list"),
        ("promised_on", "1870-05-01", "can&#x27;t be right"),
        ("promised_on", "soon", "Not a date"),
        ("estimate", "a lot", "not a number"),
        ("estimate", "-5", "too low"),
        ("email", "not-an-address", "Not an email address"),
        ("customer", "", "Whose unit is it?"),
    ],
)
def test_impossible_value_is_refused_beside_its_field_and_nothing_is_lost(client_as, field, typed, said):
    answer = send(client_as("counter"), **{field: typed})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert f'id="id_{field}_error"' in text
    assert not Job.objects.exists()
    kept = {name: value for name, value in FILLED.items() if name != field}
    assert all(value.replace("&", "&amp;") in text for value in kept.values())


@pytest.mark.parametrize(
    ("field", "typed", "kind"),
    [
        ("promised_on", "2020-01-31", "promised-in-the-past"),
        ("engine-compression", "16", "compression"),
        ("engine-idle_crank_rpm", "1700", "idle"),
        ("unit-cylinders", "6", "cylinders"),
        ("estimate", "900", "estimate-over-limit"),
    ],
)
def test_unusual_value_is_accepted_with_a_warning(client_as, field, typed, kind):
    client = client_as("counter")
    answer = send(client, **{field: typed, "engine-cylinders": "4"})
    assert answer.status_code == 302
    assert f'data-kind="{kind}"' in client.get(answer["Location"]).content.decode()


def test_plain_values_bring_no_warning(client_as):
    client = client_as("counter")
    assert 'class="warning"' not in client.get(send(client)["Location"]).content.decode()


@pytest.mark.django_db(transaction=True)
def test_cards_opened_at_once_get_different_numbers():
    person = build.person("counter")
    units = [build.unit() for _ in range(8)]
    numbers, failed = [], []

    def work(unit):
        try:
            numbers.append(open_job(by=person, unit=unit).number)
        except Exception as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=[unit]) for unit in units]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
    assert sorted(numbers) == list(range(1, 9))


def test_unit_that_came_back_gets_a_card_of_its_own(client_as):
    client = client_as("counter")
    old = build.job(closed_at="2026-01-05T10:00Z", stage="hand_back")
    run = build.run(old.build)
    answer = client.post(
        reverse("road_report", args=[old.number]),
        {"text": "pinks at 3000, pulled 2 degrees", "reopen": "1", "once": new_key()},
    )
    new = Job.objects.get(previous=old)
    assert answer["Location"] == reverse("card", args=[new.number])
    assert (new.unit, new.engine, new.customer) == (old.unit, old.engine, old.customer)
    assert new.complaint == "pinks at 3000, pulled 2 degrees"
    assert new.build != old.build
    assert new.build.travel_measured_deg == old.build.travel_measured_deg
    assert old.build.runs.get() == run
    assert not new.build.runs.exists()
    assert old.road_reports.get().text == "pinks at 3000, pulled 2 degrees"
    assert f"job {new.number}" in client.get(reverse("card", args=[old.number])).content.decode()


def test_road_report_alone_opens_no_card(client_as):
    old = build.job(closed_at="2026-01-05T10:00Z", stage="hand_back")
    client = client_as("technician")
    values = {"text": "runs well", "reopen": "", "once": new_key()}
    client.post(reverse("road_report", args=[old.number]), values)
    client.post(reverse("road_report", args=[old.number]), values)
    assert [report.text for report in old.road_reports.all()] == ["runs well"]
    assert Job.objects.count() == 1


def test_engine_changed_on_the_new_card_stays_as_it_was_on_the_old(technician):
    old = build.job(closed_at="2026-01-05T10:00Z", stage="hand_back")
    new = reopen(old, by=technician)
    change_engine(new, {"compression": 10.5}, by=technician, version=new.version)
    old.engine.refresh_from_db()
    assert old.engine.compression == 8.5
    assert Job.objects.get(pk=new.pk).engine.compression == 10.5


def test_suggestions_are_what_was_typed_before(client_as):
    build.unit(maker="Gadwall")
    assert '<option value="Gadwall">' in client_as("counter").get(reverse("new_job")).content.decode()


def test_promise_for_tomorrow_is_nothing_unusual(client_as):
    client = client_as("counter")
    tomorrow = str(timezone.localdate() + timedelta(days=1))
    shown = client.get(send(client, promised_on=tomorrow)["Location"]).content.decode()
    assert "promised-in-the-past" not in shown
