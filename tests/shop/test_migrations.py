"""Each migration of ours can be run backwards, as DEVELOPERS.md says."""

import pytest
from django.apps import apps
from django.db.migrations.loader import MigrationLoader

OURS = ("shop", "curves", "jobs")


@pytest.mark.parametrize("label", OURS)
def test_every_migration_has_a_way_back(label):
    assert apps.is_installed(label)
    steps = [row for key, row in MigrationLoader(None).disk_migrations.items() if key[0] == label]
    assert steps
    one_way = [f"{step}: {one.describe()}" for step in steps for one in step.operations if not one.reversible]
    assert not one_way
