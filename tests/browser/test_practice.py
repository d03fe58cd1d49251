"""A day at the practice bench: from an invented unit to a signed sheet, by touch and by keys."""

import re

import pytest
from playwright.sync_api import expect

from curves.judging import outcome
from curves.models import Run
from curves.rows import queries
from jobs.models import Job, Sheet
from jobs.practice import actions
from tests import build
from tests.browser.looks import FINGER_PX, SIZES, assert_holds, tab_to

pytestmark = pytest.mark.django_db(transaction=True)

SEED = 5  # any would do; a fixed one keeps the test the same
MAX_RUNS = 4
PATIENCE_MS = 20_000  # for a busy machine


class Touch:
    """Fingers on a tablet: taps, and no key at all."""

    def press(self, target):
        target.tap()

    def read(self, page):
        page.get_by_role("button", name="Read the needle").tap()
        expect(page.locator("#bench-value")).not_to_have_value("")
        page.get_by_role("button", name="Keep").tap()


class Keys:
    """The keyboard alone: Tab to where it goes, and Enter."""

    def press(self, target):
        page = target.page
        tab_to(page, target)
        page.keyboard.press("Enter")

    def read(self, page):
        value = page.locator("#bench-value")
        if not value.evaluate("(e) => e === document.activeElement"):
            tab_to(page, value)
        page.keyboard.press("n")
        expect(value).not_to_have_value("")
        page.keyboard.press("Enter")


class Day:
    """Someone's way through one practice unit, by whatever ``hand`` works."""

    def __init__(self, page, hand):
        self.page, self.hand = page, hand

    def press(self, role, name):
        self.hand.press(self.page.get_by_role(role, name=name).first)

    def go_to(self, step):
        """Back to the practice page by the mark on top, and on with a step of it."""
        self.press("link", "Its tools and the way through")
        self.page.wait_for_url(re.compile(r"/practice/"))
        self.press("link", re.compile(step))

    def read_run(self, *, falling=False):
        """Read a run at every preset speed, rising, and falling if asked, until all of it is saved."""
        screen = self.page.locator("[data-bench]")
        self.page.get_by_role("button", name="Read the needle").wait_for()
        for _ in range(2 * 40):
            if self.is_read(falling):
                break
            before = (screen.get_attribute("data-speed"), screen.get_attribute("data-falling"))
            self.hand.read(self.page)
            assert (screen.get_attribute("data-speed"), screen.get_attribute("data-falling")) != before or (
                self.is_read(falling)
            )
        assert self.is_read(falling)
        expect(self.page.locator("[data-bench-sending]")).to_contain_text("All saved", timeout=PATIENCE_MS)

    def is_read(self, falling):
        if falling:
            return self.page.locator("[data-bench-done]").is_visible()
        return self.page.locator("[data-bench]").get_attribute("data-falling") == "true"


def whole_day(page, hand, live_server):
    """Log in, and take an invented unit from the first measurement to the signed sheet."""
    build.person("technician")
    page.goto("/login/?next=/practice/")
    page.locator("[name=username]").fill("technician")
    page.locator("[name=password]").fill(build.PASSWORD)
    day = Day(page, hand)
    day.press("button", "Log in")
    page.wait_for_url(f"{live_server.url}/practice/")

    day.press("button", "Invent a unit")
    page.wait_for_url(re.compile(r"/jobs/\d+/practice/"))
    job = Job.objects.practice().get()
    day.press("button", "Measure the head")
    expect(page.get_by_role("heading", name="Calipers")).to_be_visible()

    day.go_to("Read the run as received")
    day.read_run()
    for _ in range(MAX_RUNS):
        day.go_to("Find the springs")
        if page.locator("[data-say='In the band']").count():
            break
        day.press("button", re.compile("^Fit this pair"))
        page.wait_for_url(re.compile(r"/bench/\?run="))
        day.read_run()
    day.go_to("Find the springs")
    expect(page.locator("[data-say='In the band']")).to_be_visible()
    assert 1 <= job.build.runs.filter(kind=Run.Kind.TRIAL).count() <= MAX_RUNS

    day.go_to("Read the final run")
    day.press("button", "Begin the run")
    page.wait_for_url(re.compile(r"/bench/\?run="))
    day.read_run(falling=True)
    assert outcome.verdicts(queries.build_for(job.build_id), cylinders=4).is_proved

    assert "What was inside" not in page.content()
    day.go_to("Sign the sheet")
    page.get_by_label("Your password, again").fill(build.PASSWORD)
    day.press("button", "Sign the sheet")
    expect(page.locator("#paper-list")).to_contain_text("revision 1", timeout=PATIENCE_MS)
    day.press("link", "Its tools and the way through")
    expect(page.get_by_role("heading", name="What was inside")).to_be_visible()
    sheet = Sheet.objects.signed().get(job=job)
    assert (sheet.revision, sheet.signed_by.username) == (1, "technician")
    assert sheet.content["practice"] is True


@pytest.fixture(autouse=True)
def one_unit(monkeypatch):
    """The same unit is invented each time."""
    monkeypatch.setattr(actions.secrets, "randbelow", lambda most: SEED)


def test_whole_day_by_touch_on_a_tablet(open_page, live_server):
    whole_day(open_page("tablet", who=None), Touch(), live_server)


def test_whole_day_by_keys_alone(open_page, live_server):
    whole_day(open_page(SIZES["tablet"], who=None), Keys(), live_server)


def test_practice_pages_hold_on_every_screen(page):
    job = actions.open_practice(by=build.person("owner"))
    actions.measure_head(job, by=build.person("owner"))
    ended = actions.open_practice(by=build.person("owner"))
    actions.give_up(ended, by=build.person("owner"))
    for address in (
        "/practice/",
        f"/jobs/{job.number}/practice/",
        f"/jobs/{ended.number}/practice/",
        f"/jobs/{job.number}/",
        f"/jobs/{job.number}/bench/?run=1",
    ):
        page.goto(address)
        expect(page.get_by_role("complementary", name="Practice")).to_contain_text(
            re.compile("practice", re.I)
        )
        assert_holds(page, {"body": FINGER_PX})


def test_the_needle_shows_the_sweep_only_and_moves_no_one_off_another_column(page):
    job = actions.open_practice(by=build.person("owner"))
    page.goto(f"/jobs/{job.number}/bench/?run=1")
    needle = page.get_by_role("button", name="Read the needle")
    for tab in ("Spark scatter", "Dwell", "Vacuum"):
        page.get_by_role("button", name=tab, exact=True).click()
        needle.click()
        expect(page.locator("[data-practice-wrong]")).to_contain_text("only shows the sweep")
        expect(page.get_by_role("button", name=tab, exact=True)).to_have_attribute("aria-pressed", "true")
        expect(page.locator("#bench-value")).to_have_value("")


def test_works_without_javascript_up_to_the_bench(open_page):
    page = open_page("phone", who="technician", javascript=False)
    page.goto("/practice/")
    page.get_by_role("button", name="Invent a unit").click()
    page.get_by_role("button", name="Measure the head").click()
    page.get_by_label("Travel to set").fill("9")
    page.get_by_role("button", name="Set the stop").click()
    page.locator("#springs summary").click()
    page.get_by_role("button", name=re.compile("^Weigh")).first.click()
    expect(page.locator(".note").first).to_contain_text("is weighed")
    page.get_by_role("button", name="Give up and look inside").click()
    expect(page.get_by_role("heading", name="What was inside")).to_be_visible()
