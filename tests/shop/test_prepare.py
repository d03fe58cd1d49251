"""What ``prepare`` leaves: a demo in an empty database only, and its login while it stands."""

from functools import partial
from io import StringIO

import pytest
from django.core.management import call_command

from jobs.demo import make, plan
from shop.management.commands import prepare
from shop.models import Person, Shop
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def ready(settings, tmp_path, monkeypatch):
    """Run ``prepare`` in a data folder of its own and return what it printed.

    Static files are left out: collecting them takes seconds, and tests/service does it for real. The demo is
    a short one of seven jobs.
    """
    short = plan.Size(finished=6, on_board={"teardown": 1})
    monkeypatch.setattr(make, "make_demo", partial(make.make_demo, size=short))
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr(prepare, "collect_static", lambda: None)

    def preparing():
        output = StringIO()
        call_command("prepare", stdout=output)
        return output.getvalue()

    return preparing


def test_real_shop_gets_no_demo_and_no_login_line(ready):
    build.person("owner")
    assert ready() == ""
    assert not Shop.current().is_demo


def test_demo_switched_off_leaves_an_empty_database_empty(ready, monkeypatch):
    monkeypatch.setenv("DEMO", "0")
    assert ready() == ""
    assert not Person.objects.exists()


def test_demo_login_is_printed_at_each_start_until_the_password_is_changed(ready, tmp_path):
    first = ready()
    kept = tmp_path / "demo_password"
    assert kept.stat().st_mode & 0o777 == 0o600
    owner = Person.objects.filter(role="owner").earliest("pk")
    line = f"login: {owner.username}  password: {kept.read_text()}"
    assert line in first
    assert line in ready()

    owner.set_password("another-one-entirely")
    owner.save()
    assert ready() == ""
