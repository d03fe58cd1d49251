"""Trays: found as people write them, said in the hit with what waits, and their tag one tap away."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, Sheet
from jobs.moves import closing
from jobs.papers import building
from jobs.search import hits
from shop.models import Shop, new_key
from tests import build
from tests.jobs.papers.paperwork import text_of
from tests.reading import markup

pytestmark = pytest.mark.django_db


def in_tray(tray, **fields):
    job = build.job(tray=tray, **fields)
    hits.reindex(job)
    return job


@pytest.mark.parametrize(
    ("tray", "asked"),
    [
        ("7", "tray 7"),
        ("7", "tray7"),
        ("7", "Tray 07"),
        ("7", "tray no 7"),
        ("7", "Tray No. 07"),
        ("T 4", "tray number t 4"),
        ("No 7", "tray no 7"),
        ("07", "tray 7"),
        ("007", "TRAY 07"),
        ("T 4", "tray t 4"),
        ("T 4", "tray t4"),
        ("T-04", "tray t4"),
        ("T4", "Tray T-04"),
        ("R1", "tray r1"),
        ("0", "tray 0"),
        ("A", "tray a"),
    ],
)
def test_tray_is_found_before_all_else(tray, asked):
    meant = in_tray(tray)
    for other in ("70", "17", "T 44", "R11", "", "77"):
        in_tray(other, complaint="In tray number 7, T4, R1, A or 0 it lay before.")
    assert hits.find(asked).hits[0].job == meant


def test_what_lies_in_the_tray_now_stands_before_what_lay_there():
    now = in_tray("7")
    before = in_tray("7", stage="hand_back", closed_at=timezone.now())
    assert [hit.job for hit in hits.find("tray 7").hits] == [now, before]


def test_tray_and_another_word_are_both_asked_for():
    meant = in_tray("7", complaint="Hunts at idle")
    in_tray("7", complaint="Pinks")
    in_tray("8", complaint="Hunts at idle")
    assert [hit.job for hit in hits.find("tray 7 hunts").hits] == [meant]
    assert [hit.job for hit in hits.find("hunts tray07").hits] == [meant]


@pytest.mark.parametrize("asked", ["tray", "tray (", "tray [a-z", "tray .*", "tray \\", "tray " + "9" * 150])
def test_what_means_no_tray_breaks_nothing(asked):
    in_tray("7")
    hits.find(asked)


def test_hit_says_tray_promise_lateness_and_what_is_missing(client_as):
    today = timezone.localdate()
    late = in_tray("7", promised_on=today - timedelta(days=3))
    in_tray("8", promised_on=today + timedelta(days=3))
    client = client_as("counter")
    said = markup(client.get(reverse("search"), {"words": "tray 7"}))
    assert "tray 7" in said
    assert "late by 3 days" in said
    assert f"promised {late.promised_on:%-d %b %Y}" in said
    Job.objects.filter(pk=late.pk).update(stage="hand_back")
    said = markup(client.get(reverse("search"), {"words": "tray 7"}))
    assert "missing: a signed curve sheet" in said
    said = markup(client.get(reverse("search"), {"words": "tray 8"}))
    assert "late by" not in said


def test_tag_is_ordered_with_the_card_and_once(client_as):
    client, key = client_as("counter"), new_key()
    values = {"stock": "on", "unit-maker": "Ember & Stroud", "tray": "7", "once": key}
    place = client.post(reverse("new_job"), values)["Location"]
    assert client.post(reverse("new_job"), values)["Location"] == place
    tag = Sheet.objects.get()
    assert (tag.kind, tag.content["tag"]["tray"]) == (Sheet.Kind.TRAY_TAG, "7")
    page = client.get(place).content.decode()
    assert f'action="{reverse("tray_tag", args=[tag.job.number])}"' in page
    assert "put it on the tray" in page


def test_tag_follows_the_card_and_is_made_anew_only_when_it_must(client_as):
    job, client = build.job(tray="7"), client_as("counter")
    address = reverse("tray_tag", args=[job.number])
    assert client.get(address)["Location"] == reverse("sheets", args=[job.number])  # nothing was asked for
    client.post(address)
    first = Sheet.objects.get()
    waits = client.get(address)
    assert (waits.status_code, waits["Refresh"]) == (200, "1")
    assert building.build(first.pk)
    client.post(address)
    assert Sheet.objects.get() == first
    assert client.get(address)["Location"] == reverse("sheet_pdf", args=[job.number, first.pk])
    Job.objects.filter(pk=job.pk).update(tray="8")
    client.post(address)
    second = Sheet.objects.get()
    assert second != first
    assert second.content["tag"]["tray"] == "8"
    Sheet.objects.filter(pk=second.pk).update(state=Sheet.State.FAILED)
    assert client.get(address)["Location"] == reverse("sheets", args=[job.number])
    client.post(address)
    assert Sheet.objects.get().state == Sheet.State.WAITING


def test_tag_is_made_anew_when_the_card_ended_or_the_shop_has_another_name_or_address(client_as, settings):
    job, client = build.job(tray="7"), client_as("owner")
    address = reverse("tray_tag", args=[job.number])

    def tag():
        client.post(address)
        sheet = Sheet.objects.get()
        if sheet.is_pending:
            building.build(sheet.pk)
        return Sheet.objects.get()

    first = tag()
    assert tag() == first
    Shop.objects.update_or_create(pk=1, defaults={"name": "Ferry Lane Ignition"})
    renamed = tag()
    assert (renamed == first, renamed.content["shop"]["name"]) == (False, "Ferry Lane Ignition")
    assert tag() == renamed
    data = {
        "things": [],
        "fee": 0,
        "labour": 0,
        "collected_by": "Marta",
        "consent_by": "",
        "reason": "cracked",
    }
    closing.close_unrepaired(job, "returned", data, by=client.person, version=job.version)
    ended = tag()
    assert ended != renamed
    assert "Returned unrepaired" in text_of(ended)
    assert tag() == ended
    settings.PUBLIC_URL = "https://moved.example"
    assert tag().content["url"].startswith("https://moved.example/")  # what its code leads to
