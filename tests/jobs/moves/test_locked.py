"""A card that was handed back while a view had it in hand takes no more writing, whatever the action."""

from io import BytesIO

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from curves.models import Run
from jobs.curvework import actions as curve
from jobs.curvework import sweep_actions, trial_actions
from jobs.intake import actions as intake
from jobs.intake import opening
from jobs.models import Finding, InspectionPoint, Job, PartLine, Photo, Step
from jobs.money import answers
from jobs.moves import actions as moving
from jobs.moves import closing
from jobs.rules.guards import Closed
from jobs.teardown import actions as teardown
from jobs.teardown import photos, steps
from jobs.teardown.pictures import clean_photo
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    """A card as a view fetches it."""
    return build.job(stage="teardown", by=build.person("owner"))


def step(job, **fields):
    return Step.objects.create(job=job, list="cleaning", text="Degrease", **fields)


def done_step(job):
    return step(job, by=build.person("owner"), at=timezone.now())


def finding(job):
    return Finding.objects.create(job=job, text="loop stretched", stage="teardown", by=build.person("owner"))


def part(job):
    return PartLine.objects.create(job=job, text="Bush", by=build.person("owner"))


def photo(job):
    return Photo.objects.create(
        job=job, image="a.jpg", small="b.jpg", width=1, height=1, stage="teardown", by=build.person("owner")
    )


def picture():
    file = BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    return SimpleUploadedFile("a.jpg", file.getvalue(), "image/jpeg")


def run(job):
    return build.run(job.build, by=build.person("owner"))


def fit(job, by):
    values = {"primary": build.spring(), "primary_bend_mm": 0.0, "secondary": None, "secondary_bend_mm": 0.0}
    return trial_actions.fit_pair(job, values, by=by)


STEP = {"list_name": "cleaning", "text": "x", "parts": ""}
ANSWER = {"said": "declined", "asked": None, "amount": None, "said_by": "x", "how": "email", "note": ""}
CLOSING = {"things": [], "fee": 0, "labour": 0, "collected_by": "x", "consent_by": "", "reason": "x"}
# Each makes what it writes on and returns the write, so that only the write meets the closed card.
WRITES = {
    "do_step": lambda job, by, row: lambda: steps.do_step(row, by=by),
    "undo_step": lambda job, by, row: lambda: steps.undo_step(row, by=by),
    "add_step": lambda job, by, row: lambda: steps.add_step(job, **STEP, by=by),
    "put_aside": lambda job, by, row: lambda: steps.put_aside(row, by=by),
    "say_blasted": lambda job, by, row: lambda: steps.say_blasted(job, blasted=True, by=by),
    "sign_abrasive_free": lambda job, by, row: lambda: steps.sign_abrasive_free(job, by=by),
    "blasted_again": lambda job, by, row: lambda: steps.blasted_again(job, by=by),
    "answer_point": lambda job, by, row: lambda: teardown.answer_point(job, row, by=by, verdict="good"),
    "add_finding": lambda job, by, row: lambda: teardown.add_finding(job, text="x", by=by),
    "remove_finding": lambda job, by, row: lambda: teardown.remove_finding(row, by=by),
    "add_part": lambda job, by, row: lambda: teardown.add_part(job, {"text": "x"}, by=by),
    "change_part": lambda job, by, row: lambda: teardown.change_part(row, {"text": "x"}, by=by, version=1),
    "remove_part": lambda job, by, row: lambda: teardown.remove_part(row, by=by),
    "add_photo": lambda job, by, row: lambda: photos.add_photo(job, clean_photo(picture()), by=by),
    "remove_photo": lambda job, by, row: lambda: photos.remove_photo(row, by=by),
    "change_card": lambda job, by, row: lambda: intake.change_card(job, {"tray": "T"}, by=by, version=1),
    "change_owner": lambda job, by, row: lambda: intake.change_owner(job, None, by=by, version=1),
    "change_engine": lambda job, by, row: lambda: intake.change_engine(job, {"make": "x"}, by=by, version=1),
    "change_unit": lambda job, by, row: lambda: intake.change_unit(job, {"maker": "x"}, by=by, version=1),
    "add_run": lambda job, by, row: lambda: curve.add_run(job, {"kind": Run.Kind.TRIAL}, [], by=by),
    "change_run": lambda job, by, row: lambda: curve.change_run(job, row, {}, [], by=by, version=1),
    "take_off_run": lambda job, by, row: lambda: curve.take_off_run(job, row, by=by, removed=True),
    "save_target": lambda job, by, row: lambda: curve.save_target(job, {}, [], by=by, version=0),
    "save_head": lambda job, by, row: lambda: curve.save_head(job, {"scale_deg": 1.0}, by=by, version=1),
    "add_sweep": lambda job, by, row: lambda: sweep_actions.add_sweep(job, {}, [], by=by),
    "add_response": lambda job, by, row: (
        lambda: sweep_actions.add_response(job, {"crank_rpm": 3000}, [], by=by)
    ),
    "fit_pair": lambda job, by, row: lambda: fit(job, by),
    "take_answer": lambda job, by, row: (
        lambda: answers.take_answer(job, ANSWER | {"given_at": timezone.now()}, by=by, version=1)
    ),
    "take_back_answer": lambda job, by, row: lambda: answers.take_back_answer(row, by=by, why="x", version=1),
    "close_unrepaired": lambda job, by, row: (
        lambda: closing.close_unrepaired(job, "returned", CLOSING, by=by, version=1)
    ),
    "move_stage": lambda job, by, row: lambda: moving.move_stage(job, to="cleaning", by=by, reason="x"),
}
ROWS = {
    "take_back_answer": build.answer,
    "do_step": step,
    "undo_step": done_step,
    "put_aside": step,
    "answer_point": lambda job: InspectionPoint.objects.first(),
    "remove_finding": finding,
    "change_part": part,
    "remove_part": part,
    "remove_photo": photo,
    "change_run": run,
    "take_off_run": run,
}


@pytest.mark.parametrize("name", WRITES)
def test_a_card_handed_back_meanwhile_takes_no_write(job, owner, name):
    row = ROWS[name](job) if name in ROWS else None
    write = WRITES[name](job, owner, row)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    with pytest.raises(Closed):
        write()
    assert not job.history.exists()


@pytest.mark.parametrize("name", WRITES)
def test_the_same_write_is_taken_while_it_is_open(job, owner, name):
    """Else the test above would pass for a write that never could be made."""
    Job.objects.filter(pk=job.pk).update(blasted=True)
    write = WRITES[name](job, owner, ROWS[name](job) if name in ROWS else None)
    if name == "blasted_again":
        steps.sign_abrasive_free(job, by=owner)
    if name == "say_blasted":
        Job.objects.filter(pk=job.pk).update(blasted=False)
    write()
    assert job.history.exists()


def test_what_follows_a_hand_back_waits_for_it(owner):
    job = build.job(stage="teardown", customer=None)
    for write in (
        lambda: opening.report_from_road(job, text="pinks", by=owner),
        lambda: opening.reopen(job, by=owner, road_report="pinks"),
        lambda: moving.allocate(job, customer=build.customer(), by=owner),
    ):
        with pytest.raises(PermissionDenied, match="not handed back yet"):
            write()
    assert Job.objects.count() == 1
    assert not job.road_reports.exists()
    job.refresh_from_db()
    assert job.is_stock


def test_direct_posts_on_an_open_card_are_refused(client_as):
    client, job = client_as("owner"), build.job(stage="teardown", customer=None)
    sent = {"text": "pinks", "reopen": "1", "once": "k"}
    assert client.post(f"/jobs/{job.number}/road-report/", sent).status_code == 403
    assert client.get(f"/jobs/{job.number}/allocate/").status_code == 403
    assert client.post(f"/jobs/{job.number}/allocate/", {"customer": "Ivo", "phone": "1"}).status_code == 403
    assert Job.objects.count() == 1
