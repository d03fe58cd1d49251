"""The lowest floor knows nothing of the two above it: not in code, in templates, or by an address."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import URLPattern

from shop import urls

ABOVE = re.compile(r"\b(?:jobs|curves)\b[./]")
# These name the apps, by string only: what Django loads, and where the addresses begin.
NAMING = {"settings.py", "urls.py", "celery.py", "wsgi.py"}
OWN = {route.name for route in urls.urlpatterns if isinstance(route, URLPattern)}
FRAME = Path(settings.BASE_DIR, "templates", "base.html")
TEMPLATES = [FRAME, *sorted(Path(settings.BASE_DIR, "templates", "shop").rglob("*.html"))]
MODULES = sorted(
    path
    for path in Path(settings.BASE_DIR, "shop").rglob("*.py")
    if path.name not in NAMING and "migrations" not in path.parts
)


def addresses(text):
    return set(re.findall(r"{% url '(\w+)'", text)) | set(
        re.findall(r"(?:reverse|redirect)\(\"(\w+)\"", text)
    )


@pytest.mark.parametrize("path", [*TEMPLATES, *MODULES], ids=lambda path: f"{path.parent.name}/{path.name}")
def test_the_shop_names_neither_floor_above_it(path):
    code = re.sub(r"``.*?``", "", path.read_text())  # a docstring may say what stands above
    assert not ABOVE.findall(code)
    assert addresses(code) <= OWN


@pytest.mark.parametrize(
    "planted",
    ['{% include "jobs/page/_head.html" %}', "from curves.models import Build", "{% url 'card' 1 %}"],
)
def test_a_planted_name_is_found(planted):
    assert ABOVE.findall(planted) or not addresses(planted) <= OWN
