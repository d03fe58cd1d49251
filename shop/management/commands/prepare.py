"""Makes the data folder ready to serve: tables, static files, and the demo shop in an empty database."""

import hashlib
import os
import secrets

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.checks import Tags
from django.core.management import BaseCommand, call_command

from shop import environment
from shop.models import Person, Role, Shop


class Command(BaseCommand):
    help = (
        "Bring tables and static files up to date; load the demo shop into an empty database unless DEMO=0."
    )

    # Checking the addresses too would load every view, at each start.
    requires_system_checks = [Tags.database]

    def handle(self, **options):
        call_command("migrate", interactive=False, verbosity=0)
        collect_static()
        if environment.flag("DEMO", True) and not Person.objects.exists():
            self.stdout.write("Making the demo shop")
            call_command("demo", password=new_demo_password(), stdout=self.stdout)
        elif login := demo_login():
            self.stdout.write("login: {}  password: {}  (the demo's, until it is changed)".format(*login))


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


def password_file():
    return settings.DATA_DIR / "demo_password"


def new_demo_password():
    """A random password for the demo's people, kept in the data folder so that each start can print it."""
    password = secrets.token_urlsafe(9)
    password_file().unlink(missing_ok=True)
    with os.fdopen(os.open(password_file(), os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(password)
    return password


def demo_login():
    """The owner's name and password while this is the demo shop and its password stands, else None."""
    if not password_file().is_file() or not Shop.current().is_demo:
        return None
    password = password_file().read_text()
    owner = Person.objects.filter(role=Role.OWNER, is_active=True).order_by("pk").first()
    return (owner.username, password) if owner and owner.check_password(password) else None
