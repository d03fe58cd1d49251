"""The journal follows the SQLite library, and the system check says which."""

import sqlite3

import pytest
from django.core import checks
from django.db import connection

from shop.sqlite import journal_mode, log_is_safe

PRAGMAS = ("journal_mode", "synchronous", "foreign_keys")


# Source: SQLite, Write-Ahead Logging, section on the WAL-reset bug (open in 3.7.0 to 3.51.2);
# the first fixed releases of the two branches are from memory of that page.
@pytest.mark.parametrize(
    ("version", "safe"),
    [
        ((3, 7, 0), False),
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), True),
        ((4, 0, 0), True),
    ],
)
def test_log_is_safe_on_fixed_libraries_only(version, safe):
    assert log_is_safe(version) is safe
    assert journal_mode(version) == ("WAL" if safe else "DELETE")


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="asks SQLite itself")
def test_connection_keeps_the_journal_the_library_allows():
    with connection.cursor() as cursor:
        kept = {name: cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in PRAGMAS}
    assert kept == {"journal_mode": journal_mode().lower(), "synchronous": 2, "foreign_keys": 1}


@pytest.mark.django_db
def test_check_names_the_library():
    found = checks.run_checks(databases=["default"], tags=[checks.Tags.database])
    ours = [message for message in found if message.id.startswith("shop.")]
    if connection.vendor == "sqlite":
        assert [sqlite3.sqlite_version in message.msg for message in ours] == [True]
    else:
        assert ours == []
