"""The search page in a browser: live as one types, by keyboard, at every size, and without JavaScript."""

import re

import pytest
from playwright.sync_api import expect

from curves.models import Run
from jobs.search import hits as search
from tests import build
from tests.browser.looks import assert_holds, tab_to

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def cards():
    for number, (name, complaint) in enumerate(
        [("Ottoline Brandreth", "Hunts at idle"), ("Zofia Łęcka", "Hunts when hot"), ("Ada Venn", "Pinks")],
        start=41,
    ):
        card = build.job(number=number, customer=build.customer(name), complaint=complaint)
        build.run(card.build, kind=Run.Kind.FINAL)
    search.reindex_all()


def hits(page):
    return page.locator(".hit")


def test_answer_follows_the_typing_and_the_focus_stays(page):
    page.goto("/search/")
    box = page.get_by_label("Anything written on a card")
    expect(box).to_be_focused()
    box.press_sequentially("hunt")
    expect(hits(page)).to_have_count(2)
    box.press_sequentially(" lecka")
    expect(hits(page)).to_have_count(1)
    expect(box).to_be_focused()
    expect(page).to_have_url(re.compile(r"/search/\?words=hunt\+lecka$"))
    page.reload()
    expect(hits(page)).to_have_count(1)


def test_going_back_leads_to_the_page_before_not_to_a_letter_less(page):
    page.goto("/customers/")
    page.goto("/search/")
    page.get_by_label("Anything written on a card").press_sequentially("hunts", delay=250)
    expect(page).to_have_url(re.compile("words=hunts$"))  # the last letter's answer is there
    expect(hits(page)).to_have_count(2)
    page.go_back()
    expect(page).to_have_url(re.compile("/customers/$"))


def test_slow_answer_is_waited_for_and_what_was_typed_since_is_asked_then(page):
    asked = []

    def hold_the_first(route):
        asked.append(route)
        if len(asked) > 1:
            route.continue_()

    page.goto("/search/")
    page.route("**/search/?*words=*", hold_the_first)
    page.get_by_label("Anything written on a card").press_sequentially("h")
    expect(page.locator("form.htmx-request")).to_have_count(1)
    page.get_by_label("Anything written on a card").press_sequentially("unts", delay=50)
    page.wait_for_timeout(500)  # what was typed would have been asked by now
    (first,) = asked
    first.continue_()
    expect(page).to_have_url(re.compile("words=hunts$"))
    expect(hits(page)).to_have_count(2)


def test_answer_that_never_comes_is_given_up_and_the_next_search_goes_out(page, watch):
    watch.forgive("htmx:timeout")
    watch.forgive("htmx:afterRequest")
    page.goto("/search/")
    page.route("**/search/?*words=*", lambda route: None, times=1)
    box = page.get_by_label("Anything written on a card")
    box.press_sequentially("h")
    expect(page.locator("form.htmx-request")).to_have_count(1)
    box.press_sequentially("unts")
    expect(hits(page)).to_have_count(2, timeout=20_000)


def test_card_opens_by_keyboard_and_back_brings_the_hits(page):
    page.goto("/search/?words=hunts")
    link = hits(page).first.get_by_role("link")
    tab_to(page, link)
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/jobs/42/$"))
    page.go_back()
    expect(hits(page)).to_have_count(2)


def test_engine_is_looked_for_as_its_figures_are_typed(page, watch):
    watch.forgive("status of 422")
    page.goto("/search/")
    page.get_by_text("By engine, or like another job").click()
    page.get_by_label("Displacement").fill("1650")
    expect(hits(page).first).to_contain_text("1600 cc, 50 cc off")
    page.get_by_label("Displacement").fill("big")
    expect(page.locator("#found")).to_have_attribute("data-state", "failed")
    expect(page.locator("#found")).to_contain_text("not a number")


def test_old_hits_do_not_stand_when_the_server_is_not_reached(page, watch):
    for line in ("Failed to load resource", "htmx:sendError", "htmx:afterRequest"):
        watch.forgive(line)
    page.goto("/search/?words=hunts")
    expect(hits(page)).to_have_count(2)
    page.context.set_offline(True)
    page.get_by_label("Anything written on a card").press_sequentially("x")
    expect(page.get_by_role("alert")).to_contain_text("Not found out: the server can't be reached")
    expect(hits(page).first).to_be_hidden()
    page.context.set_offline(False)


def test_page_works_without_javascript(open_page):
    page = open_page("phone", javascript=False)
    page.goto("/search/")
    page.get_by_label("Anything written on a card").fill("hunts")
    page.get_by_role("button", name="Find").click()
    expect(hits(page)).to_have_count(2)


@pytest.mark.parametrize(
    "address", ["/search/", "/search/?words=hunts&displacement=1500&use=road", "/search/?words=zz"]
)
def test_page_has_no_barrier_at_any_size(page, address):
    page.goto(address)
    assert_holds(page)


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
def test_a_curve_is_taken_as_target_from_its_hit(open_page, size):
    asks = build.job(number=50, engine=build.engine(displacement_cc=1600))
    past = build.job(number=40, engine=build.engine(displacement_cc=1610))
    build.run(past.build, kind=Run.Kind.FINAL)
    page = open_page(size, who="technician")
    page.goto(f"/search/?like={asks.number}")
    page.get_by_role("link", name=re.compile(r"Use as target.*: Job 40")).click()
    page.wait_for_url(re.compile(rf"/jobs/50/target/\?start=past&job={past.number}"))
