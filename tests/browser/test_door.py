"""The way in, and the board and the card behind it, at every size and in both schemes."""

import pytest

from curves.models import Run
from tests import build
from tests.browser.looks import assert_holds, assert_no_barrier, focus_shows, tab_to

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def card(db):
    """A card on the bench with everything that its page can draw."""
    job = build.job(stage="bench_curve", complaint="Hesitates off idle")
    for kind in Run.Kind:
        build.run(job.build, kind=kind, primary=build.spring(), secondary=build.spring())
    build.target(job.build)
    return job


@pytest.mark.parametrize("javascript", [True, False])
def test_logs_in_by_keyboard_alone_with_and_without_javascript(open_page, live_server, javascript):
    build.person("owner")
    page = open_page(who=None, javascript=javascript)
    page.goto("/")
    page.locator("[name=username]").focus()
    page.keyboard.type("owner")
    page.keyboard.press("Tab")
    page.keyboard.type(build.PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server.url}/")
    assert page.get_by_role("button", name="Log out").count() == 1


def test_wrong_password_is_said_beside_the_form_and_the_name_is_kept(open_page, watch):
    watch.forgive("422")
    build.person("owner")
    page = open_page("phone", who=None)
    page.goto("/login/")
    page.locator("[name=username]").fill("owner")
    page.locator("[name=password]").fill("wrong")
    page.keyboard.press("Enter")
    page.get_by_role("alert").wait_for()
    assert page.locator("[name=username]").input_value() == "owner"
    assert_no_barrier(page)


@pytest.mark.parametrize("path", ["/", "/jobs/new/", "/jobs/{number}/"])
def test_page_has_no_barrier_and_fits(page, card, path):
    page.goto(path.format(number=card.number))
    page.get_by_role("main").wait_for()
    assert_holds(page)


def test_card_is_reached_from_the_board_by_keyboard_and_the_focus_shows(page, card):
    page.goto("/")
    tab_to(page, page.locator(f"main a[href='/jobs/{card.number}/']").first)
    assert focus_shows(page)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/jobs/{card.number}/")
