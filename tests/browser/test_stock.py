"""The last spring of a kind, on phone and tablet: hung in one unit, refused in another, fitted, and back."""

import pytest
from playwright.sync_api import expect

from curves.models import Spring
from tests import build
from tests.browser.looks import assert_holds

pytestmark = pytest.mark.django_db


@pytest.fixture(params=["phone", "tablet"])  # 390 and 820 px
def page(request, open_page):
    return open_page(request.param, who="technician")


@pytest.fixture
def only(db):
    return build.spring("P 7", position="primary", quantity=1)


def begin(page, job, kind="trial"):
    """Begin a run at the bench with the only spring, by touch."""
    page.goto(f"/jobs/{job.number}/bench/?new=1&kind={kind}")
    page.get_by_label("Primary spring").select_option(value=str(Spring.objects.get().pk))
    page.get_by_role("button", name="Begin the run").tap()


def holds(page):
    """As ``assert_holds``, and then at the size from before."""
    size = page.viewport_size
    assert_holds(page)
    page.set_viewport_size(size)


def left():
    return Spring.objects.get().quantity


def test_the_last_one_hangs_in_one_unit_and_is_fitted_once(page, only, watch):
    watch.forgive("422")
    first, second = (build.job(stage="bench_curve") for _ in range(2))
    begin(page, first)
    expect(page.locator("[data-bench-cells] table")).to_be_visible()
    begin(page, second)
    wrong = page.locator(".wrong")
    expect(wrong).to_contain_text(f"none is left; the only one hangs in job {first.number}")
    expect(page.get_by_label("Primary spring")).to_have_value(str(only.pk))
    holds(page)
    page.goto("/springs/")
    expect(page.locator(".drawer")).to_contain_text(f"out at job {first.number}")
    holds(page)
    begin(page, first, "final")
    expect(page.locator("[data-bench-cells] table")).to_be_visible()
    page.goto(f"/jobs/{first.number}/?open=hand_back&open=teardown")
    line = page.locator("#sec-parts .parts > li")
    expect(line).to_have_count(1)
    expect(line).to_contain_text("Spring P 7, primary")
    expect(line).to_contain_text("from the drawer")
    holds(page)
    assert left() == 0
    for number in (2, 1):
        page.goto(f"/jobs/{first.number}/?open=spring_trials&open=bench_curve")
        run = page.locator("li", has=page.get_by_role("button", name="Take off")).filter(
            has_text=f"run {number}"
        )
        run.get_by_role("button", name="Take off").tap()
        expect(page.get_by_text("is off the card.")).to_be_visible()
    page.goto(f"/jobs/{first.number}/?open=hand_back&open=teardown")
    expect(page.locator("#sec-parts")).to_contain_text("No part and no hour written")
    assert left() == 1
    begin(page, second)
    expect(page.locator("[data-bench-cells] table")).to_be_visible()
    assert left() == 0


def test_a_count_is_a_move_and_is_read_off_the_page(page, only):
    page.goto(f"/springs/{only.pk}/")
    stock = page.locator("#sec-stock")
    stock.get_by_text("Count, receive or scrap").tap()
    stock.get_by_label("Counted: so many lie there").check()
    stock.get_by_label("How many").fill("6")
    stock.get_by_role("button", name="Write it down").tap()
    expect(page.get_by_text("the drawer holds 6 of P 7 now")).to_be_visible()
    expect(stock).to_contain_text("6 in the drawer")
    stock.get_by_text("What came and went").tap()
    expect(stock.locator(".moves > li").first).to_contain_text("+5")
    holds(page)
    assert left() == 6


def test_a_doubted_fit_waits_for_a_second_word(page, watch):
    watch.forgive("422")
    spring = build.spring("P 8", rate_n_per_mm=1.5, source="label")
    page.goto(f"/springs/{spring.pk}/")
    page.get_by_label("The tester reads in").select_option("kgf")
    page.locator("#load-form summary", has_text="As lines").tap()
    lines = page.get_by_label("One pair a line: length, load")
    lines.fill("16 0\n18 3\n20 6\n22 9")
    page.get_by_role("button", name="Save and use the fit").tap()
    doubt = page.locator("[data-kind='doubted-fit']")
    expect(doubt).to_contain_text("In newtons (N) it would fit")
    holds(page)
    assert Spring.objects.get().rate_n_per_mm == 1.5
    page.get_by_label("The tester reads in").select_option("N")
    page.get_by_role("button", name="Save and use the fit").tap()
    expect(page.locator("#sec-figures")).to_contain_text("Weighed here")
    assert Spring.objects.get().rate_n_per_mm == pytest.approx(1.5)
