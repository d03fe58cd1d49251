"""What cannot be is refused beside its field with nothing lost; what is only unusual is taken, and said.

Every field of every form that takes a number or a day is found on the page itself, so a new one is tried too.
"""

import json
import re
from contextlib import contextmanager

import pytest
from django.db import connection, transaction
from django.urls import reverse

from curves.models import Run
from jobs.models import InspectionPoint, Job
from tests import build
from tests.forms import Page
from tests.reading import markup

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]

NO_NUMBERS = ("twelve", "NaN", "inf", "-inf", "1e400", "１２", "12 13")
WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)
NO_DAYS = ("soon", "1870-03-01", "2026-02-31", "nan", "12026-01-01")
# What can't be in a field of this name, though it is a number.
IMPOSSIBLE = {
    "rpm": ("-100", "1000000"),
    "deg": ("400",),
    "year": ("1870",),
    "estimate": ("-1",),
    "limit": ("-1",),
    "price": ("-1",),
    "mm": ("400000",),
}
# Where the forms are: the page, and where its form goes when that is elsewhere; {n} is a card's number.
FORMS = {
    "unit": "/jobs/{n}/edit/unit/",
    "engine": "/jobs/{n}/edit/engine/",
    "agreement": "/jobs/{n}/edit/agreed/",
    "answer": "/jobs/{n}/answers/",
    "estimate": "/jobs/{n}/edit/answer/",
    "closing": "/jobs/{n}/close/",
    "counter": "/jobs/new/",
    "head": "/jobs/{n}/head/",
    "target": "/jobs/{n}/target/",
    "new run": "/jobs/{n}/runs/new/?kind=trial /jobs/{n}/runs/new/",
    "run": "/jobs/{n}/runs/1/",
    "inspection": "/jobs/{n}/inspection/",
    "new part": "/jobs/{n}/?open=teardown /jobs/{n}/parts/",
    "part": "/jobs/{n}/parts/{part}/",
    "hand-back": "/jobs/{n}/ /jobs/{n}/hand-back/",
    "new spring": "/springs/new/",
    "spring": "/springs/{spring}/",
    "point": "/inspection/{point}/",
    "profile": "/shop/",
    "search": "/search/",
}


@pytest.fixture
def job(owner):
    """A card with something in every form."""
    job = build.job(stage="hand_back", complaint="Pinks at 3000", estimate=200, agreed_limit=250, by=owner)
    build.target(job.build, initial_crank_deg=10)
    build.run(job.build, kind=Run.Kind.FINAL)
    return job


@pytest.fixture
def form_of(job, owner, client_as):
    """``form_of("engine")``: the client, and that form as it stands on its page."""
    part = job.parts.create(text="Rotor", price=9.6, by=owner)
    names = {"n": job.number, "part": part.pk, "spring": build.spring().pk}
    names["point"] = InspectionPoint.objects.get(key="shaft-end-float").pk
    client = client_as(owner)

    def find(name):
        address, _, action = FORMS[name].format(**names).partition(" ")
        page = Page(client.get(address).content.decode())
        return client, page.form(action or address)

    return find


@contextmanager
def statements_that_write():
    """Collects what the database is told to write meanwhile, but for sessions."""
    told = []

    def listen(execute, sql, params, many, context):
        if (
            re.match(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", sql, re.IGNORECASE)
            and "django_session" not in sql
        ):
            told.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(listen):
        yield told


def send(client, form, **changes):
    """Send a form with some values changed; whatever it writes is taken back."""
    values = form.sends | changes
    with transaction.atomic(), statements_that_write() as told:
        answer = (client.get if form.method == "get" else client.post)(form.action, values)
        transaction.set_rollback(True)
    return answer, told, values


def bad_values(control):
    """What must be refused in this field."""
    if control.is_date:
        return NO_DAYS
    own = (bad for word, bads in IMPOSSIBLE.items() if word in control.name for bad in bads)
    return (*NO_NUMBERS, *own)


def assert_kept(page, name, values):
    """The form that holds this field shows every value as it was typed."""
    shown = next(form.controls for form in page.forms if name in form.controls)
    for other, value in values.items():
        if other in shown and shown[other].attrs.get("type") not in ("hidden", "checkbox", "radio"):
            assert shown[other].value == value, f"{name} = {values[name]!r}: {other}"


def assert_refused(answer, name, values):
    """The answer is the form again: the message beside the field, and nothing typed is lost."""
    said = f"{name} = {values[name]!r}"
    assert answer.status_code == 422, said
    page = Page(answer.content.decode())
    shown = next(form.controls for form in page.forms if name in form.controls)
    control = shown[name]
    assert_kept(page, name, values)
    assert control.attrs.get("aria-invalid") == "true", said
    beside = " ".join(page.texts.get(place, "") for place in control.attrs["aria-describedby"].split())
    assert len(beside.split()) >= 4, said


def test_a_write_does_not_go_unheard(form_of):
    client, form = form_of("agreement")
    _, wrote, _ = send(client, form, estimate="201")
    assert any("jobs_job" in statement for statement in wrote)


@pytest.mark.parametrize("name", FORMS)
def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_lost(form_of, name):
    client, form = form_of(name)
    tried = [control for control in form.controls.values() if control.is_number or control.is_date]
    assert tried
    for control in tried[:8] if name == "inspection" else tried:
        for bad in bad_values(control):
            answer, wrote, values = send(client, form, **{control.name: bad})
            assert_refused(answer, control.name, values)
            assert not wrote, f"{control.name} = {bad!r} was refused, and yet: {wrote}"


@pytest.mark.parametrize("name", FORMS)
def test_an_empty_field_is_taken_as_not_known_or_asked_for(form_of, name):
    client, form = form_of(name)
    for control in form.controls.values():
        if control.is_number or control.is_date:
            answer, wrote, values = send(client, form, **{control.name: ""})
            assert answer.status_code in (200, 302, 422), control.name
            if answer.status_code == 422:
                assert not wrote
                assert_kept(Page(answer.content.decode()), control.name, values)


def grid(*cells):
    return json.dumps([{"speed": speed, "advance": advance, "falling": ""} for speed, advance in cells])


@pytest.mark.parametrize("speed", ["-5", "fast", "nan", "inf", "1e400", "１２００", "99999"])
def test_a_speed_that_cannot_be_is_refused_in_its_row(form_of, speed):
    client, form = form_of("new run")
    answer, wrote, _ = send(client, form, frame="crank", json=grid(("800", "2"), (speed, "4")))
    assert (answer.status_code, wrote) == (422, [])
    text = markup(answer)
    assert "Row 2, speed" in text
    assert f'"{speed}"' in text or f"&quot;{speed}&quot;" in text


@pytest.mark.parametrize("advance", ["400", "-90", "much", "nan", "1e400", "４"])
def test_an_advance_that_cannot_be_is_refused_in_its_row(form_of, advance):
    client, form = form_of("new run")
    answer, wrote, _ = send(client, form, frame="crank", json=grid(("800", advance)))
    assert (answer.status_code, wrote) == (422, [])
    assert "Row 1, advance" in markup(answer)


UNUSUAL_RUNS = {
    # Centrifugal advance of 40 crank degrees is beyond what road engines take: common practice, no source.
    "40.0 crank degrees": [(400, 0), (1000, 10), (2000, 30), (3000, 40)],
    # Friction holds the weights out on the way down, never the other way round at this size: mechanics.
    "falling": [(800, 2), (1600, 10), (2400, 20), (1600, 14, True), (800, 6, True)],
}


@pytest.mark.parametrize("said", UNUSUAL_RUNS)
def test_an_unusual_run_is_taken_with_a_warning(client_as, said):
    job = build.job(stage="bench_curve")
    build.run(job.build, UNUSUAL_RUNS[said], kind=Run.Kind.FINAL, frame="crank")
    page = markup(client_as("owner").get(reverse("card", args=[job.number])))
    warned = [text for text in re.findall(r'class="warning".*?</(?:p|li)>', page) if "Unusual." in text]
    assert any(said in line for line in warned), warned


def test_travel_far_from_its_stamping_is_taken_with_a_warning(form_of, job, client_as):
    client, form = form_of("head")
    values = form.sends | {"travel_stamped_deg": "11", "travel_measured_deg": "14"}
    assert client.post(form.action, values).status_code == 302
    assert Job.objects.get(pk=job.pk).build.travel_measured_deg == 14
    text = markup(client_as("owner").get(reverse("card", args=[job.number]) + "?open=intake"))
    said = "Travel measured is 14 distributor degrees, 3 more than the 11 stamped."
    assert said in text
