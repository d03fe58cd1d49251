"""Says whether a sheet is still what was signed: its data, its row and its file against the hashes kept."""

import hashlib
from pathlib import Path

from django.core.files.uploadedfile import UploadedFile

from jobs.models import AuditEntry, Sheet
from jobs.papers import building, signing
from jobs.record.audit import entry_hash
from jobs.rules.recorded import digest, recorded_sha256
from jobs.rules.revisions import changed_since, revisions


def find(token: str) -> Sheet | None:
    """The signed sheet that a QR leads to, or None; a draft's QR leads to nothing that holds."""
    return (
        Sheet.objects.filter(token=token)
        .select_related("job__unit", "job__engine", "job__customer", "signed_by", "void")
        .first()
    )


def standing(sheet: Sheet) -> Sheet:
    """A signed sheet with its standing, what superseded it, and whether its card changed since."""
    found = next(one for one in revisions(sheet.job) if one.pk == sheet.pk)
    found.outdated = changed_since(found, recorded_sha256(sheet.job))
    return found


def faults(sheet: Sheet) -> list[str]:
    """What does not match, in plain words; empty when all does."""
    wrong = []
    if not _data_holds(sheet):
        wrong.append("The data does not match its SHA-256.")
    elif not _row_says_so(sheet):
        wrong.append("The record does not match its data.")
    if sheet.is_signed and not _was_recorded(sheet):
        wrong.append("The signing does not match the shop's history.")
    if sheet.state == Sheet.State.DONE and not file_holds(sheet):
        wrong.append("The PDF does not match its SHA-256.")
    return wrong


def file_holds(sheet: Sheet) -> bool:
    """Whether the PDF on disk is the one that was built, byte for byte."""
    try:
        body = Path(sheet.pdf.path).read_bytes()
    except OSError:
        return False
    return hashlib.sha256(body).hexdigest() == sheet.pdf_sha256 and _was_built(sheet)


def upload_holds(sheet: Sheet, upload: UploadedFile) -> bool:
    """Whether a file that someone holds is the PDF we built, byte for byte."""
    theirs = hashlib.sha256()
    for chunk in upload.chunks():
        theirs.update(chunk)
    return theirs.hexdigest() == sheet.pdf_sha256


def _data_holds(sheet: Sheet) -> bool:
    return digest(sheet.data) == sheet.data_sha256


def _row_says_so(sheet: Sheet) -> bool:
    """The row's own columns, which the hash does not cover, against the data, which it does."""
    said = sheet.content
    signed = said.get("signature") or {}
    return (
        said["kind"] == sheet.kind
        and said["job"] == sheet.job.number
        and said["url"].endswith(f"/{sheet.token}/")
        and signed.get("revision") == sheet.revision
        and signed.get("at") == (sheet.signed_at.isoformat(timespec="seconds") if sheet.signed_at else None)
    )


def _was_recorded(sheet: Sheet) -> bool:
    return _in_history(sheet, signing.SIGNED, paper=str(sheet), data_sha256=sheet.data_sha256)


def _was_built(sheet: Sheet) -> bool:
    return _in_history(sheet, building.BUILT, paper=str(sheet), pdf_sha256=sheet.pdf_sha256)


def _in_history(sheet: Sheet, verb: str, **said: str) -> bool:
    """Whether the audit chain has an entry, itself unaltered, that says this of the sheet."""
    return any(
        all(entry.detail.get(name) == value for name, value in said.items())
        and entry.hash == entry_hash(entry)
        for entry in AuditEntry.objects.filter(job_id=sheet.job_id, verb=verb)
    )
