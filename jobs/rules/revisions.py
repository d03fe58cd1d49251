"""How signed sheets stand: current, superseded or void, and whether the card says something else by now."""

from collections.abc import Collection

from curves.models import Build
from jobs.models import Job, Sheet
from jobs.rules.card_lines import RECORDED, lines_of
from jobs.rules.handed_back import handed_back_without
from jobs.rules.recorded import recorded_sha256

SHELF = "Shop stock"
OUTDATED = "a curve sheet signed since the card was changed"  # the record keeps these words


def revisions(job: Job) -> list[Sheet]:
    """The signed sheets of a card, newest first, each with ``standing``: current, former, superseded or void.

    A former one names an owner that the unit has no longer. Where the newest of a kind is void none of that
    kind holds, which ``none_holds`` says of each: calling one back never brings the one before it back.
    """
    signed = list(
        Sheet.objects.signed()
        .filter(job=job)
        .select_related("signed_by", "void", "job")
        .order_by("kind", "-revision")
    )
    newest: dict[str, Sheet] = {}
    for sheet in signed:
        sheet.superseded_by = newest.get(sheet.kind)
        newest.setdefault(sheet.kind, sheet)
        sheet.standing = _standing(sheet)
        sheet.none_holds = newest[sheet.kind].standing == "void"
    return signed


def _standing(sheet: Sheet) -> str:
    if hasattr(sheet, "void"):
        return "void"
    if sheet.superseded_by:
        return "superseded"
    return "former" if names_another_owner(sheet) else "current"


def names_another_owner(sheet: Sheet) -> bool:
    """Whether the unit is somebody else's by now; without a key, as of old, only the shelf tells."""
    said, owner = sheet.content, sheet.job.customer_id
    if "owner_key" in said:
        return said["owner_key"] != owner
    return said.get("owner") == SHELF and owner is not None


def changed_since(sheet: Sheet, said: str) -> bool:
    """Whether the card, whose hash is ``said``, says something else than when this sheet was signed.

    A closed card takes no writing but of its owner: what differs else is a name kept elsewhere, or was
    written before it was handed back without a new sheet.
    """
    if names_another_owner(sheet):
        return True
    if sheet.job.is_closed:
        return _was_outdated(sheet)
    return sheet.content["recorded_sha256"] != said


def _was_outdated(sheet: Sheet) -> bool:
    """Whether a closed card was handed back in want of a newer sheet than this one."""
    signed, closed = sheet.signed_at, sheet.job.closed_at
    if sheet.kind != Sheet.Kind.CURVE_SHEET or signed is None or closed is None or signed > closed:
        return False
    return OUTDATED in handed_back_without(sheet.job).missing


def is_outdated(job: Job) -> bool:
    """Whether the curve sheet that holds was signed for what the card said before a later change.

    Worked out once for each fetched card, in two queries where its curves were fetched with it.
    """
    if not hasattr(job, "outdated"):
        look_outdated([job])
    return job.outdated


def look_outdated(jobs: Collection[Job]) -> None:
    """Work it out for all of these cards, in the same two queries."""
    holding = _curve_sheets_that_hold(jobs)
    lines = lines_of([job for job in jobs if job.pk in holding], RECORDED)
    for job in jobs:
        sheet = holding.get(job.pk)
        job.outdated = bool(sheet) and changed_since(sheet, recorded_sha256(job, _read(job), lines[job.pk]))


def _curve_sheets_that_hold(jobs: Collection[Job]) -> dict[int, Sheet]:
    """The newest curve sheet of each of these cards that has one which is not void: {card key: sheet}."""
    signed = Sheet.objects.signed().filter(job__in=jobs, kind=Sheet.Kind.CURVE_SHEET)
    newest = {sheet.job_id: sheet for sheet in signed.select_related("void", "job").order_by("revision")}
    return {key: sheet for key, sheet in newest.items() if not hasattr(sheet, "void")}


def _read(job: Job) -> Build | None:
    """The build as it came with the card, or None where its curves were not fetched."""
    return job.build if "runs" in getattr(job.build, "_prefetched_objects_cache", ()) else None
