"""Papers in a real browser: signed on the card, built while one looks on, and asked about by a stranger."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import Sheet
from jobs.papers import building, signing
from jobs.record import audit
from tests import build
from tests.browser.looks import FINGER_PX, assert_holds
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet

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


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_reason_being_typed_outlives_what_is_built_written_and_signed_meanwhile(open_page, job, size):
    sheet = signed_sheet(job)
    page = open_page(size)
    page.goto(f"/jobs/{job.number}/")
    draft(job, Sheet.Kind.JOB_SHEET, built=False)
    page.reload()
    waits = page.locator("#paper-list .state[data-state=waiting]")
    expect(waits).to_be_visible(timeout=PATIENCE_MS)
    page.get_by_text("Make void").click()
    reason = page.get_by_label("Why revision 1 is void")
    asked = f"/jobs/{job.number}/sheets/"
    with page.expect_response(lambda answer: answer.url.endswith(asked)):
        pass  # unfolded, and nothing typed yet
    reason.press_sequentially("wrong u")
    with page.expect_response(lambda answer: answer.url.endswith(asked)):
        pass
    page.wait_for_timeout(300)
    expect(reason).to_be_focused()
    reason.press_sequentially("nit")
    with page.expect_response(lambda answer: answer.url.endswith(asked)):
        write_the_setting(page, "Set it at 700.")
    page.wait_for_timeout(300)
    expect(reason).to_have_value("wrong unit")
    expect(reason).to_be_visible()
    assert sign(page) == 200
    expect(page.locator("#paper-list")).to_contain_text("revision 2", timeout=PATIENCE_MS)
    expect(reason).to_have_value("wrong unit")
    expect(reason).to_be_visible()
    page.get_by_role("button", name="Make revision 1 void").click()
    expect(page.locator("#paper-list")).to_contain_text("wrong unit")
    sheet.refresh_from_db()
    assert sheet.void.reason == "wrong unit"


def test_the_list_follows_as_soon_as_nobody_types_in_it(page, job):
    signed_sheet(job)
    made = draft(job, Sheet.Kind.JOB_SHEET, built=False)
    page.goto(papers(job))
    fold = page.get_by_text("Make void")
    fold.click()
    assert building.build(made.pk)
    with page.expect_response(lambda answer: answer.url.endswith("/sheets/")):
        pass
    page.wait_for_timeout(300)
    expect(page.get_by_role("link", name=re.compile("Open the PDF"))).to_have_count(1)
    fold.click()
    expect(page.get_by_role("link", name=re.compile("Open the PDF"))).to_have_count(2, timeout=PATIENCE_MS)


def write_the_setting(page, text):
    page.locator("#sec-setting a", has_text="Edit").click()
    page.locator("#sec-setting textarea").fill(text)
    page.get_by_role("button", name="Save the instructions").click()
    expect(page.locator("#sec-setting .as-written")).to_have_text(text)


def sign(page):
    page.get_by_label("Your password, again").fill(build.PASSWORD)
    with page.expect_response(re.compile("/sign/")) as answer:
        page.get_by_role("button", name="Sign the sheet").click()
    return answer.value.status


@pytest.mark.parametrize("size", ["phone", "tablet"])
def test_own_writes_are_signed_at_once_and_anothers_change_never_unseen(open_page, watch, job, size):
    watch.forgive("409")
    page = open_page(size)
    page.goto(f"/jobs/{job.number}/")
    expect(page.get_by_label("Your password, again")).to_be_visible()
    write_the_setting(page, "Set it at 700.")
    write_the_setting(page, "Set it at 750.")
    assert sign(page) == 200
    expect(page.locator("#paper-list .stamp")).to_contain_text("revision 1")
    change = job.findings.create(text="Points pitted.", stage="teardown", by=build.person("technician"))
    audit.record("added a finding", job=job, by=change.by)
    write_the_setting(page, "Set it at 800.")
    assert sign(page) == 409
    expect(page.locator("#sec-paper .errors")).to_contain_text("The card was changed after you opened this")
    assert job.sheets.count() == 1
    assert sign(page) == 200  # it was said
