"""The trials page says of a final run what card and bench say, and what comes next until it is proved."""

import pytest
from django.urls import reverse

from tests import build
from tests.jobs.curvework.test_proof import CASES, UNEVEN, headline, job_with
from tests.reading import markup

pytestmark = pytest.mark.django_db

NOTHING_LEFT = "Nothing is left to try"


def said_on_trials(client, job, **asked):
    return markup(client.get(reverse("trials", args=[job.number]), asked))


@pytest.mark.parametrize("name", CASES)
def test_the_trials_page_says_the_headline_of_card_and_bench(client_as, name):
    how, said, lacks = CASES[name]
    job, client = job_with(**how), client_as("owner")
    words = said_on_trials(client, job)
    assert said in words
    assert said in markup(client.get(reverse("card", args=[job.number])))
    assert said in markup(client.get(reverse("bench", args=[job.number])))
    assert (NOTHING_LEFT in words) is (lacks == [])
    assert "In the band</span>" not in words
    if "out of the band" not in said:  # there another pair comes next, and stands below
        assert ("Still missing" in words) is (lacks != [])
        assert all(lack in words for lack in lacks)


def test_a_final_run_read_rising_only_is_to_be_read_on(client_as):
    job = job_with(build.RISING)
    words = said_on_trials(client_as("owner"), job)
    assert "Still missing: the falling sweep of the final run." in words
    assert f"{reverse('bench', args=[job.number])}?run=1" in words


def test_what_failed_beside_the_sweeps_is_to_be_mended(client_as):
    job = job_with(scatter=UNEVEN)
    words = said_on_trials(client_as("owner"), job)
    assert "Mend what failed:" in words
    assert "#sec-final" in words
    assert "Read final run 1" not in " ".join(words.split())


def test_the_initial_timing_moved_proves_nothing(client_as):
    job = job_with(build.RISING)
    words = said_on_trials(client_as("owner"), job, bend="0.5", initial="on")
    assert "falling sweep not read" in words
    assert NOTHING_LEFT not in words


def test_what_was_proved_is_so_no_longer_once_a_trial_is_read(client_as):
    job, client = job_with(), client_as("owner")
    assert NOTHING_LEFT in said_on_trials(client, job)
    build.run(job.build, build.RISING, primary=build.spring("T1"), secondary=build.spring("T2"))
    words = said_on_trials(client, job)
    assert NOTHING_LEFT not in words
    assert "go on to the final sweep" in words
    assert headline(job) in words  # of the old final run, in the log: with what hangs in its stead
    assert "T1 and T2 hang in it" in words
