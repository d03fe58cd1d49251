"""Whether a build may be written on: held against other writers until the transaction ends."""

from django.core.exceptions import PermissionDenied

from curves.models import Build


class Locked(PermissionDenied):
    """A build that was handed back takes no more writing."""


def require_unlocked(build):
    """The build's row, locked against writers beside this one until the transaction ends."""
    row = Build.objects.select_for_update().get(pk=build.pk)
    if row.locked:
        raise Locked("This unit was handed back: reopen it as a new job to go on.")
    return row
