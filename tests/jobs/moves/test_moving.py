"""Moving a card: one stage at a time, by those who may, and with a reason where something is missing."""

import datetime
import re
import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from django.utils import timezone

from curves.models import Run
from jobs.curvework import actions as curve
from jobs.models import Inspection, InspectionPoint, Job, Sheet, Step
from jobs.moves import actions as moving
from jobs.page.page import Card
from jobs.page.results import result_of
from jobs.papers import signing
from jobs.queries import card_for
from jobs.rules import guards
from jobs.rules.recorded import recorded_sha256
from jobs.rules.revisions import OUTDATED
from jobs.stages import ORDER, Stage
from jobs.teardown import actions as teardown
from jobs.teardown.steps import sign_abrasive_free
from shop.versions import Conflict
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db

# What the next stage needs comes from the shop's own table of stages (design of this project).


def answer_all(job, person):
    Inspection.objects.bulk_create(
        Inspection(job=job, point=point, verdict="na", by=person) for point in InspectionPoint.objects.all()
    )


def test_intake_misses_nothing(person):
    assert guards.missing(build.job(stage="intake")) == []


def test_teardown_needs_every_point_that_applies(person):
    job = build.job(stage="teardown")
    asked = InspectionPoint.objects.filter(in_use=True, triggers__in=["", "points"]).count()
    assert guards.missing(job) == [f"{asked} inspection points to answer"]
    answer_all(job, person)
    assert guards.missing(job) == []


def test_point_of_another_trigger_is_not_asked(person):
    job = build.job(stage="teardown", unit=build.unit(trigger="magnetic"))
    answer_all(job, person)
    job.inspections.filter(point__key="points-gap").delete()
    assert guards.missing(job) == []
    job.inspections.filter(point__key="pick-up-resistance").delete()
    assert guards.missing(job) == ["1 inspection point to answer"]


def test_point_switched_off_is_not_asked(person):
    job = build.job(stage="teardown")
    answer_all(job, person)
    job.inspections.filter(point__key="clamp").delete()
    InspectionPoint.objects.filter(key="clamp").update(in_use=False)
    assert guards.missing(job) == []


def test_blasted_unit_needs_the_abrasive_sign_off(person):
    job = build.job(stage="cleaning", worked=True)
    assert guards.missing(job) == []
    Job.objects.filter(pk=job.pk).update(blasted=True)
    job.refresh_from_db()
    assert guards.missing(job) == ["abrasive-free sign-off"]
    sign_abrasive_free(job, by=person)
    job.refresh_from_db()
    assert guards.missing(job) == []


@pytest.mark.parametrize(("stage", "kind"), [("spring_trials", "trial"), ("bench_curve", "final")])
def test_bench_stages_need_a_run_inside_the_band(stage, kind):
    job = build.job(stage=stage, worked=True)
    run = "final run" if kind == "final" else "run"
    assert guards.missing(job) == ["a target", f"a {run}"]
    build.target(job.build, [(600, 0, 1), (1200, 6, 1), (2000, 15, 1.5), (3000, 21, 1.5), (3600, 22, 1)])
    assert guards.missing(fresh(job)) == [f"a {run}"]
    outside = [(speed, degrees / 3) for speed, degrees in build.RISING]
    build.run(job.build, outside, kind=kind)
    assert "inside the band" in guards.missing(fresh(job))[0]
    build.run(job.build, build.SWEPT, kind=kind)
    assert guards.missing(fresh(job)) == []


def test_bench_curve_needs_the_assembly_done(person):
    job = build.job(stage="bench_curve", worked=True)
    Step.objects.create(job=job, list="assembly", text="Felt oiled")
    assert "1 assembly step to do" in guards.missing(job)
    Step.objects.filter(list="assembly").update(by=person, at=timezone.now())
    assert not any("step" in need for need in guards.missing(fresh(job)))


def test_hand_back_needs_a_signed_curve_sheet_and_a_final_run_that_holds():
    job = build.job(stage="hand_back", worked=True)
    assert guards.missing(job) == ["a signed curve sheet", "a target", "a final run"]
    build.target(job.build)
    build.run(job.build, build.SWEPT, kind="final")
    assert guards.missing(fresh(job)) == ["a signed curve sheet"]


LATER = {
    "spring_trials": ["a target", "a run"],
    "bench_curve": ["a target", "a final run"],
    "hand_back": ["a signed curve sheet", "a target", "a final run"],
}


@pytest.mark.parametrize("stage", LATER)
def test_what_is_undone_after_its_stage_is_asked_for_again(client_as, stage):
    client = client_as("technician")
    job = build.job(stage=stage, worked=True)
    bench = [] if stage == "spring_trials" else ["1 assembly step to do"]
    oiled = job.steps.create(list="assembly", text="Felt oiled", by=job.opened_by, at=timezone.now())
    assert guards.missing(fresh(job)) == LATER[stage]
    for step in job.steps.all():
        client.post(reverse("tick_step", args=[job.number, step.pk, "undo"]))
    job.inspections.update(in_bulk=True)
    client.post(
        reverse("answer_rest", args=[job.number]),
        {"back": ",".join(str(pk) for pk in job.inspections.values_list("pk", flat=True))},
    )
    assert not job.inspections.exists()
    asked = InspectionPoint.objects.filter(in_use=True, triggers__in=["", "points"]).count()
    undone = [*bench, "1 cleaning step to do", f"{asked} inspection points to answer"]
    assert guards.missing(fresh(job)) == [*LATER[stage], *undone]
    assert guards.how_many(guards.missing(fresh(job))) == len([*LATER[stage], *bench]) + 1 + asked
    assert oiled in job.steps.filter(at=None)


def test_way_to_what_was_undone_stands_on_the_card(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    card = reverse("card", args=[job.number])
    oiled = job.steps.create(list="assembly", text="Felt oiled")
    assert step_of(job, person) == ("Tick off the assembly", f"{card}?open=bench_curve#sec-assembly")
    oiled.delete()
    job.steps.update(by=None, at=None)
    assert step_of(job, person) == ("Tick off the cleaning", f"{card}?open=cleaning#sec-cleaning")
    job.steps.update(by=person, at=timezone.now())
    job.inspections.all().delete()
    assert step_of(job, person) == ("Fill in the inspection", reverse("answer_points", args=[job.number]))


def test_the_signature_under_another_paper_hides_no_change(client_as, person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    assert guards.missing(fresh(job)) == []
    teardown.add_finding(job, text="cap cracked", by=person)
    signing.sign(job, Sheet.Kind.JOB_SHEET, paper_size="A4", by=person, seen=recorded_sha256(fresh(job)))
    assert guards.missing(fresh(job)) == [OUTDATED]
    board = client_as("counter").get(reverse("board"), {"show": "ready"}).content.decode()
    assert f'href="/jobs/{job.number}/"' not in board
    signing.sign(job, Sheet.Kind.CURVE_SHEET, paper_size="A4", by=person, seen=recorded_sha256(fresh(job)))
    assert guards.missing(fresh(job)) == []


def lacked(job):
    """What a page sends along of what it showed as missing."""
    return {"lacked": guards.digest_of(guards.missing(fresh(job)))}


@pytest.mark.parametrize("name", ["move", "hand_back"])
def test_a_reason_covers_what_was_missing_on_the_page_and_no_more(client_as, name):
    client = client_as("technician")
    stage = "hand_back" if name == "hand_back" else "bench_curve"
    job = build.job(stage=stage, worked=True)
    step = job.steps.create(list="cleaning", text="Bead the body", abrasive=True)
    values = {"stage": stage, "to": "hand_back", "handed_to": "Ivo Brandt", "reason": "sheet follows by post"}
    values |= lacked(job)
    client.post(reverse("tick_step", args=[job.number, step.pk, "do"]))  # on another tablet
    refused = client.post(reverse(name, args=[job.number]), values)
    text = refused.content.decode()
    assert refused.status_code == 409
    assert fresh(job).stage == stage
    assert not fresh(job).is_closed
    assert "What is missing changed since this page was shown" in text
    assert 'value="sheet follows by post"' in text
    assert name == "move" or 'value="Ivo Brandt"' in text
    shown = re.findall(r'name="lacked" value="(\w+)"', text)
    assert set(shown) == set(lacked(job).values())
    assert client.post(reverse(name, args=[job.number]), values | {"lacked": ""}).status_code == 409
    assert client.post(reverse(name, args=[job.number]), values | {"lacked": shown[0]}).status_code == 302


def fresh(job):
    return Job.objects.get(pk=job.pk)


def test_move_keeps_who_when_and_from_where(client_as):
    client = client_as("technician")
    job = build.job(stage="intake")
    answer = client.post(reverse("move", args=[job.number]), {"stage": "intake", "to": "teardown"})
    assert answer["Location"] == reverse("card", args=[job.number])
    move = job.moves.get()
    assert (move.from_stage, move.to_stage, move.by) == ("intake", "teardown", client.person)
    assert (move.reason, move.missing) == ("", [])
    assert fresh(job).stage == "teardown"
    assert fresh(job).version == job.version + 1
    assert job.history.get().verb == "moved the card on"


@pytest.mark.parametrize("role", ["owner", "technician"])
def test_bench_may_move(client_as, role):
    job = build.job(stage="intake")
    client_as(role).post(reverse("move", args=[job.number]), {"stage": "intake", "to": "teardown"})
    assert fresh(job).stage == "teardown"


def test_counter_may_not_move(client_as):
    job = build.job(stage="intake")
    answer = client_as("counter").post(
        reverse("move", args=[job.number]), {"stage": "intake", "to": "teardown"}
    )
    assert answer.status_code == 403
    assert fresh(job).stage == "intake"
    assert not job.moves.exists()


def test_asking_for_a_move_with_get_moves_nothing(client_as):
    job = build.job(stage="intake")
    for name in ("move", "hand_back", "road_report"):
        assert client_as("owner").get(reverse(name, args=[job.number])).status_code == 405
    assert fresh(job).stage == "intake"


def test_move_without_what_is_missing_takes_a_reason_and_keeps_both(client_as):
    client = client_as("technician")
    job = build.job(stage="teardown")
    values = {"stage": "teardown", "to": "cleaning"}
    refused = client.post(reverse("move", args=[job.number]), values | {"reason": "  "})
    assert refused.status_code == 422
    assert "Still missing" in refused.content.decode()
    assert fresh(job).stage == "teardown"
    client.post(reverse("move", args=[job.number]), values | {"reason": "customer waits"} | lacked(job))
    move = job.moves.get()
    assert move.reason == "customer waits"
    assert "inspection point" in move.missing[0]


def test_going_back_takes_a_reason(client_as):
    client = client_as("technician")
    job = build.job(stage="cleaning")
    values = {"stage": "cleaning", "to": "teardown"}
    assert client.post(reverse("move", args=[job.number]), values).status_code == 422
    client.post(reverse("move", args=[job.number]), values | {"reason": "bush felt again"})
    assert fresh(job).stage == "teardown"
    assert job.moves.get().reason == "bush felt again"


def test_only_one_stage_at_a_time(person):
    for start in ORDER:
        job = build.job(stage=start)
        for to in ORDER:
            if abs(ORDER.index(to) - ORDER.index(start)) != 1:
                with pytest.raises(ValidationError, match="one stage at a time"):
                    moving.move_stage(job, to=to, by=person, reason="hurry")
        assert fresh(job).stage == start


def test_second_of_two_movers_is_told(client_as):
    client = client_as("technician")
    job = build.job(stage="intake")
    values = {"stage": "intake", "to": "teardown"}
    client.post(reverse("move", args=[job.number]), values)
    answer = client.post(reverse("move", args=[job.number]), values)
    assert answer.status_code == 409
    assert "it stands at Teardown now" in answer.content.decode()
    assert job.moves.count() == 1


def test_stage_that_was_on_the_screen_is_what_counts(person):
    job = build.job(stage="teardown")
    with pytest.raises(Conflict):
        moving.move_stage(job, to=Stage.CLEANING, by=person, reason="x", seen=Stage.INTAKE)


def test_counter_hands_back_with_a_reason_and_the_card_closes(client_as):
    client = client_as("counter")
    job = build.job(stage="hand_back", worked=True)
    values = {"stage": "hand_back", "handed_to": "Marta Quill", "warranty_until": "2027-06-30"}
    refused = client.post(reverse("hand_back", args=[job.number]), values)
    assert refused.status_code == 422
    assert 'value="Marta Quill"' in refused.content.decode()
    client.post(
        reverse("hand_back", args=[job.number]), values | {"reason": "sheet follows by post"} | lacked(job)
    )
    closed = fresh(job)
    assert closed.is_closed
    assert closed.build.locked
    assert (closed.handed_to, closed.warranty_until) == ("Marta Quill", datetime.date(2027, 6, 30))
    entry = job.history.get()
    assert entry.verb == "handed the unit back"
    assert entry.detail["reason"] == "sheet follows by post"
    assert entry.detail["missing"] == ["a signed curve sheet", "a target", "a final run"]


def signed(job, person):
    """The card with its final run, and a curve sheet signed for what it says."""
    build.target(job.build)
    build.run(job.build, build.SWEPT, kind="final")
    said = recorded_sha256(job)
    signing.sign(job, Sheet.Kind.CURVE_SHEET, paper_size="A4", by=person, seen=said)
    return fresh(job)


def test_card_with_a_signed_sheet_is_handed_back_without_a_reason(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    assert guards.missing(job) == []
    assert moving.hand_back(job, by=person, handed_to="Marta").is_closed


def test_way_to_hand_back_stands_at_the_head_once_nothing_is_missing(client_as, person):
    way = '<a class="btn btn-go" href="#sec-hand_back">Hand back</a>'

    def head_of(job):
        page = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
        return page.split('id="rail"')[1].split('class="card-curve"')[0]

    assert way not in head_of(build.job(stage="hand_back", worked=True))
    assert way in head_of(signed(build.job(stage="hand_back", worked=True), person))


def test_card_changed_after_its_sheet_was_signed_takes_a_reason(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    job.findings.create(text="cap cracked", stage="hand_back", by=person)
    with pytest.raises(ValidationError, match="signed since the card was changed"):
        moving.hand_back(job, by=person, handed_to="Marta")
    assert moving.hand_back(job, by=person, handed_to="Marta", reason="cap goes along").is_closed


def test_nothing_is_handed_back_from_an_earlier_stage(person):
    with pytest.raises(ValidationError, match="from Hand-back"):
        moving.hand_back(build.job(stage="bench_curve", worked=True), by=person, reason="hurry")


def test_card_is_handed_back_once(client_as):
    client = client_as("counter")
    job = build.job(stage="hand_back", worked=True)
    values = {"stage": "hand_back", "handed_to": "Marta", "reason": "sheet later", **lacked(job)}
    client.post(reverse("hand_back", args=[job.number]), values)
    assert client.post(reverse("hand_back", args=[job.number]), values).status_code == 403
    assert job.history.count() == 1


def test_closed_card_does_not_move(person):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    with pytest.raises(PermissionDenied):
        moving.move_stage(job, to=Stage.BENCH_CURVE, by=person, reason="again")
    assert guards.missing(job) == []


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        # The calendar itself: 2028 is a leap year, 2027 is not.
        ((2026, 11, 25), 12, (2027, 11, 25)),
        ((2027, 2, 28), 12, (2028, 2, 28)),
        ((2028, 2, 29), 12, (2029, 2, 28)),
        ((2026, 8, 31), 6, (2027, 2, 28)),
        ((2026, 12, 31), 0, (2026, 12, 31)),
    ],
)
def test_warranty_ends_on_a_day_that_is(start, months, end):
    assert moving.warranty_end(datetime.date(*start), months) == datetime.date(*end)


def test_unit_from_the_shelf_goes_to_a_customer(client_as):
    client = client_as("counter")
    job = build.job(stage="hand_back", customer=None, closed_at=timezone.now())
    assert client.get(reverse("allocate", args=[job.number])).status_code == 200
    assert fresh(job).is_stock
    today = timezone.localdate().isoformat()
    values = {"customer": "Ivo Brandt", "phone": "0555 0102", "handed_to": "Ivo", "on": today}
    answer = client.post(reverse("allocate", args=[job.number]), values)
    assert answer.status_code == 302
    assert fresh(job).customer.name == "Ivo Brandt"
    second = client.post(reverse("allocate", args=[job.number]), values)
    assert second.status_code == 422
    assert "already belongs to" in second.content.decode()


def test_default_points_are_there_after_migrate(db):
    # Every inspection point named in this project's design.
    labels = " ".join(InspectionPoint.objects.values_list("label", flat=True)).lower()
    named = (
        "side play, end float, bush, cam-lobe, pivots, loops, travel, backlash, dog, points gap, dwell,"
        "air gap, pick-up, primary, secondary, condenser, compound, pins, function, brush, rotor, leads,"
        "begins, ends, moves, leak-down, felt, o-ring, clamp"
    )
    for word in named.split(","):
        assert word.strip() in labels
    limited = InspectionPoint.objects.exclude(low=None, high=None)
    assert set(limited.values_list("limit_source", flat=True)) == {"common practice"}


def test_history_tells_a_move_with_what_was_missing_and_why(client_as):
    client = client_as("technician")
    job = build.job(stage="hand_back", worked=True)
    values = {"stage": "hand_back", "to": "bench_curve", "reason": "felt dry"}
    client.post(reverse("move", args=[job.number]), values)
    values = {"stage": "bench_curve", "to": "hand_back", "reason": "ran out of time"}
    values |= lacked(fresh(job))
    client.post(reverse("move", args=[job.number]), values)
    told = client.get(reverse("history", args=[job.number])).content.decode()
    assert "Robin Technician moved the card back to Bench curve (because: felt dry)" in told
    assert "moved the card on to Hand-back (without a target, a final run; because: ran out of time)" in told


def test_a_void_newest_sheet_leaves_none_that_holds(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    job.findings.create(text="cap cracked", stage="hand_back", by=person)
    newest = signing.sign(
        job, Sheet.Kind.CURVE_SHEET, paper_size="A4", by=person, seen=recorded_sha256(fresh(job))
    )
    assert guards.missing(fresh(job)) == []
    signing.make_void(newest, by=person, reason="wrong spring")
    assert guards.missing(fresh(job)) == ["a signed curve sheet"]
    with pytest.raises(ValidationError, match="a signed curve sheet"):
        moving.hand_back(fresh(job), by=person, handed_to="Marta")


def test_a_card_changed_since_its_sheet_is_ready_nowhere(client_as, person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    assert guards.missing(fresh(job)) == []
    finding = teardown.add_finding(job, text="cap cracked", by=person)
    assert guards.missing(fresh(job)) == [OUTDATED]
    client = client_as("counter")
    for address in (reverse("card", args=[job.number]), reverse("board")):
        assert OUTDATED in client.get(address).content.decode()
    with pytest.raises(ValidationError, match=OUTDATED):
        moving.hand_back(fresh(job), by=person, handed_to="Marta")
    teardown.remove_finding(finding, by=person)  # the sheet says again what the card says
    assert guards.missing(fresh(job)) == []


def test_a_card_handed_back_with_an_outdated_sheet_says_so_for_good(client_as, client, person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    sheet = job.sheets.get(revision=1)
    teardown.add_finding(job, text="cap cracked", by=person)
    moving.hand_back(fresh(job), by=person, handed_to="Marta", reason="she takes the train")
    page = markup(client.get(reverse("check", args=[sheet.token])))
    assert 'data-standing="changed"' in page
    assert 'data-standing="current"' not in page
    card = client_as(person)
    papers = markup(card.get(reverse("sheets", args=[job.number])))
    assert "Signed, and the card has changed since." in papers
    assert "Sign the next revision" not in papers
    shown = markup(card.get(reverse("card", args=[job.number]) + "?open=hand_back"))
    assert "she takes the train" in shown
    assert f"without {OUTDATED}" in result_of(card_for(person, job.number), Stage.HAND_BACK)


def test_a_card_handed_back_with_the_sheet_that_holds_stays_current(client, person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    sheet = job.sheets.get(revision=1)
    moving.hand_back(fresh(job), by=person, handed_to="Marta")
    assert 'data-standing="current"' in client.get(reverse("check", args=[sheet.token])).content.decode()
    assert "without" not in result_of(card_for(person, job.number), Stage.HAND_BACK)


def step_of(job, person):
    """What the card says to do next, in words, and where."""
    step = Card(card_for(person, job.number), person).next_step
    return (step.words, step.address) if step else None


def test_an_outdated_sheet_is_to_be_signed_and_a_run_that_fails_to_be_read(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    sign = ("Sign the curve sheet", reverse("card", args=[job.number]) + "#sec-paper")
    teardown.add_finding(job, text="cap cracked", by=person)
    assert guards.missing(fresh(job)) == [OUTDATED]
    assert step_of(job, person) == sign
    run = job.build.runs.get(kind=Run.Kind.FINAL)
    run.readings.filter(falling=True).delete()
    assert step_of(job, person) == (
        "Read the final run",
        reverse("bench", args=[job.number]) + "?new=1&kind=final",
    )
    build.run(job.build, [], kind="final")  # the new one is there: it is opened, not one more begun
    assert step_of(job, person) == ("Read the final run", reverse("bench", args=[job.number]))
    build.run(job.build, build.SWEPT, kind="final")
    assert step_of(job, person) == sign


def test_after_a_final_run_that_failed_it_is_said_what_to_mend_and_where(person):
    job = build.job(stage="bench_curve", worked=True)
    build.target(job.build)
    run = build.run(job.build, build.SWEPT, kind="final")
    for cylinder, offset in enumerate((0, 5, 0, 0), 1):  # 2 distributor degrees either way are the limit
        run.sparks.create(speed_rpm=600, cylinder=cylinder, offset_deg=offset)
    card = reverse("card", args=[job.number])
    assert step_of(job, person) == ("Mend what failed: scatter", f"{card}#sec-final")
    Job.objects.filter(pk=job.pk).update(stage="hand_back")
    assert step_of(job, person) == ("Mend what failed: scatter", f"{card}?open=bench_curve#sec-final")
    outside = [(speed, degrees / 3) for speed, degrees, *_ in build.RISING]
    build.run(job.build, outside, kind="final")
    assert step_of(job, person) == ("Mend what failed: rising sweep", reverse("trials", args=[job.number]))
    build.run(job.build, [], kind="final")  # begun anew after it was mended
    assert step_of(job, person)[0] == "Read the final run"
    build.run(job.build, build.RISING[:1], kind="final")  # nothing failed of it yet
    assert step_of(job, person)[0] == "Read the final run"
    build.run(job.build, outside, kind="final")
    build.run(job.build, [], primary=build.spring("P 9"))  # another pair hangs there by now
    assert step_of(job, person)[0] == "Read the final run"


def test_nothing_is_signed_before_it_is_proved_and_free_of_abrasive(person):
    job = build.job(stage="hand_back", blasted=True, worked=True)
    assert step_of(job, person)[0] == "Set the target"
    build.target(job.build)
    assert step_of(job, person)[0] == "Read the final run"
    build.run(job.build, build.SWEPT, kind="final")
    assert step_of(job, person)[0] == "Look for abrasive"
    sign_abrasive_free(job, by=person)
    assert step_of(job, person)[0] == "Sign the curve sheet"


def test_a_pair_that_hangs_in_the_unit_is_read_before_the_next_is_chosen(person):
    job = build.job(stage="spring_trials", worked=True)
    bench, words = reverse("bench", args=[job.number]), "Choose the next pair"
    build.target(job.build)
    assert step_of(job, person)[0] == "Type a trial run"
    build.run(job.build, kind="as_received")
    assert step_of(job, person)[0] == words
    outside = [(speed, degrees / 3) for speed, degrees in build.RISING]
    build.run(job.build, outside)
    assert step_of(job, person)[0] == words
    hung = build.run(job.build, [])
    assert step_of(job, person) == ("Read trial run 3", f"{bench}?run=3")
    build.run(job.build, build.RISING[:2])  # inside, and not over the whole band yet
    assert step_of(job, person) == ("Read trial run 4", f"{bench}?run=4")
    job.build.runs.filter(number__gte=hung.number).update(removed=True)
    assert step_of(job, person)[0] == words


def test_a_reading_after_the_signature_is_seen_by_everyone(person):
    job = signed(build.job(stage="hand_back", worked=True), person)
    run = job.build.runs.get(kind=Run.Kind.FINAL)
    values = {"speed_rpm": 1300.0, "advance_deg": 9.0, "falling": False}
    for key, count in ((uuid.uuid4(), 1), (uuid.uuid4(), 1)):
        curve.put_reading(job, run, "reading", key, values, by=person)
        assert OUTDATED in guards.missing(fresh(job))
        assert job.history.filter(verb="read at the bench").count() == count


def test_a_card_that_waits_for_the_customers_answer_wants_a_reason(client_as, person):
    job = build.job(stage="teardown", revised_estimate=380, agreed_limit=340)
    answer_all(job, person)
    assert guards.missing(job) == ["the customer's answer"]
    client = client_as("technician")
    move = {"stage": "teardown", "to": "cleaning"}
    assert client.post(reverse("move", args=[job.number]), move).status_code == 422
    card = client.get(reverse("card", args=[job.number])).content.decode()
    assert "Write the customer&#x27;s answer" in card
    build.answer(job)
    assert client.post(reverse("move", args=[job.number]), move).status_code == 302


@pytest.mark.parametrize("address", ["move", "add_finding", "add_part", "add_step", "void_sheet"])
def test_who_may_not_is_told_so_before_the_form_is_looked_at(client_as, person, address):
    job = signed(build.job(stage="hand_back", worked=True), person)
    args = {"add_step": ["cleaning"], "void_sheet": [job.sheets.get().pk]}.get(address, [])
    assert client_as("counter").post(reverse(address, args=[job.number, *args]), {}).status_code == 403
