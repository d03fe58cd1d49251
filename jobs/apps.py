"""Gives a new database the default inspection list, and keeps cards found under a customer's new name."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


def _seed(sender, using, **_):
    from jobs.rules.points import seed_points

    seed_points(using)


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self):
        # After migrate and not in a migration: a flushed database gets its list again.
        post_migrate.connect(_seed, sender=self)

        from jobs.search import hits
        from shop import actions

        actions.after_customer_edit.append(hits.reindex_customer)
