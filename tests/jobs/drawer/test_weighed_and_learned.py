"""A weighing counts until runs teach more; both stand side by side, and a person may choose."""

import json

import pytest

from curves.models import Spring, SpringCorrection
from curves.rows import convert, queries
from curves.springs import corrections
from curves.trials import loop
from jobs.models import AuditEntry
from tests import build
from tests.curves.trials.loop import simulated_bench
from tests.reading import markup

pytestmark = pytest.mark.django_db
FREE_MM = 15.0


def weigh(client, spring, rate):
    """Weigh a spring of this rate on the spring's own page, and use the fit."""
    spring.refresh_from_db()
    rows = [
        {"length": f"{FREE_MM + step:g}", "load": f"{rate * step:.4f}" if step else "0"} for step in range(8)
    ]
    sent = {"json": json.dumps(rows), "unit": "N", "version": spring.version, "use": "1"}
    assert client.post(f"/springs/{spring.pk}/loads/", sent).status_code == 302


def taught():
    """A job that has taught something of P1 and S1; its bench."""
    job = build.job(stage="spring_trials")
    bench = simulated_bench(into=job.build)
    read_and_learn(bench, 1)
    job.bench = bench
    return job


def read_and_learn(bench, number):
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=number)
    corrections.learn_springs(bench.fresh(), by=build.person())


def counting(label="P1", build_row=None):
    """The rate that counts for a job."""
    row = Spring.objects.prefetch_related("corrections").get(label=label)
    return convert.spring_of(row, position="primary", build=build_row or build.build()).rate_n_per_mm


@pytest.fixture
def client(client_as):
    return client_as("technician")


def test_a_weighing_counts_for_the_next_job_over_what_was_learned_before(client):
    job = taught()
    learned = SpringCorrection.objects.get(spring__label="P1")
    assert counting() == learned.rate_n_per_mm
    spring = Spring.objects.get(label="P1")
    rate = spring.rate_n_per_mm * 1.2
    weigh(client, spring, rate)
    assert counting() == pytest.approx(rate, rel=1e-3)
    assert counting(build_row=job.build) == pytest.approx(rate, rel=1e-3)  # and for the one that is open
    state = loop.trial_state(queries.build_for(job.build_id))
    used = next(one for one in state.question.primaries if one.key == "P1")
    assert used.rate_n_per_mm == pytest.approx(rate, rel=1e-3)


def test_what_is_learned_after_it_counts_on_top_of_it(client):
    job = taught()
    spring = Spring.objects.get(label="P1")
    weigh(client, spring, spring.rate_n_per_mm * 1.1)
    read_and_learn(job.bench, 2)  # the same job, with one more run
    kept = SpringCorrection.objects.get(spring__label="P1", build=job.build)
    assert counting() == kept.rate_n_per_mm != pytest.approx(spring.rate_n_per_mm * 1.1, rel=1e-6)
    weigh(client, spring, spring.rate_n_per_mm * 1.05)  # and the newest weighing counts again
    spring.refresh_from_db()
    assert counting() == spring.rate_n_per_mm


def test_pairs_that_are_only_kept_outvote_nothing(client):
    taught()
    spring = Spring.objects.get(label="P1")
    rows = [{"length": f"{15 + step}", "load": f"{1.5 * step}"} for step in range(5)]
    client.post(f"/springs/{spring.pk}/loads/", {"json": json.dumps(rows), "unit": "N", "version": "1"})
    assert counting() == SpringCorrection.objects.get(spring__label="P1").rate_n_per_mm


def test_figures_typed_by_hand_are_no_weighing(client):
    taught()
    spring = Spring.objects.get(label="P1")
    weigh(client, spring, spring.rate_n_per_mm)
    address = f"/springs/{spring.pk}/"
    form = client.get(address).context["form"]
    same = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert client.post(address, same | {"note": "loops bent"}).status_code == 302
    spring.refresh_from_db()
    before = spring.rate_n_per_mm, spring.rate_sd, spring.free_length_mm
    assert (spring.source, counting()) == ("weighed", spring.rate_n_per_mm)  # rounded by no one
    changed = same | {"rate_n_per_mm": "2.2", "version": spring.version}
    answer = client.post(address, changed)
    assert answer.status_code == 422
    assert "not the figures that were weighed" in answer.content.decode()
    spring.refresh_from_db()
    assert before == (spring.rate_n_per_mm, spring.rate_sd, spring.free_length_mm)
    assert client.post(address, changed | {"source": "label"}).status_code == 302
    assert counting() == SpringCorrection.objects.get(spring__label="P1").rate_n_per_mm


def test_both_stand_side_by_side_with_error_day_and_job(client):
    job = taught()
    spring = Spring.objects.get(label="P1")
    weigh(client, spring, spring.rate_n_per_mm * 1.2)
    page = client.get(f"/springs/{spring.pk}/")
    own, learned = page.context["figures"]
    assert (own.said, own.by, own.counts_as) == ("weighed here", client.person, ("primary",))
    assert (learned.correction.build.job, learned.counts_as) == (job, ())
    words = " ".join(page.content.decode().split())
    for one in (own, learned):
        assert f"<b>{one.values.rate_n_per_mm:.3f}</b>" in words
        assert f"±{one.rate_percent:.1f} %" in words
    assert "Weighed here" in words
    assert str(job) in words
    assert "Does not count" in words


def test_a_person_chooses_it_is_recorded_and_can_be_taken_back(client):
    taught()
    spring = Spring.objects.get(label="P1")
    weigh(client, spring, spring.rate_n_per_mm * 1.2)
    spring.refresh_from_db()
    address = f"/springs/{spring.pk}/counts/"
    learned = SpringCorrection.objects.get(spring__label="P1").rate_n_per_mm
    answer = client.post(address, {"chosen": "learned", "version": spring.version}, follow=True)
    assert counting() == learned
    assert f"{client.person} chose on" in " ".join(answer.content.decode().split())
    entry = AuditEntry.objects.get(verb="chose what counts of a spring")
    assert (entry.by, entry.detail["before"], entry.detail["after"]) == (
        client.person,
        "what is newer",
        "what jobs taught",
    )
    undo = f'name="version" value="{spring.version + 1}"'
    assert undo in answer.content.decode()
    client.post(address, {"chosen": "", "version": spring.version + 1})
    assert counting() == spring.rate_n_per_mm


def test_a_choice_for_its_own_figures_holds_against_later_learning(client):
    job = taught()
    spring = Spring.objects.get(label="P1")
    client.post(f"/springs/{spring.pk}/counts/", {"chosen": "own", "version": "1"})
    read_and_learn(job.bench, 2)
    assert counting() == spring.rate_n_per_mm
    weigh(client, spring, spring.rate_n_per_mm * 1.1)  # a new weighing ends the choice
    spring.refresh_from_db()
    assert (spring.chosen, counting()) == ("", spring.rate_n_per_mm)


def test_two_people_choosing_are_told(client):
    taught()
    spring = Spring.objects.get(label="P1")
    address = f"/springs/{spring.pk}/counts/"
    client.post(address, {"chosen": "own", "version": "1"})
    answer = client.post(address, {"chosen": "learned", "version": "1"}, follow=True)
    assert "look again, then choose" in answer.content.decode()
    spring.refresh_from_db()
    assert spring.chosen == "own"


def test_who_may_not_choose(client_as):
    taught()
    spring = Spring.objects.get(label="P1")
    address = f"/springs/{spring.pk}/counts/"
    assert client_as("counter").post(address, {"chosen": "own", "version": "1"}).status_code == 403
    assert client_as("technician").get(address).status_code == 405
    client_as("technician").post(address, {"chosen": "mine", "version": "1"})
    spring.refresh_from_db()
    assert spring.chosen == ""


def test_weighed_here_is_said_of_no_spring_that_was_not(client_as):
    build.spring("P 7")
    client = client_as("technician")
    row = Spring.objects.get()
    for address in ("/springs/", f"/springs/{row.pk}/", "/springs/new/"):
        assert "weighed here" not in markup(client.get(address)).lower()
    typed = {"label": "S 2", "position": "either", "source": "weighed", "rate_n_per_mm": "1", "once": "k"}
    answer = client.post("/springs/new/", typed)
    assert answer.status_code == 422
    assert not Spring.objects.filter(source="weighed").exists()
