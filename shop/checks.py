"""System checks of our own: which SQLite this is, and which journal it may keep."""

import sqlite3

from django.core import checks
from django.db import connection

from shop.sqlite import log_is_safe


@checks.register(checks.Tags.database)
def sqlite_journal(app_configs, databases=None, **kwargs):
    """Name the library; the journal is chosen in the settings, so this is for information."""
    if not databases or connection.vendor != "sqlite":
        return []
    if log_is_safe():
        message = f"SQLite {sqlite3.sqlite_version} keeps a write-ahead log: readers never wait."
        return [checks.Info(message, id="shop.I001")]
    return [
        checks.Info(
            f"SQLite {sqlite3.sqlite_version} keeps a rollback journal: readers wait for a writer, briefly.",
            hint="Its write-ahead log has a rare race; 3.51.3, later ones and PostgreSQL are free of it.",
            id="shop.I002",
        )
    ]
