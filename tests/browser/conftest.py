"""Chromium, pages of every size and colour scheme, and a watch that no page complains in silence.

A test takes ``open_page(...)``, or ``page`` (1280 px, light, owner logged in).
"""

import pytest
from django.conf import settings
from playwright.sync_api import expect, sync_playwright

from tests.browser.looks import SIZES
from tests.browser.machine import launch
from tests.browser.profiles import Profiles
from tests.browser.watch import Watch

PATIENCE_MS = 30_000  # for a busy machine; what comes sooner is not waited for


@pytest.fixture(scope="session")
def chromium():
    """The machine's own Chromium, one for all tests of a process."""
    # Playwright's loop runs in this thread, and Django would refuse the database beside it. No test awaits.
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        expect.set_options(timeout=PATIENCE_MS)
        browser = launch(playwright)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def profiles(chromium, live_server):
    return Profiles(chromium, live_server.url)


@pytest.fixture
def watch(live_server):
    """Everything the pages of this test complained of; the test fails on what it did not forgive."""
    watching = Watch(live_server.url)
    yield watching
    assert not watching.complaints(), "\n".join(watching.complaints())


@pytest.fixture
def open_page(profiles, live_server, watch, client_as):
    """``open_page("phone", "dark", who="technician", javascript=False)``: a page in a browser of its own."""
    lent = []

    def opening(size="desk", scheme="light", who="owner", javascript=True):
        width, height = SIZES[size] if isinstance(size, str) else size
        context = profiles.lend(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=size in ("phone", "tablet"),
            java_script_enabled=javascript,
        )
        lent.append(context)
        if who:
            session = client_as(who).cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}]
            )
        watch.over(context)
        return context.new_page()

    yield opening
    for context in lent:
        watch.leave(context)
        profiles.take_back(context)


@pytest.fixture
def page(open_page):
    return open_page()
