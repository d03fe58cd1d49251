"""What every test stands on: an environment of its own, and people of each role."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

import pytest

# Settings read the environment once, when Django starts; so this comes before anything of Django.
# Only DATABASE_URL is taken over from outside: the same tests run on SQLite and on PostgreSQL.
for name in (
    "DEBUG",
    "SECRET_KEY",
    "ALLOWED_HOSTS",
    "PUBLIC_URL",
    "REDIS_URL",
    "QUEUE_DIR",
    "TIME_ZONE",
    "DEMO",
):
    os.environ.pop(name, None)
DATA_DIR = Path(tempfile.mkdtemp(prefix="bobweight-test-"))
atexit.register(shutil.rmtree, DATA_DIR, ignore_errors=True)
(DATA_DIR / "static").mkdir()
os.environ["DATA_DIR"] = str(DATA_DIR)
os.environ["LOG_LEVEL"] = "WARNING"
os.environ["DJANGO_SETTINGS_MODULE"] = "shop.settings"

import django  # noqa: E402

django.setup()

from django.test import Client, override_settings  # noqa: E402

from tests import build  # noqa: E402

# Files that take longest, or wait longest for a server: begun first, the short ones fill up the end.
LONG = (
    "tests/browser/test_journey",
    "tests/browser/test_every_page",
    "tests/service/",
    "tests/browser/test_practice",
    "tests/jobs/demo/test_demo",
    "tests/browser/",
)


def pytest_collection_modifyitems(items):
    """Put the long files first; within them, and among the rest, the order stays random."""
    items.sort(
        key=lambda item: next((i for i, start in enumerate(LONG) if item.nodeid.startswith(start)), len(LONG))
    )


@pytest.fixture(scope="session", autouse=True)
def quick_settings():
    """A cheap password hash, and static files by their plain names: neither is what a test is about."""
    with override_settings(
        PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        STORAGES={
            "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
            "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
        },
    ):
        yield


@pytest.fixture
def owner(db):
    return build.person("owner")


@pytest.fixture
def technician(db):
    return build.person("technician")


@pytest.fixture
def counter(db):
    return build.person("counter")


@pytest.fixture
def person(technician):
    """Someone who may do the everyday work."""
    return technician


@pytest.fixture
def client_as(db):
    """``client_as("owner")``: a client logged in as a person of that role, or as the person given."""

    def log_in(who, **options):
        client = Client(**options)
        client.person = build.person(who) if isinstance(who, str) else who
        client.force_login(client.person)
        return client

    return log_in
