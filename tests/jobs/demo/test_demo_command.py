"""The demo command: into an empty database only, the same each time, and never over a real shop."""

import io
import re
from datetime import datetime

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.utils import timezone

from jobs.demo import make, plan
from jobs.demo.people import PEOPLE
from jobs.models import Job, Photo, Sheet
from jobs.stages import Stage
from shop.models import Person, Shop
from tests import build

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
NOW = timezone.make_aware(datetime(2031, 3, 12, 11, 5))
# Three are the fewest of which one is back, and the fifth has photos; every stage, for what a seed decides.
SMALL = plan.Size(3, {Stage.TEARDOWN: 1, Stage.HAND_BACK: 1})
EACH_STAGE = plan.Size(3, dict.fromkeys(Stage, 1))


@pytest.fixture(autouse=True)
def small(monkeypatch):
    """A smaller shop through the same code: what these tests are about does not hang on its size."""
    monkeypatch.setattr(plan, "FULL", SMALL)


def run(**options):
    out = io.StringIO()
    call_command("demo", stdout=out, **options)
    return out.getvalue()


def content():
    """What the shop says, without keys, tokens and file names."""
    jobs = Job.objects.select_related("unit", "build__target").order_by("number")
    return [
        (
            job.number,
            job.stage,
            job.search_text,
            job.opened_at,
            job.stage_since,
            job.promised_on,
            job.estimate,
            list(job.inspections.order_by("point").values_list("point__key", "value", "verdict", "note")),
            list(job.parts.order_by("pk").values_list("text", "state", "price", "quantity", "why")),
            list(job.moves.order_by("pk").values_list("to_stage", "at", "reason")),
            list(job.build.runs.order_by("number").values_list("kind", "primary__label", "secondary__label")),
            list(
                job.build.runs.order_by("number", "readings__position").values_list(
                    "readings__speed_rpm", "readings__advance_deg", "readings__falling"
                )
            ),
        )
        for job in jobs
    ]


def made(seed):
    """The content of a shop made of this seed; the database is as before afterwards."""
    with transaction.atomic():
        make.make_demo("not-a-secret-1", seed=seed, now=NOW, size=EACH_STAGE)
        said = content()
        transaction.set_rollback(True)
    return said


@pytest.mark.any_database
def test_same_seed_makes_the_same_shop_and_another_another():
    first = made(3)
    assert len(first) == 10
    assert made(3) == first
    assert made(4) != first


def test_login_lines_let_everyone_in(client):
    printed = run()
    logins = re.findall(r"^login: (\S+)  password: (\S+)$", printed, re.MULTILINE)
    assert [login for login, _ in logins] == [login for login, _name, _role in PEOPLE]
    for login, password in logins:
        assert Person.objects.get(username=login).check_password(password)
    assert run(again=True) != printed  # each time a new password
    assert "password: chosen-by-me-1" in run(again=True, password="chosen-by-me-1")


def test_demo_is_not_made_over_a_real_job():
    build.job()
    with pytest.raises(CommandError, match="only goes into an empty one"):
        run()
    assert Job.objects.count() == 1


def test_again_never_touches_a_real_shop():
    build.job()
    with pytest.raises(CommandError, match="a real shop"):
        run(again=True)
    assert Job.objects.count() == 1


def test_demo_is_made_anew_only_on_request(django_capture_on_commit_callbacks):
    run()
    with pytest.raises(CommandError, match="add --again"):
        run()
    first = Sheet.objects.values_list("token", flat=True)[0]
    photo = Photo.objects.first()
    storage, old = photo.image.storage, photo.image.name
    assert storage.exists(old)
    with django_capture_on_commit_callbacks() as after:
        run(again=True)
    for tell in after:
        if "delete" in repr(tell):
            tell()
    assert not Sheet.objects.filter(token=first).exists()
    assert not storage.exists(old)
    assert Job.objects.count() == 6
    assert Shop.current().is_demo


def test_failure_half_way_leaves_the_old_demo(monkeypatch):
    run()
    before = content()

    def fail(*_, **__):
        raise RuntimeError("power cut")

    monkeypatch.setattr(make, "fill_drawer", fail)
    with pytest.raises(RuntimeError):
        run(again=True)
    assert content() == before
