"""Makes the demo shop: its records, and its past told in order through the real actions."""

from dataclasses import dataclass
from functools import partial

from django.contrib.auth.hashers import make_password
from django.db import transaction

from curves.models import Build, Spring
from jobs import search
from jobs.actions import opening
from jobs.demo import faults, plan
from jobs.demo.clock import clock_at, working_moment
from jobs.demo.drawer import fill_drawer
from jobs.demo.people import CUSTOMERS, PEOPLE, SHOP
from jobs.models import Job
from shop.models import Customer, Person, Shop

SEED = 1


class NotEmpty(Exception):
    """There are people or work in this database."""


@dataclass(frozen=True)
class Made:
    """How much was made."""

    jobs: int
    springs: int
    customers: int


def has_work():
    """Whether anything stands in this database that a demo would mix with."""
    return any(model.objects.exists() for model in (Person, Customer, Job, Build, Spring))


@transaction.atomic
def make_demo(password, *, seed=SEED, now, size=None):
    """Fill an empty database with the demo shop; everything dates back from ``now``'s morning."""
    if has_work():
        raise NotEmpty
    _shop()
    people = _people(password)
    world = plan.World(
        bench=(people["davit"], people["pernille"], people["davit"], people["imogen"]),
        counter=(people["rufus"], people["rufus"], people["imogen"]),
        customers=_customers(),
        drawer=fill_drawer(seed),
    )
    visits = plan.visits(seed, world, size or plan.FULL)
    with search.postponed():
        for day, action in sorted(_events(visits, people), key=lambda event: event[0]):
            with clock_at(working_moment(now, day)):
                action()
    return Made(Job.objects.count(), Spring.objects.count(), len(world.customers))


def _events(visits, people):
    """What has happened by this morning, of all visits."""
    for visit in visits:
        yield from ((day, action) for day, action in visit.events() if day < 0)
    finished = [visit for visit in visits if visit.opened + visit.days[None] < 0]
    lately = finished[::-1]
    for visit, text in zip(lately[3::2], faults.ROAD_REPORTS[1:], strict=False):
        yield min(visit.opened + visit.days[None] + 8, -1.0), partial(_report, visit, text, people["rufus"])
    for visit in lately[2:3]:
        yield -3.4, partial(_come_back, visit, people["rufus"])


def _report(visit, text, by):
    opening.report_from_road(visit.job, text=text, by=by)


def _come_back(visit, by):
    """One unit is back after its road test, as a new card."""
    opening.reopen(
        visit.job,
        by=by,
        road_report=faults.ROAD_REPORTS[0],
        came_with="Unit alone.",
        tray="R1",
    )


def _shop():
    shop = Shop.current()
    for name, value in SHOP.items():
        setattr(shop, name, value)
    shop.is_demo = True
    shop.save()


def _people(password):
    hashed = make_password(password)  # once: it is slow on purpose
    return {
        login: Person.objects.create(
            username=login, full_name=name, email=f"{login}@wexcombe.example", role=role, password=hashed
        )
        for login, name, role in PEOPLE
    }


def _customers():
    return [
        Customer.objects.create(
            name=name,
            company=company,
            phone=phone,
            email=f"customer{place}@mail.example",
            address=address,
            note=note,
        )
        for place, (name, company, phone, address, note) in enumerate(CUSTOMERS, start=1)
    ]
