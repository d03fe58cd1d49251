"""A final run is proved or it isn't: the same words on card, bench, sheet, check page and at the guard."""

import json
import re

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from curves.judging.proof import final_of
from curves.models import Run
from curves.rows.queries import build_for
from jobs.models import Job, Sheet
from jobs.moves import actions
from jobs.page.results import result_of
from jobs.papers import pdf
from jobs.rules import facts, guards
from jobs.stages import Stage
from shop.models import Shop
from tests import build
from tests.jobs.papers.paperwork import draft, signed_sheet
from tests.reading import markup

pytestmark = pytest.mark.django_db

CLAIMS = re.compile(r"\bprove[dns]?\b|\bpass(?:es|ed)?\b", re.IGNORECASE)


def job_with(
    readings=build.SWEPT, *, band=build.BAND, scatter=None, dwell=None, vacuum=None, stage="bench_curve"
):
    """A four-cylinder card with a target and a final run."""
    job = build.job(stage=stage, worked=True)
    build.target(job.build, band)
    run = build.run(job.build, readings, kind="final")
    for number, offset in enumerate(scatter or (), start=1):
        run.sparks.create(speed_rpm=300, cylinder=number, offset_deg=offset)
    for rpm, deg in dwell or ():
        run.dwells.create(speed_rpm=rpm, dwell_deg=deg)
    for kpa, deg in vacuum or ():
        run.vacuums.create(vacuum_kpa=kpa, advance_deg=deg)
    return job


def fresh(job):
    return Job.objects.get(pk=job.pk)


def headline(job):
    return final_of(build_for(job.build_id), cylinders=4).headline


EVEN, UNEVEN = (0, 0.5, -0.5, 0.2), (0, 3.0, -3.0, 0)  # one degree either way is the engine's published limit
STEADY, MOVING = ((300, 50), (875, 50.5)), ((300, 50), (875, 58))
OVER = [(rpm, deg + (4 if falling else 0), falling) for rpm, deg, falling in
        [(*row, False) if len(row) == 2 else row for row in build.SWEPT]]  # fmt: skip
STRAIGHT = [(300, 0), (800, 5), (1300, 10), (1800, 15), (300, 0.2, True), (1000, 7.2, True)]
STRAIGHT_BAND = [(600, 0, 1.0), (3600, 30, 1.0)]  # of the crank, as all bands
MOVES = ((0, 0), (10, 0), (15, 3), (20, 6), (30, 6), (40, 6))
STUCK = ((0, 0), (10, 0), (20, 0), (30, 0))

CASES = {
    "proved": ({}, "Final run 1 proved: sweeps in the band", []),
    "proved with all": (
        {"scatter": EVEN, "dwell": STEADY, "vacuum": MOVES},
        "Final run 1 proved: sweeps in the band, scatter, dwell and vacuum pass",
        [],
    ),
    "scatter and dwell": (
        {"scatter": UNEVEN, "dwell": MOVING},
        "Final run 1: sweeps in the band, scatter and dwell fail",
        ["spark scatter within its limit", "dwell within its limit"],
    ),
    "vacuum": (
        {"vacuum": STUCK, "scatter": EVEN},
        "Final run 1: sweeps in the band, vacuum fails, scatter passes",
        ["a vacuum capsule that moves"],
    ),
    "impossible dwell": (
        {"dwell": ((300, 95), (875, 95))},  # 360 / 4 = 90 from spark to spark
        "Final run 1: sweeps in the band, dwell fails",
        ["dwell within its limit"],
    ),
    "falling out": (
        {"readings": OVER, "scatter": EVEN},
        "Final run 1: falling sweep out of the band, rising sweep in the band, scatter passes",
        ["a final run inside the band"],
    ),
    "falling never read": (
        {"readings": build.RISING},
        "Final run 1: falling sweep not read, rising sweep in the band",
        ["the falling sweep of the final run"],
    ),
    "rising never read": (
        {"readings": [(1800, 11.1, True), *build.FALLING]},
        "Final run 1: rising sweep not read, falling sweep in the band",
        ["the rising sweep of the final run"],
    ),
    "falling half read": (
        {"readings": [*build.RISING, *build.FALLING[:3]]},
        "Final run 1: falling sweep not read over the whole band, rising sweep in the band",
        ["a final run read over the whole band"],
    ),
    "falling read past its bends": (
        {"readings": [*build.RISING, (1700, 10.9, True), (1050, 7.9, True), (300, 0.1, True)]},
        "Final run 1: falling sweep not read over the whole band, rising sweep in the band",
        ["a final run read over the whole band"],
    ),
    "straight band, falling read once": (
        {"readings": STRAIGHT[:5], "band": STRAIGHT_BAND},
        "Final run 1: falling sweep not read over the whole band, rising sweep in the band",
        ["a final run read over the whole band"],
    ),
    "straight band, each sweep read in its middle": (
        {"readings": STRAIGHT, "band": STRAIGHT_BAND},
        "Final run 1 proved: sweeps in the band",
        [],
    ),
    "scatter half read": (
        {"scatter": EVEN[:3]},
        "Final run 1: sweeps in the band, scatter not read to the end",
        ["spark scatter read to the end"],
    ),
    "dwell at one speed": (
        {"dwell": STEADY[:1]},
        "Final run 1: sweeps in the band, dwell not read to the end",
        ["dwell read to the end"],
    ),
    "only sparks": (
        {"readings": [], "scatter": UNEVEN},
        "Final run 1: no sweep read, scatter fails",
        ["a final run", "spark scatter within its limit"],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_headline_and_guard_say_the_same_everywhere(client_as, name):
    made, says, lacks = CASES[name]
    job = job_with(**made)
    assert headline(job) == says
    assert guards.missing(fresh(job)) == lacks
    client = client_as("owner")
    for page in (reverse("card", args=[job.number]), f"{reverse('bench', args=[job.number])}?run=1"):
        assert says in client.get(page).content.decode()
    assert says in result_of(fresh_facts(job), Stage.BENCH_CURVE)
    if name == "only sparks":
        return  # without a sweep there is no curve to sign for
    sheet = signed_sheet(job, built=False)
    printed = pdf.write_html(sheet.content, data_sha256=sheet.data_sha256)
    assert says in printed
    checked = client.get(reverse("check", args=[sheet.token])).content.decode()
    assert says in checked
    assert ("proved" in printed) is (not lacks)
    assert ("proved" in checked) is (not lacks)


def fresh_facts(job):
    return facts.with_facts(Job.objects).get(pk=job.pk)


@pytest.mark.parametrize("name", [name for name, (_, _, lacks) in CASES.items() if lacks])
def test_what_is_not_proved_is_handed_back_for_a_reason_only(person, name):
    made, _, lacks = CASES[name]
    job = job_with(**made)
    with pytest.raises(ValidationError, match=re.escape(lacks[0])):
        actions.move_stage(job, to=Stage.HAND_BACK, by=person)
    job = actions.move_stage(job, to=Stage.HAND_BACK, by=person, reason="customer waits")
    if name != "only sparks":
        signed_sheet(job, built=False)
    with pytest.raises(ValidationError, match=re.escape(lacks[0])):
        actions.hand_back(fresh(job), by=person, handed_to="Marta")


def test_where_a_sweep_wants_a_reading_is_said_among_the_checks():
    made, *_ = CASES["falling read past its bends"]
    final = final_of(build_for(job_with(**made).build_id), cylinders=4)
    falling = next(check for check in final.checks if check.kind == "falling")
    lines = {(line.where, line.found) for line in falling.lines}
    assert ("near 600, 1500 distributor rpm (1200, 3000 crank)", "not read") in lines
    assert falling.verdict == "not to be told yet"


def test_without_a_target_nothing_is_proved():
    job = job_with(scatter=EVEN)
    job.build.target.delete()
    assert headline(job) == "Final run 1: no band to hold it against, scatter passes"
    assert guards.missing(fresh(job)) == ["a target"]


def test_taking_back_what_failed_changes_the_answer_at_once():
    job = job_with(scatter=EVEN, dwell=MOVING)
    assert guards.missing(fresh(job)) == ["dwell within its limit"]
    job.build.runs.get().dwells.all().delete()
    assert guards.missing(fresh(job)) == []
    assert headline(job).startswith("Final run 1 proved")


def test_changing_the_target_after_the_run_changes_the_answer_at_once():
    job = job_with(stage="hand_back")
    signed_sheet(job, built=False)
    assert guards.missing(fresh(job)) == []
    job.build.target.points.update(crank_deg=40)
    assert guards.missing(fresh(job)) == ["a final run inside the band"]
    assert headline(job) == "Final run 1: sweeps out of the band"


def test_taking_the_run_off_changes_the_answer_at_once():
    job = job_with(readings=OVER)
    build.run(job.build, build.SWEPT, kind="final")
    assert guards.missing(fresh(job)) == []
    Run.objects.filter(build=job.build, number=2).update(removed=True)
    assert guards.missing(fresh(job)) == ["a final run inside the band"]
    Run.objects.filter(build=job.build).update(removed=True)
    assert guards.missing(fresh(job)) == ["a final run"]


def test_a_later_final_run_counts_as_soon_as_anything_is_read_in_it():
    job = job_with()
    later = build.run(job.build, [], kind="final")
    assert guards.missing(fresh(job)) == []
    for number, offset in enumerate(UNEVEN, start=1):
        later.sparks.create(speed_rpm=300, cylinder=number, offset_deg=offset)
    assert guards.missing(fresh(job)) == ["a final run", "spark scatter within its limit"]


def test_a_trial_in_the_band_is_no_proof(client_as):
    job = build.job(stage="spring_trials")
    build.target(job.build)
    build.run(job.build, build.RISING)
    card = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    assert "Trial run 1: rising sweep in the band" in card
    assert not CLAIMS.search(re.sub(r"<[^>]+>", " ", card))


@pytest.mark.parametrize("kind", [Sheet.Kind.CURVE_SHEET, Sheet.Kind.JOB_SHEET, Sheet.Kind.TRAY_TAG])
@pytest.mark.parametrize("read", ["nothing", "as received", "trial"])
def test_drafts_of_a_unit_that_was_not_proved_never_say_it(kind, read):
    Shop.current()
    Shop.objects.update(paper_note="Rebuilt and proved on the bench.")  # as a shop may have written before
    job = build.job(stage="intake")
    if read == "trial":
        build.target(job.build)
    if read != "nothing":
        build.run(job.build, kind=read.replace(" ", "_"))
    sheet = draft(job, kind, built=False)
    printed = re.sub(r"<[^>]+>", " ", pdf.write_html(sheet.content, data_sha256=sheet.data_sha256))
    assert not CLAIMS.search(printed)


def test_the_shops_own_note_may_not_claim_it(client_as):
    client = client_as("owner")
    page = client.get(reverse("shop_profile")).content.decode()
    values = dict(re.findall(r'name="(\w+)"[^>]* value="([^"]*)"', page))
    answer = client.post(
        reverse("shop_profile"), values | {"paper": "A4", "paper_note": "Each unit proved here."}
    )
    assert answer.status_code == 422
    assert "leave “proved” out" in answer.content.decode()


def test_a_sheet_signed_before_there_was_a_headline_still_renders():
    data = json.loads(signed_sheet(job_with(), built=False).data)
    del data["curve"]["headline"]
    del data["recorded"]["abrasive_free"]
    for step in (row for rows in data["recorded"]["steps"].values() for row in rows):
        step.pop("aside", None)
    printed = pdf.write_html(data, data_sha256="0" * 64)
    assert "Final run 1: inside the band." in " ".join(re.sub(r"<[^>]+>", " ", printed).split())


def started_after(**first):
    """A final run that was read, and a newer one in which so far only the sparks were: out of their limit."""
    job = job_with(**first)
    later = build.run(job.build, [], kind="final")
    for number, offset in enumerate(UNEVEN, start=1):
        later.sparks.create(speed_rpm=300, cylinder=number, offset_deg=offset)
    return job


def words_of(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def printed(sheet):
    return words_of(pdf.write_html(sheet.content, data_sha256="0" * 64))


def card_numbers(client, job):
    page = client.get(reverse("card", args=[job.number])).content.decode()
    return words_of(page.split('id="card-numbers"')[1].split("<details")[0])


OUT = "out of the band between its points"


def test_the_miss_of_one_run_never_stands_under_the_headline_of_another(client_as):
    job = started_after(readings=OVER)
    said = card_numbers(client_as("owner"), job)
    assert "Final run 2: no sweep read, scatter fails" in said
    assert "What follows is of Final run 1: no sweep was read in Final run 2 yet." in said
    assert f"Final run 1 {OUT}" in said
    for sheet in (draft(job, built=False), signed_sheet(job, built=False)):
        paper = printed(sheet)
        assert "Final run 2: no sweep read, scatter fails. Final run 1: Out of the band by" in paper
        assert "Of final run 1: final run 2 has no sweep yet." in paper
        assert "Checks of final run 2" in paper
        assert "final run 1 lies" in paper


def test_what_was_proved_before_a_newer_run_was_started_is_not_said_to_be(client_as):
    job = started_after()
    said = card_numbers(client_as("owner"), job)
    assert "Final run 2: no sweep read, scatter fails" in said
    assert "What follows is of Final run 1" in said
    assert not re.search(r"\bproved\b", said + printed(draft(job, built=False)))


def test_the_miss_of_the_run_in_the_headline_stands_under_it_unnamed(client_as):
    job = job_with(readings=OVER)
    said = card_numbers(client_as("owner"), job)
    assert OUT.capitalize() in said
    assert "What follows" not in said
    paper = printed(draft(job, built=False))
    assert "rising sweep in the band. Out of the band by" in paper
    assert "has no sweep yet" not in paper


def test_a_final_run_only_begun_shows_no_checks_of_a_trial_as_its_own(client_as):
    job = build.job(stage="bench_curve")
    build.target(job.build)
    build.run(job.build, build.RISING)
    client = client_as("owner")
    build.run(job.build, [], kind="final")
    page = markup(client.get(reverse("card", args=[job.number])))
    final = page.split('id="sec-final"')[1].split("</section>")[0]
    assert "against the band" not in final
    assert "0 readings in distributor degrees" in words_of(final)


def test_a_sheet_signed_before_its_headline_named_a_run_names_the_run_that_missed():
    sheet = signed_sheet(started_after(readings=OVER), built=False)
    data = json.loads(sheet.data)
    del data["curve"]["headline"]["run"]
    paper = words_of(pdf.write_html(data, data_sha256="0" * 64))
    assert "scatter fails. Final run 1: Out of the band by" in paper
    assert "Checks of the final run" in paper
    for run in data["curve"]["runs"]:
        del run["miss_said"]
    assert "Final run 1: Worst: " in words_of(pdf.write_html(data, data_sha256="0" * 64))
