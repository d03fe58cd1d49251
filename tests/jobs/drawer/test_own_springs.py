"""Whose springs hang in a unit: what it came with is its own, on its first visit and on every later one."""

import pytest
from django.db.models import Sum
from django.urls import reverse
from django.utils import timezone

from curves.models import Spring, SpringMove
from curves.rows import queries, stock
from jobs.curvework import actions as curve
from jobs.intake import opening
from jobs.models import Job, PartLine
from jobs.moves import actions as moving
from jobs.moves import closing
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return build.person("owner")


@pytest.fixture
def springs():
    """One each of four kinds in the drawer."""
    return [build.spring(f"{letter} 1", quantity=1) for letter in "ABCD"]


def run(job, kind, by, primary=None, secondary=None):
    return curve.add_run(job, {"kind": kind, "primary": primary, "secondary": secondary}, [], by=by)


def drawer():
    """What lies in the drawer of A, B, C and D; the sum of its moves, which is checked each time."""
    for row in Spring.objects.annotate(sum=Sum("moves__quantity")):
        assert row.quantity == (row.sum or 0)
    return [row.quantity for row in Spring.objects.order_by("label")]


def fitted(job):
    lines = PartLine.objects.filter(job=job).order_by("text")
    return [(line.text, line.quantity) for line in lines]


def give_back(job, by):
    Job.objects.filter(pk=job.pk).update(stage="hand_back")
    job.refresh_from_db()
    moving.hand_back(job, by=by, reason="shown in a test")
    return Job.objects.get(pk=job.pk)


def return_unrepaired(job, by):
    job.refresh_from_db()
    data = {"things": [], "fee": 0, "labour": 0, "collected_by": "x", "consent_by": "", "reason": "x"}
    closing.close_unrepaired(job, "returned", data, by=by, version=job.version)
    return Job.objects.get(pk=job.pk)


def came_back(job):
    return {move.spring.label: -move.quantity for move in job.build.spring_moves.filter(kind="came_back")}


# What a customer's unit came in with


@pytest.fixture
def theirs(by, springs):
    """A unit that came in with an A and a B of its own."""
    a, b, *_ = springs
    job = build.job(stage="spring_trials")
    run(job, "as_received", by, a, b)
    return job


def test_their_own_pair_is_run_and_left_in_without_the_drawer(by, springs, theirs):
    a, b, *_ = springs
    run(theirs, "trial", by, a, b)
    run(theirs, "final", by, a, b)
    assert (drawer(), fitted(theirs), SpringMove.objects.exclude(kind="counted").count()) == ([1] * 4, [], 0)
    give_back(theirs, by)
    assert drawer() == [1] * 4


def test_their_own_pair_runs_with_an_empty_drawer(by, springs, theirs, client_as):
    a, b, *_ = springs
    stock.scrap(a, 1, by=by)
    page = client_as(by).get(reverse("run_new", args=[theirs.number]) + "?kind=trial")
    assert page.context["form"]["primary"].value() == a.pk  # what hangs in it is filled in
    run(theirs, "trial", by, a, b)
    with pytest.raises(stock.NotInDrawer):
        run(theirs, "trial", by, a, a)  # a second A would be the drawer's
    assert drawer() == [0, 1, 1, 1]


def test_another_pair_is_tried_and_their_own_hung_again(by, springs, theirs):
    a, b, c, d = springs
    run(theirs, "trial", by, c, d)
    assert drawer() == [1, 1, 0, 0]
    run(theirs, "final", by, a, b)
    assert (drawer(), fitted(theirs)) == ([1] * 4, [])


def test_one_of_theirs_is_replaced(by, springs, theirs):
    a, _, c, _ = springs
    run(theirs, "final", by, a, c)
    assert (drawer(), fitted(theirs)) == ([1, 1, 0, 1], [("Spring C 1, secondary", 1)])
    back = opening.reopen(give_back(theirs, by), by=by)
    assert came_back(back) == {"A 1": 1, "C 1": 1}
    assert drawer() == [1, 1, 0, 1]  # B is its owner's, and lies in no drawer


def test_a_second_of_their_kind_is_the_drawers(by, springs):
    a, *_ = springs
    job = build.job(stage="spring_trials")
    run(job, "as_received", by, a)
    run(job, "final", by, a, a)
    assert (drawer()[0], fitted(job)) == (0, [("Spring A 1", 1)])


def test_nothing_of_theirs_stays_here_when_it_is_not_repaired(by, springs, theirs):
    a, _, c, _ = springs
    run(theirs, "final", by, a, c)
    job = return_unrepaired(theirs, by)
    assert (drawer(), fitted(job)) == ([1] * 4, [])
    assert came_back(opening.reopen(job, by=by)) == {"A 1": 1, "B 1": 1}
    assert drawer() == [1] * 4


def test_a_run_as_received_that_is_corrected_moves_what_is_whose(by, springs, theirs):
    a, b, c, d = springs
    run(theirs, "final", by, a, b)
    received = theirs.build.runs.get(kind="as_received")
    values = {"kind": "as_received", "primary": c, "secondary": d}
    curve.change_run(theirs, received, values, [], by=by, version=received.version)
    assert drawer() == [0, 0, 1, 1]
    assert [text for text, _ in fitted(theirs)] == ["Spring A 1, primary", "Spring B 1, secondary"]
    received.refresh_from_db()
    curve.change_run(theirs, received, values | {"primary": a, "secondary": b}, [], by=by, version=2)
    assert (drawer(), fitted(theirs)) == ([1] * 4, [])


def test_what_is_at_hand_in_a_unit_is_offered(by, springs, theirs):
    a, b, c, d = springs
    run(theirs, "trial", by, c)

    def at_hand(job):
        offered = stock.with_held(queries.drawer(), queries.build_for(job.build_id))
        return [row.held for row in offered.order_by("label")]

    assert at_hand(theirs) == [1, 1, 1, 0]
    run(theirs, "final", by, c, d)
    back = opening.reopen(give_back(theirs, by), by=by)
    assert at_hand(back) == [0, 0, 1, 1]
    run(back, "final", by, a, b)  # C and D are home now
    assert (at_hand(back), drawer()) == ([1, 1, 0, 0], [0, 0, 1, 1])


# What the shop fitted, and what came back with it


@pytest.fixture
def again(by, springs):
    """The second card of a unit that the shop once fitted with A and B."""
    a, b, *_ = springs
    job = build.job(stage="bench_curve")
    run(job, "final", by, a, b)
    assert len(fitted(job)) == 2
    return opening.reopen(give_back(job, by), by=by)


def test_a_unit_that_comes_back_has_its_springs_with_it(again):
    assert (came_back(again), drawer(), fitted(again)) == ({"A 1": 1, "B 1": 1}, [0, 0, 1, 1], [])
    assert not stock.in_unit(again.previous.build)
    assert len(fitted(again.previous)) == 2  # the closed card says what it said


@pytest.mark.parametrize(
    "runs",
    [
        [],
        [("as_received", "AB")],
        [("trial", "AB")],
        [("trial", "A")],
        [("trial", "CD"), ("trial", "AB")],
        [("final", "")],
        [("final", "A")],
        [("final", "AB")],
        [("as_received", "AB"), ("trial", "CD"), ("final", "AB"), ("trial", "AB")],
        [("final", "CD"), ("final", "AB")],
    ],
    ids=str,
)
@pytest.mark.parametrize("end", [give_back, return_unrepaired])
def test_it_leaves_with_what_it_came_with(by, springs, again, runs, end):
    named = dict(zip("ABCD", springs, strict=True))
    for kind, letters in runs:
        run(again, kind, by, *(named[letter] for letter in letters))
    if not (runs and runs[-1][1] == "CD"):
        assert fitted(again) == []
    third = opening.reopen(end(again, by), by=by)
    assert (came_back(third), drawer()) == ({"A 1": 1, "B 1": 1}, [0, 0, 1, 1])


def test_what_lies_beside_the_unit_while_another_pair_is_tried_is_nobody_elses(by, springs, again):
    a, _, c, d = springs
    run(again, "trial", by, c, d)
    assert drawer() == [0] * 4
    with pytest.raises(stock.NotInDrawer) as refusal:
        run(build.job(stage="spring_trials"), "trial", by, a)
    assert refusal.value.builds == []  # no run of that card can be taken off to free it
    return_unrepaired(again, by)
    assert drawer() == [0, 0, 1, 1]


def test_what_a_final_run_replaces_goes_home_and_back_again(by, springs, again):
    a, _, c, _ = springs
    final = run(again, "final", by, a, c)
    assert (drawer(), fitted(again)) == ([0, 1, 0, 1], [("Spring C 1, secondary", 1)])
    curve.take_off_run(again, final, by=by, removed=True)
    assert (drawer(), fitted(again)) == ([0, 0, 1, 1], [])
    final.refresh_from_db()
    curve.take_off_run(again, final, by=by, removed=False)
    assert came_back(opening.reopen(give_back(again, by), by=by)) == {"A 1": 1, "C 1": 1}
    assert drawer() == [0, 1, 0, 1]


def test_what_went_home_and_out_to_another_unit_is_not_had_twice(by, springs, again):
    _, b, c, d = springs
    final = run(again, "final", by, c, d)
    assert drawer() == [1, 1, 0, 0]
    run(build.job(stage="spring_trials"), "trial", by, b)
    with pytest.raises(stock.NotInDrawer):
        run(again, "trial", by, b)
    curve.take_off_run(again, final, by=by, removed=True)  # taking off is never refused
    assert drawer() == [0, 0, 1, 1]


def test_a_pair_left_in_on_every_visit_is_one_pair(by, springs, again):
    a, b, *_ = springs
    for _ in range(3):
        run(again, "final", by, a, b)
        again = opening.reopen(give_back(again, by), by=by)
    assert (drawer(), PartLine.objects.count()) == ([0, 0, 1, 1], 2)


def test_the_card_says_what_hangs_though_the_visit_between_ran_nothing(by, springs, again, client_as):
    third = opening.reopen(return_unrepaired(again, by), by=by)
    address = reverse("run_new", args=[third.number]) + "?kind=as_received"
    form = client_as(by).get(address).context["form"]
    assert (form["primary"].value(), form["secondary"].value()) == (springs[0].pk, springs[1].pk)


# Closed before there was a ledger


def test_a_unit_from_before_the_ledger_runs_its_own_springs(by, client_as):
    spring = build.spring("A 1", quantity=0)
    job = build.job(stage="hand_back", closed_at=timezone.now())
    build.run(job.build, kind="final", primary=spring)
    back = opening.reopen(job, by=by)
    assert (came_back(back), drawer()) == ({"A 1": 1}, [0])
    moves = spring.moves.values_list("kind", "quantity", "build")
    assert list(moves) == [("counted", 1, None), ("came_back", -1, back.build_id)]
    assert "was in no ledger" in client_as(by).get(reverse("spring", args=[spring.pk])).content.decode()
    run(back, "final", by, spring)
    assert (drawer(), fitted(back)) == ([0], [])
    third = opening.reopen(give_back(back, by), by=by)
    assert (came_back(third), drawer()) == ({"A 1": 1}, [0])
