"""Signing: a revision is frozen whole, never changes, and gives way only to a newer one or to a void."""

import threading

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection, connections, transaction
from django.db.models.deletion import ProtectedError
from django.utils import timezone

from curves.models import Spring
from jobs.card.papers import paper_context
from jobs.models import AuditEntry, Frozen, Sheet
from jobs.papers import building, sheets, signing, verify
from jobs.record import audit
from jobs.rules.guards import Closed
from jobs.rules.recorded import digest, recorded_sha256
from jobs.rules.revisions import changed_since, revisions
from tests import build
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet

pytestmark = pytest.mark.django_db

CURVE = Sheet.Kind.CURVE_SHEET


def change(job, text="A loose clamp."):
    job.findings.create(text=text, stage="teardown", by=build.person())


def test_signing_freezes_who_what_and_when():
    owner = build.person("owner", full_name="Ingrid Halvard")
    sheet = signed_sheet(finished_job(), by=owner, built=False)
    said = sheet.content["signature"]
    assert (sheet.revision, sheet.signed_by, sheet.state) == (1, owner, Sheet.State.WAITING)
    assert (said["revision"], said["name"], said["initials"]) == (1, "Ingrid Halvard", "IH")
    assert said["at"] == sheet.signed_at.isoformat(timespec="seconds")
    entry = AuditEntry.objects.get(verb=signing.SIGNED)
    assert (entry.by, entry.detail["data_sha256"]) == (owner, sheet.data_sha256)
    assert audit.broken_links() == []


def test_sheet_carries_the_head_of_the_history_it_was_signed_on():
    job = finished_job()
    audit.record("looked at it", job=job, by=build.person())
    head = AuditEntry.objects.order_by("-pk").first().hash
    assert signed_sheet(job, built=False).content["audit_head"] == head


def test_change_on_the_card_makes_the_next_revision_and_keeps_the_old_one():
    job = finished_job()
    first = signed_sheet(job)
    data, digest, file = first.data, first.pdf_sha256, first.pdf.name
    change(job)
    second = signed_sheet(job)
    assert second.revision == 2
    first.refresh_from_db()
    assert (first.data, first.pdf_sha256, first.pdf.name) == (data, digest, file)
    assert verify.faults(first) == verify.faults(second) == []
    newest, older = revisions(job)
    assert (newest.standing, older.standing, older.superseded_by) == ("current", "superseded", newest)


def test_kinds_count_their_revisions_apart():
    job = finished_job()
    assert signed_sheet(job, CURVE, built=False).revision == 1
    assert signed_sheet(job, Sheet.Kind.JOB_SHEET, built=False).revision == 1
    assert [sheet.standing for sheet in revisions(job)] == ["current", "current"]


def test_unchanged_card_is_not_signed_twice():
    job = finished_job()
    signed_sheet(job, built=False)
    with pytest.raises(ValidationError, match="Revision 1 already says"):
        signed_sheet(job, built=False)
    assert job.sheets.count() == 1


def test_card_changed_since_the_signer_looked_is_not_signed():
    job = finished_job()
    seen = recorded_sha256(job)
    change(job)
    with pytest.raises(signing.CardChanged):
        signing.sign(job, CURVE, paper_size="A4", by=build.person(), seen=seen)
    assert not job.sheets.exists()


def test_card_changed_after_signing_is_told():
    job = finished_job()
    sheet = signed_sheet(job, built=False)
    assert not changed_since(sheet, recorded_sha256(job))
    job.build.runs.last().readings.filter(position=3).update(advance_deg=6.5)
    assert changed_since(sheet, recorded_sha256(job))


def test_curve_sheet_wants_a_final_run_and_a_job_sheet_does_not():
    job = build.job()
    build.run(job.build)
    with pytest.raises(ValidationError, match="no final run"):
        signed_sheet(job, built=False)
    assert signed_sheet(job, Sheet.Kind.JOB_SHEET, built=False).revision == 1


def test_counter_does_not_sign():
    with pytest.raises(PermissionDenied):
        signed_sheet(finished_job(), by=build.person("counter"))


def test_closed_card_is_not_signed():
    job = finished_job(closed_at=timezone.now())
    with pytest.raises(Closed):
        signed_sheet(job)


def test_void_is_said_once_and_frees_the_next_revision():
    job = finished_job()
    sheet = signed_sheet(job)
    with pytest.raises(PermissionDenied):
        signing.make_void(sheet, by=build.person("counter"), reason="no")
    signing.make_void(sheet, by=build.person(), reason="wrong unit on the bench")
    signing.make_void(sheet, by=build.person("owner"), reason="again")
    assert AuditEntry.objects.filter(verb="made a sheet void").count() == 1
    [found] = revisions(job)
    assert (found.standing, found.void.reason) == ("void", "wrong unit on the bench")
    assert signed_sheet(job, built=False).revision == 2


def test_draft_is_not_made_void():
    with pytest.raises(ValidationError):
        signing.make_void(draft(build.job(), built=False), by=build.person(), reason="x")


FROZEN = ["data", "data_sha256", "revision", "signed_by", "signed_at", "token", "kind", "paper", "job"]


@pytest.mark.parametrize("field", FROZEN)
def test_what_is_frozen_is_not_written_again(field):
    sheet = signed_sheet(finished_job(), built=False)
    value = {"revision": 7, "signed_at": timezone.now(), "job": build.job()}.get(field)
    value = value or (build.person("owner") if field.endswith("_by") else "x")
    card = sheet.job
    setattr(sheet, field, value)
    for write in (
        sheet.save,
        lambda: sheet.save(update_fields=[field]),
        lambda: Sheet.objects.filter(pk=sheet.pk).update(**{field: value}),
        lambda: Sheet.objects.bulk_update([sheet], [field]),
        lambda: Sheet.objects.update_or_create(pk=sheet.pk, defaults={field: value}),
        lambda: card.sheets.update(**{field: value}),
    ):
        with pytest.raises(Frozen), transaction.atomic():
            write()
    assert verify.faults(Sheet.objects.get(pk=sheet.pk)) == []


@pytest.mark.parametrize("field", ["pdf", "pdf_sha256", "state", "claim"])
def test_built_signed_sheet_takes_no_other_file(field):
    sheet = signed_sheet(finished_job())
    setattr(sheet, field, "x")
    with pytest.raises(Frozen):
        sheet.save(update_fields=[field])
    with pytest.raises(Frozen):
        Sheet.objects.update(**{field: "x"})


def test_signed_sheet_is_not_deleted_by_any_door():
    job = finished_job()
    sheet = signed_sheet(job)
    draft(job, Sheet.Kind.JOB_SHEET, built=False)
    with pytest.raises(Frozen):
        sheet.delete()
    with pytest.raises(Frozen):
        Sheet.objects.filter(pk=sheet.pk).delete()
    with pytest.raises(Frozen):
        job.sheets.all().delete()
    with pytest.raises(ProtectedError):
        job.delete()
    with pytest.raises(ProtectedError):
        sheet.signed_by.delete()
    assert job.sheets.count() == 2


def tampered(sheet, sql, *values):
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE jobs_sheet SET {sql} WHERE id = %s", [*values, sheet.pk])
    return verify.faults(Sheet.objects.get(pk=sheet.pk))


def test_one_byte_flipped_anywhere_in_the_data_is_caught():
    sheet = signed_sheet(finished_job())
    for place in range(0, len(sheet.data), 997):
        flipped = sheet.data[:place] + chr(ord(sheet.data[place]) ^ 1) + sheet.data[place + 1 :]
        assert tampered(sheet, "data = %s", flipped) == ["The data does not match its SHA-256."], place


def test_one_byte_flipped_anywhere_in_the_file_is_caught():
    sheet = signed_sheet(finished_job())
    with open(sheet.pdf.path, "rb") as file:
        whole = file.read()
    for place in (0, len(whole) // 3, len(whole) - 1):
        with open(sheet.pdf.path, "wb") as file:
            file.write(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert verify.faults(sheet) == ["The PDF does not match its SHA-256."]


def test_file_that_is_gone_is_caught():
    sheet = signed_sheet(finished_job())
    sheet.pdf.storage.delete(sheet.pdf.name)
    assert verify.faults(sheet) == ["The PDF does not match its SHA-256."]


def test_data_and_hash_altered_together_are_caught_by_the_history():
    sheet = signed_sheet(finished_job())
    data = sheet.data.replace("Marta Quill", "Marta Squill")
    assert tampered(sheet, "data = %s, data_sha256 = %s", data, digest(data)) == [
        "The signing does not match the shop's history."
    ]


def test_pdf_hash_altered_with_its_file_is_caught_by_the_history():
    sheet = signed_sheet(finished_job())
    with open(sheet.pdf.path, "wb") as file:
        file.write(b"%PDF-another")
    assert tampered(sheet, "pdf_sha256 = %s", digest("%PDF-another")) == [
        "The PDF does not match its SHA-256."
    ]


@pytest.mark.parametrize(
    ("sql", "value"),
    [("revision = %s", 9), ("signed_at = %s", "2020-01-01 00:00:00+00:00"), ("kind = %s", "job_sheet")],
)
def test_columns_beside_the_data_are_held_against_it(sql, value):
    assert "The record does not match its data." in tampered(signed_sheet(finished_job()), sql, value)


def test_history_rewritten_to_fit_is_caught_by_its_own_hash():
    sheet = signed_sheet(finished_job())
    AuditEntry.objects.filter(verb=building.BUILT).update(
        detail={"paper": str(sheet), "pdf_sha256": "0" * 64}
    )
    assert tampered(sheet, "pdf_sha256 = %s", "0" * 64) == ["The PDF does not match its SHA-256."]


@pytest.mark.django_db(transaction=True)
def test_two_who_sign_at_once_make_one_revision():
    job = finished_job()
    owner, technician = build.person("owner"), build.person("technician")
    seen, start, outcomes = recorded_sha256(job), threading.Barrier(2), []

    def one(person):
        try:
            start.wait()
            signing.sign(job, CURVE, paper_size="A4", by=person, seen=seen)
            outcomes.append("signed")
        except ValidationError:
            outcomes.append("told")
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one, args=[person]) for person in (owner, technician)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["signed", "told"]
    assert [sheet.revision for sheet in job.sheets.all()] == [1]


def test_a_name_changed_elsewhere_makes_no_closed_cards_sheet_outdated():
    job = finished_job()
    sheet = signed_sheet(job, built=False)
    job.closed_at = timezone.now()
    job.save(update_fields=["closed_at"])
    Spring.objects.filter(label="Thin 0.6").update(label="Thin 0.60")
    assert sheet.content["recorded_sha256"] != recorded_sha256(job)
    assert not verify.standing(verify.find(sheet.token)).outdated
    (listed,) = paper_context(job, build.person())["revisions"]
    assert not listed.outdated


def test_a_name_changed_while_the_sheet_is_gathered_is_not_signed(monkeypatch):
    job = finished_job()
    seen, gather = recorded_sha256(job), sheets.gather

    def gather_late(*args, **options):
        Spring.objects.filter(label="Thin 0.6").update(label="Thin 0.60")
        return gather(*args, **options)

    monkeypatch.setattr(sheets, "gather", gather_late)
    with pytest.raises(signing.CardChanged):
        signing.sign(job, CURVE, paper_size="A4", by=build.person(), seen=seen)
    assert not job.sheets.exists()
