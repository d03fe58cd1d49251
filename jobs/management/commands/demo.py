"""Fills an empty database with the demo shop, and prints how to log in."""

import secrets

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from jobs.demo import make, wipe
from jobs.demo.people import PEOPLE
from shop.models import Shop


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser):
        parser.add_argument("--again", action="store_true", help="empty a demo shop first; never a real one")
        parser.add_argument("--password", help="one password for all its people; else one is made up")
        parser.add_argument("--seed", type=int, default=make.SEED, help="another number, another shop")

    def handle(self, *, again, password, seed, **_):
        password = password or secrets.token_urlsafe(9)
        try:
            with transaction.atomic():
                if again and make.has_work():
                    wipe.empty_demo()
                made = make.make_demo(password, seed=seed, now=timezone.localtime())
        except wipe.NotDemo:
            raise CommandError("This is a real shop, not the demo: it stays as it is.") from None
        except make.NotEmpty:
            raise CommandError(self._refusal()) from None
        self.stdout.write(
            f"{made.jobs} jobs, {made.springs} springs, {made.customers} customers: all invented."
        )
        for login, _name, _role in PEOPLE:
            self.stdout.write(f"login: {login}  password: {password}")

    def _refusal(self):
        if Shop.current().is_demo:
            return "The demo shop is there already: add --again to make it anew."
        return "There are people or work in this database: the demo only goes into an empty one."
