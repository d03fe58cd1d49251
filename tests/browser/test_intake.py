"""The counter on phone and tablet: a unit that was here, and what its customer drives, filled in by touch."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from jobs.models import Job
from jobs.search import hits
from tests import build
from tests.browser.looks import assert_holds

pytestmark = pytest.mark.django_db


@pytest.fixture(params=["phone", "tablet"])  # 390 and 820 px
def size(request):
    return request.param


@pytest.fixture
def before(db):
    job = build.job(
        stage="hand_back",
        closed_at=timezone.now(),
        unit=build.unit(number="ES 14"),
        customer=build.customer("Marta Quill", phone="0555 0101"),
    )
    hits.reindex(job)
    return job


def test_engine_of_the_customer_is_filled_in_beside_what_is_typed(open_page, size, before):
    page = open_page(size, who="counter")
    page.goto("/jobs/new/")
    page.get_by_label("Complaint").fill("Pinks at 3000")
    page.get_by_label("Photos").set_input_files(
        {"name": "tray.jpg", "mimeType": "image/jpeg", "buffer": b"not looked at yet"}
    )
    page.get_by_label("Year").fill("1971")
    page.get_by_role("combobox", name="Customer").fill("Marta Quill")
    page.get_by_role("button", name="Take it over").tap()
    expect(page.get_by_label("Vehicle or machine")).to_have_value("Larkfield saloon")
    expect(page.get_by_label("Year")).to_have_value("1971")
    expect(page.locator("[data-kind=kept-as-typed]")).to_contain_text("year (there: 1962)")
    assert_holds(page)
    page.get_by_role("button", name="Take what stands there").tap()
    expect(page.get_by_label("Year")).to_have_value("1962")
    expect(page.get_by_label("Complaint")).to_have_value("Pinks at 3000")
    assert page.get_by_label("Photos").evaluate("field => field.files.length") == 1


def test_unit_that_was_here_starts_from_its_card(open_page, size, before, watch):
    watch.forgive("422")
    page = open_page(size, who="counter")
    page.goto("/jobs/new/")
    page.get_by_label("Complaint").fill("Pinks again")
    page.get_by_label("Unit number").fill("es14")
    expect(page.locator("#unit-starts")).to_contain_text(f"This unit was here as job {before.number}")
    assert_holds(page)
    page.get_by_role("button", name="Start from it").tap()
    expect(page.locator("#unit-starts")).to_contain_text(f"This card starts from job {before.number}.")
    expect(page.get_by_label("Unit maker")).to_have_value("Ember & Stroud")
    expect(page.get_by_role("combobox", name="Customer")).to_have_value("Marta Quill (0555 0101)")
    expect(page.get_by_label("Vehicle or machine")).to_have_value("Larkfield saloon")
    assert_holds(page)
    page.reload()
    expect(page.get_by_label("Unit maker")).to_have_value("Ember & Stroud")
    page.get_by_role("button", name="Open the card").tap()  # not opened as another unit, unasked
    expect(page.locator("#id_earlier_error")).to_contain_text("does not start from job")
    page.get_by_role("button", name="Start from it").tap()
    expect(page.locator("#unit-starts")).to_contain_text("This card starts from job")
    page.get_by_role("button", name="Open the card").tap()
    expect(page.get_by_role("link", name=f"came back from job {before.number}")).to_be_visible()
    new = Job.objects.get(previous=before)
    assert (new.complaint, new.customer, new.engine) == ("Pinks again", before.customer, before.engine)


def test_both_work_without_javascript_and_enter_opens_the_card(open_page, size, before):
    page = open_page(size, who="counter", javascript=False)
    page.goto("/jobs/new/")
    page.get_by_label("Unit number").fill("ES 14")
    page.get_by_role("button", name="Was this unit here before?").tap()
    page.get_by_role("button", name="Start from it").tap()
    expect(page.get_by_label("Unit maker")).to_have_value("Ember & Stroud")
    page.get_by_label("Tray").press("Enter")
    expect(page.get_by_role("link", name=f"came back from job {before.number}")).to_be_visible()
