"""Papers in a real browser: signed on the card, built while one looks on, and asked about by a stranger."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs import building, signing
from jobs.models import Sheet
from tests import build
from tests.browser.looks import FINGER_PX, assert_holds
from tests.jobs.paperwork import draft, finished_job, signed_sheet

PATIENCE_MS = (
    20_000  # for a busy machine: the page comes anew, fetches its papers, and asks every other second
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def job():
    return finished_job()


def papers(job):
    return reverse("sheets", args=[job.number])


def all_states(job):
    """A card with a superseded, a current and a void sheet, and a draft in each state."""
    signed_sheet(job)
    job.findings.create(text="A loose clamp.", stage="teardown", by=build.person())
    signed_sheet(job)
    signing.make_void(signed_sheet(job, Sheet.Kind.JOB_SHEET), by=build.person(), reason="wrong unit")
    failed = draft(job, Sheet.Kind.JOB_SHEET, built=False)
    Sheet.objects.filter(pk=failed.pk).update(state="failed", tries=3, error="No space left on device")
    draft(job, Sheet.Kind.TRAY_TAG, built=False)
    draft(job, Sheet.Kind.CURVE_SHEET)


def test_signing_on_the_card_and_watching_the_sheet_get_done(page, job):
    page.goto(f"/jobs/{job.number}/")
    page.get_by_label("Your password, again").fill(build.PASSWORD)
    with page.expect_response(re.compile("/sign/")):
        page.get_by_role("button", name="Sign the sheet").click()
    expect(page.locator("#paper-list .state[data-state=waiting]")).to_be_visible(timeout=PATIENCE_MS)
    password = page.get_by_label("Your password, again")
    password.fill("half ty")
    assert building.build(job.sheets.get().pk)
    expect(page.get_by_role("link", name=re.compile("Open the PDF"))).to_be_visible(timeout=PATIENCE_MS)
    expect(password).to_have_value("half ty")
    expect(page.locator("#paper-list")).to_have_attribute("hx-trigger", "written from:body")


def test_wrong_password_keeps_the_rest_and_says_so(page, watch, job):
    watch.forgive("422")
    page.goto(f"/jobs/{job.number}/")
    page.get_by_label("Your password, again").fill("not it")
    with page.expect_response(re.compile("/sign/")) as answer:
        page.get_by_role("button", name="Sign the sheet").click()
    assert answer.value.status == 422
    expect(page.locator("#sec-paper .wrong")).to_contain_text("Not your password")
    assert not job.sheets.exists()


def test_whole_way_without_javascript(open_page, job):
    page = open_page("phone", javascript=False)
    page.goto(f"/jobs/{job.number}/")
    page.get_by_role("link", name="All papers").click()
    page.get_by_label("Your password, again").fill(build.PASSWORD)
    page.get_by_role("button", name="Sign the sheet").click()
    expect(page.locator(".state[data-state=waiting]")).to_be_visible()
    assert building.build(job.sheets.get().pk)
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_role("link", name=re.compile("Open the PDF"))).to_be_visible()


def test_papers_hold_on_every_screen(page, job):
    all_states(job)
    page.goto(papers(job))
    assert_holds(page, {"#sec-paper": FINGER_PX})


@pytest.mark.parametrize("standing", ["current", "superseded", "void", "draft", "altered"])
def test_strangers_page_holds_in_every_standing(open_page, job, standing):
    sheet = draft(job) if standing == "draft" else signed_sheet(job)
    if standing == "superseded":
        job.findings.create(text="A loose clamp.", stage="teardown", by=build.person())
        signed_sheet(job)
    elif standing == "void":
        signing.make_void(sheet, by=build.person(), reason="wrong unit")
    elif standing == "altered":
        with open(sheet.pdf.path, "ab") as file:
            file.write(b" ")
    page = open_page(who=None)
    page.goto(reverse("check", args=[sheet.token]))
    expect(page.locator(f"[data-standing={standing}]")).to_be_visible()
    assert_holds(page)


def test_stranger_compares_a_file(open_page, job):
    sheet = signed_sheet(job)
    page = open_page("phone", who=None)
    page.goto(reverse("check", args=[sheet.token]))
    page.get_by_label("A PDF that claims to be this sheet").set_input_files(sheet.pdf.path)
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("[data-file=match]")).to_be_visible()


def open_a_card(page):
    page.goto("/jobs/new/")
    page.get_by_label("Shop stock").check()
    page.locator("#id_unit-maker").fill("Ember & Stroud")
    page.get_by_label("Tray").fill("7")
    page.get_by_role("button", name="Open the card").click()


@pytest.mark.parametrize("size", ["phone", "tablet"])
def test_tray_tag_is_one_tap_from_the_card_that_was_just_opened(open_page, watch, size):
    for part in ("chrome://", "chrome-extension://", "/favicon.ico"):  # of the browser's viewer of PDFs
        watch.forgive(part)
    page = open_page(size, who="counter")
    open_a_card(page)
    tag = Sheet.objects.get(kind=Sheet.Kind.TRAY_TAG)  # there before anybody asked
    button = page.get_by_role("button", name="Print the tray tag")
    expect(button).to_be_in_viewport()
    box = button.bounding_box()
    assert min(box["width"], box["height"]) >= FINGER_PX
    with page.expect_popup() as opened:
        button.click()
    waits = opened.value
    expect(waits.locator(".state[data-state=waiting]")).to_be_visible()
    with waits.expect_response(re.compile(f"/sheets/{tag.pk}.pdf$"), timeout=PATIENCE_MS) as answer:
        assert building.build(tag.pk)
    assert answer.value.status == 200
    assert answer.value.headers["content-type"] == "application/pdf"
    expect(page.get_by_role("button", name="Print the tray tag")).to_be_visible()  # the card stands as it was
    page.goto("/search/?words=tray+07")
    expect(page.locator(".hit")).to_have_count(1)
    expect(page.locator(".hit")).to_contain_text("tray 7")
    assert_holds(page)
