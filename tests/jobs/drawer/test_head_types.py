"""Types of head: named, learned in the worker from handed-back units, and what the next head takes."""

from datetime import timedelta

import pytest
from django.utils import timezone

from curves.engine import calibrate, learn_head
from curves.models import HeadType, Run, Spring
from curves.rows import convert
from curves.springs import learning, tasks
from curves.trials.lessons import lessons
from shop import nudges
from tests import build
from tests.curves.trials.loop import simulated_bench
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def kind():
    """A type with two handed-back units and one in hand, all of one make."""
    made = HeadType.objects.create(name="Larkfield, two weights")
    made.units = []
    for number in range(3):
        job = build.job(stage="spring_trials")
        Spring.objects.all().delete()  # each unit comes with a drawer of its own, of the same labels
        bench = simulated_bench(into=job.build, drawer_seed=10 + number)
        bench.build.head_type, bench.build.locked = made, number < 2
        bench.build.save()
        bench.read("P1", "S1", kind=Run.Kind.AS_RECEIVED, number=number)
        made.units.append(bench)
    return made


def test_learning_is_ordered_done_and_shown(client_as, kind, django_capture_on_commit_callbacks, monkeypatch):
    sent = []
    monkeypatch.setattr(nudges, "send", lambda task, pk: sent.append(pk))
    client, address = client_as("technician"), f"/head-types/{kind.pk}/"
    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"{address}learn/")
    assert sent == [kind.pk]
    waiting = markup(client.get(address))
    assert "Waiting for the worker" in waiting
    assert "every 2s" in waiting
    assert learning.learn(kind.pk)
    page = client.get(address)
    assert "every 2s" not in markup(page)
    assert "from 2 heads" in markup(page)
    assert "Travel" in markup(page)


def test_what_was_learned_is_what_the_engine_learns(kind):
    assert learning.CLAIMS.order(kind.pk)
    learning.learn(kind.pk)
    kind.refresh_from_db()
    calibrations = []
    for bench in kind.units[:2]:
        fresh = bench.fresh()
        (lesson,) = lessons(fresh, {})
        calibrations.append(calibrate(convert.head_of(fresh), [lesson.teaches]))
    # Springs that came in the unit have a name of their own run, and nothing else depends on it.
    assert kind.learned["mean"] == pytest.approx(list(learn_head(calibrations).learned.mean))
    assert [one["build"] for one in kind.learned["builds"]] == [one.build.pk for one in kind.units[:2]]


def test_the_next_head_starts_from_its_type(kind):
    learning.CLAIMS.order(kind.pk)
    learning.learn(kind.pk)
    fresh = kind.units[2].fresh()
    head = convert.head_of(fresh, learned=convert.learned_of(fresh.head_type))
    assert head.learned.heads == 2
    assert convert.learned_of(None) is None


def test_practice_and_units_in_hand_teach_no_type(kind):
    kind.units[0].build.practice_seed = 3
    kind.units[0].build.save()
    assert [one.pk for one in learning.teaching_builds(kind)] == [kind.units[1].build.pk]
    learning.CLAIMS.order(kind.pk)
    for _ in range(3):
        learning.learn(kind.pk)
    kind.refresh_from_db()
    assert (kind.state, kind.error) == ("failed", learning.TOO_FEW)


def test_a_failed_type_is_tried_again_on_request(client_as, kind):
    HeadType.objects.filter(pk=kind.pk).update(state="failed", error="The worker stopped.", tries=3)
    client, address = client_as("technician"), f"/head-types/{kind.pk}/"
    assert "The worker stopped." in client.get(address).content.decode()
    client.post(f"{address}learn/")
    kind.refresh_from_db()
    assert (kind.state, kind.tries) == ("waiting", 0)
    assert learning.learn(kind.pk)


def test_one_worker_at_a_time_and_a_dead_one_is_taken_over(kind):
    learning.CLAIMS.order(kind.pk)
    claim = learning.CLAIMS.claim(kind.pk)
    assert learning.learn(kind.pk) is False
    assert learning.CLAIMS.waiting() == []
    HeadType.objects.filter(pk=kind.pk).update(
        claimed_at=timezone.now() - learning.STALE - timedelta(seconds=1)
    )
    assert learning.CLAIMS.waiting() == [kind.pk]
    assert learning.learn(kind.pk)
    assert learning.CLAIMS.finish(kind.pk, claim, learned=None) is False  # the first one comes too late
    kind.refresh_from_db()
    assert kind.learned


def test_the_sweep_makes_good_a_lost_nudge(kind, monkeypatch):
    sent = []
    learning.CLAIMS.order(kind.pk)
    monkeypatch.setattr(nudges, "send", lambda task, pk: sent.append(pk))
    tasks.sweep()
    assert sent == [kind.pk]


def test_ordering_twice_is_ordering_once(kind, technician, django_capture_on_commit_callbacks, monkeypatch):
    sent = []
    monkeypatch.setattr(nudges, "send", lambda task, pk: sent.append(pk))
    with django_capture_on_commit_callbacks(execute=True):
        learning.order(kind, by=technician)
        learning.order(kind, by=technician)
    assert sent == [kind.pk]


def test_a_type_is_named_once_and_changed_by_one_at_a_time(client_as):
    client = client_as("technician")
    values = {"name": "Four, light weights", "note": "Flat springs on top", "once": "k"}
    for _ in range(2):
        assert client.post("/head-types/", values).status_code == 302
    made = HeadType.objects.get()
    address = f"/head-types/{made.pk}/"
    assert client.post(address, {"name": "Four", "note": "", "version": "1"}).status_code == 302
    answer = client.post(address, {"name": "Other", "note": "", "version": "1"})
    assert answer.status_code == 409
    assert "Four" in answer.content.decode()
    assert client.post("/head-types/", {"name": "Four", "once": "l"}).status_code == 422


def test_who_may_not(client_as, kind):
    counter = client_as("counter")
    assert counter.get("/head-types/").status_code == 200
    assert counter.get(f"/head-types/{kind.pk}/").status_code == 200
    assert counter.post("/head-types/", {"name": "x"}).status_code == 403
    assert counter.post(f"/head-types/{kind.pk}/", {"name": "x", "version": "1"}).status_code == 403
    assert counter.post(f"/head-types/{kind.pk}/learn/").status_code == 403
    assert client_as("technician").get(f"/head-types/{kind.pk}/learn/").status_code == 405
    kind.refresh_from_db()
    assert kind.state == "empty"


def test_the_gap_at_the_stop_becomes_the_opening_per_degree(client_as):
    job = build.job()
    client, address = client_as("technician"), f"/jobs/{job.number}/head/"
    data = {
        "travel_measured_deg": "12",
        "primary_gap_mm": "17",
        "primary_gap_at_stop_mm": "20",
        "scale_deg": "0.5",
        "crank_per_shaft": "2",
        "version": "1",
    }
    # (20 - 17) mm over 12 degrees are 0.25 mm a degree, by hand.
    assert client.post(address, data).status_code == 302
    job.build.refresh_from_db()
    assert job.build.primary_stretch_mm_per_deg == 0.25
    for wrong, words in (("16", "Not above the 17 mm"), ("60", "measure again")):
        answer = client.post(address, data | {"primary_gap_at_stop_mm": wrong, "version": "2"})
        assert answer.status_code == 422
        assert words in answer.content.decode()
    answer = client.post(address, data | {"travel_measured_deg": "", "version": "2"})
    assert "Needs the gap at rest" in answer.content.decode()
