"""The inspection list: proposed verdicts, answers line by line and all at once, and the shop's own list."""

import datetime
import re

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from jobs.models import Inspection, InspectionPoint, Job
from jobs.rules.facts import facts_of
from jobs.rules.measured import Measured
from jobs.rules.points import TRAVEL, limit_of, proposed_verdict, seed_points
from jobs.teardown.actions import answer_rest
from tests import build
from tests.forms import Page
from tests.reading import markup, words

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def point(key="shaft-side-play"):
    return InspectionPoint.objects.get(key=key)


def one(client, job, asked, version="", **typed):
    values = {f"p{asked.pk}-{name}": value for name, value in ({"version": version} | typed).items()}
    return client.post(reverse("answer_one", args=[job.number, asked.pk]), values, headers=HTMX)


@pytest.mark.parametrize(
    ("low", "high", "value", "verdict"),
    [
        (None, 0.1, 0.1, "good"),
        (None, 0.1, 0.11, "replace"),
        (0.35, 0.5, 0.34, "replace"),
        (0.35, 0.5, 0.35, "good"),
        (0.35, None, 9, "good"),
        (None, None, 9, None),
        (0.35, 0.5, None, None),
    ],
)
def test_limit_proposes_the_verdict(low, high, value, verdict):
    assert proposed_verdict(InspectionPoint(low=low, high=high), Measured(value)) == verdict


def test_limit_says_where_it_is_from():
    limits = InspectionPoint(low=0.35, high=0.5, unit="mm", limit_source="common practice")
    assert limit_of(limits) == "0.35 to 0.5 mm, common practice"
    assert limit_of(InspectionPoint(unit="mm")) == ""


def test_value_alone_is_judged_by_the_limit(client_as):
    job, client, asked = build.job(stage="teardown"), client_as("technician"), point()
    answer = one(client, job, asked, value="0,25")
    assert answer.status_code == 200
    assert "Repair or replace" in answer.content.decode()
    row = job.inspections.get()
    assert (row.value, row.verdict, row.by) == (0.25, "replace", client.person)
    one(client, job, asked, version="1", value="0.05")
    row.refresh_from_db()
    assert (row.value, row.verdict) == (0.05, "good")


def test_own_verdict_stands_against_the_limit(client_as):
    job, client, asked = build.job(stage="teardown"), client_as("technician"), point()
    one(client, job, asked, value="0.25", verdict="worn")
    assert job.inspections.get().verdict == "worn"


def test_point_without_limit_wants_a_verdict(client_as):
    job, client, asked = build.job(stage="teardown"), client_as("technician"), point("spring-loops")
    answer = one(client, job, asked, note="rides on the post")
    assert answer.status_code == 422
    assert "No limit to go by" in answer.content.decode()
    assert not job.inspections.exists()


@pytest.mark.parametrize("typed", ["wide", "NaN", "inf", "1e9", "--1"])
def test_text_is_no_value(client_as, typed):
    job, client = build.job(stage="teardown"), client_as("technician")
    answer = one(client, job, point(), value=typed)
    assert answer.status_code == 422
    assert "wrong" in answer.content.decode()
    assert not job.inspections.exists()


def test_second_of_two_phones_sees_what_stands(client_as):
    job, asked = build.job(stage="teardown"), point()
    one(client_as("technician"), job, asked, value="0.05")
    other = client_as("owner")
    answer = one(other, job, asked, value="0.25")
    text = markup(answer)
    assert answer.status_code == 409
    assert "Someone else wrote meanwhile: <b>0.05 mm, Good</b>" in text
    assert f'name="p{asked.pk}-version" value="1"' in text
    assert job.inspections.get().value == 0.05
    assert one(other, job, asked, version="1", value="0.25").status_code == 200
    assert job.inspections.get().value == 0.25


def test_whole_list_is_saved_at_once_without_scripts(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    play, loops = point(), point("spring-loops")
    address = reverse("answer_points", args=[job.number])
    assert client.get(address).status_code == 200
    answer = client.post(address, {f"p{play.pk}-value": "0.05", f"p{loops.pk}-verdict": "worn"})
    assert answer.status_code == 302
    assert {row.point: row.verdict for row in job.inspections.all()} == {play: "good", loops: "worn"}


def test_one_bad_line_keeps_the_others_and_what_was_typed(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    play, gap = point(), point("points-gap")
    values = {f"p{play.pk}-value": "0.05", f"p{gap.pk}-value": "wide"}
    answer = client.post(reverse("answer_points", args=[job.number]), values)
    assert answer.status_code == 422
    assert 'value="wide"' in answer.content.decode()
    assert job.inspections.get().point == play


@pytest.mark.parametrize("route", ["answer_points", "answer_one"])
def test_only_the_bench_answers_and_only_on_an_open_card(client_as, client, route):
    job, asked = build.job(stage="teardown"), point()
    values = {f"p{asked.pk}-value": "0.05"}

    def send(sender, card):
        args = [card.number] if route == "answer_points" else [card.number, asked.pk]
        return sender.post(reverse(route, args=args), values)

    assert send(client, job).status_code == 302
    assert send(client_as("counter"), job).status_code == 403
    closed = build.job(stage="hand_back", closed_at=timezone.now())
    assert send(client_as("owner"), closed).status_code == 403
    assert not Inspection.objects.exists()


def test_asking_with_get_answers_nothing(client_as):
    job, asked = build.job(stage="teardown"), point()
    values = {f"p{asked.pk}-value": "0.05"}
    assert (
        client_as("owner").get(reverse("answer_one", args=[job.number, asked.pk]), values).status_code == 405
    )
    client_as("owner").get(reverse("answer_points", args=[job.number]), values)
    assert not Inspection.objects.exists()


def test_point_not_asked_of_this_unit_takes_no_answer(client_as):
    job = build.job(stage="teardown", unit=build.unit(trigger="magnetic"))
    assert one(client_as("technician"), job, point("points-gap"), value="0.4").status_code == 403


def test_owner_edits_the_list(client_as):
    client, row = client_as("owner"), point()
    address = reverse("point", args=[row.pk])
    values = {
        "label": row.label,
        "unit": "mm",
        "high": "0.08",
        "limit_source": "maker's sheet 12",
        "order": "10",
    }
    assert client.get(address).status_code == 200
    assert client.post(address, values | {"in_use": "on", "version": "1"}).status_code == 302
    row.refresh_from_db()
    assert (row.high, row.limit_source, row.in_use) == (0.08, "maker's sheet 12", True)
    assert client.post(address, values | {"version": "1"}).status_code == 409


def test_owner_adds_a_point(client_as):
    client = client_as("owner")
    values = {"label": "Shaft side play", "unit": "mm", "order": "5", "in_use": "on", "triggers": ["points"]}
    client.post(reverse("points"), values | {"version": "1"})
    added = InspectionPoint.objects.get(order=5)
    assert (added.key, added.triggers) == ("shaft-side-play-2", "points")


def test_limits_the_wrong_way_round_are_refused(client_as):
    values = {"label": "Play", "unit": "mm", "low": "0.5", "high": "0.1", "order": "5", "version": "1"}
    answer = client_as("owner").post(reverse("points"), values)
    assert answer.status_code == 422
    assert "must not lie below" in answer.content.decode()


@pytest.mark.parametrize("role", ["technician", "counter"])
def test_only_the_owner_edits_the_list(client_as, role):
    client, row = client_as(role), point()
    values = {"label": "Gone", "unit": "mm", "order": "1", "version": "1"}
    for address in (reverse("points"), reverse("point", args=[row.pk])):
        assert client.get(address).status_code == 403
        assert client.post(address, values).status_code == 403
    row.refresh_from_db()
    assert row.label == "Shaft side play"


def test_list_a_shop_has_touched_is_not_filled_up_again():
    InspectionPoint.objects.exclude(key="clamp").delete()
    seed_points()
    assert InspectionPoint.objects.get().key == "clamp"


def test_a_later_answer_says_its_own_time(client_as, monkeypatch):
    job, asked, client = build.job(stage="teardown"), point(), client_as("technician")
    one(client, job, asked, value="0.05")
    long_ago = timezone.now() - datetime.timedelta(hours=5)
    Inspection.objects.update(at=long_ago)
    text = one(client, job, asked, value="0.06", version="1").content.decode()
    assert f"Saved {timezone.localtime():%H:%M}" in text
    assert job.inspections.get().at > long_ago + datetime.timedelta(hours=4)


def rest(client, job, **values):
    return client.post(reverse("answer_rest", args=[job.number]), values, follow=True)


def test_the_rest_is_good_in_one_tap_but_for_what_wants_measuring(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    one(client, job, point("spring-loops"), verdict="worn")
    text = markup(rest(client, job))
    answers = {answer.point.key: answer for answer in job.inspections.all()}
    assert (answers["spring-loops"].verdict, answers["spring-loops"].in_bulk) == ("worn", False)
    bulk = [answer for key, answer in answers.items() if key != "spring-loops"]
    assert {(answer.verdict, answer.in_bulk, answer.by) for answer in bulk} == {("good", True, client.person)}
    assert not [answer.point.label for answer in bulk if answer.point.unit]  # nobody measured it
    assert "shaft-side-play" not in answers
    assert f"{len(bulk)} points answered as good." in text
    assert "What is left wants a measured value." in text
    assert not re.search("Left to measure", text)  # it stands over the list while that gets shorter
    assert job.history.filter(verb="answered a point with the rest").count() == len(bulk)
    assert "points answered as good" not in markup(rest(client, job)).replace("0 points answered", "")
    assert job.inspections.count() == len(answers)


def test_the_button_counts_what_it_answers_and_no_measured_point_is_among_it(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    page = words(client.get(reverse("answer_points", args=[job.number])))
    told = int(re.search(r"The other (\d+) are good", page)[1])
    rest(client, job)
    assert job.inspections.count() == told
    open_still = {"dwell", "capsule-begins", "capsule-ends", "capsule-degrees", TRAVEL}
    assert not job.inspections.filter(point__key__in=open_still).exists()


@pytest.mark.parametrize("key", ["capsule-begins", "dwell", "shaft-side-play"])
def test_no_caller_answers_a_measured_point_with_the_rest(person, key):
    job = build.job(stage="teardown")
    with pytest.raises(ValidationError, match=point(key).label):
        answer_rest(job, [point("clamp"), point(key)], by=person)
    assert not job.inspections.exists()


def typed_into_the_rest(client, job, **by_key):
    """The list as a page sends it with the button for the others; what is typed by a point's key."""
    text = client.get(reverse("answer_points", args=[job.number])).content.decode()
    form = Page(text).form(reverse("answer_points", args=[job.number]))
    assert f'<button class="btn" formaction="{reverse("answer_rest", args=[job.number])}">' in text
    typed = {f"p{point(key).pk}-{name}": text for key, (name, text) in by_key.items()}
    return form.sends | typed


def test_what_is_typed_in_a_point_counts_before_the_rest_is_good(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    loops, play, clamp = "spring-loops", "shaft-side-play", "clamp"
    one(client, job, point(clamp), verdict="replace")
    sent = typed_into_the_rest(client, job, **{loops: ("verdict", "worn"), play: ("value", "0,25")})
    assert rest(client, job, **sent).status_code == 200
    said = {answer.point.key: answer for answer in job.inspections.all()}
    assert [(said[key].verdict, said[key].in_bulk) for key in (loops, play, clamp)] == [
        ("worn", False),
        ("replace", False),
        ("replace", False),
    ]
    assert said[play].value == 0.25
    assert sum(answer.in_bulk for answer in said.values()) == 5


def test_a_point_that_holds_a_note_is_not_called_good_with_the_rest(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    keys = {"spring-loops": ("note", "one hangs loose"), "shaft-side-play": ("value", "wide")}
    keys["clamp"] = ("verdict", "worn")
    answer = rest(client, job, **typed_into_the_rest(client, job, **keys))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert {row.point.key for row in job.inspections.all()} == {"clamp"}  # what could be saved, and no other
    for word in ("2 points were not saved", "The others were not answered as good yet"):
        assert word in text
    for kept in ('value="one hangs loose"', 'value="wide"', "say good, worn, replace"):
        assert kept in text
    page = Page(text)
    again = page.form(reverse("answer_points", args=[job.number])).sends
    again |= {f"p{point('spring-loops').pk}-verdict": "worn", f"p{point('shaft-side-play').pk}-value": "0.05"}
    rest(client, job, **again)
    said = {row.point.key: row for row in job.inspections.all()}
    assert (said["spring-loops"].verdict, said["spring-loops"].note) == ("worn", "one hangs loose")
    assert not said["spring-loops"].in_bulk
    assert said["clamp"].verdict == "worn"
    assert any(row.in_bulk for row in said.values())


def test_a_list_opened_before_a_colleague_answered_undoes_and_complains_of_nothing(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    sent = typed_into_the_rest(client, job)
    one(client_as("owner"), job, point("spring-loops"), verdict="worn", note="one hangs loose")
    assert rest(client, job, **sent).status_code == 200
    answer = job.inspections.get(point__key="spring-loops")
    assert (answer.verdict, answer.note, answer.in_bulk) == ("worn", "one hangs loose", False)
    saved = client.post(reverse("answer_points", args=[job.number]), sent)
    assert saved.status_code == 302


def test_one_point_left_is_said_as_one(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    rest(client, job)
    job.inspections.get(point__key="clamp").delete()
    text = client.get(reverse("answer_points", args=[job.number])).content.decode()
    assert "The other one is good" in text


def test_such_answers_are_taken_back_but_not_one_given_anew(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    rest(client, job)
    keys = ",".join(str(pk) for pk in job.inspections.values_list("pk", flat=True))
    one(client, job, point("clamp"), verdict="replace", version="1")
    rest(client, job, back=keys)
    left = job.inspections.get()
    assert (left.point.key, left.verdict, left.in_bulk) == ("clamp", "replace", False)
    assert job.history.filter(verb="took an answer back").exists()


@pytest.mark.parametrize("values", [{}, {"back": "1"}])
def test_only_the_bench_answers_the_rest_and_only_on_an_open_card(client_as, client, values):
    job = build.job(stage="teardown")
    assert client.post(reverse("answer_rest", args=[job.number]), values).status_code == 302
    assert rest(client_as("counter"), job, **values).status_code == 403
    assert client_as("owner").get(reverse("answer_rest", args=[job.number])).status_code == 405
    closed = build.job(stage="hand_back", closed_at=timezone.now())
    assert rest(client_as("owner"), closed, **values).status_code == 403
    assert not Inspection.objects.exists()


@pytest.mark.parametrize("keys", ["", "x", "1,,2", "9" * 30])
def test_nonsense_takes_nothing_back(client_as, keys):
    job, client = build.job(stage="teardown"), client_as("technician")
    rest(client, job)
    stood = job.inspections.count()
    rest(client, build.job(stage="teardown"), back=keys)
    assert job.inspections.count() == stood


def test_every_line_that_was_refused_is_open_and_says_so(client_as):
    job = build.job(stage="teardown")
    client = client_as("technician")
    page = Page(client.get(reverse("answer_points", args=[job.number])).content.decode())
    wrong = {"shaft-end-float": "-0.1", "points-gap": "14"}
    points = {
        point.key: point.pk for point in InspectionPoint.objects.filter(key__in=[*wrong, "shaft-side-play"])
    }
    form = page.form(reverse("answer_points", args=[job.number]))
    values = form.sends | {f"p{points[key]}-value": text for key, text in wrong.items()}
    values[f"p{points['shaft-side-play']}-value"] = "0.05"
    answer = client.post(form.action, values)
    text = markup(answer)
    assert answer.status_code == 422
    for key in wrong:
        head = text.split(f'id="point-{points[key]}"')[1].split("</summary>")[0]
        assert " open>" in head.split("<summary>")[0]
        assert 'name="point"' not in head  # or the browser would fold all but one of them
        assert "not saved" in head
    left = facts_of(Job.objects.get(pk=job.pk)).points_open
    assert f"<b>{left}</b> to answer" in text  # the one that could be saved is
    assert job.inspections.count() == 1


def test_a_travel_is_never_good_without_its_value(client_as):
    job = build.job(stage="teardown")
    client_as("technician").post(reverse("answer_rest", args=[job.number]))
    assert not job.inspections.filter(point__key=TRAVEL).exists()
    assert job.inspections.filter(in_bulk=True).exists()


def test_a_value_is_not_taken_as_not_applicable(client_as):
    job, client, asked = build.job(stage="teardown"), client_as("technician"), point()
    refused = one(client, job, asked, value="0.06", verdict="na")
    assert refused.status_code == 422
    assert (
        "What was measured applies: take the value out, or give another verdict." in refused.content.decode()
    )
    assert not job.inspections.exists()
    assert one(client, job, asked, value="0.06").status_code == 200
    assert one(client, job, asked, version="1", value="0.06", verdict="na").status_code == 422
    assert job.inspections.get().verdict == "good"
    assert one(client, job, asked, version="1", value="", verdict="na").status_code == 200
    assert one(client, job, asked, version="2", value="0.06", verdict="na").status_code == 422
    row = job.inspections.get()
    assert (row.value, row.verdict) == (None, "na")


def test_of_the_whole_list_only_the_contradiction_is_refused_and_nothing_typed_is_lost(client_as):
    job, client = build.job(stage="teardown"), client_as("technician")
    address, play, lift = reverse("answer_points", args=[job.number]), point(), point("shaft-end-float")
    typed = {f"p{play.pk}-value": "0.06", f"p{play.pk}-verdict": "na", f"p{lift.pk}-value": "0.2"}
    page = client.post(address, typed)
    assert page.status_code == 422
    assert "What was measured applies" in page.content.decode()
    assert re.search(rf'name="p{play.pk}-value"[^>]*value="0.06"', page.content.decode())
    assert [row.point for row in job.inspections.all()] == [lift]
