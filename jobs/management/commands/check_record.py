"""Checks the chained record: whether any entry was altered, taken out or put in since it was written."""

from django.core.management.base import BaseCommand, CommandError

from jobs.models import AuditEntry
from jobs.record import audit


class Command(BaseCommand):
    help = "Check the chained record of what was done; entries that do not hold are named, and the exit is 1."

    def handle(self, **options):
        if broken := audit.broken_links():
            raise CommandError(_told(broken))
        entries = AuditEntry.objects.order_by("-pk")
        self.stdout.write(f"The record holds, entries: {entries.count()}.")
        if last := entries.first():
            # A sheet signed later prints it: only against one does an end that was cut off show.
            self.stdout.write(f"Its newest hash: {last.hash}")


def _told(broken):
    named = AuditEntry.objects.select_related("job").filter(pk__in=broken).order_by("pk")
    lines = [f"entry {one.pk}, {one.at:%Y-%m-%d %H:%M}, {one.job or 'the shop'}: {one}" for one in named]
    return "\n  ".join(["The record does not hold at:", *lines])
