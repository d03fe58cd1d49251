"""What is not known stands as a dash, and never as an empty cell that only its source fills."""

import re

import pytest
from django.urls import reverse

from tests import build
from tests.reading import words

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

FACT = re.compile(r"<dd\b[^>]*>(.*?)</dd>", re.DOTALL)
BARE = dict.fromkeys(("year", "cylinders", "displacement_cc", "compression", "fuel_octane"))
BARE |= dict.fromkeys(("idle_crank_rpm", "top_crank_rpm"))


@pytest.mark.parametrize("address", ["card", "customer", "target"])
def test_a_fact_that_nobody_knows_is_marked(client_as, address):
    job = build.job(engine=build.engine(**BARE), estimate=None, complaint="Idle hunts.\n\nNo advance.")
    build.target(job.build, total_limit_crank_deg=None)
    key = job.customer.pk if address == "customer" else job.number
    answer = client_as("owner").get(reverse(address, args=[key]))
    facts = FACT.findall(answer.content.decode())
    assert facts
    unsaid = [fact for fact in facts if not words(fact)]
    assert not [fact for fact in unsaid if fact and 'class="nothing"' not in fact]
    if address != "target":
        assert unsaid


def test_a_complaint_keeps_its_lines(client_as):
    job = build.job(complaint="Idle hunts.\n\nNo advance.")
    page = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    assert '<dd class="as-written">Idle hunts.\n\nNo advance.</dd>' in page
