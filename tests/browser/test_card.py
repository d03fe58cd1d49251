"""The card, the board and the counter in a real browser: in place, by keyboard, without scripts."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image, ImageChops
from playwright.sync_api import expect

from jobs.models import Job
from jobs.teardown.photos import add_photo
from jobs.teardown.pictures import clean_photo
from tests import build
from tests.browser.looks import assert_holds, tab_to

pytestmark = pytest.mark.django_db(transaction=True)


def card_address(job, section=""):
    return reverse("card", args=[job.number]) + (f"#sec-{section}" if section else "")


def full_card(stage="teardown"):
    job = build.job(stage=stage, complaint="Pinks at 3000", tray="T 4")
    build.target(job.build)
    build.run(job.build, kind="as_received")
    person = build.person()
    job.findings.create(text="Loop of the primary spring stretched", stage=stage, by=person)
    job.parts.create(text="Ignition module", state="left_off", why="depends on the vehicle", by=person)
    job.steps.create(list="cleaning", text="Degrease", parts="body")
    job.steps.create(list="assembly", text="Felt oiled")
    return job


@pytest.mark.parametrize(
    "stage", ["intake", "teardown", "cleaning", "spring_trials", "bench_curve", "hand_back"]
)
def test_card_holds_at_each_stage(page, stage):
    page.goto(card_address(full_card(stage)))
    assert_holds(page)


def test_board_counter_and_list_hold_at_every_size(page):
    full_card()
    job = full_card("hand_back")
    for address in (
        reverse("board"),
        reverse("new_job"),
        reverse("points"),
        reverse("answer_points", args=[job.number]),
        reverse("history", args=[job.number]),
    ):
        page.goto(address)
        assert_holds(page)


def test_section_is_edited_in_place(page):
    job = full_card("intake")
    page.goto(card_address(job))
    page.locator("#sec-agreed >> text=Edit").click()
    page.locator("#sec-agreed [name=tray]").fill("T 99")
    page.get_by_role("button", name="Save the agreement").click()
    page.locator("#sec-agreed >> text=T 99").wait_for()
    assert "tray T 99" in page.locator("#card-head").inner_text()
    assert page.url.endswith(card_address(job))


def test_two_people_on_one_section_see_both_texts(open_page, watch):
    watch.forgive("409")
    job = full_card("intake")
    first, second = open_page(), open_page(who="counter")
    for page in (first, second):
        page.goto(card_address(job))
        page.locator("#sec-agreed >> text=Edit").click()
        page.locator("#sec-agreed [name=tray]").wait_for()
    first.locator("#sec-agreed [name=tray]").fill("T 1")
    first.get_by_role("button", name="Save the agreement").click()
    first.locator("#sec-agreed dd >> text=T 1").wait_for()
    second.locator("#sec-agreed [name=tray]").fill("T 2")
    second.get_by_role("button", name="Save the agreement").click()
    second.locator("text=Someone else saved first").wait_for()
    assert second.locator("#sec-agreed [name=tray]").input_value() == "T 2"
    assert "Now stands: T 1" in second.locator("#sec-agreed").inner_text()
    second.get_by_role("button", name="Save the agreement").click()
    second.locator("#sec-agreed dd >> text=T 2").wait_for()


def test_a_draft_that_was_left_meets_what_was_saved_meanwhile(open_page, watch):
    """The unit's fields carry a prefix, and so does the version they were typed upon."""
    watch.forgive("409")
    job = full_card("intake")
    first, second = open_page(), open_page(who="counter")
    first.on("dialog", lambda dialog: dialog.accept())

    def edit(page):
        page.goto(card_address(job))
        page.locator("#sec-unit >> text=Edit").click()
        return page.locator("#sec-unit [name=unit-number]")

    edit(first).fill("ES 1")
    first.goto(reverse("board"))
    edit(second).fill("ES 2")
    second.locator("#sec-unit .btn-go").click()
    second.locator("#sec-unit dd >> text=ES 2").wait_for()
    expect(edit(first)).to_have_value("ES 1")
    first.locator("#sec-unit .btn-go").click()
    first.locator("text=Someone else saved first").wait_for()
    assert "Now stands: ES 2" in first.locator("#sec-unit").inner_text()
    second.reload()
    expect(second.locator("#sec-unit dl").first).to_contain_text("ES 2")


def test_inspection_saves_itself_while_typing_goes_on(open_page, watch):
    watch.forgive("422")
    job = full_card()
    page = open_page("phone", who="technician")
    page.goto(reverse("answer_points", args=[job.number]))
    line = page.locator(".point", has_text="Shaft side play")
    line.locator("summary").click()
    line.locator("[name$=-value]").fill("0,25")
    line.locator("[name$=-note]").click()
    line.locator("summary >> text=Repair or replace").wait_for()
    page.keyboard.type("felt by hand")
    line.locator("[name$=-verdict]").select_option("worn")
    line.locator("summary >> text=Worn, serviceable").wait_for()
    assert line.locator("[name$=-note]").input_value() == "felt by hand"
    line.locator("[name$=-value]").fill("wide")
    line.locator("[name$=-note]").click()
    line.locator("text=is not a number").wait_for()
    answer = job.inspections.get()
    assert (answer.value, answer.verdict, answer.note) == (0.25, "worn", "felt by hand")


def test_stage_unfolds_without_leaving_the_card(page):
    job = full_card("cleaning")
    page.goto(card_address(job))
    page.locator("#stage-intake >> text=Show").click()
    page.locator("#stage-intake >> text=Pinks at 3000").wait_for()
    page.locator("#stage-intake >> text=Fold").click()
    page.locator("#stage-intake >> text=Pinks at 3000").wait_for(state="detached")


def test_steps_and_the_sign_off_follow_each_other(open_page):
    job = build.worked(full_card("cleaning"))
    job.steps.filter(at__isnull=False).delete()
    page = open_page("phone", who="technician")
    page.goto(card_address(job))
    page.locator("#sec-cleaning li", has_text="Degrease").get_by_role("button", name="Done").click()
    page.locator("#sec-cleaning >> text=Robin Technician").first.wait_for()
    page.get_by_role("button", name="It was blasted").click()
    page.locator("#rail >> text=abrasive-free sign-off").wait_for()
    page.get_by_role("button", name="Sign: every bore looked at").click()
    page.locator(".stamp >> text=Free of abrasive").wait_for()
    page.locator("#rail >> text=ready for spring trials").wait_for()


def test_photo_is_taken_on_a_phone(open_page):
    job = full_card()
    page = open_page("phone", who="technician")
    page.goto(card_address(job))
    file = io.BytesIO()
    Image.new("RGB", (640, 480), "grey").save(file, "JPEG")
    page.locator("#sec-photos [type=file]").set_input_files(
        [{"name": "a.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}]
    )
    page.locator("#sec-photos [name=caption]").fill("the head")
    page.get_by_role("button", name="Put on the card").click()
    page.locator("#sec-photos figcaption >> text=the head").wait_for()
    image = page.locator("#sec-photos img")
    image.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('#sec-photos img').naturalWidth > 0")


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("shape", [(300, 900), (900, 300)])
def test_photo_keeps_its_shape_on_the_card(open_page, size, shape):
    """What is painted is measured: the box of an image does not say how the picture lies in it."""
    job, file = full_card(), io.BytesIO()
    Image.new("RGB", shape, (230, 0, 0)).save(file, "PNG")
    photo = add_photo(job, clean_photo(SimpleUploadedFile("unit.png", file.getvalue())), by=build.person())
    page = open_page(size)
    page.goto(card_address(job))
    image = page.locator("#sec-photos img")
    image.scroll_into_view_if_needed()
    with photo.small.open() as kept:
        expect(image).to_have_js_property("naturalWidth", Image.open(kept).width)
    # In the middle, where neither head nor foot of the page lies over it, and painted.
    image.evaluate("async (it) => { it.scrollIntoView({ block: 'center' }); await it.decode(); }")
    painted = Image.open(io.BytesIO(image.screenshot())).convert("RGB")
    much, *others = painted.split()
    red = (
        ImageChops.subtract(much, ImageChops.lighter(*others))
        .point(lambda value: 255 * (value > 120))
        .getbbox()
    )
    wide, high = red[2] - red[0], red[3] - red[1]
    assert wide / high == pytest.approx(shape[0] / shape[1], rel=0.06)
    assert max(wide, high) >= 60  # and no sliver of it


def test_counter_opens_a_card_by_keyboard_alone(open_page):
    build.customer("Marta Quill", phone="0555 0101")
    page = open_page(who="counter")
    page.goto(reverse("new_job"))
    assert page.evaluate("document.activeElement.name") == "customer"
    page.keyboard.type("Marta")
    page.locator("#customer-names option").first.wait_for(state="attached")
    assert page.locator("#customer-names option").first.get_attribute("value") == "Marta Quill (0555 0101)"
    page.keyboard.type(" Quill")
    tab_to(page, page.locator("[name=unit-maker]"))
    page.keyboard.type("Ember & Stroud")
    tab_to(page, page.locator("[name=complaint]"))
    page.keyboard.type("Pinks at 3000")
    tab_to(page, page.locator("[name=tray]"))
    page.keyboard.type("T 7")
    page.keyboard.press("Enter")
    page.locator("#card-head").wait_for()
    job = Job.objects.get()
    assert (job.customer.phone, job.unit.maker, job.tray) == ("0555 0101", "Ember & Stroud", "T 7")


def test_card_is_worked_without_scripts(open_page):
    job = full_card("intake")
    page = open_page(who="technician", javascript=False)
    page.goto(card_address(job))
    page.locator("#sec-agreed >> text=Edit").click()
    page.locator("[name=tray]").fill("T 55")
    page.get_by_role("button", name="Save the agreement").click()
    assert "T 55" in page.locator("#sec-agreed").inner_text()
    page.get_by_role("button", name="Move on to teardown").click()
    assert "Inspection" in page.locator("#stage-teardown").inner_text()
    page.locator("#stage-intake >> text=Show").click()
    assert "T 55" in page.locator("#sec-agreed").inner_text()
    page.locator("#sec-findings [name=text]").fill("Bush worn oval")
    page.get_by_role("button", name="Write it down").click()
    assert "Bush worn oval" in page.locator("#sec-findings").inner_text()


def test_opening_the_card_leaves_the_focus_alone(page):
    job = full_card("hand_back")
    page.goto(card_address(job))
    page.locator("#sec-paper >> text=Sign a sheet").wait_for()
    assert page.evaluate("document.activeElement.tagName") == "BODY"
