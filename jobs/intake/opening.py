"""Opening a card for a customer's unit or for the shop's own stock, and reopening an old one as a new one."""

from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from curves.models import Build, Target, TargetPoint
from curves.rows import stock
from jobs.intake.returned import TOOK_TARGET, require_newest
from jobs.models import Engine, Job, RoadReport, Step, Unit
from jobs.record.noting import note
from jobs.rules.agreed_for import engine_agreed_for
from jobs.rules.guards import held_with_unit, refuse_practice, require_closed
from jobs.rules.points import new_steps
from shop.models import Customer, Person, Shop
from shop.rights import require

PRACTICE_ABOVE = 900_000


@transaction.atomic
def open_job(
    *,
    by: Person,
    unit: Unit,
    engine: Engine | None = None,
    customer: Customer | None = None,
    build: Build | None = None,
    **fields: Any,
) -> Job:
    """Open a card and return it; rows that are not saved yet are saved with it. No customer: shop stock."""
    require(by, "open_job")
    for row in (customer, engine, unit):
        if row is not None and row.pk is None:
            row.save()
    if build is None:
        build = Build()
    build.save()
    job = Job.objects.create(
        number=_next_number(build),
        customer=customer,
        limit_agreed_with=None if fields.get("agreed_limit") is None else customer,
        engine=engine,
        unit=unit,
        build=build,
        opened_by=by,
        stage_since=timezone.now(),
        **fields,
    )
    Step.objects.bulk_create(new_steps(job))
    note("opened the card", job, by, owner=str(customer) if customer else "shop stock", unit=str(unit))
    return job


def _next_number(build: Build) -> int:
    """One more than the highest; the shop's row is locked, so that two cards never take the same number.

    Practice cards have numbers of their own, far above: they leave no gap among the real ones.
    """
    Shop.current()
    Shop.objects.select_for_update().get(pk=1)
    jobs, before = (Job.objects.practice(), PRACTICE_ABOVE) if build.is_practice else (Job.objects.real(), 0)
    return (jobs.aggregate(last=Max("number"))["last"] or before) + 1


@transaction.atomic
def report_from_road(job: Job, *, text: str, by: Person) -> None:
    """Write down what a unit did on the road: the one thing that a closed card still takes."""
    require(by, "open_job")
    refuse_practice(job)
    require_closed(job)
    RoadReport.objects.create(job=job, text=text, by=by)
    note("wrote a road report", job, by, text=text)


@transaction.atomic
def reopen(job: Job, *, by: Person, road_report: str = "", **fields: Any) -> Job:
    """Open a new card for a unit that came back; the old one, its curve and its papers stay as they are.

    ``fields`` are those of ``open_job`` that the new card does not take from the old. Only the newest card of
    a unit is reopened, and only once: the unit itself is locked, so that the second of two finds the first's.
    """
    require(by, "open_job")
    refuse_practice(job)
    before = held_with_unit(job)
    require_closed(before)
    require_newest(before)
    build = _build_like(before.build)
    stock.take_over(before.build, build, by=by)  # before anything that records or numbers: see DEVELOPERS.md
    if road_report:
        report_from_road(before, text=road_report, by=by)
    stood: dict[str, Any] = {"engine": before.engine, "customer": before.customer, "complaint": road_report}
    new = open_job(by=by, unit=before.unit, build=build, previous=before, **(stood | fields))
    if carried := _carry_target(before.build, build):
        new.agreed_for = engine_agreed_for(before, new.engine)
        new.save(update_fields=["agreed_for"])
        note(TOOK_TARGET, new, by, from_card=before.number, crank_degrees=carried)
    note("reopened as a new card", before, by, new_card=new.number)
    return new


def _build_like(before: Build) -> Build:
    """A new build with the head of an earlier one."""
    anew = {"id", "locked", "unrepaired", "version"}
    names = [field.name for field in Build._meta.concrete_fields if field.name not in anew]
    return Build.objects.create(**{name: getattr(before, name) for name in names})


def _carry_target(before: Build, build: Build) -> list[str]:
    """The band agreed on the earlier card, its points in words; the readings are to be made anew."""
    target = Target.objects.filter(build=before).first()
    if target is None:
        return []
    points = list(target.points.all())
    target.pk = None  # pyrefly: ignore [bad-assignment]  # without a key it is saved as a copy
    target._state.adding, target.build, target.version = True, build, 1
    target.save(force_insert=True)
    for point in points:
        point.pk = None  # pyrefly: ignore [bad-assignment]  # without a key it is saved as a copy
        point._state.adding, point.target = True, target
    TargetPoint.objects.bulk_create(points)
    return [str(point) for point in points]
