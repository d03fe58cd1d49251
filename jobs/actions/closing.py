"""Closing a card whose unit is not rebuilt: returned unrepaired, kept for parts, or scrapped."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from jobs.actions import springs
from jobs.actions.noting import note
from jobs.agreement import agreement_of
from jobs.guards import TO_END, held, refuse_practice
from jobs.models import Closing, Ending, Job
from shop.models import Shop
from shop.rights import require
from shop.versions import Conflict

VERBS = {
    Ending.RETURNED: "returned the unit unrepaired",
    Ending.KEPT: "kept the unit for parts",
    Ending.SCRAPPED: "scrapped the unit",
}


@transaction.atomic
def close_unrepaired(job, ending, data, *, by, version):
    """Close a card at any stage in one step; ``data`` holds the fields of its ``Closing`` that people write.

    No curve sheet is asked for and nothing is warranted. Conflict when the card was changed since.
    """
    require(by, TO_END[ending])
    refuse_practice(job)
    now = held(job)
    if now.version != version:
        raise Conflict(now)
    _refuse_incomplete(now, ending, data)
    springs.give_back(now, by=by)  # no unit leaves, or lies in a box, with what was only tried in it
    closing = Closing.objects.create(job=now, by=by, currency=Shop.current().currency, **data)
    values = {"closed_at": closing.at, "ending": ending, "handed_to": closing.collected_by}
    values["warranty_until"] = None
    Job.objects.filter(pk=now.pk).update(version=F("version") + 1, **values)
    now.build.locked = now.build.unrepaired = True
    now.build.save(update_fields=["locked", "unrepaired"])
    now.refresh_from_db()
    note(VERBS[ending], now, by, **_told(closing))
    return now


def wants_reason(job):
    """Whether nothing on the card says yet why the unit is not rebuilt: the customer has not declined."""
    return not agreement_of(job).is_declined


def _refuse_incomplete(job, ending, data):
    errors = {}
    goes_back = any(goes for _, goes in data["things"])
    if job.is_stock and ending == Ending.RETURNED:
        errors["ending"] = "Shop stock has nobody to go back to: keep it for parts, or scrap it."
    if not data["collected_by"].strip() and (ending == Ending.RETURNED or goes_back):
        errors["collected_by"] = "Write who takes it back."
    if not data["consent_by"].strip() and ending != Ending.RETURNED:
        errors["consent_by"] = "The unit is its owner's: write who said that it may go."
    if not data["reason"].strip() and wants_reason(job):
        errors["reason"] = "No customer has declined on this card: write why it is closed without the repair."
    if errors:
        raise ValidationError(errors)


def _told(closing):
    told = {
        "collected_by": closing.collected_by,
        "consent_by": closing.consent_by,
        "owed": f"{closing.owed:.2f} {closing.currency}",
        "went_back": closing.went_back,
        "stayed": closing.stayed,
        "reason": closing.reason,
    }
    return {name: value for name, value in told.items() if value}
