"""A run speaks of what hung in the unit when it was read: once others hang there, nobody calls it proved."""

import re

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.curvework import trial_actions
from jobs.models import Job
from jobs.moves import actions
from jobs.page.results import result_of
from jobs.papers import pdf
from jobs.rules import facts, guards
from jobs.stages import Stage
from tests import build
from tests.jobs.moves.test_moving import step_of
from tests.jobs.papers.paperwork import signed_sheet
from tests.reading import markup

pytestmark = pytest.mark.django_db

INSTEAD = ["a final run of what hangs in it"]


@pytest.fixture
def pairs(db):
    return {
        name: {"primary": build.spring(f"{name}1"), "secondary": build.spring(f"{name}2")} for name in "AC"
    }


def proved(pairs, stage="hand_back"):
    job = build.job(stage=stage, worked=True)
    build.target(job.build)
    build.run(job.build, build.SWEPT, kind="final", **pairs["A"])
    return job


def fresh(job):
    return facts.with_facts(Job.objects).get(pk=job.pk)


def begun(job, kind, **values):
    return build.run(job.build, [], kind=kind, **values)


CASES = {
    "a trial of another pair": (lambda job, pairs: begun(job, "trial", **pairs["C"]), "C1 and C2 hang in it"),
    "a final run of another pair, unread": (
        lambda job, pairs: begun(job, "final", **pairs["C"]),
        "C1 and C2 hang in it",
    ),
    "one spring": (
        lambda job, pairs: begun(job, "trial", primary=pairs["C"]["primary"]),
        "C1 hangs in it",
    ),
    "two of a kind": (
        lambda job, pairs: begun(
            job, "trial", primary=pairs["C"]["primary"], secondary=pairs["C"]["primary"]
        ),
        "two C1 hang in it",
    ),
    "posts bent": (
        lambda job, pairs: begun(job, "trial", **pairs["A"], secondary_bend_mm=0.2),
        "its posts were bent since",
    ),
    "no springs named": (lambda job, pairs: begun(job, "trial"), "trial run 2 names no springs"),
}


@pytest.mark.parametrize("name", CASES)
def test_a_proved_run_proves_no_unit_in_which_other_springs_hang(client_as, person, pairs, name):
    act, instead = CASES[name]
    job = proved(pairs)
    signed_sheet(job, built=False)
    assert guards.missing(fresh(job)) == []
    act(job, pairs)
    says = f"Final run 1 proved A1 and A2; {instead}"
    assert INSTEAD[0] in guards.missing(fresh(job))
    with pytest.raises(ValidationError, match=re.escape(INSTEAD[0])):
        actions.hand_back(fresh(job), by=person, handed_to="Marta")
    client = client_as("owner")
    for page in (reverse("card", args=[job.number]), f"{reverse('bench', args=[job.number])}?run=1"):
        assert says in client.get(page).content.decode()
    assert says in result_of(fresh(job), Stage.BENCH_CURVE)
    sheet = signed_sheet(job, built=False)
    frozen = sheet.content["curve"]["headline"]
    assert (frozen["text"], frozen["proved"], frozen["state"]) == (says, False, "open")
    assert says in pdf.write_html(sheet.content, data_sha256=sheet.data_sha256)
    assert says in client.get(reverse("check", args=[sheet.token])).content.decode()
    tail = "" if job.build.runs.last().kind == "final" else "?new=1&kind=final"  # one begun is opened
    assert step_of(job, person) == ("Read the final run", reverse("bench", args=[job.number]) + tail)


def test_with_its_pair_hung_in_again_the_run_counts_again(pairs):
    job = proved(pairs)
    trial = begun(job, "trial", **pairs["C"])
    assert INSTEAD[0] in guards.missing(fresh(job))
    trial.removed = True
    trial.save()
    assert guards.missing(fresh(job)) == ["a signed curve sheet"]
    begun(job, "trial", **pairs["A"])
    assert guards.missing(fresh(job)) == ["a signed curve sheet"]


def test_a_run_that_failed_says_so_beside_what_hangs_in_it(pairs):
    job = build.job(stage="bench_curve", worked=True)
    build.target(job.build)
    build.run(job.build, build.RISING, kind="final", **pairs["A"])
    begun(job, "trial", **pairs["C"])
    final = guards.verdicts_of(fresh(job)).final
    assert final.headline == (
        "Final run 1: falling sweep not read, rising sweep in the band; C1 and C2 hang in it"
    )
    assert guards.missing(fresh(job)) == INSTEAD


def test_the_springs_are_not_found_by_a_run_of_others(client_as, person, pairs):
    job = build.job(stage="spring_trials", worked=True)
    build.target(job.build)
    build.run(job.build, build.RISING, **pairs["A"])
    assert guards.missing(fresh(job)) == []
    trial_actions.fit_pair(job, {**pairs["C"], "primary_bend_mm": 0, "secondary_bend_mm": 0}, by=person)
    assert guards.missing(fresh(job)) == ["a run of what hangs in it"]
    assert "C1 and C2 hang in it, not read" in result_of(fresh(job), Stage.SPRING_TRIALS)
    assert step_of(job, person)[0] == "Read trial run 2"
    page = client_as("owner").get(reverse("trials", args=[job.number]))
    assert page.context["state"].done is False
    with pytest.raises(ValidationError, match="a run of what hangs in it"):
        actions.move_stage(job, to=Stage.BENCH_CURVE, by=person)


@pytest.mark.parametrize("kind", ["trial", "final"])
def test_a_falling_sweep_alone_finds_no_springs(client_as, person, kind):
    job = build.job(stage="spring_trials", worked=True)
    build.target(job.build)
    build.run(job.build, [(1800, 11.0, True), *build.FALLING], kind=kind)
    assert guards.missing(fresh(job)) == ["a run read rising"]
    stage = Stage.SPRING_TRIALS if kind == "trial" else Stage.BENCH_CURVE
    assert "rising sweep not read" in result_of(fresh(job), stage)
    client = client_as("owner")
    assert client.get(reverse("trials", args=[job.number])).context["state"].done is False
    bench = client.get(f"{reverse('bench', args=[job.number])}?run=1").content.decode()
    assert f"{kind.capitalize()} run 1: rising sweep not read, falling sweep in the band" in bench
    assert "Sweeps in the band so far; rising sweep not read." in bench


def test_a_falling_sweep_alone_that_leaves_the_band_fails():
    job = build.job(stage="spring_trials", worked=True)
    build.target(job.build)
    build.run(job.build, [(rpm, deg + 4, True) for rpm, deg in reversed(build.RISING)])
    assert guards.missing(fresh(job)) == ["a run inside the band"]


def test_in_the_band_with_the_initial_timing_moved_only_is_not_found(client_as, person):
    job = build.job(stage="spring_trials", worked=True)
    build.target(job.build, initial_low_crank_deg=4, initial_high_crank_deg=12)
    build.run(job.build, [(rpm, deg + 0.9) for rpm, deg in build.RISING])  # 1.8 of the crank over everywhere
    client, address = client_as("owner"), reverse("trials", args=[job.number])
    page = client.get(address, {"bend": "0.5", "initial": "on"})
    state, text = page.context["state"], markup(page)
    assert state.last.in_band is True
    assert state.last.initial_crank_deg == pytest.approx(6.2, abs=0.5)
    assert state.done is False
    assert "The springs are found" not in text
    said = (
        f"lies in the band only with the initial timing at {state.last.initial_crank_deg:.1f} crank degrees"
    )
    assert said in text
    assert guards.missing(fresh(job)) == ["a run inside the band"]
    assert "only with the initial timing" not in markup(client.get(address, {"bend": "0.5"}))
    build.run(job.build, build.RISING)
    page = client.get(address, {"bend": "0.5", "initial": "on"})
    assert page.context["state"].done is True
    assert "only with the initial timing" not in markup(page)
    assert guards.missing(fresh(job)) == []
