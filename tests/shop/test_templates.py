"""Templates can be edited by a person, and white space that nobody typed is not seen."""

import re

import pytest
from django import forms
from django.conf import settings
from django.template.loader import render_to_string

from shop.forms import Form
from tests.forms import Page

MOST = 140  # characters in a line
TEMPLATES = sorted((settings.BASE_DIR / "templates").rglob("*.html"))


def lines_of(templates):
    for file in templates:
        for number, line in enumerate(file.read_text().splitlines(), 1):
            yield f"{file.relative_to(settings.BASE_DIR)}:{number}", line


def test_no_line_is_too_long_to_read():
    assert TEMPLATES
    assert not [place for place, line in lines_of(TEMPLATES) if len(line) > MOST]


def test_no_line_holds_two_cells():
    assert not [place for place, line in lines_of(TEMPLATES) if len(re.findall(r"</t[dh]>", line)) > 1]


def test_text_that_keeps_its_line_breaks_begins_and_ends_beside_its_element():
    kept = re.compile(r'<\w+[^<>]*class="[^"]*\bas-written\b[^"]*"[^<>]*>(?P<text>[^<]*)<')
    found = [(file, match["text"]) for file in TEMPLATES for match in kept.finditer(file.read_text())]
    assert len(found) >= 7
    assert not [file for file, text in found if text != text.strip()]


class Asked(Form):
    name = forms.CharField(label="Name", max_length=20)
    note = forms.CharField(label="Note", max_length=200, required=False, help_text="What is seen.")
    speed = forms.FloatField(label="Speed, rpm")
    way = forms.ChoiceField(label="Way", choices=[("a", "by post")], widget=forms.RadioSelect)
    sure = forms.BooleanField(label="Sure", required=False)


@pytest.mark.parametrize(
    ("name", "tag", "is_wide"),
    [
        ("name", "div", False),
        ("note", "div", True),
        ("speed", "div", False),
        ("way", "fieldset", False),
        ("sure", "div", False),
    ],
)
def test_a_field_is_one_whole_element_with_what_is_said_of_it(name, tag, is_wide):
    form = Asked({"name": "x" * 21, "note": "x" * 201, "speed": "?", "way": "c"})
    field = form[name]
    html = render_to_string("shop/_field.html", {"field": field}).strip()
    assert re.match(rf'<{tag}\s+class="field( wide)?"', html)[1] == (" wide" if is_wide else None)
    assert html.endswith(f"</{tag}>")
    texts = Page(html).texts
    for error in field.errors:
        assert error in texts[f"{field.auto_id}_error"]
    assert bool(field.errors) == (name != "sure")
    assert ("(needed)" in html) == (name in ("name", "speed", "way"))
    assert f"{field.auto_id}_helptext" in texts or name != "note"
