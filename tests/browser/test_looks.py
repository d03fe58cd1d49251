"""What is asked of every page is really asked: a page with one fault each, in one size or scheme only."""

import pytest

from tests.browser.looks import assert_holds

PAGE = """<!doctype html><html lang="en"><title>A page</title><style>
:root {{ color-scheme: light dark; background: light-dark(#fff, #000); color: light-dark(#000, #fff); }}
button {{ min-width: 44px; min-height: 44px; }}
{style}</style><main><h1>A page</h1><p>Some words</p><button>Go</button></main></html>"""


def test_a_page_without_fault_holds(page):
    page.set_content(PAGE.format(style=""))
    assert_holds(page)


@pytest.mark.parametrize(
    ("style", "words"),
    [
        ("p { color: light-dark(#000, #222); }", "color-contrast"),
        ("p { color: light-dark(#eee, #fff); }", "color-contrast"),
        ("@media (width < 600px) { p { width: 500px; } }", "wide in a window of 390 px"),
        ("@media (width < 350px) { p { width: 350px; } }", "px wide in a window of 320 px"),
        ("@media (600px < width < 900px) { button { min-height: 20px; } }", "tablet.*button"),
        ("@media (600px < width < 900px) { h1 { display: none; } }", "page-has-heading-one"),
    ],
)
def test_a_fault_is_found_where_it_shows(page, style, words):
    page.set_content(PAGE.format(style=style))
    with pytest.raises(AssertionError, match=words):
        assert_holds(page)
