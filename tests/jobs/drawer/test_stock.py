"""Stock is true: each spring that goes out, is fitted or comes back is counted once, whatever is clicked."""

import re

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.urls import reverse

from curves.models import Build, Spring, SpringMove
from curves.rows import stock
from curves.rows.queries import build_for
from jobs.curvework import actions as curve
from jobs.curvework import trial_actions
from jobs.curvework.spring_lines import give_back, settle_lines
from jobs.models import AuditEntry, PartLine
from jobs.moves import actions as moving
from jobs.rules.recorded import recorded
from shop.idempotency import new_key
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return build.person()


@pytest.fixture
def one():
    """The only spring of its kind."""
    return build.spring("P 7", position="primary", quantity=1)


@pytest.fixture
def other():
    return build.spring("P 8", position="primary", quantity=1)


def hang(job, primary, by, kind="trial", **fields):
    return curve.add_run(job, {"kind": kind, "primary": primary, **fields}, [], by=by)


def card(stage="spring_trials"):
    return build.job(stage=stage)


def left(spring):
    """How many lie in the drawer; and that they are the sum of their moves, which is checked each time."""
    for row in Spring.objects.annotate(sum=Sum("moves__quantity")):
        assert row.quantity == (row.sum or 0)
    return Spring.objects.get(pk=spring.pk).quantity


def moves(spring):
    return [(one.kind, one.quantity) for one in spring.moves.order_by("pk")]


def words(answer):
    return " ".join(markup(answer).replace("&#x27;", "'").split())


# Out for trial and back


def test_a_trial_spring_is_out_until_another_pair_hangs_there(by, one, other):
    job = card()
    hang(job, one, by)
    assert (left(one), moves(one)[1:]) == (0, [("out", -1)])
    hang(job, one, by)  # run again with the same pair: it hangs there already
    assert (left(one), len(moves(one))) == (0, 2)
    hang(job, other, by)
    assert (left(one), left(other)) == (1, 0)
    assert moves(one)[-1] == ("returned", 1)
    assert [move.build.job for move in one.moves.filter(build__isnull=False)] == [job, job]


def test_hand_back_brings_trial_springs_home_and_leaves_fitted_ones(by, one, other):
    tried, done = card("hand_back"), card("hand_back")
    hang(tried, one, by)
    hang(done, other, by, kind="final")
    for job in (tried, done):
        moving.hand_back(job, by=by, reason="shown in a test")
    assert (left(one), left(other)) == (1, 0)
    assert moves(other)[-1] == ("fitted", -1)


def test_a_trial_with_the_pair_of_the_final_run_leaves_it_fitted(by, one):
    job = card("hand_back")
    hang(job, one, by, kind="final")
    hang(job, one, by, kind="trial")
    moving.hand_back(job, by=by, reason="shown in a test")
    assert (left(one), moves(one)[1:]) == (0, [("fitted", -1)])


def test_springs_that_came_in_the_unit_are_none_of_the_shops(by, one):
    job = card("teardown")
    hang(job, one, by, kind="as_received")
    assert (left(one), len(moves(one))) == (1, 1)
    hang(job, None, by)
    assert left(one) == 1


def test_two_of_a_kind_in_one_head_are_two(by):
    pair = build.spring("E 1", quantity=2)
    job = card()
    hang(job, pair, by, secondary=pair)
    assert (left(pair), moves(pair)[-1]) == (0, ("out", -2))
    hang(job, pair, by)
    assert left(pair) == 1
    only = build.spring("E 2", quantity=1)
    with pytest.raises(stock.NotInDrawer):
        hang(job, only, by, secondary=only)
    assert (left(only), left(pair)) == (1, 1)


# Fitted once, whatever is clicked


def test_a_final_run_takes_the_spring_once(by, one, client_as):
    job, client = card("bench_curve"), client_as("technician")
    hang(job, one, by)
    begin = {"kind": "final", "frame": "shaft", "primary": one.pk, "once": new_key()}
    for _ in range(2):  # a double click
        assert client.post(f"/jobs/{job.number}/bench/", begin).status_code == 302
    client.post(f"/jobs/{job.number}/bench/", begin | {"once": new_key()})  # and a second final run
    stock.settle(job.build, by=by)
    settle_lines(job, by=by)
    assert (left(one), moves(one)[1:]) == (0, [("out", -1), ("returned", 1), ("fitted", -1)])
    line = PartLine.objects.get(job=job)
    assert (line.text, line.quantity, line.state, line.spring) == ("Spring P 7, primary", 1, "fitted", one)


def test_taking_the_run_off_gives_it_back_and_putting_it_back_takes_it_again(by, one, client_as):
    job, client = card("bench_curve"), client_as("technician")
    run = hang(job, one, by, kind="final")
    address = reverse("run_remove", args=[job.number, run.number])
    for _ in range(2):
        client.post(address)
        assert (left(one), PartLine.objects.count()) == (1, 0)
    for _ in range(2):
        client.post(address, {"restore": "1"})
        assert (left(one), PartLine.objects.count()) == (0, 1)


def test_what_the_run_before_had_hangs_again_if_it_is_free(by, one, other, client_as):
    job = card()
    hang(job, one, by)
    last = hang(job, other, by)
    curve.take_off_run(job, last, by=by, removed=True)
    assert (left(one), left(other)) == (0, 1)
    curve.take_off_run(job, last, by=by, removed=False)
    elsewhere = card()
    hang(elsewhere, one, by)
    curve.take_off_run(job, last, by=by, removed=True)  # taking off is never refused
    assert (left(one), left(other)) == (0, 1)
    hang(elsewhere, other, by)
    address = reverse("run_remove", args=[job.number, last.number])
    answer = client_as("technician").post(address, {"restore": "1"}, follow=True)
    assert f"the only one hangs in job {elsewhere.number}" in words(answer)
    assert job.build.runs.get(pk=last.pk).removed


def test_a_run_that_becomes_the_final_one_or_gets_other_springs_moves_them(by, one, other):
    job = card()
    run = hang(job, one, by)
    values = {"kind": "final", "primary": one}
    curve.change_run(job, run, values, [], by=by, version=run.version)
    assert moves(one)[-1] == ("fitted", -1)
    assert PartLine.objects.get().spring == one
    curve.change_run(job, run, values | {"primary": other}, [], by=by, version=run.version)
    assert (left(one), left(other)) == (1, 0)
    assert PartLine.objects.get().spring == other


def test_a_job_that_ends_without_springs_gives_all_back(by, one):
    job = card()
    hang(job, one, by, kind="final")
    for _ in range(2):
        give_back(job, by=by)
        assert (left(one), PartLine.objects.count()) == (1, 0)


# One spring hangs in one unit


@pytest.mark.parametrize("kind", ["trial", "final"])
def test_the_bench_says_where_the_only_one_hangs(by, one, client_as, kind):
    first, second = card(), card()
    hang(first, one, by)
    client = client_as("technician")
    begin = {"kind": kind, "frame": "crank", "primary": one.pk, "note": "warm", "once": new_key()}
    for _ in range(2):  # sent again, it is refused again
        answer = client.post(f"/jobs/{second.number}/bench/", begin)
        assert answer.status_code == 422
        assert f"P 7: none is left; the only one hangs in job {first.number}." in words(answer)
        form = answer.context["form"]
        assert (form.errors.keys(), form["note"].value(), form["frame"].value()) == (
            {"primary"},
            "warm",
            "crank",
        )
    assert not second.build.runs.exists()
    hang(first, None, by)  # the way out: other springs there
    assert client.post(f"/jobs/{second.number}/bench/", begin).status_code == 302
    assert left(one) == 0


@pytest.mark.parametrize("page", ["bench/?new=1", "runs/new/"])
def test_a_choice_says_that_none_is_left_but_not_to_the_unit_that_has_it(by, one, other, client_as, page):
    first, second = card(), card()
    client = client_as("technician")

    def choices(job):
        html = markup(client.get(f"/jobs/{job.number}/{page}"))
        return re.findall(rf'<option value="{one.pk}"[^>]*>([^<]+)<', html)

    assert choices(second) == ["P 7", "P 7"]
    hang(first, one, by)
    assert choices(second) == ["P 7, none left", "P 7, none left"]
    assert choices(first) == ["P 7", "P 7"]  # it hangs here, and can be read again
    hang(first, other, by)
    assert choices(second) == ["P 7", "P 7"]


def test_a_typed_run_keeps_its_readings_when_its_spring_is_out(by, one, other, client_as):
    first, second = card(), card()
    hang(first, one, by)
    client = client_as("technician")
    typed = {"kind": "trial", "frame": "shaft", "json": "", "lines": "500;1\n900;4", "once": new_key()}
    answer = client.post(f"/jobs/{second.number}/runs/new/", typed | {"primary": one.pk})
    assert answer.status_code == 422
    assert f"job {first.number}" in words(answer)
    assert "900" in words(answer)
    run = hang(second, other, by)
    changed = typed | {"primary": one.pk, "version": run.version}
    answer = client.post(f"/jobs/{second.number}/runs/{run.number}/", changed)
    assert answer.status_code == 422
    assert f"job {first.number}" in words(answer)
    run.refresh_from_db()
    assert (run.primary, run.readings.count(), left(other)) == (other, 0, 0)


def test_fitting_a_proposal_that_went_out_meanwhile_is_told(by, one, client_as):
    first, second = card(), card()
    hang(first, one, by)
    pair = {"primary": one.pk, "primary_bend_mm": "0", "secondary_bend_mm": "0", "once": new_key()}
    answer = client_as("technician").post(f"/jobs/{second.number}/trials/fit/", pair, follow=True)
    assert f"Nothing was fitted. P 7: none is left; the only one hangs in job {first.number}" in words(answer)
    assert not second.build.runs.exists()
    assert not AuditEntry.objects.filter(verb="chose a pair to fit").exists()


def test_three_units_never_share_one(by, one):
    jobs = [card() for _ in range(3)]
    hang(jobs[0], one, by)
    for job in jobs[1:]:
        with pytest.raises(stock.NotInDrawer):
            hang(job, one, by)
    assert [Build.objects.filter(spring_moves__spring=one).distinct().count(), left(one)] == [1, 0]


def test_a_pair_chosen_again_after_another_is_a_run_of_its_own(by, one, other):
    job = card()
    values = {"primary": one, "secondary": None, "primary_bend_mm": 0.0, "secondary_bend_mm": 0.0}
    first = trial_actions.fit_pair(job, values, by=by)
    assert trial_actions.fit_pair(job, values, by=by) == first
    trial_actions.fit_pair(job, values | {"primary": other}, by=by)
    assert left(one) == 1
    assert trial_actions.fit_pair(job, values, by=by) != first
    assert (left(one), left(other)) == (0, 1)


# The line among the parts


def test_the_line_carries_a_price_and_leaves_only_with_its_run(by, one, client_as):
    job, client = card("bench_curve"), client_as("technician")
    run = hang(job, one, by, kind="final")
    line = PartLine.objects.get()
    address = reverse("edit_part", args=[job.number, line.pk])
    assert set(client.get(address).context["form"].fields) == {"why", "price", "version"}
    sent = {
        "price": "4.50",
        "why": "soft",
        "version": "1",
        "text": "Bush",
        "quantity": "9",
        "state": "left_off",
    }
    client.post(address, sent)
    line.refresh_from_db()
    assert (line.text, line.quantity, line.state, str(line.price)) == (
        "Spring P 7, primary",
        1,
        "fitted",
        "4.50",
    )
    refused = client.post(reverse("remove_part", args=[job.number, line.pk]))
    assert refused.status_code == 403
    hang(job, one, by, kind="final")
    line.refresh_from_db()
    assert str(line.price) == "4.50"
    for number in (run.number, run.number + 1):
        client.post(reverse("run_remove", args=[job.number, number]))
    assert not PartLine.objects.exists()


@pytest.mark.parametrize("between", ["trial", "final", "taken off"])
def test_price_and_reason_are_there_again_when_the_spring_is(by, one, other, client_as, between):
    job, client = card("bench_curve"), client_as("technician")
    run = hang(job, one, by, kind="final")
    line = PartLine.objects.get()
    sent = {"price": "9.50", "why": "soft", "version": "1"}
    client.post(reverse("edit_part", args=[job.number, line.pk]), sent)
    if between == "taken off":
        curve.take_off_run(job, run, by=by, removed=True)
    else:
        hang(job, other, by, kind=between)
    assert not PartLine.objects.filter(spring=one).exists()
    if between == "taken off":
        run.refresh_from_db()
        curve.take_off_run(job, run, by=by, removed=False)
    else:
        hang(job, one, by, kind="final")
    line = PartLine.objects.get()
    assert (line.spring, str(line.price), line.why, line.state) == (one, "9.50", "soft", "fitted")
    elsewhere = card("bench_curve")
    hang(job, None, by)
    hang(elsewhere, one, by, kind="final")
    assert PartLine.objects.get(job=elsewhere).price is None


def test_the_papers_name_the_spring(by, one):
    job = card("bench_curve")
    hang(job, one, by, kind="final")
    said = recorded(job, build_for(job.build_id))
    assert said["parts"]["fitted"] == [{"text": "Spring P 7, primary", "quantity": 1.0, "why": ""}]


# By hand


def write(client, spring, happened, number, seen, **fields):
    sent = {"happened": happened, "number": number, "seen": seen, "once": new_key(), **fields}
    return client.post(f"/springs/{spring.pk}/stock/", sent)


def test_a_count_a_delivery_and_a_broken_one_are_moves(one, client_as):
    client = client_as("technician")
    assert write(client, one, "counted", "4", "1", note="after the move").status_code == 302
    assert write(client, one, "received", "5", "4").status_code == 302
    assert write(client, one, "scrapped", "2", "9").status_code == 302
    assert (left(one), moves(one)[1:]) == (7, [("counted", 3), ("received", 5), ("scrapped", -2)])
    assert {move.by for move in one.moves.exclude(by=None)} == {client.person}
    page = client.get(f"/springs/{one.pk}/")
    assert "after the move" in words(page)
    assert [move.quantity for move in page.context["moves"]] == [-2, 5, 3, 1]
    assert AuditEntry.objects.filter(verb="received springs", detail__spring="P 7").count() == 1


def test_a_count_of_a_drawer_that_changed_meanwhile_is_asked_again(by, one, client_as):
    hang(card(), one, by)
    client = client_as("technician")
    answer = write(client, one, "counted", "1", "1", note="early")
    assert answer.status_code == 422
    assert "0 should lie there now. Count again." in words(answer)
    assert answer.context["stock_form"]["note"].value() == "early"
    assert answer.context["stock_form"]["seen"].value() == 0
    assert left(one) == 0


@pytest.mark.parametrize(
    ("happened", "number", "said"),
    [
        ("scrapped", "2", "Only 1 lie in the drawer"),
        ("received", "0", "None came or went"),
        ("received", "-3", "too low"),
        ("received", "9999", "more than 9999"),
        ("counted", "many", "not a number"),
        ("lost", "1", "Not on the list"),
    ],
)
def test_an_impossible_move_is_refused_and_nothing_typed_is_lost(one, client_as, happened, number, said):
    answer = write(client_as("technician"), one, happened, number, "1", note="why")
    assert answer.status_code == 422
    assert said in words(answer)
    assert answer.context["stock_form"]["note"].value() == "why"
    assert (left(one), len(moves(one))) == (1, 1)


def test_sent_twice_it_is_one_move(one, client_as):
    client = client_as("technician")
    sent = {"happened": "received", "number": "5", "seen": "1", "once": "key"}
    for _ in range(2):
        assert client.post(f"/springs/{one.pk}/stock/", sent).status_code == 302
    assert left(one) == 6


def test_a_new_spring_begins_with_a_count_and_its_form_changes_none_later(client_as):
    client = client_as("technician")
    new = {"label": "S 9", "position": "either", "quantity": "3", "source": "label", "once": "key"}
    client.post("/springs/new/", new)
    row = Spring.objects.get()
    assert (left(row), moves(row), row.moves.get().by) == (3, [("counted", 3)], client.person)
    assert "quantity" not in client.get(f"/springs/{row.pk}/").context["form"].fields


def test_who_may_not_and_what_has_no_ledger(one, client_as, by):
    assert write(client_as("counter"), one, "received", "5", "1").status_code == 403
    assert client_as("technician").get(f"/springs/{one.pk}/stock/").status_code == 405
    from jobs.practice import actions as practice

    job = practice.open_practice(by=by, seed=3)
    spring = Spring.everything.filter(practice=job.build, position="primary").first()
    hang(job, spring, by)
    hang(job, spring, by, kind="final")
    assert not SpringMove.objects.exclude(spring=one).exists()
    assert not PartLine.objects.exists()
    assert write(client_as("technician"), spring, "received", "5", "2").status_code == 404


@pytest.mark.parametrize(
    ("kind", "quantity"), [("out", 1), ("received", -1), ("scrapped", 1), ("returned", -1)]
)
def test_the_database_refuses_a_move_the_wrong_way(one, kind, quantity):
    with pytest.raises(IntegrityError), transaction.atomic():
        one.moves.create(kind=kind, quantity=quantity, build=build.build())
    with pytest.raises(IntegrityError), transaction.atomic():
        one.moves.create(kind="out", quantity=-1)


# Where it hangs is said everywhere


def test_the_drawer_and_the_spring_say_where_it_is(by, one, client_as):
    job = card()
    hang(job, one, by)
    client = client_as("counter")
    assert f'out at <a href="/jobs/{job.number}/">job {job.number}</a>' in words(client.get("/springs/"))
    assert f'out at <a href="/jobs/{job.number}/">job {job.number}</a>' in words(
        client.get(f"/springs/{one.pk}/")
    )
    hang(job, one, by, kind="final")
    assert "fitted in <a" in words(client.get("/springs/"))
