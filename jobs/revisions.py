"""How signed sheets stand: current, superseded or void, and whether the card says something else by now."""

from jobs.models import Sheet
from jobs.recorded import recorded_sha256

SHELF = "Shop stock"
OUTDATED = "a curve sheet signed since the card was changed"


def revisions(job):
    """The signed sheets of a card, newest first, each with ``standing``: current, former, superseded or void.

    A former one names an owner that the unit has no longer.
    """
    signed = list(
        Sheet.objects.signed()
        .filter(job=job)
        .select_related("signed_by", "void", "job")
        .order_by("kind", "-revision")
    )
    newest = {}
    for sheet in signed:
        sheet.superseded_by = newest.get(sheet.kind)
        newest.setdefault(sheet.kind, sheet)
        sheet.standing = _standing(sheet)
    return signed


def _standing(sheet):
    if hasattr(sheet, "void"):
        return "void"
    if sheet.superseded_by:
        return "superseded"
    return "former" if names_another_owner(sheet) else "current"


def names_another_owner(sheet):
    """Whether the unit is somebody else's by now; without a key, as of old, only the shelf tells."""
    said, owner = sheet.content, sheet.job.customer_id
    if "owner_key" in said:
        return said["owner_key"] != owner
    return said.get("owner") == SHELF and owner is not None


def changed_since(sheet, said):
    """Whether the card, whose hash is ``said``, says something else than when this sheet was signed.

    A closed card takes no writing but of its owner: what differs else is a name kept elsewhere.
    """
    if names_another_owner(sheet):
        return True
    return not sheet.job.is_closed and sheet.content["recorded_sha256"] != said


def is_outdated(job):
    """Whether the curve sheet that holds was signed for what the card said before a later change.

    It reads every line of the card, in some ten queries.
    """
    holding = [
        sheet
        for sheet in revisions(job)
        if sheet.kind == Sheet.Kind.CURVE_SHEET and sheet.standing in ("current", "former")
    ]
    if not holding:
        return False
    said = recorded_sha256(job)
    return any(changed_since(sheet, said) for sheet in holding)
