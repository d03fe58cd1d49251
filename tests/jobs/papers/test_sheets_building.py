"""From waiting to done: one claim, one file, three tries, and a dead worker or lost nudge made good."""

import hashlib
import os
import threading
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import connection, connections
from django.urls import reverse
from django.utils import timezone
from kombu.exceptions import OperationalError

from jobs import tasks
from jobs.models import AuditEntry, Sheet
from jobs.papers import building, pdf, verify
from shop import nudges
from tests import build
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def jammed(monkeypatch):
    """A printer that fails, until ``jammed.clear()``."""
    jam = threading.Event()
    jam.set()
    print_sheet = pdf.print_sheet

    def may_fail(*args, **options):
        if jam.is_set():
            raise OSError("No space left on device")
        return print_sheet(*args, **options)

    monkeypatch.setattr(pdf, "print_sheet", may_fail)
    return jam


def state(sheet):
    sheet.refresh_from_db()
    return sheet.state


def files_of(sheet):
    folder = Path(settings.MEDIA_ROOT, "sheets")
    return [path for path in folder.rglob("*") if path.is_file() and sheet.token in path.name]


def work(sheet, **fields):
    """Put a sheet into the hands of a worker that is not there."""
    values = {"state": Sheet.State.WORKING, "claim": "gone", "tries": 1, "claimed_at": timezone.now()}
    Sheet.objects.filter(pk=sheet.pk).update(**values | fields)


def test_built_sheet_has_one_whole_file_under_its_hash():
    sheet = draft(finished_job(), Sheet.Kind.CURVE_SHEET)
    assert sheet.state == Sheet.State.DONE
    [path] = files_of(sheet)
    assert path == Path(sheet.pdf.path)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == sheet.pdf_sha256
    assert path.read_bytes().startswith(b"%PDF-")


def test_late_or_repeated_call_does_nothing():
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET)
    built_at, entries = sheet.built_at, AuditEntry.objects.count()
    assert building.build(sheet.pk) is False
    assert building.build(10**9) is False
    sheet.refresh_from_db()
    assert (sheet.built_at, sheet.tries, AuditEntry.objects.count()) == (built_at, 1, entries)


def test_sheet_in_another_workers_hands_is_left_alone():
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    work(sheet)
    assert building.build(sheet.pk) is False
    assert sheet.pk not in building.waiting()


@pytest.mark.parametrize("age", [timedelta(seconds=31), timedelta(days=3), timedelta(hours=-1)])
def test_claim_of_a_dead_worker_is_taken_up(age):
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    work(sheet, claimed_at=timezone.now() - age)
    assert sheet.pk in building.waiting()
    assert building.build(sheet.pk)
    assert state(sheet) == Sheet.State.DONE
    assert sheet.tries == 2


def test_worker_that_lost_its_claim_leaves_no_trace():
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    work(sheet, claim="second")
    sheet.refresh_from_db()
    assert building._finish(sheet, "first", b"%PDF-late") is False
    assert files_of(sheet) == []
    assert state(sheet) == Sheet.State.WORKING


def test_three_tries_then_failed_with_the_reason_and_a_retry(jammed):
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    seen = []
    for _ in range(4):
        building.build(sheet.pk)
        seen.append(state(sheet))
    waiting, failed = Sheet.State.WAITING, Sheet.State.FAILED
    assert seen == [waiting, waiting, failed, failed]
    assert sheet.tries == 3
    assert "No space left" in sheet.error
    assert files_of(sheet) == []

    jammed.clear()
    building.retry(sheet, by=build.person("counter"))
    building.retry(sheet, by=build.person("counter"))
    assert state(sheet) == waiting
    assert building.build(sheet.pk)
    assert (state(sheet), sheet.error, sheet.tries) == (Sheet.State.DONE, "", 1)
    assert AuditEntry.objects.filter(verb="tried a paper again").count() == 1


def test_sheet_that_kills_its_worker_three_times_has_failed():
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    work(sheet, tries=3, claimed_at=timezone.now() - timedelta(minutes=2))
    assert sheet.pk not in building.waiting()
    assert building.build(sheet.pk) is False
    assert building.give_up_dead() == 1
    assert state(sheet) == Sheet.State.FAILED
    assert "stopped 3 times" in sheet.error


def test_data_altered_before_the_build_is_not_printed():
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_sheet SET data = replace(data, 'Job', 'Jab') WHERE id = %s", [sheet.pk])
    assert building.build(sheet.pk) is False
    assert state(sheet) == Sheet.State.WAITING
    assert "altered" in sheet.error


def test_disk_full_while_writing_leaves_nothing_half_written(monkeypatch):
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(building.os, "fsync", full)
    assert building.build(sheet.pk) is False
    assert files_of(sheet) == []
    assert state(sheet) == Sheet.State.WAITING


def test_kill_between_file_and_row_is_made_good_by_the_next_try(monkeypatch):
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
    place = Path(sheet.pdf.storage.path(f"sheets/{sheet.created_at:%Y/%m}/{sheet.token}.pdf"))
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(b"%PDF-of a try whose commit was lost")
    place.with_name(f".{sheet.token}.gone.part").write_bytes(b"%PDF-ha")
    assert building.build(sheet.pk)
    sheet.refresh_from_db()
    assert files_of(sheet) == [place]
    assert verify.file_holds(sheet)


def test_draft_takes_the_place_of_the_one_before(django_capture_on_commit_callbacks):
    job = build.job()
    old = draft(job, Sheet.Kind.JOB_SHEET)
    with django_capture_on_commit_callbacks(execute=True):
        new = draft(job, Sheet.Kind.JOB_SHEET, paper_size="Letter", built=False)
    assert list(job.sheets.all()) == [new]
    assert not os.path.exists(old.pdf.path)


def test_draft_never_replaces_what_is_signed():
    job = finished_job()
    signed = signed_sheet(job)
    draft(job, Sheet.Kind.CURVE_SHEET, built=False)
    draft(job, Sheet.Kind.CURVE_SHEET, built=False)
    assert job.sheets.filter(pk=signed.pk).exists()
    assert job.sheets.count() == 2


def test_person_switched_off_orders_nothing():
    gone = build.person("owner", username="gone", is_active=False)
    with pytest.raises(PermissionDenied):
        building.order_draft(build.job(), Sheet.Kind.JOB_SHEET, paper_size="A4", by=gone)


def test_order_is_queued_only_once_it_is_committed(monkeypatch, django_capture_on_commit_callbacks):
    sent = []
    monkeypatch.setattr(nudges, "send", lambda task: sent.append(task))
    with django_capture_on_commit_callbacks(execute=True):
        draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)
        assert sent == []
    assert sent == [tasks.build_next.name]


def test_queue_out_of_reach_loses_nothing(monkeypatch, caplog):
    sheet = draft(build.job(), Sheet.Kind.JOB_SHEET, built=False)

    def unreachable(*args, **options):
        raise OperationalError("connection refused")

    monkeypatch.setattr(nudges.app, "send_task", unreachable)
    nudges.send(building.NEXT)
    assert "waits for the sweep" in caplog.text
    assert sheet.pk in building.waiting()


def test_sweep_takes_up_what_was_lost_and_lets_the_rest_be(monkeypatch):
    sent = []
    monkeypatch.setattr(nudges, "send", lambda task, **said: sent.append(said))
    job = finished_job()
    lost, left, dead = (draft(job, kind, built=False) for kind in Sheet.Kind)
    held = signed_sheet(job, built=False)
    work(left, claimed_at=timezone.now() - timedelta(minutes=1))
    work(dead, claimed_at=timezone.now() - timedelta(minutes=1), tries=3)
    work(held)
    tasks.sweep()
    assert sent == [{"go_on": True}]  # one for all of them: a queue that is swept often does not grow
    assert (state(dead), state(held)) == (Sheet.State.FAILED, Sheet.State.WORKING)
    while sent:
        tasks.build_next(**sent.pop())
    assert (state(lost), state(left)) == (Sheet.State.DONE, Sheet.State.DONE)
    assert (state(dead), state(held)) == (Sheet.State.FAILED, Sheet.State.WORKING)
    tasks.sweep()
    assert sent == []


def test_what_was_asked_for_last_is_built_first():
    job, other = finished_job(), build.job()
    backlog = [draft(job, kind, built=False) for kind in Sheet.Kind]
    asked = draft(other, Sheet.Kind.TRAY_TAG, built=False)
    assert building.build_next()
    assert state(asked) == Sheet.State.DONE
    assert {state(sheet) for sheet in backlog} == {Sheet.State.WAITING}


def test_who_opens_the_papers_or_tries_again_goes_before_what_was_asked_for_since(client_as):
    job, other = finished_job(), finished_job(tray="7")
    stands = draft(job, Sheet.Kind.JOB_SHEET, built=False)
    failed = draft(job, Sheet.Kind.CURVE_SHEET, built=False)
    Sheet.objects.filter(pk=failed.pk).update(state=Sheet.State.FAILED, tries=3)
    later = draft(other, Sheet.Kind.JOB_SHEET, built=False)
    Sheet.objects.update(wanted_at=timezone.now() - timedelta(minutes=2))
    Sheet.objects.filter(pk=later.pk).update(wanted_at=timezone.now() - timedelta(minutes=1))
    client = client_as("counter")
    assert building.waiting() == [later.pk, stands.pk]
    client.get(reverse("sheets", args=[job.number]))
    assert building.waiting() == [stands.pk, later.pk]
    client.post(reverse("retry_sheet", args=[job.number, failed.pk]))
    assert building.waiting()[-1] == later.pk
    # Those who look again every other second ask for nothing new.
    other_look = {"HX-Request": "true", "HX-Target": "paper-list"}
    client.get(reverse("sheets", args=[other.number]), headers=other_look)
    assert building.waiting()[-1] == later.pk


def test_nudge_without_work_does_nothing(monkeypatch):
    monkeypatch.setattr(nudges, "send", lambda *task, **said: pytest.fail("nothing to nudge for"))
    tasks.build_next(go_on=True)
    assert not Sheet.objects.exists()


def test_worker_sweeps_when_it_starts_and_often_enough_after():
    assert tasks.Sweeper in tasks.app.steps["worker"]
    # Taken up again within 60 s: the longest wait is a claim going stale just after a sweep.
    assert building.STALE + timedelta(seconds=tasks.SWEEP_EVERY_S) < timedelta(seconds=60)


@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_once_make_one_sheet():
    sheet = draft(build.job(), Sheet.Kind.TRAY_TAG, built=False)
    start, built = threading.Barrier(8), []

    def one_worker():
        try:
            start.wait()
            built.append(building.build(sheet.pk))
        finally:
            connections.close_all()

    workers = [threading.Thread(target=one_worker) for _ in range(8)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(built) == [False] * 7 + [True]
    sheet.refresh_from_db()
    assert (sheet.state, sheet.tries, len(files_of(sheet))) == (Sheet.State.DONE, 1, 1)
    assert AuditEntry.objects.filter(verb=building.BUILT).count() == 1
