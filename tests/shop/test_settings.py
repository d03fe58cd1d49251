"""Settings come from the environment, and a wrong value stops the start with its cause and the way out."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PRINT = "import django; django.setup(); from django.conf import settings as s; print({expression})"


def start(tmp_path, expression="s.DATA_DIR", **environment):
    """What a fresh Python prints after Django started under this environment."""
    values = {
        "PATH": os.environ["PATH"],
        "DJANGO_SETTINGS_MODULE": "shop.settings",
        "DATA_DIR": str(tmp_path / "data"),
    }
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", PRINT.format(expression=expression)],
        cwd=ROOT,
        env=values | environment,
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_nothing_set_starts_on_safe_values(tmp_path):
    shown = start(tmp_path, "s.DEBUG, s.ALLOWED_HOSTS, s.SESSION_COOKIE_HTTPONLY, len(s.SECRET_KEY) >= 50")
    assert shown.stdout.strip() == "False ['localhost', '127.0.0.1', '[::1]'] True True"


def test_the_key_is_made_once_and_is_nobody_elses(tmp_path):
    first, second = (start(tmp_path, "s.SECRET_KEY").stdout for _ in range(2))
    assert first == second
    mode = stat.S_IMODE((tmp_path / "data" / "secret_key").stat().st_mode)
    assert mode == 0o600
    assert start(tmp_path / "other", "s.SECRET_KEY").stdout != first


@pytest.mark.parametrize(
    ("environment", "words"),
    [
        ({"DEBUG": "maybe"}, "DEBUG='maybe': write 1 or 0."),
        ({"DEBUG": "1", "ALLOWED_HOSTS": "shop.example"}, "switch DEBUG off"),
        ({"SECRET_KEY": "short"}, "shorter than 50 characters"),
        ({"DATA_DIR": "/proc/nowhere/data"}, "the folder can't be made"),
    ],
)
def test_a_wrong_value_stops_the_start(tmp_path, environment, words):
    stopped = start(tmp_path, **environment)
    assert stopped.returncode != 0
    last = stopped.stderr.strip().splitlines()[-1]
    assert last.startswith("django.core.exceptions.ImproperlyConfigured")
    assert words in last


def test_an_https_address_asks_for_safe_cookies_everywhere(tmp_path):
    expression = (
        "s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS > 0,"
        "s.CSRF_TRUSTED_ORIGINS"
    )
    shown = start(tmp_path, expression, PUBLIC_URL="https://shop.example/", ALLOWED_HOSTS="shop.example")
    assert shown.stdout.strip() == "True True True True ['https://shop.example']"


def test_production_settings_pass_the_deployment_check(tmp_path):
    environment = {
        "PATH": os.environ["PATH"],
        "DATA_DIR": str(tmp_path),
        "PUBLIC_URL": "https://shop.example",
        "ALLOWED_HOSTS": "shop.example",
    }
    checked = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert checked.returncode == 0, checked.stderr
    assert "security." not in checked.stderr
