"""Builds papers outside the request: a row is ordered, claimed, printed and done; the row is the truth."""

import contextlib
import hashlib
import logging
import os
import secrets
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from jobs.models import Job, Sheet
from jobs.papers import sheets
from jobs.record import audit
from jobs.rules.guards import require_rebuilt
from jobs.rules.recorded import canonical, digest
from shop import nudges
from shop.claims import MAX_TRIES, Claims
from shop.models import Person, Shop
from shop.rights import require

BUILT = "built a paper"
NEXT = "jobs.build_next"  # the task
# A build takes well under a second; a claim this old belongs to a worker that is gone.
STALE = timedelta(seconds=30)
JUST_ASKED = timedelta(seconds=10)

# Whoever waits at the printer goes before what has been lying there.
CLAIMS = Claims(Sheet, stale=STALE, order=(F("wanted_at").desc(nulls_last=True), "pk"))

logger = logging.getLogger(__name__)


@transaction.atomic
def order_draft(job: Job, kind: str, *, paper_size: str, by: Person) -> Sheet:
    """Order an unsigned paper of the card as it stands; it takes the place of the draft before it."""
    require(by, "build_sheet")
    if kind == Sheet.Kind.CURVE_SHEET:
        require_rebuilt(
            Job.objects.select_for_update(no_key=True).get(pk=job.pk)
        )  # it may have been closed meanwhile
    for old in Sheet.objects.filter(job=job, kind=kind, revision=None):
        _drop(old)
    sheet = new_sheet(job, kind, paper_size=paper_size, by=by)
    audit.record("ordered a paper", job=job, by=by, paper=f"{sheet} ({paper_size})")
    return sheet


def drafts_of(job: Job) -> list[Sheet.Kind]:
    """The kinds of paper a card can be drafted on: a unit that was not rebuilt has no curve to hand out."""
    unfit = {Sheet.Kind.CURVE_SHEET} if job.ending else set()
    return [kind for kind in Sheet.Kind if kind not in unfit]


@transaction.atomic
def tray_tag(job: Job, *, by: Person) -> Sheet:
    """The tag of a card as it stands now: the one there is while it still says so, else a new one."""
    require(by, "build_sheet")
    size = Shop.current().paper
    stands = newest_tag(job)
    is_good = stands is not None and stands.state != Sheet.State.FAILED and stands.paper == size
    if stands and is_good and sheets.still_says(stands, job):
        want_now([stands] if stands.is_pending else [])
        return stands
    return order_draft(job, Sheet.Kind.TRAY_TAG, paper_size=size, by=by)


def newest_tag(job: Job) -> Sheet | None:
    return Sheet.objects.filter(job=job, kind=Sheet.Kind.TRAY_TAG, revision=None).first()


def new_sheet(job: Job, kind: str, *, paper_size: str, by: Person, **signed: Any) -> Sheet:
    """Make a waiting row with its data frozen, and nudge a worker once it is committed."""
    token, now = secrets.token_urlsafe(16), timezone.now()
    text = canonical(
        sheets.gather(
            job,
            kind,
            paper_size=paper_size,
            token=token,
            made_at=now,
            signature=signed.pop("signature", None),
            audit_head=signed.pop("audit_head", ""),
        )
    )
    sheet = Sheet.objects.create(
        job=job,
        kind=kind,
        paper=paper_size,
        token=token,
        data=text,
        data_sha256=digest(text),
        created_by=by,
        wanted_at=now,
        **signed,
    )
    nudge()
    return sheet


@transaction.atomic
def retry(sheet: Sheet, *, by: Person) -> None:
    """Put a failed sheet back in the queue, with three more tries; a second click changes nothing."""
    require(by, "build_sheet")
    if CLAIMS.retry(sheet.pk):
        audit.record("tried a paper again", job=sheet.job, by=by, paper=str(sheet))
        Sheet.objects.filter(pk=sheet.pk).update(wanted_at=timezone.now())
        nudge()


def want_now(pending: Iterable[Sheet]) -> None:
    """Somebody stands and waits for these: they are built before any that was asked for earlier."""
    now = timezone.now()
    keys = [sheet.pk for sheet in pending if sheet.wanted_at is None or now - sheet.wanted_at > JUST_ASKED]
    if keys:
        Sheet.objects.filter(pk__in=keys, state=Sheet.State.WAITING).update(wanted_at=now)


def nudge() -> None:
    """Tell a worker that there is work once the transaction holds; the sweep makes a lost nudge good."""
    nudges.send_on_commit(NEXT)


def build_next() -> bool:
    """Build the sheet that was asked for last of all that wait; False when there is none to build."""
    return any(build(pk) for pk in waiting())


def build(pk: int) -> bool:
    """Build a sheet if it is there to be taken, and say whether it was; repeated calls do nothing."""
    claim = CLAIMS.claim(pk)
    if claim is None:
        return False
    sheet = Sheet.objects.select_related("job").get(pk=pk)
    try:
        return _finish(sheet, claim, _print(sheet))
    except Exception as error:
        logger.exception("Sheet %s, try %s of %s", pk, sheet.tries, MAX_TRIES)
        if CLAIMS.put_back(sheet, claim, str(error) or type(error).__name__):
            nudge()
        return False


def waiting() -> list[int]:
    """Keys of the sheets that a worker should take up, the one wanted first in front."""
    return CLAIMS.waiting()


def give_up_dead() -> int:
    """Sheets whose worker died on the last try have failed; returns how many."""
    return CLAIMS.give_up_dead(f"The worker stopped {MAX_TRIES} times while building it.")


def _print(sheet: Sheet) -> bytes:
    # Imported here because only the worker prints: it costs the web process memory and half a second.
    from jobs.papers import pdf

    if digest(sheet.data) != sheet.data_sha256:
        raise ValueError("The sheet's data does not match its hash: it was altered after it was frozen.")
    return pdf.print_sheet(sheet.content, data_sha256=sheet.data_sha256)


def _finish(sheet: Sheet, claim: str, body: bytes) -> bool:
    """Put the file in its place and the row to done, as one: whoever lost the claim leaves no trace.

    The UPDATE comes first and holds the row, so that only the winner renames; the file is whole before the
    commit lets anyone see it.
    """
    name = f"sheets/{sheet.created_at:%Y/%m}/{sheet.token}.pdf"
    place = Path(sheet.pdf.storage.path(name))
    part = place.with_name(f".{place.stem}.{claim}.part")
    body_sha256 = hashlib.sha256(body).hexdigest()
    try:
        _write_durably(part, body)
        with transaction.atomic():
            won = CLAIMS.finish(sheet.pk, claim, pdf=name, pdf_sha256=body_sha256, built_at=timezone.now())
            if not won:
                return False
            audit.record(BUILT, job=sheet.job, paper=str(sheet), pdf_sha256=body_sha256)
            os.replace(part, place)
            _sync(place.parent)
    finally:
        part.unlink(missing_ok=True)
    _clear_parts(place)
    return True


def _write_durably(path: Path, body: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "xb") as file:
        file.write(body)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _clear_parts(place: Path) -> None:
    """Remove what killed tries of this sheet left half-written."""
    for part in place.parent.glob(f".{place.stem}.*.part"):
        part.unlink(missing_ok=True)


def _drop(draft: Sheet) -> None:
    """Delete a draft and, once that holds, its file; a worker that has it in hand finds its claim gone."""
    place = draft.pdf.path if draft.pdf else None
    draft.delete()
    if place:
        transaction.on_commit(lambda: _remove(place))


def _remove(place: str) -> None:
    with contextlib.suppress(FileNotFoundError):
        os.unlink(place)
