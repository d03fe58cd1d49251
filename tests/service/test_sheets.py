"""The real worker: builds what is ordered, finds what a lost nudge left, and survives being killed."""

import random
import time

from tests.service.installation import wait_for

ORDER = """
from jobs.papers import building
from tests.jobs.papers.paperwork import finished_job
from tests import build
{before}
job = finished_job(build.person("owner"))
answer = [
    building.order_draft(job, kind, paper_size="A4", by=job.opened_by).pk
    for job in [finished_job(job.opened_by, tray=str(i)) for i in range({jobs})]
    for kind in ("curve_sheet", "job_sheet")
]
"""
KILLS = 10
# A nudge that never arrives: sent into nothing.
LOSE_THE_NUDGE = "from shop import nudges; nudges.send = lambda task, **values: None"

LOOK = """
from pathlib import Path
from django.conf import settings
from jobs.papers import verify
from jobs.models import Sheet
folder = Path(settings.MEDIA_ROOT, "sheets")
files = sorted(str(path.relative_to(settings.MEDIA_ROOT)) for path in folder.rglob("*") if path.is_file())
sheets = list(Sheet.objects.select_related("job"))
answer = {
    "states": [sheet.state for sheet in sheets],
    "tries": [sheet.tries for sheet in sheets],
    "named": sorted(sheet.pdf.name for sheet in sheets if sheet.pdf),
    "files": files,
    "faults": [fault for sheet in sheets for fault in verify.faults(sheet)],
}
"""
WAITED = """
from jobs.models import Sheet
asked = Sheet.objects.get(pk={pk})
answer = Sheet.objects.filter(built_at__gt=asked.created_at, built_at__lt=asked.built_at).count()
"""
STATES = """
from jobs.models import Sheet
answer = list(Sheet.objects.values_list("state", flat=True))
"""


def order(installation, jobs=1, before=""):
    return installation.ask(ORDER.format(jobs=jobs, before=before))


def states(installation):
    return installation.ask(STATES)


def is_settled(installation):
    return not {"waiting", "working"} & set(states(installation))


def start_worker(installation):
    return installation.supervise("worker")


def test_worker_builds_what_is_ordered(installation):
    start_worker(installation)
    order(installation)
    wait_for(lambda: is_settled(installation), what="two sheets")
    found = installation.ask(LOOK)
    assert found["states"] == ["done"] * 2
    assert found["files"] == found["named"]
    assert found["faults"] == []


def test_what_a_person_asks_for_is_built_before_a_backlog(installation):
    start_worker(installation)
    order(installation, jobs=15)
    wait_for(lambda: "done" in states(installation), 60, "the first of the backlog")
    asked = order(installation)[-1]
    done = f"from jobs.models import Sheet; answer = Sheet.objects.get(pk={asked}).state == 'done'"
    wait_for(lambda: installation.ask(done), 60, "the one asked for")
    assert installation.ask(WAITED.format(pk=asked)) <= 1  # the one that was in hand
    assert states(installation).count("waiting") >= 1  # or it proves nothing


def test_starting_worker_takes_up_what_was_ordered_before(installation):
    order(installation, before=LOSE_THE_NUDGE)
    start_worker(installation)
    wait_for(lambda: is_settled(installation), what="the sheets that nobody was told of")
    assert states(installation) == ["done"] * 2


def test_running_worker_finds_a_lost_nudge_within_a_minute(installation):
    start_worker(installation)
    order(installation)
    wait_for(lambda: is_settled(installation), what="the first sheets")
    order(installation, before=LOSE_THE_NUDGE)
    wait_for(lambda: is_settled(installation), within_s=60, what="the sheets that nobody was told of")
    assert states(installation) == ["done"] * 4


def test_worker_starts_whatever_a_kill_left_of_its_queue(install):
    installation = install()
    order(installation)
    for table in installation.folder.glob("queue/control/*.exchange"):
        table.write_bytes(b"")
    start_worker(installation)
    wait_for(lambda: is_settled(installation), 60, what="two sheets")
    assert states(installation) == ["done"] * 2


def test_worker_killed_at_random_points_leaves_whole_sheets_only(install):
    installation = install()
    order(installation, jobs=12)
    chance = random.Random(20)
    for _ in range(KILLS):
        worker = start_worker(installation)
        wait_for(lambda: "done" in states(installation) or "working" in states(installation))
        time.sleep(chance.uniform(0.0, 1.0))
        worker.kill()
        worker.wait()
        found = installation.ask(LOOK)
        assert found["faults"] == []
    start_worker(installation)
    # A claim goes stale after 30 s and is swept up 20 s later at most; all of a sheet's tries may be killed.
    wait_for(lambda: is_settled(installation), within_s=180, what="all sheets")
    found = installation.ask(LOOK)
    assert set(found["states"]) <= {"done", "failed"}
    assert all(
        tries == 3 for state, tries in zip(found["states"], found["tries"], strict=True) if state == "failed"
    )
    assert found["states"].count("done") >= 20
    assert [name for name in found["files"] if not name.rsplit("/", 1)[1].startswith(".")] == found["named"]
    assert found["faults"] == []
