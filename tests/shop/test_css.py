"""No style is kept for a class that nothing wears."""

import re

from django.conf import settings

BY_OTHERS = re.compile(r"htmx-|js-|plotly")  # put on by the libraries


def is_worn(name, words):
    """Whether it stands somewhere, whole or as a beginning that a page completes."""
    parts = name.split("-")
    return name in words or any("-".join(parts[:end]) + "-" in words for end in range(1, len(parts)))


def test_every_class_in_the_styles_is_worn_somewhere():
    root = settings.BASE_DIR
    rest = [*(root / "templates").rglob("*"), *(root / "static/js").rglob("*.js")]
    rest += [file for app in ("shop", "curves", "jobs") for file in (root / app).rglob("*.py")]
    words = set(re.findall(r"[\w-]+", " ".join(file.read_text() for file in rest if file.is_file())))
    unworn = set()
    for sheet in (root / "static/css").glob("*.css"):
        rules = re.sub(r"/\*.*?\*/|url\([^)]*\)|\"[^\"]*\"", "", sheet.read_text(), flags=re.DOTALL)
        named = re.findall(r"\.([a-zA-Z][\w-]*)", " ".join(re.findall(r"[^{};]*(?={)", rules)))
        unworn |= {
            f"{sheet.name}: .{name}"
            for name in named
            if not is_worn(name, words) and not BY_OTHERS.match(name)
        }
    assert not unworn
