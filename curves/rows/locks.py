"""Whether a build may be written on: held against other writers until the transaction ends."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from curves.models import Build


class Locked(PermissionDenied):
    """A build whose card was closed takes no more writing."""


def require_unlocked(build: Build) -> Build:
    """The build's row, locked against writers beside this one until the transaction ends."""
    row = Build.objects.select_for_update(no_key=True).get(pk=build.pk)
    if row.locked:
        ended = "closed without the repair" if row.unrepaired else "handed back"
        raise Locked(f"This unit was {ended}: reopen it as a new job to go on.")
    return row
