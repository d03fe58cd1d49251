"""A run at the bench in a browser: opening it, typing into it by keys or by finger, and what was saved."""

import re

from playwright.sync_api import expect

from curves.models import Reading, Run
from shop.models import Shop
from tests import build

PLOT = "#run-chart .curve-plot .main-svg"


def bench_job(*, kind=Run.Kind.TRIAL, speeds=None, stage="spring_trials"):
    """A card with a band and an empty run; ``speeds`` are the shop's presets."""
    if speeds:
        Shop.current()
        Shop.objects.update(bench_speeds=", ".join(map(str, speeds)))
    job = build.job(stage=stage)
    build.target(job.build)
    build.run(job.build, [], kind=kind)
    return job


def open_bench(page, job, *, drawn=False):
    page.goto(f"/jobs/{job.number}/bench/")
    expect(page.locator("[data-bench-cells] table")).to_be_visible()
    if drawn:
        page.wait_for_selector(PLOT)


def type_in(page, *values):
    """Each value and Enter, on the keys of a keyboard."""
    for value in values:
        for key in value:
            page.keyboard.press(key)
        page.keyboard.press("Enter")


def tap_in(page, *values):
    """Each value and Keep, on the screen's own pad; says how many taps it took."""
    taps = 0
    for value in values:
        for key in [*value, "Enter"]:
            page.locator(f"[data-key='{key}']").tap()
            taps += 1
    return taps


def all_saved(page):
    expect(page.locator("[data-bench-sending]")).to_have_text("All saved.", timeout=30_000)


def cell(page, row, column="Rising"):
    return page.get_by_role("button", name=re.compile(rf"^{row} {column}:"))


def all_sent(page):
    """Wait until nothing waits on this tablet, whatever page it shows."""
    for _ in range(100):
        if not page.evaluate("Object.keys(localStorage).some((key) => key.startsWith('bobweight:bench:'))"):
            return
        page.wait_for_timeout(100)
    raise AssertionError("readings still wait on this tablet")


def saved(job, run=1):
    rows = Reading.objects.filter(run__build=job.build, run__number=run)
    return [(row.speed_rpm, row.advance_deg, row.falling) for row in rows]
