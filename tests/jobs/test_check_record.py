"""The owner can have the chained record checked, and is told where it does not hold."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from jobs import audit
from jobs.models import AuditEntry
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
