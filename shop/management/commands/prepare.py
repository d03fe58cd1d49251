"""Makes the data folder ready to serve: tables, static files, and the demo shop in an empty database."""

import hashlib

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import BaseCommand, call_command

from shop.models import Person


class Command(BaseCommand):
    help = "Bring tables and static files up to date; load the demo shop into an empty database."

    def add_arguments(self, parser):
        parser.add_argument("--no-demo", action="store_true", help="leave an empty database empty")

    def handle(self, *args, no_demo, **options):
        call_command("migrate", interactive=False, verbosity=0)
        collect_static()
        if not no_demo and not Person.objects.exists():
            call_command("demo", stdout=self.stdout)


def collect_static():
    """Collect and compress static files, unless those collected last are the same; that takes seconds."""
    stamp_file = settings.STATIC_ROOT / "collected.sha256"
    stamp = sources_stamp()
    if stamp_file.is_file() and stamp_file.read_text() == stamp:
        return
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp_file.write_text(stamp)


def sources_stamp():
    """A hash over name, size and time of every static file; hashing 5 MB of content would cost more."""
    seen = hashlib.sha256(str(settings.STORAGES["staticfiles"]).encode())
    for finder in get_finders():
        for path, storage in finder.list(ignore_patterns=[]):
            file = storage.path(path)
            seen.update(f"{path} {storage.size(path)} {storage.get_modified_time(file)}\n".encode())
    return seen.hexdigest()
