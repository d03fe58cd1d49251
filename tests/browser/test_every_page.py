"""Every page of every role over a small demo shop: found in the table of addresses, so none is forgotten.

The others see fewer controls than the owner, on the same pages.
"""

import re
from itertools import islice

import pytest
from django.urls import URLPattern, get_resolver
from django.utils import timezone

from curves.models import Spring
from jobs.demo import make, plan
from jobs.models import InspectionPoint, Job, Sheet
from jobs.stages import Stage
from shop.models import Customer, Person, Role
from tests.browser.looks import assert_fits, assert_no_barrier_in_light_or_dark

pytestmark = pytest.mark.django_db(transaction=True)

SMALL = plan.Size(2, dict.fromkeys(Stage, 1))
WIDTHS_PX = (1280, 820, 390, 320)  # the last one is the width that axe sees
HEIGHT_PX = 900
# What an address may hold, by the first word of its path where its name alone doesn't say it.
PARTS = {
    "people/<pk>": Person,
    "customers/<pk>": Customer,
    "inspection/<pk>": InspectionPoint,
    "springs/<pk>": Spring,
}
EDITED = ("owner", "unit", "engine", "agreed", "answer", "setting")


def routes(patterns=None, before=""):
    """Every address of the shop as its pattern, (route, name)."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield re.sub(r"<(?:\w+:)?(\w+)>", r"<\1>", route), pattern.name
        else:
            yield from routes(pattern.url_patterns, route)


def filled(route, name, jobs):
    """Addresses that this pattern stands for in this shop, the likeliest first."""
    for job in jobs if "<number>" in route else [None]:
        values = _values(route, name, job)
        for section in EDITED if name == "edit_section" else [""]:
            address = route
            for word, value in {**values, "section": section}.items():
                address = address.replace(f"<{word}>", str(value))
            if "<" not in address:
                yield f"/{address}"


def _values(route, name, job):
    """What the words in a pattern stand for, on this card."""
    if name == "check":
        return {"token": Sheet.objects.signed().first().token}
    if job is None:
        model = PARTS.get(re.sub(r"(<pk>).*", r"\1", route))
        row = model and model.objects.order_by("pk").first()
        return {"pk": row.pk} if row else {}
    run, part = job.build.runs.first(), job.parts.first()
    values = {"number": job.number, "stage": Stage.TEARDOWN}
    if run:
        values["run"] = run.number
    if part and "/parts/" in route:
        values["pk"] = part.pk
    return values


def pages_of(client):
    """Every address that answers this person with a page: a card at each stage, others once."""
    jobs = [Job.objects.filter(stage=stage, closed_at=None).first() for stage in Stage]
    jobs = [*reversed(jobs), Job.objects.filter(closed_at__isnull=False).first()]
    for route, name in routes():
        several = jobs if name == "card" else EDITED if name == "edit_section" else [0]
        answering = (address for address in filled(route, name, jobs) if is_page(client.get(address)))
        for address in islice(answering, len(several)):
            yield name, address


def is_page(answer):
    whole = answer.status_code == 200 and answer["Content-Type"].startswith("text/html")
    return whole and b"<html" in answer.content[:200]


# Forms are the same for whoever may open them: the others walk only where what is shown hangs on the role.
SHOWN_BY_ROLE = {"board", "card", "search", "sheets", "history", "drawer", "customers", "customer"}
# Pages that the owner's walk must have met, so that it can't pass by seeing nothing.
OWNER_MEETS = SHOWN_BY_ROLE | {
    *("new_job", "check", "password", "answer_points", "run_new", "run", "target", "head", "edit_part"),
    *("spring_new", "spring", "points", "point", "people", "new_person", "person", "person_password"),
    *("shop_profile", "new_customer", "edit_customer", "edit_section"),
    *("answers", "close_card"),
}


def test_every_page_holds(open_page, client_as, subtests):
    make.make_demo("not-a-secret-1", now=timezone.localtime(), size=SMALL)
    for role in Role.values:
        with subtests.test(role):
            person = Person.objects.filter(role=role).first()
            assert_walk_holds(open_page(who=person), client_as(person), role)


def assert_walk_holds(page, client, role):
    met = set()
    for name, address in pages_of(client):
        if role != "owner" and name not in SHOWN_BY_ROLE:
            continue
        met.add(name)
        page.set_viewport_size({"width": WIDTHS_PX[0], "height": HEIGHT_PX})
        page.goto(address)
        assert re.fullmatch(r".+ · Bobweight", page.title()), address
        for width in WIDTHS_PX:
            page.set_viewport_size({"width": width, "height": HEIGHT_PX})
            assert_fits(page)
        assert_no_barrier_in_light_or_dark(page)
    assert not (OWNER_MEETS if role == "owner" else SHOWN_BY_ROLE) - met
