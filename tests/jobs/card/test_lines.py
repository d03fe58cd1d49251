"""Writing on a card line by line: findings, parts, steps, sign-off; by right, once, on open cards."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Finding, Job, PartLine, Step
from shop.models import new_key
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def step(job, **fields):
    return Step.objects.create(job=job, **({"list": "cleaning", "text": "Degrease"} | fields))


def finding(job):
    return Finding.objects.create(job=job, text="loop stretched", stage="teardown", by=build.person())


def part(job, **fields):
    return PartLine.objects.create(job=job, by=build.person(), **({"text": "Bush", "price": 14} | fields))


def writes(job):
    """Every write on a card's lines: its address and what it sends."""
    number = job.number
    return {
        "add_finding": ([number], {"text": "loop stretched", "once": new_key()}),
        "remove_finding": ([number, finding(job).pk], {}),
        "add_part": ([number], {"text": "Bush", "quantity": "1", "state": "wanted", "once": new_key()}),
        "edit_part": (
            [number, part(job).pk],
            {"text": "Pin", "quantity": "2", "state": "fitted", "version": "1"},
        ),
        "remove_part": ([number, part(job).pk], {}),
        "add_step": ([number, "cleaning"], {"text": "Ultrasonic bath", "once": new_key()}),
        "tick_step": ([number, step(job).pk, "do"], {}),
        "abrasive": ([number, "blasted"], {}),
    }


WRITES = [
    "add_finding",
    "remove_finding",
    "add_part",
    "edit_part",
    "remove_part",
    "add_step",
    "tick_step",
    "abrasive",
]


def send(client, job, name, **options):
    args, values = writes(job)[name]
    return client.post(reverse(name, args=args), values, **options)


@pytest.mark.parametrize("name", WRITES)
@pytest.mark.parametrize("role", ["owner", "technician"])
def test_bench_writes(client_as, name, role):
    job = build.job(stage="teardown")
    assert send(client_as(role), job, name, headers=HTMX).status_code == 200
    assert job.history.count() == 1


@pytest.mark.parametrize("name", WRITES)
def test_writing_works_without_scripts(client_as, name):
    job, client = build.job(stage="teardown"), client_as("technician")
    answer = send(client, job, name)
    assert answer.status_code == 302
    assert client.get(answer["Location"]).status_code == 200


@pytest.mark.parametrize("name", WRITES)
def test_counter_does_not_write_there(client_as, name):
    job = build.job(stage="teardown")
    assert send(client_as("counter"), job, name).status_code == 403
    assert not job.history.exists()


@pytest.mark.parametrize("name", WRITES)
def test_stranger_is_led_to_the_login(client, name):
    job = build.job(stage="teardown")
    assert reverse("login") in send(client, job, name)["Location"]
    assert not job.history.exists()


@pytest.mark.parametrize("name", WRITES)
def test_closed_card_takes_no_lines(client_as, name):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    assert send(client_as("owner"), job, name).status_code == 403
    assert not job.history.exists()


@pytest.mark.parametrize("name", [name for name in WRITES if name != "edit_part"])
def test_get_writes_nothing(client_as, name):
    job = build.job(stage="teardown")
    args, values = writes(job)[name]
    assert client_as("owner").get(reverse(name, args=args), values).status_code == 405
    assert not job.history.exists()


@pytest.mark.parametrize("name", ["remove_finding", "edit_part", "remove_part", "tick_step"])
def test_line_of_another_card_is_left_alone(client_as, name):
    mine, other = build.job(stage="teardown"), build.job(stage="teardown")
    args, values = writes(other)[name]
    client_as("owner").post(reverse(name, args=[mine.number, *args[1:]]), values)
    assert not other.history.exists()
    assert not mine.history.exists()


@pytest.mark.parametrize(
    ("name", "lines"), [("add_finding", "findings"), ("add_part", "parts"), ("add_step", "steps")]
)
def test_double_send_makes_one_line(client_as, name, lines):
    job, client = build.job(stage="teardown"), client_as("technician")
    args, values = writes(job)[name]
    before = getattr(job, lines).count()
    for _ in range(2):
        client.post(reverse(name, args=args), values)
    assert getattr(job, lines).count() == before + 1


@pytest.mark.parametrize("name", ["remove_finding", "remove_part"])
def test_struck_line_is_written_again_by_its_undo(client_as, name):
    job, client = build.job(stage="teardown"), client_as("technician")
    args, values = writes(job)[name]
    before = lines_of(job)
    card = markup(client.get(client.post(reverse(name, args=args), values)["Location"]))
    assert len(lines_of(job)) == len(before) - 1
    note = card.split('class="note"')[1].split("</form>")[0]
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', note))
    sent.pop("csrfmiddlewaretoken", None)
    client.post(re.search(r'action="([^"]+)"', note)[1], sent)
    assert sorted(lines_of(job)) == sorted(before)


def lines_of(job):
    """What stands on the lines of a card, as words."""
    return [
        *job.findings.values_list("text", flat=True),
        *(f"{line.text} {line.how_many} {line.price} {line.state}" for line in job.parts.all()),
        *(f"{step.list}: {step.text}, {step.parts}" for step in job.steps.all()),
    ]


@pytest.mark.parametrize(
    ("name", "changes", "said"),
    [
        ("add_finding", {"text": " "}, "Needed"),
        ("add_finding", {"text": "x" * 501}, "Too long"),
        ("add_part", {"text": ""}, "Needed"),
        ("add_part", {"quantity": "0"}, "too low"),
        ("add_part", {"quantity": "NaN"}, "not a number"),
        ("add_part", {"price": "cheap"}, "not a number"),
        ("add_part", {"state": "lost"}, "Not on the list"),
        ("add_part", {"state": "left_off", "why": ""}, "write why"),
        ("add_step", {"text": ""}, "Needed"),
    ],
)
def test_bad_line_is_refused_and_kept(client_as, name, changes, said):
    job, client = build.job(stage="teardown"), client_as("technician")
    args, values = writes(job)[name]
    answer = client.post(reverse(name, args=args), values | changes, headers=HTMX)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    typed = (values | changes)["text"].strip()
    assert not typed or typed in text
    assert not job.history.exists()


def test_part_left_off_is_said_loudly_with_its_reason(client_as):
    job = build.job(stage="hand_back")
    part(job, text="Ignition module", state="left_off", why="its connector depends on the vehicle")
    text = client_as("counter").get(reverse("card", args=[job.number])).content.decode()
    assert "Tell them: Ignition module was left off." in text
    assert text.count("its connector depends on the vehicle") >= 2


def test_second_writer_of_a_part_sees_both(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    line = part(job)
    address = reverse("edit_part", args=[job.number, line.pk])
    first = {"text": "Bush, bronze", "quantity": "1", "state": "fitted", "version": "1"}
    assert client.post(address, first, headers=HTMX).status_code == 200
    answer = client.post(address, first | {"text": "Bush, sintered"}, headers=HTMX)
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "Bush, sintered" in text
    assert "Now stands: <b>Bush, bronze</b>" in text
    line.refresh_from_db()
    assert line.text == "Bush, bronze"


def test_who_ticked_a_step_first_stays(client_as):
    job = build.job(stage="cleaning")
    row = step(job)
    first, second = client_as("technician"), client_as("owner")
    for client in (first, second):
        client.post(reverse("tick_step", args=[job.number, row.pk, "do"]))
    row.refresh_from_db()
    assert row.by == first.person
    second.post(reverse("tick_step", args=[job.number, row.pk, "undo"]))
    row.refresh_from_db()
    assert (row.by, row.at) == (None, None)


def test_abrasive_is_signed_by_name_and_blasting_again_takes_it_away(client_as):
    job, client = build.job(stage="cleaning"), client_as("technician")

    def say(said):
        client.post(reverse("abrasive", args=[job.number, said]))
        job.refresh_from_db()

    say("blasted")
    assert job.blasted
    assert job.abrasive_free_at is None
    say("signed")
    assert job.abrasive_free_by == client.person
    say("again")
    assert job.blasted
    assert job.abrasive_free_at is None
    say("not-blasted")
    assert not job.blasted


def test_unit_that_was_not_blasted_needs_no_signature(client_as):
    job, client = build.job(stage="cleaning"), client_as("technician")
    assert client.post(reverse("abrasive", args=[job.number, "signed"]), headers=HTMX).status_code == 422
    assert Job.objects.get(pk=job.pk).abrasive_free_at is None


def test_words_that_are_no_action_are_not_found(client_as):
    job, client = build.job(stage="cleaning"), client_as("technician")
    row = step(job)
    assert client.post(reverse("tick_step", args=[job.number, row.pk, "eat"])).status_code == 404
    assert client.post(reverse("abrasive", args=[job.number, "eaten"])).status_code == 404
    assert client.post(reverse("add_step", args=[job.number, "cooking"]), {"text": "x"}).status_code == 404


def test_finding_is_found_by_search(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    client.post(
        reverse("add_finding", args=[job.number]),
        {"text": "gudgeon of the weight worn oval", "once": new_key()},
    )
    assert "gudgeon" in Job.objects.get(pk=job.pk).search_text


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        ("teardown", "pacemaker"),
        ("cleaning", "catch fire"),
        ("spring_trials", "guards on"),
        ("bench_curve", "guards on"),
        ("hand_back", "detonation"),
    ],
)
def test_caution_stands_once_where_the_work_is(client_as, stage, word):
    job = build.job(stage=stage)
    text = client_as("technician").get(reverse("card", args=[job.number])).content.decode()
    assert text.count('class="caution"') == 1
    assert word in text
    assert "leave licensed work to those who hold the licence" in text
