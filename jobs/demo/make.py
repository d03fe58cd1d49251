"""Makes the demo shop: its records, and its past told in order through the real actions."""

from dataclasses import dataclass
from functools import partial

from django.contrib.auth.hashers import make_password
from django.db import transaction

from curves.models import Build, HeadType, Spring
from curves.springs import learning
from jobs.demo import faults, plan
from jobs.demo.clock import clock_at, working_moment
from jobs.demo.drawer import fill_drawer
from jobs.demo.engines import KINDS
from jobs.demo.heads import HEADS
from jobs.demo.people import CUSTOMERS, PEOPLE, SHOP
from jobs.demo.suiting import suits
from jobs.intake import opening
from jobs.models import Job
from jobs.search import hits
from shop.models import Customer, Person, Shop

SEED = 1
TYPES_LEARN = -15.0  # working days from today


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
    with clock_at(working_moment(now, plan.FIRST_DAY - 2)):
        drawer = fill_drawer(seed, people["davit"])
    world = plan.World(
        bench=(people["davit"], people["pernille"], people["davit"], people["imogen"]),
        counter=(people["rufus"], people["rufus"], people["imogen"]),
        customers=_customers(),
        drawer=drawer,
        head_types=_head_types(people["imogen"]),
    )
    visits = plan.visits(seed, world, size or plan.FULL)
    learn = partial(_learn_types, world.head_types, people["imogen"])
    events = [*_events(visits, people), (TYPES_LEARN, learn)]
    with hits.postponed():
        for day, action in sorted(events, key=lambda event: event[0]):
            with clock_at(working_moment(now, day)):
                action()
    return Made(Job.objects.count(), Spring.objects.count(), len(world.customers))


def _events(visits, people):
    """What has happened by this morning, of all visits."""
    for visit in visits:
        yield from ((day, action) for day, action in visit.events() if day < 0)
    finished = [visit for visit in visits if visit.opened + visit.days[None] < 0]
    lately = [visit for visit in reversed(finished) if _is_driven(visit)]
    for visit, text in zip(lately[3::2], faults.ROAD_REPORTS[1:], strict=False):
        yield min(visit.opened + visit.days[None] + 8, -1.0), partial(_report, visit, text, people["rufus"])
    for visit in lately[2:3]:
        yield -3.4, partial(_come_back, visit, people["rufus"])


def _is_driven(visit):
    """Whether somebody could say each of the road reports of this unit's engine."""
    return visit.customer and all(suits(text, visit.kind) for text in faults.ROAD_REPORTS)


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


def _head_types(by):
    """One for each head that a maker drew, told by the numbers of the units it is found in."""
    types = {}
    for key in HEADS:
        numbers = [kind.unit_number for kind in KINDS if kind.head == key]
        types[key] = HeadType(name=f"{key.capitalize()} head")
        learning.save_type(types[key], {"note": f"Found in {', '.join(numbers)}."}, by=by)
    return types


def _learn_types(types, by):
    """What the finished units of each type have in common; a type of too few learns later."""
    for head_type in types.values():
        if learning.teaching_builds(head_type).count() >= learning.MIN_BUILDS:
            learning.order(head_type, by=by)
            learning.learn(head_type.pk)


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
