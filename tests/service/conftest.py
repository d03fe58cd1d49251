"""Real servers for the tests: PostgreSQL and Redis once, an installation for each test."""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tests.service import postgres
from tests.service.installation import Installation, copy_static, free_port, wait_for

# Long enough to be accepted, and plainly not a secret.
SECRET_KEY = "a key for tests only " * 3


@pytest.fixture(scope="session")
def postgres_cluster():
    with postgres.cluster() as cluster:
        yield cluster


@pytest.fixture
def redis_url(tmp_path):
    program = shutil.which("redis-server")
    assert program, "The tests need Redis: apt-get install redis-server"
    port = free_port()
    log = tmp_path / "redis.log"
    command = [program, "--bind", "127.0.0.1", "--port", str(port), "--dir", tmp_path, "--appendonly", "yes"]
    with log.open("wb") as output:
        server = subprocess.Popen(command, stdout=output, stderr=output)
    try:
        wait_for(lambda: b"Ready to accept connections" in log.read_bytes(), what="Redis")
        yield f"redis://127.0.0.1:{port}/0"
    finally:
        server.terminate()
        server.wait(30)


@pytest.fixture(scope="session")
def collected(tmp_path_factory):
    """A data folder with the static files collected, as ``prepare`` leaves it."""
    folder = tmp_path_factory.mktemp("collected")
    Installation(folder).manage("prepare")
    return folder


@pytest.fixture
def install(collected):
    """``install(DATABASE_URL=...)``: a new installation, prepared and empty."""
    made = []

    def installing(**environ):
        folder = Path(tempfile.mkdtemp(prefix="bobweight-service-"))
        copy_static(collected, folder)
        made.append(Installation(folder, SECRET_KEY=SECRET_KEY, **environ))
        made[-1].manage("prepare")
        return made[-1]

    yield installing
    for installation in made:
        installation.stop()
        if installation.started:
            sys.stderr.write(installation.log())  # what pytest shows beside a failure
        shutil.rmtree(installation.folder, ignore_errors=True)


@pytest.fixture(params=["sqlite and a folder", "PostgreSQL and Redis"])
def installation(request, install):
    """One installation of each kind: as ./run makes it, and as docker-compose.yml does."""
    if request.param == "sqlite and a folder":
        return install()
    cluster, redis_url = request.getfixturevalue("postgres_cluster"), request.getfixturevalue("redis_url")
    return install(DATABASE_URL=cluster.create(), REDIS_URL=redis_url)
