"""Which journal SQLite may keep: the write-ahead log only where the library can't corrupt it.

Releases 3.7.0 to 3.51.2 can, in a rare race of two checkpoints (sqlite.org/wal.html#walresetbug); the
branches 3.44 and 3.50 carry the fix from 3.44.6 and 3.50.7 on.
"""

import sqlite3

FIRST_FIXED = (3, 51, 3)
FIXED_BRANCHES = {(3, 44): 6, (3, 50): 7}


def log_is_safe(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> bool:
    major, minor, patch = version[:3]
    fixed_from = FIXED_BRANCHES.get((major, minor))
    return (major, minor, patch) >= FIRST_FIXED or (fixed_from is not None and patch >= fixed_from)


def journal_mode(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> str:
    """With the write-ahead log readers don't wait for a writer; with the rollback journal they do."""
    return "WAL" if log_is_safe(version) else "DELETE"
