"""The owner can have the chained record checked, and is told where it does not hold."""

import json
import math
import uuid
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from curves.readings.cells import read_number
from jobs.models import AuditEntry
from jobs.record import audit
from shop.numbers import plain_number
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def entries(person):
    job = build.job()
    return [
        audit.record("wrote a finding", job=job, by=person, text=text) for text in ("one", "two", "three")
    ]


def check():
    out = StringIO()
    call_command("check_record", stdout=out)
    return out.getvalue()


def test_a_record_that_holds_is_said_with_its_newest_hash(entries):
    said = check()
    assert "entries: 3" in said
    assert entries[-1].hash in said


def test_an_empty_record_holds(db):
    assert "entries: 0" in check()


def test_an_altered_entry_is_named(entries):
    AuditEntry.objects.filter(pk=entries[1].pk).update(detail={"text": "another"})
    with pytest.raises(CommandError, match=f"entry {entries[1].pk}, .*Job 1: wrote a finding"):
        check()


def test_an_entry_taken_out_breaks_the_one_after_it(entries):
    entries[1].delete()
    with pytest.raises(CommandError, match=f"entry {entries[2].pk}"):
        check()


def test_a_verb_too_long_for_its_column_is_refused_on_every_database(owner):
    with pytest.raises(ValueError, match="40 are the most"):
        audit.record("x" * 41, by=owner)


# What a JSON column may give back otherwise than it was given.
NASTY = [
    -0.0,
    [[-0.0, {"deep": (-0.0, 0.0)}]],
    1e16,
    -1.5e300,
    1.7976931348623157e308,
    9007199254740993,
    10**40,
    1e15,
    123456789012345.6,
    100.0,
    1e-7,
    5e-324,
    0.1 + 0.2,
    True,
    None,
    "",
    "NUL \0 in it",
    "half a pair \ud800",
    "−0 “°” \U0001f527 \\u0000 \u2028",
    {10: "ten", 9: "nine", "9": "again"},
    {"b": 1, "aa": 2, "": 3},
    {"key \0": 1},
]


@pytest.mark.parametrize("value", NASTY, ids=lambda value: ascii(value)[:40])
def test_whatever_is_told_leaves_the_chain_whole(owner, value):
    made = audit.record("wrote a finding", by=owner, value=value)
    audit.record("looked", by=owner)
    assert audit.broken_links() == []
    kept = AuditEntry.objects.get(pk=made.pk)
    assert json.dumps(kept.detail, sort_keys=True) == json.dumps(made.detail, sort_keys=True)
    assert audit.entry_hash(kept) == made.hash
    assert "entries: 2" in check()


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("1.5"), object()])
def test_what_no_json_says_is_refused_on_every_database(owner, value):
    with pytest.raises((ValueError, TypeError)):
        audit.record("wrote a finding", by=owner, value=value)
    assert not AuditEntry.objects.exists()


@pytest.mark.parametrize("typed", ["-0", "−0.0", "-0,0"])
def test_a_minus_zero_read_at_the_bench_leaves_the_chain_whole(client_as, typed):
    client, job = client_as("technician"), build.job(stage="spring_trials")
    run = build.run(job.build, [])
    address = reverse("reading", args=[job.number, run.number, uuid.uuid4()])
    sent = {"person": client.person.pk, "kind": "reading", "gone": False}
    for version, angle in ((None, "3"), (1, typed), (2, "2")):
        values = {"speed_rpm": "600", "advance_deg": angle, "falling": False}
        data = sent | {"version": version, "values": values}
        answer = client.post(address, json.dumps(data), content_type="application/json")
        assert answer.status_code == 200, answer.text
    told = AuditEntry.objects.filter(verb="corrected a reading").values_list("detail", flat=True)
    assert len(told) == 2
    assert "-0.0" not in f"{told}"
    assert audit.broken_links() == []


@pytest.mark.parametrize("typed", ["-0", "−0.0", "-0,0", "-.0"])
def test_a_typed_minus_zero_is_zero_in_every_field(typed):
    assert math.copysign(1, read_number(typed, (-5, 5), "Advance", "degrees")) == 1
    assert math.copysign(1, float(plain_number(typed))) == 1
