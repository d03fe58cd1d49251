"""What a phone in one hand needs: search on top, a board to jump about in, the main act at the foot."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from tests import build
from tests.browser.looks import assert_holds, assert_no_barrier, tab_to
from tests.jobs.papers.paperwork import finished_job, signed_sheet

pytestmark = pytest.mark.django_db(transaction=True)
BOTH = pytest.mark.parametrize("size", ["phone", "tablet"])


def in_view(page, locator):
    box = locator.bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"] and box["height"] >= 44


@BOTH
def test_the_main_act_is_in_reach_wherever_the_card_is_scrolled(open_page, size):
    job = build.job(stage="teardown")
    page = open_page(size, who="technician")
    page.goto(reverse("card", args=[job.number]))
    bar = page.locator("#card-bar")
    expect(bar).to_contain_text("inspection points to answer")
    for place in ("0", "document.body.scrollHeight / 2", "document.body.scrollHeight - 400"):
        page.evaluate(f"scrollTo(0, {place})")
        assert in_view(page, bar.locator(".btn-go"))
    assert_no_barrier(page)
    bar.get_by_role("link", name="Fill in the inspection").click()
    expect(page).to_have_url(re.compile("/inspection/"))


@BOTH
def test_move_on_from_the_foot_and_hand_back_from_it(open_page, size):
    job = build.job(stage="intake")
    page = open_page(size)
    page.goto(reverse("card", args=[job.number]))
    page.locator("#card-bar").get_by_role("button", name="Move on to teardown").click()
    expect(page.locator("#card-bar")).to_contain_text("Teardown")
    ready = build.worked(finished_job())
    signed_sheet(ready)
    page.goto(reverse("card", args=[ready.number]))
    page.locator("#card-bar").get_by_role("link", name="Hand back").click()
    expect(page.get_by_role("button", name="Hand back and close the card")).to_be_in_viewport()


@BOTH
def test_the_foot_never_lies_over_the_field_that_has_the_focus(open_page, size):
    job = build.job(stage="teardown")
    page = open_page(size, who="technician")
    page.goto(reverse("card", args=[job.number]))
    field = page.get_by_label("A finding")
    page.evaluate("scrollTo(0, 0)")
    tab_to(page, field)
    under = field.bounding_box()["y"] + field.bounding_box()["height"]
    assert under <= page.locator("#card-bar").bounding_box()["y"]


@BOTH
def test_search_stands_on_top_of_every_page(open_page, size):
    build.job(unit=build.unit(number="ES 77"))
    page = open_page(size)
    for address in (reverse("board"), reverse("card", args=[1]), reverse("new_job"), reverse("drawer")):
        page.goto(address)
        assert in_view(page, page.locator("#top-words"))
    page.locator("#top-words").fill("ES 77")
    page.keyboard.press("Enter")
    expect(page.locator("main [name=words]")).to_have_value("ES 77")


@BOTH
@pytest.mark.parametrize("javascript", [True, False])
def test_board_shows_some_and_jumps(open_page, size, javascript):
    for stage in ("intake", "teardown", "hand_back"):
        for _ in range(5):
            build.job(stage=stage)
    page = open_page(size, javascript=javascript)
    page.goto(reverse("board"))
    page.get_by_role("link", name="Late 0").click()
    expect(page.locator(".ticket")).to_have_count(0)
    expect(page.get_by_text("None of the open cards.")).to_be_visible()
    expect(page.get_by_text("None here.").first).to_be_visible(visible=size != "phone")
    page.get_by_role("link", name="All 15").click()
    expect(page.locator(".ticket")).to_have_count(15)
    if size == "phone":
        page.get_by_role("link", name="Hand-back 5").click()
        expect(page.locator("#col-hand_back")).to_be_in_viewport()


@BOTH
def test_board_that_shows_some_lists_no_empty_stage_on_a_phone(open_page, size):
    for stage in ("intake", "hand_back"):
        build.job(stage=stage)
    late = build.job(stage="bench_curve", promised_on=timezone.localdate() - timedelta(days=2))
    page = open_page(size)
    page.goto(reverse("board") + "?show=late")
    shown = 1 if size == "phone" else 6
    expect(page.locator(".board > section:visible")).to_have_count(shown)
    expect(page.locator(".board-jump a:visible")).to_have_count(1 if size == "phone" else 0)
    expect(page.locator(".ticket")).to_contain_text(str(late.number))


def test_board_and_card_hold(page):
    job = build.job(stage="teardown")
    for address in (reverse("board"), reverse("card", args=[job.number])):
        page.goto(address)
        assert_holds(page)


def test_the_inspection_is_short_and_shows_one_point_at_a_time(open_page):
    job = build.job(stage="teardown")
    page = open_page("phone", who="technician")
    page.goto(reverse("answer_points", args=[job.number]))
    assert page.locator(".point").count() >= 24
    assert page.evaluate("document.documentElement.scrollHeight") < 3000
    for name in ("Shaft side play", "Weight pivots"):
        page.locator(".point summary", has_text=name).click()
        expect(page.locator(".point[open]")).to_have_count(1)
        expect(page.locator(".point[open]")).to_contain_text(name)
    page.locator(".point[open] select").select_option("good")
    expect(page.locator("#inspection-count")).to_contain_text(
        f"{page.locator('.point').count() - 1} to answer"
    )
    assert page.evaluate("document.documentElement.scrollHeight") < 3000


def test_a_point_that_was_refused_says_so_folded_too_until_it_is_put_right(open_page, watch):
    watch.forgive("422")
    job = build.job(stage="teardown")
    page = open_page("phone", who="technician")
    page.goto(reverse("answer_points", args=[job.number]))
    float_, rest = (page.locator(".point", has_text=name) for name in ("Shaft end float", "Weight pivots"))
    told = "getComputedStyle(e.querySelector(':scope > summary > span'), '::before').content"
    float_.locator("summary").click()
    float_.locator("[name$=-value]").fill("-0.1")
    rest.locator("summary").click()  # which folds it
    expect(float_.locator(".wrong")).to_contain_text("not possible")
    rest.locator("select").select_option("good")
    expect(rest.locator("summary")).to_contain_text("Good")
    assert "not saved" in float_.evaluate(f"e => {told}")
    assert "not saved" not in rest.evaluate(f"e => {told}")
    float_.locator("summary").click()
    float_.locator("[name$=-value]").fill("0.2")
    page.keyboard.press("Tab")
    expect(float_.locator("summary")).to_contain_text("Good")
    assert "not saved" not in float_.evaluate(f"e => {told}")


@BOTH
def test_the_rest_is_answered_in_one_tap_and_taken_back(open_page, size):
    job = build.job(stage="teardown")
    page = open_page(size, who="technician")
    page.goto(reverse("answer_points", args=[job.number]))
    count = page.locator("#inspection-count").inner_text()
    page.get_by_role("button", name=re.compile("^The other .* are good")).click()
    expect(page.locator(".note")).to_contain_text("What is left wants a measured value.")
    assert page.locator("#inspection-count").inner_text() != count
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#inspection-count")).to_have_text(count)


@BOTH
def test_what_is_typed_in_a_point_is_not_lost_to_the_tap_on_the_others(open_page, watch, size):
    watch.forgive("422")
    job = build.job(stage="teardown")
    page = open_page(size, who="technician")
    page.goto(reverse("answer_points", args=[job.number]))
    line = page.locator(".point", has_text="Weight pivots")
    line.locator("summary").click()
    line.locator("[name$=-note]").fill("one is scored")
    page.get_by_role("button", name=re.compile("^The other .* are good")).click()  # the note was not left yet
    expect(page.locator(".errors")).to_contain_text("One point was not saved")
    expect(line.locator("[name$=-note]")).to_have_value("one is scored")
    expect(line).to_contain_text("say good, worn, replace or not applicable")
    assert not job.inspections.exists()
    page.wait_for_load_state()  # what is chosen is saved by itself only once the page's scripts run
    line.locator("select").select_option("worn")
    expect(line.locator("summary")).to_contain_text("worn", ignore_case=True)
    page.get_by_role("button", name=re.compile("^The other .* are good")).click()
    expect(page.locator(".note")).to_contain_text("answered as good")
    answer = job.inspections.get(point__label__contains="eight pivots")
    assert (answer.verdict, answer.note, answer.in_bulk) == ("worn", "one is scored", False)


def test_the_inspection_holds(page):
    job = build.job(stage="teardown")
    page.goto(reverse("answer_points", args=[job.number]))
    page.locator(".point summary").first.click()
    assert_holds(page)
