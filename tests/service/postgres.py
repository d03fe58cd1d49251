"""A throwaway PostgreSQL on a Unix socket.

``python -m tests.service.postgres COMMAND...`` runs the command with DATABASE_URL leading to one.
"""

import os
import pwd
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

USER = "bobweight"
# Nothing is worth keeping, so nothing waits for the disk.
OPTIONS = [
    "fsync=off",
    "synchronous_commit=off",
    "full_page_writes=off",
    "listen_addresses=",
    "max_connections=60",
]


class Cluster:
    """A running server. ``create()`` makes an empty database and returns its DATABASE_URL."""

    def __init__(self, folder):
        self.folder = folder
        self._made = 0

    def connect(self):
        return psycopg.connect(host=str(self.folder), user=USER, dbname="postgres", autocommit=True)

    def create(self):
        self._made += 1
        name = f"shop_{self._made}"
        with self.connect() as connection:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        return f"postgres://{USER}@{quote(str(self.folder), safe='')}/{name}"


def program(name):
    """Debian keeps the server's programs off the PATH, one folder for each version."""
    versions = sorted(
        Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: float(path.parts[4])
    )
    found = str(versions[-1]) if versions else shutil.which(name)
    assert found, "The tests need PostgreSQL: apt-get install postgresql"
    return found


def as_someone_else():
    """PostgreSQL refuses to run as root: another user of this machine, for subprocess."""
    if os.geteuid() != 0:
        return {}
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    entry = names.get("postgres") or names["nobody"]
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}


@contextmanager
def cluster():
    folder = Path(tempfile.mkdtemp(prefix="bobweight-pg-"))
    other = as_someone_else()
    if other:
        os.chown(folder, other["user"], other["group"])
        folder.chmod(0o755)
    data, log = folder / "data", folder / "log"
    server = None
    try:
        subprocess.run(
            [
                program("initdb"),
                "-D",
                data,
                "-U",
                USER,
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C.UTF-8",
                "--no-sync",
            ],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd=folder,
            **other,
        )
        options = [word for option in OPTIONS for word in ("-c", option)]
        with log.open("wb") as output:
            server = subprocess.Popen(
                [program("postgres"), "-D", data, "-k", folder, *options],
                stdout=output,
                stderr=output,
                cwd=folder,
                **other,
            )
        made = Cluster(folder)
        wait_until_it_answers(made, server, log)
        yield made
    finally:
        if server is not None:
            server.send_signal(2)  # SIGINT: a fast shutdown, without waiting for clients
            server.wait(30)
        shutil.rmtree(folder, ignore_errors=True)


def wait_until_it_answers(made, server, log, within_s=30.0):
    deadline = time.monotonic() + within_s
    while True:
        try:
            made.connect().close()
            return
        except psycopg.OperationalError:
            if server.poll() is not None or time.monotonic() > deadline:
                raise AssertionError(f"PostgreSQL did not start:\n{log.read_text()}") from None
            time.sleep(0.05)


def main():
    with cluster() as made:
        done = subprocess.run(sys.argv[1:], env=os.environ | {"DATABASE_URL": made.create()}, check=False)
    sys.exit(done.returncode)


if __name__ == "__main__":
    main()
