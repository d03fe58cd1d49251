"""Writing on the intake part of a card: its owner, engine, unit and what was agreed."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from jobs.intake.returned import carried_over
from jobs.models import Engine, Job
from jobs.record.noting import changes, note
from jobs.rules.agreed_for import engine_agreed_for
from jobs.rules.agreement import agreement_of, asked_of
from jobs.rules.guards import lock_open_card
from shop.models import Customer, Person
from shop.rights import require
from shop.versions import Conflict, save_versioned

STILL_THEIRS = (
    "The customer declined, and the unit is still theirs. If it stays here, close the card without the"
    " repair: kept for parts, with who said that it may. Then open a card of its own for the shop's stock."
)


@transaction.atomic
def change_card(
    job: Job,
    data: dict[str, Any],
    *,
    by: Person,
    version: int,
    right: str = "edit_intake",
    verb: str = "changed the card",
) -> None:
    """Write some of a card's own fields, from a version of it that the writer has seen."""
    require(by, right)
    now = lock_open_card(job)
    changed = changes(now, data, data)
    for name, value in data.items():
        setattr(job, name, value)
    if asked_of(job) != asked_of(now):
        job.estimate_since, data = timezone.now(), data | {"estimate_since": None}
    save_versioned(job, version, list(data))
    if changed:
        note(verb, job, by, changes=changed)


@transaction.atomic
def change_owner(job: Job, customer: Customer | None, *, by: Person, version: int) -> None:
    """Give a card to another customer, a new one, or the shop's stock (None): not after a no, which the shop
    cannot overrule by calling the unit its own."""
    require(by, "edit_intake")
    now = lock_open_card(job)
    if customer is None and not now.is_stock and agreement_of(now).is_refused:
        raise ValidationError({"stock": STILL_THEIRS})
    before = str(job.customer or "shop stock")
    if customer is not None and customer.pk is None:
        customer.save()
    job.customer = customer
    save_versioned(job, version, ["customer"])
    after = str(customer or "shop stock")
    if before != after:
        note("changed the owner", job, by, changes={"owner": [before, after]})


@transaction.atomic
def change_engine(job: Job, data: dict[str, Any], *, by: Person, version: int) -> None:
    """Write the engine of a card; one that another card also shows is copied first, so that card keeps it.

    A target that came along from the unit's earlier card stays that card's engine's, whatever is typed here.
    """
    require(by, "edit_intake")
    lock_open_card(job)
    engine = Engine.objects.get(pk=job.engine_id) if job.engine_id else Engine()
    changed = changes(engine, data, data)
    if engine.pk and engine.jobs.exclude(pk=job.pk).exists():
        engine.pk = None  # pyrefly: ignore [bad-assignment]  # without a key it is saved as a copy
        engine._state.adding = True
    for name, value in data.items():
        setattr(engine, name, value)
    engine.save()
    job.engine = engine
    if (carried := carried_over(job)) and carried.target:
        job.agreed_for = engine_agreed_for(carried.job, engine)
    save_versioned(job, version, ["engine", "agreed_for"])
    if changed:
        note("changed the engine", job, by, changes=changed)


@transaction.atomic
def change_unit(
    job: Job,
    data: dict[str, Any],
    *,
    by: Person,
    version: int,
    travel_stamped_deg: float | None = None,
    build_version: int | None = None,
) -> None:
    """Write what the unit says of itself: the unit is one thing, so every card of it shows the same.

    The travel stamped on it stands at the build, from ``build_version`` on; whoever loses either race is
    told of the card.
    """
    require(by, "edit_intake")
    lock_open_card(job)
    unit, build = job.unit, job.build
    changed = changes(type(unit).objects.get(pk=unit.pk), data, data)
    changed |= changes(build, ["travel_stamped_deg"], {"travel_stamped_deg": travel_stamped_deg})
    for name, value in data.items():
        setattr(unit, name, value)
    _write_stamping(job, travel_stamped_deg, build_version or build.version)
    unit.save(update_fields=list(data))
    save_versioned(job, version, ["unit"])
    if changed:
        note("changed the unit", job, by, changes=changed)


def _write_stamping(job: Job, travel_stamped_deg: float | None, version: int) -> None:
    """Written first: the card that a Conflict holds is then as it stands, not as it was about to be."""
    build = job.build
    stood, build.travel_stamped_deg = build.travel_stamped_deg, travel_stamped_deg
    if stood == travel_stamped_deg:
        return
    try:
        save_versioned(build, version, ["travel_stamped_deg"])
    except Conflict as conflict:
        raise Conflict(Job.objects.get(pk=job.pk)) from conflict
