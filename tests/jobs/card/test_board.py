"""The board and the card: what they say, and that more cards cost no more queries."""

import datetime
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs import queries
from jobs.teardown import actions
from tests import build
from tests.jobs.full import full_job
from tests.jobs.papers.paperwork import finished_job, signed_sheet
from tests.reading import markup

pytestmark = pytest.mark.django_db


def test_board_shows_a_card_under_its_stage_with_what_it_misses(client_as):
    build.job(stage="teardown", unit=build.unit(number="ES 77"))
    text = client_as("counter").get(reverse("board")).content.decode()
    column = text.split('data-stage="teardown"')[1].split("</section>")[0]
    for word in (
        "ES 77",
        "Marta Quill",
        "Larkfield saloon",
        "inspection points to answer",
        "today in teardown",
    ):
        assert word in column


def test_board_says_stock_and_ready_in_words(client_as, person):
    build.job(customer=None, stage="intake")
    signed_sheet(finished_job(worked=True))
    text = markup(client_as("counter").get(reverse("board")))
    assert "shop stock" in text
    assert "ready for teardown" in text
    assert "ready to hand back" in text


@pytest.mark.parametrize(
    ("agreed", "waits"),
    [
        ({"revised_estimate": 380, "agreed_limit": 340}, True),
        ({"estimate": 380, "agreed_limit": 340}, True),
        ({"revised_estimate": 340, "agreed_limit": 340}, False),
        ({"revised_estimate": 380}, True),
        ({"estimate": 380}, True),
        ({}, False),
        ({"agreed_limit": 340}, False),
    ],
)
def test_board_and_card_say_whose_answer_is_awaited(client_as, agreed, waits):
    job = build.job(stage="cleaning", worked=True, **agreed)
    client = client_as("owner")
    board = client.get(reverse("board")).content.decode()
    card = client.get(reverse("card", args=[job.number])).content.decode()
    assert board.count("the customer's answer") == int(waits)
    assert ("waiting for the customer's answer" in board) is waits
    assert ("1 waiting for the customer" in board) is waits
    assert ("ready for spring trials" in board) is not waits
    assert ("Waiting for the customer's answer" in card) is waits


def test_late_card_is_marked_with_a_word_and_stands_first(client_as):
    today = timezone.localdate()
    later = build.job(promised_on=today + datetime.timedelta(days=9))
    late = build.job(promised_on=today - datetime.timedelta(days=2))
    never = build.job()
    column = queries.board(build.person("owner")).columns[0]
    assert [row.job for row in column.rows] == [late, later, never]
    assert [row.days_late for row in column.rows] == [2, 0, 0]
    text = client_as("counter").get(reverse("board")).content.decode()
    assert "late by 2 days" in text
    assert "1 late" in text


def test_card_promised_for_today_is_not_late():
    job = build.job(promised_on=timezone.localdate())
    assert queries.board(build.person("owner")).columns[0].rows[0].job == job
    assert queries.board(build.person("owner")).late == 0


def test_card_handed_back_leaves_the_board(client_as):
    build.job(stage="hand_back", closed_at=timezone.now())
    text = client_as("counter").get(reverse("board")).content.decode()
    assert 'class="ticket"' not in text
    assert "No open card" in text


def test_time_in_a_stage_is_never_negative():
    job = build.job(stage_since=timezone.now() + datetime.timedelta(days=3))
    assert queries.days_in_stage(job) == 0


def test_stranger_sees_no_board(client):
    answer = client.get(reverse("board"))
    assert answer.status_code == 302
    assert reverse("login") in answer["Location"]


def test_board_takes_no_writing(client_as):
    assert client_as("owner").post(reverse("board")).status_code == 405


def test_folded_stages_say_what_came_of_them(client_as, person):
    job = full_job("hand_back", person, tray="T 4")
    text = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    for word in (
        "Marta Quill; tray T 4",
        "12 points answered",
        "4 steps done",
        "2 trial runs",
        "Final run 4: falling sweep not read, rising sweep in the band",
    ):
        assert word in text


def test_coming_stages_say_what_they_need(client_as):
    job = build.job(stage="intake")
    text = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    for word in ("Needs every inspection point answered", "Needs a signed curve sheet"):
        assert word in text


def text_of_board(client, show=""):
    return markup(client.get(reverse("board"), {"show": show}))


@pytest.mark.parametrize(
    ("show", "numbers"),
    [("", {1, 2, 3, 4}), ("mine", {1}), ("late", {2}), ("ready", {3}), ("nonsense", {1, 2, 3, 4})],
)
def test_board_shows_mine_late_and_ready_with_their_counts(client_as, show, numbers):
    client = client_as("technician")
    mine, late = build.job(), build.job(promised_on=timezone.localdate() - datetime.timedelta(days=2))
    actions.add_finding(mine, text="A loose clamp.", by=client.person)
    signed_sheet(finished_job(worked=True), by=build.person("owner"))
    actions.add_finding(late, text="Dry.", by=client.person)
    actions.add_finding(
        late, text="Bent.", by=build.person("owner")
    )  # the last thing was done by someone else
    build.job(stage="hand_back")  # nothing signed yet: nobody can come for it
    text = text_of_board(client, show)
    assert set(map(int, re.findall(r'class="ticket" href="/jobs/(\d+)/"', text))) == numbers
    plain = re.sub(r"<[^>]+>", "", text)
    for words in ("All 4", "Mine 1", "Late 1", "Ready to collect 1"):
        assert words in plain


def test_a_paper_that_was_printed_takes_no_card_from_whose_it_is(client_as):
    client = client_as("technician")
    mine = finished_job(by=client.person)
    signed_sheet(mine, by=client.person)
    assert mine.history.order_by("-pk").first().by is None  # the printer's
    assert f'href="/jobs/{mine.number}/"' in text_of_board(client, "mine")


def test_nobody_collects_what_is_the_shops_own(client_as):
    stock, sold = finished_job(customer=None, worked=True), finished_job(worked=True)
    for job in (stock, sold):
        signed_sheet(job)
    text = text_of_board(client_as("counter"), "ready")
    assert "Ready to collect 1" in re.sub(r"<[^>]+>", "", text)
    assert re.findall(r'class="ticket" href="/jobs/(\d+)/"', text) == [str(sold.number)]


def test_board_says_what_mine_means_and_jumps_to_a_stage(client_as):
    build.job()
    text = text_of_board(client_as("technician"), "mine")
    assert "You did the last thing on these cards." in text
    assert 'href="#col-teardown"' in text


def test_rail_counts_things_not_kinds(client_as):
    job = build.job(stage="teardown")
    text = markup(client_as("technician").get(reverse("card", args=[job.number])))
    open_points = queries.card_for(build.person("owner"), job.number).points_open
    assert open_points > 1
    assert f"today, {open_points} missing" in text
