"""Curve work in a real browser: keys in the grid, a paste, the chart that follows, and no script at all."""

import uuid

import pytest
from playwright.sync_api import expect

from curves.models import Run
from curves.rows.actions import put
from tests import build
from tests.browser.looks import assert_fits, assert_holds, assert_no_barrier

PLOT = "[data-chart] .curve-plot .main-svg"
TRIAL = [(300, 0), (600, 3.5), (1000, 8.5), (1500, 11), (1800, 11), (1500, 11.5, True), (600, 4.5, True)]


@pytest.fixture
def job(db):
    row = build.job(stage="spring_trials")
    build.target(row.build, initial_low_crank_deg=6, initial_high_crank_deg=10)
    build.run(row.build, [(250, 0.5), (600, 7.5), (1250, 12.5)], kind=Run.Kind.AS_RECEIVED)
    build.run(row.build, TRIAL, primary=build.spring("P 12"), secondary=build.spring("S 31", quantity=1))
    return row


def cells(page):
    return page.locator("[data-grid] tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.querySelectorAll('[data-cell]')]"
        ".map(cell => cell.type === 'checkbox' ? cell.checked : cell.value))"
    )


def readings(job):
    run = job.build.runs.latest("number")
    return [(r.speed_rpm, r.advance_deg, r.falling) for r in run.readings.all()]


def test_screens_hold_everywhere(page, job):
    pages = {
        f"/jobs/{job.number}/runs/2/": PLOT,
        f"/jobs/{job.number}/target/": "#target-form [data-grid]",
        f"/jobs/{job.number}/head/": "main form",
        "/springs/": "table",
        "/springs/new/": "main form",
    }
    for address, landmark in pages.items():
        page.goto(address)
        page.wait_for_selector(landmark)
        assert_holds(page)


def test_readings_are_typed_by_keys_alone(page, job):
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    page.get_by_label("distributor rpm and degrees").check()
    page.get_by_label("Speed, row 1").focus()
    page.keyboard.type("400")
    page.keyboard.press("Enter")
    page.keyboard.type("1,5")
    page.keyboard.press("Enter")
    page.keyboard.type("900")
    page.keyboard.press("Tab")
    page.keyboard.type("7")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")  # from here on the speed falls
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    page.keyboard.type("500")
    page.keyboard.press("Enter")
    page.keyboard.type("3")
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Advance, row 2"
    assert cells(page) == [
        ["400", "1,5", False],
        ["900", "7", True],
        ["500", "3", True],
        ["", "", True],
    ]
    page.get_by_role("button", name="Save the run").click()
    page.wait_for_url("**/?open=spring_trials#stage-spring_trials")
    assert readings(job) == [(400, 1.5, False), (900, 7, True), (500, 3, True)]


PASTE = """text => {
  const data = new DataTransfer();
  data.setData("text/plain", text);
  const paste = new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true });
  document.activeElement.dispatchEvent(paste);
}"""


def test_cells_from_a_spreadsheet_go_straight_in(page, job):
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    page.get_by_label("distributor rpm and degrees").check()
    page.get_by_label("Speed, row 1").focus()
    page.evaluate(PASTE, "rpm\tdeg\tdirection\r\n400\t1,5\t\r\n900\t7\t\r\n500\t3\tfalling\r\n")
    assert cells(page)[:3] == [["400", "1,5", False], ["900", "7", False], ["500", "3", True]]
    expect(page.locator("#run-chart")).to_contain_text("being typed")
    page.get_by_role("button", name="Save the run").click()
    page.wait_for_url("**/?open=spring_trials#stage-spring_trials")
    assert readings(job) == [(400, 1.5, False), (900, 7, False), (500, 3, True)]


def test_a_bad_cell_is_marked_and_nothing_typed_is_lost(page, job, watch):
    watch.forgive("422")
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    page.get_by_label("crank rpm and degrees").check()
    page.get_by_label("Speed, row 1").fill("812.375")
    page.get_by_label("Advance, row 1").fill("5")
    page.get_by_role("button", name="Save the run").click()
    page.get_by_text("can be 812375 or 812.3750").first.wait_for()
    assert cells(page)[0] == ["812.375", "5", False]
    assert_no_barrier(page)
    page.get_by_label("Speed, row 1").fill("1200")
    page.get_by_role("button", name="Save the run").click()
    page.wait_for_url("**/?open=spring_trials#stage-spring_trials")
    assert readings(job) == [(1200, 5, False)]


def test_what_is_typed_is_there_after_a_reload(page, job):
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    page.get_by_label("Speed, row 1").press_sequentially("700")
    page.get_by_label("Advance, row 1").press_sequentially("4")
    page.reload()
    assert cells(page) == [["700", "4", False], ["", "", False]]


def test_a_kept_draft_does_not_overwrite_what_the_bench_added_meanwhile(page, job, watch):
    """Left by another link, the bench goes on, and the draft comes back: both stand there to choose from."""
    watch.forgive("409")
    page.on("dialog", lambda dialog: dialog.accept())
    run = job.build.runs.latest("number")
    address = f"/jobs/{job.number}/runs/{run.number}/"
    page.goto(address)
    page.get_by_label("Advance, row 1").fill("0.5")
    page.goto("/")
    added = {"speed_rpm": 2200, "advance_deg": 11.5, "falling": False}
    put(run, "reading", uuid.uuid4(), added, by=job.opened_by)
    page.goto(address)
    assert cells(page)[0] == ["300", "0.5", False]
    page.get_by_role("button", name="Save the run").click()
    expect(page.locator("div.stands")).to_contain_text("11.5 at 2200")
    expect(page.locator("p.stands")).to_have_count(0)
    assert cells(page)[0] == ["300", "0.5", False]
    assert readings(job)[-1] == (2200, 11.5, False)
    page.get_by_role("button", name="Save the run").click()  # knowingly, now that both were seen
    page.wait_for_url("**/?open=spring_trials#stage-spring_trials")
    assert readings(job)[0] == (300, 0.5, False)


def test_zoom_is_kept_while_the_curve_follows_the_typing(page, job):
    page.goto(f"/jobs/{job.number}/runs/2/")
    page.wait_for_selector(PLOT)
    ranges = "document.querySelector('.curve-plot').layout.xaxis.range.map(Math.round)"
    box = page.locator(".curve-plot .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + box["height"] * 0.8, steps=6)
    page.mouse.up()
    page.locator(".curve-plot[data-zoomed]").wait_for()
    zoomed = page.evaluate(ranges)
    shaft = page.evaluate("document.querySelector('.curve-plot').layout.xaxis2.range.map(Math.round)")
    assert shaft == pytest.approx([zoomed[0] / 2, zoomed[1] / 2], abs=1)
    page.get_by_label("Advance, row 2").fill("9")
    expect(page.locator("#run-chart details")).to_contain_text("18.0")
    page.locator(".curve-plot[data-zoomed]").wait_for()
    assert page.evaluate(ranges) == zoomed


def test_without_scripts_the_drawing_the_table_and_the_form_are_there(open_page, job):
    page = open_page("phone", javascript=False)
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    assert page.locator("svg.figure").is_visible()
    assert not page.locator("[data-grid]").is_visible()
    page.get_by_label("distributor rpm and degrees").check()
    page.get_by_label("One reading a line").fill("400;1,5\n900;7\n")
    page.get_by_role("button", name="Save the run").click()
    assert page.get_by_text("Trial run 3 is saved: 2 readings.").is_visible()
    assert readings(job) == [(400, 1.5, False), (900, 7, False)]


@pytest.mark.parametrize("size", ["phone", "tablet"])
def test_pasted_lines_are_drawn_before_anything_is_saved(open_page, db, size):
    job = build.job(stage="spring_trials")
    build.target(job.build)
    page = open_page(size)
    page.goto(f"/jobs/{job.number}/runs/new/?kind=trial")
    page.get_by_label("distributor rpm and degrees").check()
    page.get_by_text("Paste or upload").click()
    page.get_by_label("One reading a line").fill("500\t0\n800\t3\n1000\t5\n1200\t1\n1500\t9\n1700\t20")
    chart = page.locator("#run-chart")
    expect(chart).to_contain_text("look again")
    expect(chart).to_contain_text("Out of the band by")
    page.get_by_role("button", name="Read it into the grid").click()
    expect(page.get_by_text("Read into the grid, not saved yet.").first).to_be_visible()
    expect(chart).to_contain_text("look again")
    expect(chart.locator("[data-chart]")).to_contain_text("being typed")
    assert_fits(page)
    assert not job.build.runs.exists()
