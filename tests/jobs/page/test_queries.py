"""What a page asks of the database: no more for many cards than for few, nor for a card with much on it."""

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job
from jobs.stages import ORDER
from tests import build
from tests.jobs.full import full_job
from tests.jobs.papers.paperwork import signed_sheet

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
MAX_QUERIES = 12
UNFOLDED_QUERIES = 15  # with every stage unfolded all lists are read, one query each, however long


@pytest.fixture
def costs(client_as, django_assert_max_num_queries):
    """``costs(address)``: its text, once it was asked for with at most so many queries."""
    client = client_as("owner")

    def look(address, most=MAX_QUERIES):
        client.get(address)  # what is asked once in a process does not count
        with django_assert_max_num_queries(most):
            answer = client.get(address)
        assert answer.status_code == 200
        return answer.content.decode()

    return look


FEW, MANY = 5, 120


@pytest.fixture(scope="module", params=[FEW, MANY])
def cards(request, django_db_setup, django_db_blocker):
    """Cards at every stage, much written on each: made once for all that is asked, then rolled back."""
    with django_db_blocker.unblock(), transaction.atomic():
        person = build.person(username="who-made-the-cards")
        yield [full_job(ORDER[number % len(ORDER)], person) for number in range(request.param)]
        transaction.set_rollback(True)


def test_board_costs_the_same_for_many_cards(cards, costs):
    assert costs(reverse("board")).count('class="ticket"') == len(cards)


def test_card_costs_the_same_among_many(cards, costs):
    for job in cards[:FEW]:
        costs(reverse("card", args=[job.number]))


@pytest.mark.parametrize("asked", ["", "?words=finding", "?displacement=1600&cylinders=4", "?like="])
def test_search_costs_the_same_among_many(cards, costs, asked):
    costs(reverse("search") + asked + (str(cards[0].number) if asked.endswith("like=") else ""))


@pytest.mark.parametrize("unfolded", [False, True], ids=["folded", "unfolded"])
@pytest.mark.parametrize("stage", ORDER)
def test_card_costs_the_same_with_much_on_it(costs, person, stage, unfolded):
    job = full_job(stage, person, lines=30)
    opened = "&".join(f"open={one.value}" for one in ORDER) if unfolded else ""
    most = UNFOLDED_QUERIES if unfolded else MAX_QUERIES
    text = costs(f"{reverse('card', args=[job.number])}?{opened}", most)
    assert ("finding 29" in text) is (unfolded or stage == "teardown")


def test_closed_card_costs_no_more(costs, person):
    job = full_job("hand_back", person, lines=30)
    signed_sheet(job)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    for number in range(8):
        job.road_reports.create(text=f"report {number}", by=person)
        build.job(previous=job)
    assert "report 7" in costs(reverse("card", args=[job.number]))
