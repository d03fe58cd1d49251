"""A unit has one owner: only its newest card gives it to anybody or brings it back."""

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.intake import opening, returned
from jobs.models import Job
from jobs.moves import actions, closing
from shop.idempotency import new_key
from shop.models import Customer
from tests import build
from tests.jobs.intake.test_opening import FILLED
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    """A rebuilt unit on the shop's shelf."""
    return build.job(stage="hand_back", customer=None, closed_at=timezone.now())


def close(job):
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    return Job.objects.get(pk=job.pk)


def sold(shelf, by):
    new = close(opening.reopen(shelf, by=by))
    actions.allocate(new, customer=build.customer("Ivo Brandt"), by=by)
    return new, "(handed over)"


def scrapped(shelf, by):
    job = opening.reopen(shelf, by=by)
    data = {"things": [], "fee": 0, "labour": 0, "collected_by": "", "consent_by": "x", "reason": "x"}
    return closing.close_unrepaired(job, "scrapped", data, by=by, version=job.version), "(scrapped)"


def on_the_bench(shelf, by):
    return opening.reopen(shelf, by=by), "on the bench"


@pytest.mark.parametrize("happened", [sold, scrapped, on_the_bench])
def test_an_older_card_neither_gives_the_unit_away_nor_brings_it_back(client_as, shelf, happened, owner):
    newest, said = happened(shelf, owner)
    client = client_as(owner)
    page = markup(client.get(reverse("card", args=[shelf.number])))
    assert f'Came back as <a href="/jobs/{newest.number}/"' in page
    assert "Give the unit to a customer" not in page
    assert "open a new card" not in page
    address = reverse("allocate", args=[shelf.number])
    for answer in (client.get(address), client.post(address, {"customer": "Marta", "phone": "1"})):
        assert answer.status_code == 403
        assert f"job {newest.number}" in markup(answer)
    report = {"text": "pinks at 3000", "reopen": "1", "once": new_key()}
    answer = client.post(reverse("road_report", args=[shelf.number]), report)
    assert answer.status_code == 422
    text = markup(answer)
    assert f"job {newest.number}" in text
    assert said in text
    assert "pinks at 3000" in text  # as typed
    for act in (
        lambda: actions.allocate(shelf, customer=build.customer("Marta"), by=owner),
        lambda: opening.reopen(shelf, by=owner),
    ):
        with pytest.raises(returned.NotNewest, match=f"job {newest.number}"):
            act()
    assert (Job.objects.count(), shelf.road_reports.count()) == (2, 0)
    assert Job.objects.get(pk=shelf.pk).is_stock
    assert not Customer.objects.filter(phone="1").exists()


def test_intake_starts_from_no_older_card(client_as, counter, owner, shelf):
    newest, _ = scrapped(shelf, owner)
    client = client_as(counter)
    sent = FILLED | {"previous": shelf.number, "earlier": shelf.number, "once": new_key()}
    answer = client.post(reverse("new_job"), sent)
    assert answer.status_code == 422
    assert f"This unit was here again as job {newest.number} (scrapped)" in answer.content.decode()
    asked = client.get(reverse("unit_starts"), {"earlier": shelf.number}).content.decode()
    assert f'value="{newest.number}"' in asked  # its old tag leads to the newest card
    assert returned.to_start_from(newest.number) == (newest, "")
    assert Job.objects.count() == 2


def test_intake_that_is_overtaken_keeps_what_was_typed(client_as, counter, shelf, monkeypatch):
    stood = returned.to_start_from(shelf.number)
    newest, _ = on_the_bench(shelf, counter)
    monkeypatch.setattr(returned, "to_start_from", lambda number: stood)  # as the form found it
    unit = {"unit-maker": shelf.unit.maker, "unit-number": shelf.unit.number}
    sent = FILLED | unit | {"previous": shelf.number, "earlier": shelf.number, "once": new_key()}
    answer = client_as(counter).post(reverse("new_job"), sent)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert f"on the bench as job {newest.number}" in text
    assert "Pinks at 3000" in text
    assert Job.objects.count() == 2


def test_two_open_cards_of_one_unit_are_told_apart_and_the_newest_goes_on(shelf, counter):
    """As shops may have them, from when two tablets could open two."""
    first = opening.reopen(shelf, by=counter)
    second = build.job(unit=shelf.unit, previous=shelf)
    assert returned.newer_card(shelf) == second
    closed = close(second)
    assert returned.newer_card(closed) == first
    close(first)
    assert returned.newer_card(closed) is None
    assert opening.reopen(closed, by=counter).previous == closed


def test_a_road_report_alone_still_goes_on_the_older_card(client_as, shelf, owner):
    scrapped(shelf, owner)
    report = {"text": "ran well till then", "reopen": "", "once": new_key()}
    assert client_as(owner).post(reverse("road_report", args=[shelf.number]), report).status_code == 302
    assert shelf.road_reports.get().text == "ran well till then"
