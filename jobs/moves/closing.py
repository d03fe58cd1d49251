"""Closing a card whose unit is not rebuilt: returned unrepaired, kept for parts, or scrapped."""

from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from jobs.curvework import spring_lines
from jobs.models import Closing, Ending, Job, PartLine
from jobs.record.noting import note
from jobs.rules.agreement import agreement_of, to_cents
from jobs.rules.guards import TO_END, lock_open_card, refuse_practice
from jobs.rules.recorded import digest
from shop.models import Person, Shop
from shop.rights import require
from shop.versions import Conflict

VERBS: dict[str, str] = {
    Ending.RETURNED: "returned the unit unrepaired",
    Ending.KEPT: "kept the unit for parts",
    Ending.SCRAPPED: "scrapped the unit",
}


_State = PartLine.State
_NOT_LEFT: dict[str, str] = {_State.FITTED: "taken out again", _State.LOOSE: "kept here"}
PARTS_CHANGED = "Parts or hours were written on the card meanwhile: look at what is owed again, then send."


@transaction.atomic
def close_unrepaired(
    job: Job,
    ending: str,
    data: dict[str, Any],
    *,
    by: Person,
    version: int,
    stays: Iterable[int] = (),
    seen: str | None = None,
) -> Job:
    """Close a card at any stage in one step; ``data`` holds the fields of its ``Closing`` that people write.

    ``stays`` are the keys of its parts that stay in the unit or go along, which are owed; what is taken out
    again is left off. ``seen`` is ``lines_seen`` of what the writer was shown. No curve sheet is asked for
    and nothing is warranted. Conflict when the card was changed since.
    """
    require(by, TO_END[ending])
    refuse_practice(job)
    now = lock_open_card(job)
    if now.version != version:
        raise Conflict(now)
    if seen is not None and seen != lines_seen(now):
        raise ValidationError(PARTS_CHANGED)
    _refuse_incomplete(now, ending, data)
    spring_lines.give_back(now, by=by)  # no unit leaves, or lies in a box, with what was only tried in it
    parts = _settle_parts(now, set(stays))
    closing = Closing.objects.create(job=now, by=by, currency=Shop.current().currency, **parts, **data)
    to = (
        closing.collected_by if ending == Ending.RETURNED else ""
    )  # else the unit itself was handed to nobody
    values: dict[str, Any] = {"closed_at": closing.at, "ending": ending, "handed_to": to}
    values["warranty_until"] = None
    Job.objects.filter(pk=now.pk).update(version=F("version") + 1, **values)
    now.build.locked = now.build.unrepaired = True
    now.build.save(update_fields=["locked", "unrepaired"])
    now.refresh_from_db()
    note(VERBS[ending], now, by, **_told(closing))
    return now


def parts_to_settle(job: Job) -> list[PartLine]:
    """What was fitted or supplied loose, and is owed unless it is taken out again or kept here.

    Springs out of the drawer are not among it: they come home.
    """
    return list(job.parts.filter(state__in=_NOT_LEFT, spring=None))


def amount_of(line: PartLine) -> Decimal | None:
    """What a line comes to, or None where it has no price."""
    return None if line.price is None else to_cents(line.price * line.quantity)


def lines_seen(job: Job) -> str:
    """One word for the parts and hours on a card, which another follows once one of them is changed."""
    lines = job.parts.filter(spring=None).order_by("pk").values_list("pk", "version")
    return digest(" ".join(f"{pk}.{version}" for pk, version in lines))


def _settle_parts(job: Job, stays: Collection[int]) -> dict[str, Any]:
    """The fields of a closing about parts; a line of what does not stay is left off, and says why."""
    lines = parts_to_settle(job)
    for line in lines:
        if line.pk not in stays:
            values = {"state": _State.LEFT_OFF, "why": _NOT_LEFT[line.state], "version": F("version") + 1}
            PartLine.objects.filter(pk=line.pk).update(**values)
    owed = [amount_of(line) or 0 for line in lines if line.pk in stays]
    told = [[_named(line), _in_words(amount_of(line)), line.pk in stays] for line in lines]
    return {"parts": sum(owed), "part_lines": told}


def _named(line: PartLine) -> str:
    return line.text if line.quantity == 1 else f"{line.how_many} {line.text}"


def _in_words(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:.2f}"


def wants_reason(job: Job) -> bool:
    """Whether nothing on the card says yet why the unit is not rebuilt: the customer has not declined."""
    return not agreement_of(job).is_declined


def _refuse_incomplete(job: Job, ending: str, data: dict[str, Any]) -> None:
    errors = {}
    goes_back = any(goes for _, goes in data["things"])
    if job.is_stock and ending == Ending.RETURNED:
        errors["ending"] = "Shop stock has nobody to go back to: keep it for parts, or scrap it."
    if not data["collected_by"].strip() and ending == Ending.RETURNED:
        errors["collected_by"] = "Write who takes it back."
    elif not data["collected_by"].strip() and goes_back:
        errors["collected_by"] = "Write who takes it back, or take the ticks away from what came with it."
    if not data["consent_by"].strip() and ending != Ending.RETURNED:
        errors["consent_by"] = "The unit is its owner's: write who said that it may go."
    if not data["reason"].strip() and wants_reason(job):
        errors["reason"] = "No customer has declined on this card: write why it is closed without the repair."
    if errors:
        raise ValidationError(errors)


def _told(closing: Closing) -> dict[str, Any]:
    told = {
        "collected_by": closing.collected_by,
        "consent_by": closing.consent_by,
        "owed": f"{closing.owed:.2f} {closing.currency}",
        "parts_left": closing.parts_left,
        "parts_taken_out": closing.parts_taken_out,
        "went_back": closing.went_back,
        "stayed": closing.stayed,
        "reason": closing.reason,
    }
    return {name: value for name, value in told.items() if value}
