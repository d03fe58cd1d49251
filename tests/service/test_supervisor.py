"""Web server and paper worker under one supervisor: served, kept alive, stopped together."""

import gzip
import json
import os
import signal
import sys

import pytest

from tests.service.installation import children_of, is_running, wait_for


def child(supervisor, word):
    """The process id of the supervisor's child with this word in its command line, or None."""
    return next((pid for pid, line in children_of(supervisor.pid).items() if word in line), None)


def both(supervisor):
    web, worker = child(supervisor, "gunicorn"), child(supervisor, "celery")
    return (web, worker) if web and worker else None


def test_serves_pages_and_static_files_with_their_policy(installation):
    installation.supervise()
    installation.wait_until_served()
    visitor = installation.visitor()

    page = visitor.get("/")
    assert page.status == 200
    assert page.url.endswith("/login/?next=/")
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    assert "unsafe" not in page.headers["Content-Security-Policy"]

    names = json.loads((installation.folder / "static/staticfiles.json").read_text())["paths"]
    file = visitor.get(f"/static/{names['plotly/plotly.min.js']}", **{"Accept-Encoding": "gzip"})
    assert file.status == 200
    assert "immutable" in file.headers["Cache-Control"]
    assert b"plotly.js" in gzip.decompress(file.read())[:200]


def test_process_that_dies_is_started_again(installation):
    supervisor = installation.supervise()
    installation.wait_until_served()
    before = wait_for(lambda: both(supervisor), what="both processes")
    orphans = children_of(before[0])  # gunicorn's worker answers on until it sees that it is alone
    for pid in before:
        os.kill(pid, signal.SIGKILL)
    after = wait_for(
        lambda: (now := both(supervisor)) and not set(now) & set(before) and now, what="two new processes"
    )
    wait_for(lambda: not any(map(is_running, orphans)), what="the end of the old web process")
    installation.wait_until_served()
    assert all(map(is_running, after))
    assert installation.visitor().get("/login/").status == 200
    assert "web ended with status -9" in installation.log()
    assert "worker ended with status -9" in installation.log()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_supervisor_takes_its_processes_with_it(install, number):
    installation = install()
    supervisor = installation.supervise()
    installation.wait_until_served()
    pids = wait_for(lambda: both(supervisor), what="both processes")
    pids += tuple(children_of(pids[0]))
    supervisor.send_signal(number)
    assert supervisor.wait(60) == (-number if number == signal.SIGKILL else 0)
    wait_for(lambda: not any(map(is_running, pids)), what="the end of all")


def test_port_in_use_is_said_with_the_way_out(install):
    installation = install()
    installation.supervise()
    installation.wait_until_served()
    assert installation.supervise().wait(30) == 1
    assert f"Port {installation.port} on 127.0.0.1 is in use" in installation.log()
    assert "PORT=8001 ./run" in installation.log()


def test_healthy_says_whether_the_web_server_answers(install):
    installation = install()
    assert installation.start(sys.executable, "-m", "shop.health").wait(30) == 1
    installation.supervise("web")
    installation.wait_until_served()
    assert installation.start(sys.executable, "-m", "shop.health").wait(30) == 0
