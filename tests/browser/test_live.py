"""What a write changed elsewhere on the page follows at once, and nothing typed is lost: phone and tablet."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests import build

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.parametrize("size", ["phone", "tablet"])]


def card(page, job, unfolded=""):
    page.goto(reverse("card", args=[job.number]) + unfolded)


def tick(page, section, step):
    page.locator(f"#sec-{section} li", has_text=step).locator("[hx-post$='/do/'] button").click()


def test_counts_follow_each_tick_and_each_answer(open_page, size):
    job = build.job(stage="bench_curve")
    for text in ("Degrease", "Brush", "Dry"):
        job.steps.create(list="cleaning", text=text)
        job.steps.create(list="assembly", text=text)
    page = open_page(size, who="technician")
    card(page, job, "?open=cleaning&open=teardown")
    expect(page.locator("#line-cleaning")).to_contain_text("3 not done")
    expect(page.locator("#rail-missing")).to_contain_text("3 assembly steps to do")
    # As fast as a finger can: the last answer is the newest.
    for name in ("Degrease", "Brush", "Dry"):
        tick(page, "cleaning", name)
        tick(page, "assembly", name)
    expect(page.locator("#line-cleaning")).to_have_text("3 steps done.")
    expect(page.locator("#rail-missing")).not_to_contain_text("assembly")
    shown = page.locator("#rail").inner_text()
    page.reload()
    assert page.locator("#rail").inner_text() == shown


def test_what_is_typed_elsewhere_stays_while_the_counts_around_it_follow(open_page, size):
    job = build.job(stage="bench_curve")
    job.steps.create(list="assembly", text="Felt oiled")
    page = open_page(size, who="technician")
    card(page, job)
    page.locator("#rail summary", has_text="without it").click()
    page.locator("#why-on").fill("the customer waits")
    tick(page, "assembly", "Felt oiled")
    expect(page.locator("#rail-missing")).not_to_contain_text("assembly")
    expect(page.locator("#why-on")).to_have_value("the customer waits")


def test_what_is_typed_of_other_steps_stays_when_one_is_ticked(open_page, size):
    job = build.job(stage="cleaning")
    for text in ("Degrease", "Brush", "Dry"):
        job.steps.create(list="cleaning", text=text)
    page = open_page(size, who="technician")
    card(page, job)
    brush = page.locator("#sec-cleaning li", has_text="Brush")
    brush.locator("summary").click()
    brush.locator("input[name=why]").fill("the brush is lost")
    page.locator("#sec-cleaning summary", has_text="Add a step").click()
    new = page.locator("#sec-cleaning [name=text]")
    new.fill("Soak over night")
    tick(page, "cleaning", "Degrease")
    expect(page.locator("#sec-cleaning li", has_text="Degrease")).to_contain_text("Robin Technician")
    for typed, text in ((brush.locator("input[name=why]"), "the brush is lost"), (new, "Soak over night")):
        expect(typed).to_be_visible()
        expect(typed).to_have_value(text)
    page.get_by_role("button", name="Add the step").click()
    expect(page.locator("#sec-cleaning li", has_text="Soak over night")).to_be_visible()
    expect(new).to_have_value("")
    expect(brush.locator("input[name=why]")).to_have_value("the brush is lost")
    brush.get_by_role("button", name="Put it aside").click()
    expect(brush).to_contain_text("put aside: the brush is lost")
    page.reload()
    expect(new).to_have_value("")
    assert list(job.steps.filter(text__startswith="Soak").values_list("list", flat=True)) == ["cleaning"]


def test_an_engine_written_anew_changes_what_the_unit_says_beside_it(open_page, size):
    job = build.job(stage="intake")
    page = open_page(size)
    card(page, job)
    page.locator("#sec-engine >> text=Edit").click()
    page.locator("#sec-engine [name=engine-cylinders]").fill("6")
    page.get_by_role("button", name="Save the engine").click()
    expect(page.locator("#sec-unit")).to_contain_text("the engine has 6")
    assert page.locator("#sec-engine form").count() == 0
