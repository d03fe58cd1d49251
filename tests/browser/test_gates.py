"""The gates of a card in a real browser, on a phone and a tablet: abrasive, and what a final run came to."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from curves.models import DwellReading
from jobs.models import Step
from jobs.rules.points import new_steps
from tests import build
from tests.browser.benchwork import all_saved
from tests.browser.looks import assert_holds

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = [(390, 844), (820, 1180)]


@pytest.mark.parametrize("size", SIZES, ids=["390", "820"])
def test_a_ticked_blasting_wants_its_sign_off(open_page, watch, size):
    watch.forgive("422")  # a step put aside without a reason
    job = build.job(stage="cleaning", worked=True)
    job.steps.all().delete()
    Step.objects.bulk_create(new_steps(job))
    page = open_page(size, who="technician")
    page.goto(reverse("card", args=[job.number]))
    rail, cleaning = page.locator("#rail"), page.locator("#sec-cleaning")
    expect(rail).to_contain_text("4 cleaning steps to do")
    cleaning.locator("li", has_text="Blast or bead").get_by_role("button", name="Done").click()
    expect(rail).to_contain_text("3 cleaning steps to do, abrasive-free sign-off")
    expect(cleaning.get_by_role("button", name="It was not blasted")).to_have_count(0)
    cleaning.get_by_role("button", name="Sign: every bore looked at").click()
    expect(cleaning.locator(".stamp")).to_contain_text("Free of abrasive")
    cleaning.locator("li", has_text="Blast or bead").get_by_role("button", name="Not done").click()
    expect(cleaning).to_contain_text("Not blasted.")
    cleaning.locator("li", has_text="Blast or bead").get_by_role("button", name="Done").click()
    expect(cleaning).to_contain_text("Blasted, not signed.")
    for text in ("Degrease", "Brush and rinse"):
        cleaning.locator("li", has_text=text).get_by_role("button", name="Done").click()
        expect(cleaning.locator("li", has_text=text)).to_contain_text("Robin Technician")
    last = cleaning.locator("li", has_text="Blow through")
    last.locator("summary").click()
    last.get_by_role("button", name="Put it aside").click()
    expect(last.locator(".wrong")).to_have_text("Write why the step is put aside.")
    last.get_by_label("Or why it is put aside").fill("dried in the oven")
    last.get_by_role("button", name="Put it aside").click()
    expect(last).to_contain_text("put aside: dried in the oven")
    expect(rail).to_contain_text("Still missing: abrasive-free sign-off.")
    assert_holds(page)
    cleaning.get_by_role("button", name="Sign: every bore looked at").click()
    expect(rail).to_contain_text("ready for spring trials")


@pytest.mark.parametrize("size", SIZES, ids=["390", "820"])
def test_a_step_is_put_aside_without_scripts(open_page, size):
    job = build.job(stage="cleaning")
    Step.objects.bulk_create(new_steps(job))
    page = open_page(size, who="technician", javascript=False)
    page.goto(reverse("card", args=[job.number]))
    line = page.locator("#sec-cleaning li", has_text="Blast or bead")
    line.locator("summary").click()
    line.get_by_role("button", name="Not needed").click()
    expect(page.locator("#sec-cleaning li", has_text="Blast or bead")).to_contain_text(
        "put aside: Not needed"
    )
    expect(page.locator("#rail")).to_contain_text("3 cleaning steps to do")


@pytest.mark.parametrize("size", SIZES, ids=["390", "820"])
def test_headline_follows_what_is_read_and_taken_back(open_page, size):
    job = build.job(stage="bench_curve", worked=True)
    build.target(job.build)
    run = build.run(job.build, build.SWEPT, kind="final")
    for number, offset in enumerate((0, 3.0, -3.0, 0), start=1):
        run.sparks.create(speed_rpm=300, cylinder=number, offset_deg=offset)
    page = open_page(size, who="technician")
    page.goto(f"{reverse('bench', args=[job.number])}?run=1")
    headline = page.locator("#bench-headline")
    expect(headline).to_have_text("Final run 1: sweeps in the band, scatter fails")
    page.get_by_role("button", name="Dwell", exact=True).click()
    for key in ("9", "5", "Enter"):
        page.locator(f"[data-key='{key}']").click()
    expect(page.locator("#bench-wrong")).to_contain_text("not possible: write 0 to 90")
    for key in ("2", "0", "Enter"):
        page.locator(f"[data-key='{key}']").click()
    expect(page.locator("#bench-unusual")).to_contain_text("20 distributor deg is unusual")
    expect(page.locator("#bench-unusual")).to_be_in_viewport()
    assert_holds(page)
    for key in ("5", "0", "Enter"):
        page.locator(f"[data-key='{key}']").click()
    expect(page.locator("#bench-unusual")).to_be_hidden()
    all_saved(page)
    expect(headline).to_have_text("Final run 1: sweeps in the band, scatter and dwell fail")
    assert DwellReading.objects.count() == 2
    page.goto(reverse("card", args=[job.number]))
    expect(page.locator(".card-curve")).to_contain_text(
        "Final run 1: sweeps in the band, scatter and dwell fail"
    )
    expect(page.locator("#rail")).to_contain_text("spark scatter within its limit, dwell within its limit")
    assert_holds(page)
    run.sparks.all().delete()
    run.dwells.all().delete()
    page.reload()
    expect(page.locator(".card-curve")).to_contain_text("Final run 1 proved: sweeps in the band")
    expect(page.locator("#rail")).to_contain_text("ready for hand-back")
