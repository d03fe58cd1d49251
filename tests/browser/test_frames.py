"""One frame within one run, in a browser: a run typed in crank degrees by finger, on phone and tablet."""

import pytest
from playwright.sync_api import expect

from curves.models import DwellReading, Frame, Run, SparkReading, VacuumReading
from tests import build
from tests.browser.benchwork import all_saved, bench_job, open_bench, tap_in
from tests.browser.looks import assert_fits

pytestmark = pytest.mark.parametrize("size", ["phone", "tablet"])


@pytest.fixture
def job(db):
    row = bench_job(kind=Run.Kind.FINAL, stage="bench_curve", speeds=[300, 1000])
    Run.objects.update(frame=Frame.CRANK)
    return row


def texts(page):
    return page.locator("[data-bench-unit], .bench-where, [data-bench-cells] thead").all_inner_texts()


def test_a_run_in_crank_degrees_is_asked_for_shown_and_proved_in_them(open_page, job, size):
    page = open_page(size)
    open_bench(page, job, drawn=True)
    tap_in(page, "0", "30")  # 600 and 2000 crank rpm; the band goes to 15 + 1.5 at 2000
    verdict = page.locator("[data-bench-verdict]")
    expect(verdict).to_have_text("2000 crank rpm, 30.0 crank deg: 13.5 crank deg over the band")
    expect(page.locator("#run-chart")).to_contain_text("13.5 crank deg over")
    page.get_by_role("button", name="Spark scatter").tap()
    tap_in(page, "6", "0", "0", "6-")
    assert "distributor" not in " ".join(texts(page))
    assert_fits(page)
    page.get_by_role("button", name="Dwell").tap()
    tap_in(page, "102", "95")
    assert "distributor" not in " ".join(texts(page))
    page.get_by_role("button", name="Vacuum").tap()
    tap_in(page, "0", "7.3")
    all_saved(page)
    assert_fits(page)
    assert SparkReading.objects.values_list("speed_rpm", "offset_deg").first() == (300, 3)
    assert set(DwellReading.objects.values_list("speed_rpm", "dwell_deg")) == {(300, 51), (875, 47.5)}
    assert VacuumReading.objects.get(advance_deg__gt=1).advance_deg == 3.65
    page.get_by_text("Every check so far").tap()
    spark, dwell = (page.locator(f"[data-check='{kind}']") for kind in ("spark", "dwell"))
    # 6 of the crank are 3 of the distributor, where 2 are allowed; dwell moves by 7, where 6 are.
    expect(spark).to_contain_text("6.0 crank degrees (3.00 distributor) at worst")
    expect(spark).to_contain_text("4.0 crank degrees (2.00 distributor) either way")
    expect(spark.locator(".state")).to_have_text("fails")
    expect(dwell).to_contain_text("−7.0 crank degrees (−3.50 distributor) by 1750 crank rpm")
    expect(dwell.locator(".state")).to_have_text("fails")
    assert_fits(page)
    page.reload()
    page.get_by_role("button", name="Vacuum").tap()
    expect(page.locator("[data-bench-cells]")).to_contain_text("7.3")  # to the digit as it was typed


def test_an_impossible_value_is_refused_in_the_runs_frame(open_page, job, size):
    page = open_page(size)
    open_bench(page, job)
    page.get_by_role("button", name="Spark scatter").tap()
    tap_in(page, "100")
    expect(page.locator("#bench-wrong")).to_have_text(
        "Off by of 100 crank deg is not possible: write −90 to 90. That is −45 to 45 distributor degrees."
    )


def test_a_frame_changed_elsewhere_is_said_and_nothing_is_halved(open_page, job, size):
    page = open_page(size)
    open_bench(page, job)
    tap_in(page, "0")
    all_saved(page)
    run = Run.objects.get()
    Run.objects.update(frame=Frame.SHAFT, version=run.version + 1)  # another tablet turned it
    run.readings.update(speed_rpm=300)
    tap_in(page, "14")  # still asked for, and typed, at 2000 crank rpm
    expect(page.locator("[data-bench-sending]")).to_contain_text("no longer read in crank degrees")
    expect(page.locator("[data-bench-sending] a")).to_be_visible()
    page.get_by_role("link", name="Show it as it is read now").tap()
    expect(page.locator("[data-bench-next]")).to_contain_text("distributor rpm")
    assert set(run.readings.values_list("speed_rpm", "advance_deg")) == {(300, 0), (1000, 7)}


def test_a_run_read_in_the_other_frame_is_asked_about(open_page, db, watch, size):
    watch.forgive("422")
    job = build.job(stage="bench_curve")
    run = build.run(job.build, [(300, 0), (1000, 7)], kind=Run.Kind.FINAL)
    page = open_page(size)
    page.goto(f"/jobs/{job.number}/runs/{run.number}/")
    page.get_by_label("crank rpm and degrees").check()
    page.get_by_role("button", name="Save the run").tap()
    asked = page.get_by_role("group", name="The numbers")
    expect(asked).to_contain_text("typed in distributor degrees")
    assert_fits(page)
    asked.get_by_label("turned into the new frame").check()
    page.get_by_role("button", name="Save the run").tap()
    page.wait_for_url(f"**/jobs/{job.number}/?open=*")
    run.refresh_from_db()
    assert run.frame == "crank"
    assert list(run.readings.values_list("speed_rpm", "advance_deg")) == [(600, 0), (2000, 14)]


def test_travel_typed_in_crank_degrees_is_asked_about_as_it_is_typed(open_page, db, size):
    job = build.job(stage="teardown", build=build.build(travel_stamped_deg=11, travel_measured_deg=None))
    page = open_page(size)
    page.goto(f"/jobs/{job.number}/head/")
    said = page.locator("#travel-said")
    page.get_by_label("Travel measured").type("22")
    expect(said).to_contain_text("Did you type crank degrees? 22 at the crank are 11 at the distributor.")
    assert_fits(page)
    page.get_by_label("Travel measured").fill("11.5")
    expect(said).to_have_text("")
