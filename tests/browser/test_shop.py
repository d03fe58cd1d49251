"""The shop's own pages in a real browser: what the modules in static/js promise; every page holds."""

import re

import pytest
from playwright.sync_api import expect

from shop.models import Customer, Person
from tests import build
from tests.browser.looks import (
    FINGER_PX,
    assert_fits,
    assert_holds,
    assert_no_barrier,
    focus_shows,
    small_targets,
    tab_to,
)

pytestmark = pytest.mark.django_db(transaction=True)
REFUSED = "status of"  # the browser's own line on an answer of 4xx


@pytest.fixture
def customer(db):
    return build.customer("Marta Quill", company="Tarnside Boats", phone="0555 0104")


@pytest.fixture
def edit(page, customer):
    """The customer's page with the form opened in place."""
    page.goto(f"/customers/{customer.pk}/")
    page.get_by_role("link", name="Edit").click()
    expect(page.get_by_role("button", name="Save")).to_be_visible()
    return page


def stored(customer):
    return Customer.objects.get(pk=customer.pk)


PAGES = (
    "/customers/",
    "/customers/new/",
    "/customers/{customer}/",
    "/customers/{customer}/edit/",
    "/people/",
    "/people/new/",
    "/people/{person}/",
    "/people/{person}/password/",
    "/shop/",
    "/password/",
)


def test_every_page_holds_in_every_size_and_light(page, customer):
    person = build.person("technician")
    for address in PAGES:
        page.goto(address.format(customer=customer.pk, person=person.pk))
        assert_holds(page, {"body": FINGER_PX})


def test_the_door_and_the_pages_of_trouble_hold_too(open_page, watch):
    watch.forgive(REFUSED)
    page = open_page("phone", who=None)
    page.goto("/login/")
    assert_no_barrier(page)
    assert_fits(page)
    assert focus_shows(page)
    inside = open_page("phone", "dark", who="counter")
    for address in ("/no/such/page/", "/people/"):
        inside.goto(address)
        assert_no_barrier(inside)
        assert_fits(inside)


def test_the_list_follows_the_typing_and_the_address_keeps_it(page, customer):
    build.customer("Per Lindgren")
    page.goto("/customers/")
    page.get_by_role("searchbox", name="Name, company").press_sequentially("tarn")
    expect(page.get_by_text("1 customer with “tarn”").first).to_be_visible()
    expect(page).to_have_url(re.compile(r"\?q=tarn$"))
    expect(page.locator("#found li")).to_have_count(1)
    expect(page.locator("#said")).to_have_text("1 customer with “tarn”")
    expect(page.get_by_role("searchbox", name="Name, company")).to_be_focused()
    page.reload()
    expect(page.get_by_role("searchbox", name="Name, company")).to_have_value("tarn")
    expect(page.locator("#found li")).to_have_count(1)


def test_a_refused_form_has_the_focus_and_keeps_what_was_typed(edit, watch, customer):
    watch.forgive(REFUSED)
    edit.get_by_label("Email").fill("not an email")
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator(".errors")).to_be_focused()
    expect(edit.get_by_label("Email")).to_have_value("not an email")
    edit.locator(".errors a").click()
    expect(edit.get_by_label("Email")).to_be_focused()
    edit.get_by_label("Email").fill("marta@example.org")
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator("#sec-customer .state")).to_contain_text("Saved")
    assert stored(customer).email == "marta@example.org"


def test_someone_else_was_first_and_both_are_shown(edit, watch, customer):
    watch.forgive(REFUSED)
    edit.get_by_label("Phone").fill("0555 2222")
    Customer.objects.filter(pk=customer.pk).update(phone="0555 1111", version=2)
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator(".conflict")).to_be_focused()
    expect(edit.get_by_text("Now stands: 0555 1111")).to_be_visible()
    expect(edit.get_by_label("Phone")).to_have_value("0555 2222")
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator("#sec-customer dl")).to_contain_text("0555 2222")
    assert stored(customer).version == 3


def test_what_is_being_typed_survives_a_reload_until_it_is_saved(edit, customer):
    asked = []
    edit.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    edit.get_by_label("Note").fill("rings back after six")
    expect(edit.get_by_text("Not saved yet")).to_be_visible()
    edit.reload()
    assert asked == ["beforeunload"]
    edit.get_by_role("link", name="Edit").click()
    expect(edit.get_by_label("Note")).to_have_value("rings back after six")
    expect(edit.get_by_text("Not saved yet")).to_be_visible()
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator("#sec-customer dl")).to_contain_text("rings back after six")
    edit.get_by_role("link", name="Edit").click()
    expect(edit.get_by_role("button", name="Save")).to_be_visible()
    expect(edit.get_by_text("Not saved yet")).to_be_hidden()
    edit.goto("/customers/")
    assert asked == ["beforeunload"]


def test_leaving_it_as_it_was_forgets_the_draft(edit, customer):
    edit.get_by_label("Note").fill("never mind")
    edit.get_by_role("link", name="Leave it as it was").click()
    expect(edit.locator("#sec-customer dl")).to_be_visible()
    edit.get_by_role("link", name="Edit").click()
    expect(edit.get_by_label("Note")).to_have_value("")


def test_without_a_connection_it_says_so_and_loses_nothing(edit, watch, customer):
    for words in ("ERR_INTERNET_DISCONNECTED", "htmx:"):
        watch.forgive(words)
    edit.get_by_label("Phone").fill("0555 3333")
    edit.context.set_offline(True)
    edit.get_by_role("button", name="Save").click()
    expect(edit.get_by_role("alert")).to_contain_text("the server can't be reached")
    expect(edit.get_by_label("Phone")).to_have_value("0555 3333")
    edit.context.set_offline(False)
    edit.get_by_role("button", name="Save").click()
    expect(edit.locator("#sec-customer dl")).to_contain_text("0555 3333")
    expect(edit.get_by_role("alert")).to_have_count(0)


def test_a_session_that_ended_is_told_beside_the_work(edit, watch, customer):
    for words in (REFUSED, "Response Status Error Code"):
        watch.forgive(words)
    edit.get_by_label("Phone").fill("0555 4444")
    edit.context.clear_cookies(name="sessionid")
    edit.get_by_role("button", name="Save").click()
    expect(edit.get_by_role("alert")).to_contain_text("You are logged out")
    expect(edit.get_by_label("Phone")).to_have_value("0555 4444")
    assert stored(customer).phone == "0555 0104"


def test_light_and_dark_change_at_once_and_stay(page, customer):
    page.goto("/customers/")
    colour = "() => getComputedStyle(document.documentElement).backgroundColor"
    light = page.evaluate(colour)
    page.get_by_role("button", name="dark").click()
    dark = page.evaluate(colour)
    assert dark != light
    page.goto(f"/customers/{customer.pk}/")
    assert page.evaluate(colour) == dark
    page.get_by_role("button", name="as the device").click()
    assert page.evaluate(colour) == light


def test_switching_off_is_undone_from_the_line_that_says_it(page):
    technician = build.person("technician")
    page.goto(f"/people/{technician.pk}/")
    page.get_by_role("button", name="Switch off").click()
    expect(page.get_by_text(f"{technician} may no longer log in.")).to_be_visible()
    assert not Person.objects.get(pk=technician.pk).is_active
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text(f"{technician} may log in again.")).to_be_visible()
    assert Person.objects.get(pk=technician.pk).is_active


def test_the_menu_of_a_phone_opens_and_closes(open_page, customer):
    page = open_page("phone")
    page.goto("/customers/")
    menu = page.get_by_role("navigation", name="Main")
    expect(menu).to_be_hidden()
    page.get_by_role("button", name="Menu").click()
    expect(menu).to_be_visible()
    assert small_targets(page, within="#menu") == []
    page.get_by_role("link", name="Shop & people").click()
    expect(page.get_by_role("heading", name="Shop & people")).to_be_visible()
    expect(menu).to_be_hidden()


def test_a_customer_is_changed_by_keyboard_alone(page, customer):
    page.goto(f"/customers/{customer.pk}/")
    tab_to(page, page.get_by_role("link", name="Edit"))
    assert focus_shows(page)
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Save")).to_be_visible()
    tab_to(page, page.get_by_label("Company"))
    page.keyboard.press("Control+a")
    page.keyboard.type("Kettle Lane")
    page.keyboard.press("Enter")
    expect(page.locator("#sec-customer dl")).to_contain_text("Kettle Lane")


def test_without_javascript_it_all_works(open_page, watch, customer):
    watch.forgive(REFUSED)
    page = open_page("phone", javascript=False)
    page.goto("/customers/")
    page.get_by_role("searchbox", name="Name, company").fill("tarn")
    page.get_by_role("button", name="Look").click()
    page.get_by_role("link", name="Marta Quill").click()
    page.get_by_role("link", name="Edit").click()
    page.get_by_label("Email").fill("x")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_label("Email")).to_have_value("x")
    page.get_by_label("Email").fill("marta@example.org")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("link", name="marta@example.org")).to_be_visible()
    page.get_by_role("button", name="dark").click()
    assert page.locator("html").get_attribute("data-theme") == "dark"
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("button", name="Log in")).to_be_visible()
