"""A sheet ordered in one process is built by a worker in another, whatever dies in between.

Each test runs on SQLite with the folder as queue, as ./run sets it up, and on PostgreSQL with Redis.
"""

import hashlib
import os
import signal
import sqlite3
from contextlib import closing

import psycopg
from dj_database_url import parse
from pypdf import PdfReader

from tests.build import PASSWORD
from tests.service.installation import children_of, wait_for

ORDER = """
from jobs.papers.building import order_draft
from shop.models import Paper
from tests import build

by = build.person("owner")
answer = []
for _ in range({count}):
    job = build.job()
    build.run(job.build)
    build.target(job.build)
    answer.append(order_draft(job, "{kind}", paper_size=Paper.A4, by=by).pk)
"""


def order(installation, count=1, kind="curve_sheet"):
    return installation.ask(ORDER.format(count=count, kind=kind))


def rows(installation, what="state"):
    """The sheets' rows, read past Django: quick enough to see a state that lasts a tenth of a second."""
    query = f"SELECT {what} FROM jobs_sheet ORDER BY id"
    if "DATABASE_URL" not in installation.environ:
        with closing(sqlite3.connect(installation.folder / "bobweight.sqlite3", timeout=20)) as connection:
            return connection.execute(query).fetchall()
    settings = parse(installation.environ["DATABASE_URL"])
    place = {"host": settings["HOST"], "user": settings["USER"], "dbname": settings["NAME"]}
    with psycopg.connect(**place) as connection:
        return connection.execute(query).fetchall()


def states(installation):
    return [state for (state,) in rows(installation)]


def in_hand(installation):
    """The claims that workers hold on sheets."""
    return {claim for state, claim in rows(installation, "state, claim") if state == "working"}


def assert_built_once(installation, count):
    """One whole file for each row, with the hash that the row keeps, and nothing beside."""
    kept = rows(installation, "pdf, pdf_sha256")
    files = [path for path in (installation.folder / "files/sheets").rglob("*") if path.is_file()]
    assert sorted(str(path.relative_to(installation.folder / "files")) for path in files) == sorted(
        name for name, _ in kept
    )
    assert len(files) == count
    for name, digest in kept:
        path = installation.folder / "files" / name
        assert hashlib.sha256(path.read_bytes()).hexdigest() == digest
        assert len(PdfReader(path).pages) >= 1


def worker_of(supervisor):
    return next((pid for pid, line in children_of(supervisor.pid).items() if "celery" in line), None)


def kill_worker(supervisor):
    """Kill it, and wait until the supervisor has started another."""
    before = worker_of(supervisor)
    os.kill(before, signal.SIGKILL)
    wait_for(lambda: worker_of(supervisor) not in (None, before), what="another worker")


def test_sheet_is_ordered_over_http_built_by_the_worker_and_served(installation):
    number = installation.ask("from tests import build; build.person('owner'); answer = build.job().number")
    installation.supervise()
    installation.wait_until_served()
    visitor = installation.visitor()
    assert visitor.log_in("owner", "wrong").status == 422
    assert "sessionid" not in {cookie.name for cookie in visitor.cookies}
    visitor.log_in("owner", PASSWORD)
    assert "sessionid" in {cookie.name for cookie in visitor.cookies}

    ordered = visitor.post(f"/jobs/{number}/sheets/", **{"draft-kind": "tray_tag", "draft-paper": "A4"})
    assert ordered.status == 200
    wait_for(lambda: states(installation) == ["done"], 60, "the tray tag")
    ((pk,),) = rows(installation, "id")
    answer = visitor.get(f"/jobs/{number}/sheets/{pk}.pdf")
    assert answer.status == 200
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.read().startswith(b"%PDF-")
    assert_built_once(installation, 1)
    assert (
        installation.visitor()
        .get(f"/jobs/{number}/sheets/{pk}.pdf")
        .url.startswith(f"{installation.url}/login/")
    )


def test_worker_killed_in_the_middle_of_a_sheet_is_restarted_and_loses_nothing(installation):
    supervisor = installation.supervise()
    installation.wait_until_served()
    order(installation, 3)
    first = wait_for(lambda: in_hand(installation), 90, "a sheet in hand")
    kill_worker(supervisor)
    # A killed worker's claim stays until it is stale: another one is what the present worker holds.
    wait_for(lambda: in_hand(installation) - first, 90, "another sheet in hand")
    kill_worker(supervisor)
    wait_for(lambda: states(installation) == ["done"] * 3, 120, "three sheets")
    assert_built_once(installation, 3)
    assert max(tries for (tries,) in rows(installation, "tries")) >= 2
