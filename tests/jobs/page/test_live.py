"""After any write on a card its page says what a fresh load of it says: every count, state and notice.

The writes are found on the pages themselves, and so are the words: a new form or a new count is walked and
compared as soon as it is there.
"""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import resolve, reverse
from django.utils import timezone
from PIL import Image

from jobs.intake.actions import change_card
from jobs.money import answers
from jobs.stages import ORDER, Stage
from jobs.teardown.actions import change_part
from shop.live import standing
from tests import build
from tests.jobs.full import full_job
from tests.jobs.page.livepage import LivePage, values_of
from tests.jobs.papers.paperwork import signed_sheet

pytestmark = pytest.mark.django_db

# What is typed, by the last word of a field's name; anything else keeps what stands in it.
TYPED = {
    "text": "Bush worn",
    "state": "left_off",
    "why": "depends on the vehicle",
    "quantity": "3",
    "price": "12.50",
    "password": build.PASSWORD,
    "customer": "Ivo Brandt",
    "phone": "0555 0102",
    "maker": "Gadwall",
    "trigger": "magnetic",
    "cylinders": "6",
    "make": "Ternhill",
    "idle_crank_rpm": "1700",
    "compression": "13.5",
    "complaint": "hunts at idle",
    "tray": "T 9",
    "promised_on": "2020-02-03",
    "estimate": "210",
    "agreed_limit": "150",
    "revised_estimate": "320",
    "said": "accepted",
    "asked": "320",
    "how": "email",
    "setting_note": "12 degrees at 700",
    "caption": "as it came",
    "parts": "body",
    "kind": "curve_sheet",
    "paper": "Letter",
    "verdict": "replace",
    "note": "oval",
}
OPENED = ("edit_section", "edit_part", "answers")  # links that open a form in place
# Every write that a card takes with htmx; the walk must have met each.
WRITES = {
    *("add_finding", "add_part", "edit_part", "add_step", "tick_step", "abrasive", "add_photos"),
    *("edit_section", "answers", "sheets", "sign_sheet"),
}


def card_of(stage, person, **fields):
    job = full_job(stage, person, **fields)
    job.parts.create(text="Cap", state="left_off", why="the owner has one", by=person)
    if stage == Stage.HAND_BACK:
        signed_sheet(job)
    return job


def writes_on(page):
    """Each form with hx-post and each link that opens one, by what it is for; the same twice only once."""
    found = {}
    for element in page.root.iter():
        post, opens = element.get("hx-post"), element.get("hx-get") if element.tag == "a" else None
        address = post or opens
        if address and (post or resolve(address.split("?")[0]).view_name in OPENED):
            match = resolve(address.split("?")[0])
            said = tuple(value for key, value in match.kwargs.items() if key not in ("number", "pk"))
            found.setdefault((match.view_name, *said), element)
    return found


def test_each_answer_of_the_inspection_brings_the_counts_along(client_as):
    client = client_as("technician")
    job = build.job(stage=Stage.TEARDOWN)
    address = reverse("answer_points", args=[job.number])
    page = LivePage(client, address)
    for _ in range(3):
        line = next(one for one in page.root.iter() if is_open_point(one))
        page.send(line, values_of(line, {"verdict": "good"}))
        assert page.texts() == LivePage(client, address).texts()


def is_open_point(element):
    return element.get("hx-post") and element.get("class") == "point" and "to answer" in said(element)


def said(element):
    return " ".join(element.itertext())


def do(page, element):
    if element.get("hx-get"):
        address = element.get("hx-get")
        page.ask(element)
        element = next(one for one in page.root.iter("form") if one.get("hx-post") == address)
    values = values_of(element, TYPED)
    if any(field.get("type") == "file" for field in element.iter("input")):
        values["photos"] = _photo()
    page.send(element, values)


def _photo():
    held = io.BytesIO()
    Image.new("RGB", (40, 30), "#555").save(held, "PNG")
    return SimpleUploadedFile("as-found.png", held.getvalue(), "image/png")


def address_of(job, unfolded):
    return reverse("card", args=[job.number]) + "?" + "&".join(f"open={stage}" for stage in unfolded)


# Where each write meets a stage that is past, and one that stands: coming stages only say what they need.
@pytest.mark.parametrize(
    "stage",
    [
        Stage.TEARDOWN,
        pytest.param(Stage.CLEANING, marks=pytest.mark.any_database),
        pytest.param(Stage.BENCH_CURVE, marks=pytest.mark.any_database),
        Stage.HAND_BACK,
    ],
)
def test_every_write_brings_the_whole_card_along(client_as, subtests, stage):
    client = client_as("owner")
    address = address_of(card_of(stage, client.person), ORDER)
    page = LivePage(client, address)
    kinds = list(writes_on(page))
    assert not WRITES - {kind[0] for kind in kinds}
    for kind in kinds:
        with subtests.test(write=kind):
            before = page.texts()
            do(page, writes_on(page)[kind])
            fresh = LivePage(client, address)
            assert page.texts() == fresh.texts()
            assert page.texts() != before, "the write changed nothing that can be seen"
            page = fresh


def test_every_refused_write_brings_the_whole_card_along_too(client_as, subtests):
    """Someone else wrote the customer's answer and another tray: head, rail and bar say so at once."""
    client, other = client_as("owner"), client_as("counter")
    kinds = [kind for kind in writes_on(open_page(client)[0]) if kind[0] in OPENED]
    assert {(kind[-1]) for kind in kinds} >= {"owner", "unit", "engine", "agreed", "answer", "setting"}
    for kind in kinds:
        with subtests.test(write=kind):
            page, job, address = open_page(client)
            opens = writes_on(page)[kind]
            page.ask(opens)
            form = next(one for one in page.root.iter("form") if one.get("hx-post") == opens.get("hx-get"))
            typed = values_of(form, TYPED)
            change_meanwhile(job, other.person, resolve(opens.get("hx-get")).kwargs.get("pk"))
            page.send(form, typed, status=409)
            fresh = LivePage(client, address)
            for name in ("card-head", "rail-stages", "rail-missing", "rail-moves", "card-bar"):
                assert said(page.find(name)) == said(fresh.find(name)), name
            assert "T 99" in said(page.find("card-head"))
            assert "declined" in said(page.find("card-bar"))


@pytest.mark.parametrize(
    ("write", "typed", "status"),
    [
        ("add_finding", {"text": ""}, 422),
        ("sign_sheet", {"password": "wrong"}, 422),
        ("sign_sheet", TYPED, 409),
    ],
)
def test_a_refused_line_or_signature_brings_the_head_along(client_as, write, typed, status):
    client, other = client_as("owner"), client_as("counter")
    page, job, address = open_page(client)
    form = writes_on(page)[write,]
    sent = values_of(form, typed)
    change_meanwhile(job, other.person, job.parts.first().pk)
    page.send(form, sent, status=status)
    assert said(page.find("card-head")) == said(LivePage(client, address).find("card-head"))


def open_page(client):
    job = card_of(Stage.TEARDOWN, client.person, estimate=380)
    address = address_of(job, ORDER)
    return LivePage(client, address), job, address


def change_meanwhile(job, person, part=None):
    """What others write: the customer's answer, a tray, and on the line ``part`` if any."""
    job.refresh_from_db()
    told = {"said": "declined", "asked": 380, "amount": None, "said_by": "Ivo", "how": "phone"}
    told |= {"given_at": timezone.now(), "note": ""}
    answers.take_answer(job, told, by=person, version=job.version)
    job.refresh_from_db()
    change_card(job, {"tray": "T 99"}, by=person, version=job.version)
    if part:
        line = job.parts.get(pk=part)
        change_part(line, {"text": "Bush, reamed"}, by=build.person("technician"), version=line.version)


@pytest.mark.any_database
@pytest.mark.parametrize("between", [" ", "\n    "])
@pytest.mark.parametrize("name", ["once", "road-once", "csrfmiddlewaretoken"])
def test_a_new_key_in_a_form_is_no_news(between, name):
    one, other = (
        between.join(["<input", 'type="hidden"', f'name="{name}"', f'value="{key}">']) for key in "ab"
    )
    assert standing(one) == standing(other)
    assert standing(one + "1") != standing(one + "2")
