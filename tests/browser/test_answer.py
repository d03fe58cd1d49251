"""The customer's answer in a real browser: a unit declined goes back, money over the limit is agreed."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import InspectionPoint, Job
from jobs.rules.points import seed_points
from tests import build
from tests.browser.looks import assert_fits, assert_no_barrier, small_targets

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = pytest.mark.parametrize("size", ["phone", "tablet"])  # 390 and 820 px wide


def assert_good(page):
    assert_fits(page)
    assert_no_barrier(page)
    assert not small_targets(page, within="main")


@SIZES
def test_counter_takes_a_no_and_gives_the_unit_back_unrepaired(open_page, size):
    job = build.job(
        stage="teardown", came_with="Cap, rotor arm", estimate=200, agreed_limit=250, revised_estimate=380
    )
    job.parts.create(text="Strip", state="labour", quantity=2, price=48, by=build.person())
    page = open_page(size, who="counter")
    page.goto(reverse("card", args=[job.number]))
    rail = page.locator("#rail")
    expect(rail).to_contain_text("Waiting for the customer's answer to 380.00 EUR, tax included")
    section = page.locator("#sec-answer")
    section.get_by_role("link", name="Write the customer's answer").click()
    assert_good(page)
    section.get_by_label("Declined").check()
    section.get_by_label("How", exact=True).select_option("by telephone")
    section.get_by_role("button", name="Save the answer").click()
    expect(section.locator(".answers-given")).to_contain_text("Declined: 380.00 EUR asked")
    expect(section.locator(".sec-head").first).to_be_in_viewport()
    expect(rail).to_contain_text("they declined")
    assert_good(page)
    page.goto(reverse("board"))
    expect(page.locator(".ticket")).to_contain_text("declined: close it, or ask anew")
    page.goto(reverse("card", args=[job.number]))

    rail.get_by_role("link", name="Close without the repair").click()
    expect(page.get_by_label("Labour so far")).to_have_value("96.00")
    assert_good(page)
    page.get_by_label("Returned unrepaired").check()
    page.get_by_label("rotor arm").uncheck()
    page.get_by_label("Fee for the estimate").fill("25")
    page.get_by_role("button", name="Close the card").click()
    head = page.locator("#card-head")
    expect(head).to_contain_text("returned unrepaired")
    expect(page.locator("#stage-hand_back")).to_contain_text("121.00 EUR owed, tax included")
    expect(page.locator("main")).not_to_contain_text("handed back")
    assert_good(page)
    closing = Job.objects.get(pk=job.pk).closing
    assert (closing.went_back, closing.stayed, closing.owed) == (["Cap"], ["rotor arm"], 121)


@SIZES
def test_parts_over_the_limit_are_seen_and_agreed(open_page, size):
    job = build.job(stage="teardown", estimate=200, agreed_limit=250)
    page = open_page(size, who="owner")
    page.goto(reverse("card", args=[job.number]))
    parts, rail = page.locator("#sec-parts"), page.locator("#rail")
    parts.locator("summary", has_text="Add a part or an hour").click()
    parts.locator("[name=text]").fill("Shaft, ground and bushed")
    parts.locator("[name=price]").fill("310,50")
    parts.get_by_role("button", name="Add the line").click()
    for place in (parts, rail, page.locator("#sec-answer")):
        expect(place).to_contain_text("310.50")
        expect(place).to_contain_text("250.00")
    expect(rail).to_contain_text("Over the limit by 60.50 EUR")
    assert_good(page)
    section = page.locator("#sec-answer")
    section.get_by_role("link", name="Write the customer's answer").click()
    expect(section.get_by_label("Amount asked")).to_have_value("310.50")
    section.get_by_label("Accepted", exact=True).check()
    section.get_by_label("How", exact=True).select_option("in person")
    section.get_by_role("button", name="Save the answer").click()
    expect(section.locator(".answers-given")).to_contain_text("Accepted: 310.50 of 310.50 EUR asked")
    expect(rail).not_to_contain_text("Over the limit")
    expect(parts).not_to_contain_text("over the limit")
    assert_good(page)


def test_answer_is_taken_without_scripts(open_page):
    job = build.job(stage="cleaning", estimate=200, agreed_limit=150)
    page = open_page("phone", who="counter", javascript=False)
    page.goto(reverse("answers", args=[job.number]))
    page.get_by_label("Accepted in part").check()
    page.get_by_label("Amount agreed").fill("150")
    page.get_by_label("How", exact=True).select_option("by email")
    page.get_by_role("button", name="Save the answer").click()
    expect(page.locator(".answers-given")).to_contain_text("Accepted in part: 150.00 of 200.00 EUR asked")


@SIZES
def test_open_answer_form_is_not_offered_again(open_page, size):
    InspectionPoint.objects.update(in_use=False)
    job = build.job(stage="teardown", estimate=200, agreed_limit=250, revised_estimate=380)
    page = open_page(size, who="counter")
    page.goto(reverse("card", args=[job.number]))
    again = page.locator(".card-bar, .rail-next").get_by_role("link", name="Write the customer's answer")
    expect(again.locator("visible=true").first).to_be_visible()
    page.locator("#sec-answer").get_by_role("link", name="Write the customer's answer").click()
    expect(page.get_by_label("Declined")).to_be_visible()
    expect(again.locator("visible=true")).to_have_count(0)
    page.get_by_role("link", name="Leave it").click()
    expect(again.locator("visible=true").first).to_be_visible()


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
def test_main_act_stays_once_an_answer_was_given(open_page, size):
    InspectionPoint.objects.update(in_use=False)
    job = build.job(stage="teardown", estimate=200, agreed_limit=250, revised_estimate=380)
    build.answer(job, "none", amount=None)
    page = open_page(size, who="counter")
    page.goto(reverse("card", args=[job.number]))
    section, around = page.locator("#sec-answer"), page.locator(".card-bar, .rail-next")
    expect(
        section.locator("summary", has_text="Take back")
    ).to_be_visible()  # a form, folded, of another kind
    act = around.get_by_role("link", name="Write the customer's answer").locator("visible=true")
    expect(act.first).to_be_visible()
    why = around.get_by_role("link", name="Waiting for the customer's answer").locator("visible=true")
    expect(why.first).to_be_visible()
    section.get_by_role("link", name="Revise the estimate").click()
    expect(section.locator("[name=revised_estimate]")).to_be_visible()
    expect(act.first).to_be_visible()
    section.get_by_role("link", name="Leave it").click()
    act.first.click()
    expect(page.get_by_label("Declined")).to_be_visible()
    expect(act).to_have_count(0)
    expect(why.first).to_be_visible()
    assert_good(page)


@SIZES
def test_warning_in_a_list_is_one_box(open_page, size):
    seed_points()
    job = build.job(stage="teardown", build=build.build(travel_stamped_deg=13))
    point = InspectionPoint.objects.get(key="travel")
    job.inspections.create(point=point, value=24, verdict="worn", by=build.person())
    page = open_page(size, who="technician")
    page.goto(reverse("card", args=[job.number]))
    for kind, words in {
        "travel": "11 more than the 13 stamped",
        "travel-offer": "the advance head says",
    }.items():
        warning = page.locator(f"#sec-inspection .warning[data-kind={kind}]")
        expect(warning).to_contain_text(words)
        assert warning.evaluate("box => box.getClientRects().length") == 1  # inline, each line has its own
    assert_good(page)
    page.goto(reverse("answer_points", args=[job.number]))
    page.locator(".point", has_text="Travel against").locator("summary").click()
    expect(page.get_by_role("link", name="To the advance head")).to_be_visible()
    assert_good(page)
