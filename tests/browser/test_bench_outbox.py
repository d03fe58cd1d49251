"""Nothing typed at the bench is lost: no network, a closed tab, two tablets, a session that ended."""

import pytest
from playwright.sync_api import Error, expect

from shop.models import Person
from tests import build
from tests.browser.benchwork import all_saved, all_sent, bench_job, cell, open_bench, saved, type_in
from tests.browser.looks import assert_no_barrier

SPEEDS = range(300, 2700, 100)  # 24, as many as a shop may have


@pytest.fixture
def job(db):
    return bench_job()


def sending(page):
    return page.locator("[data-bench-sending]")


def test_fifty_readings_without_a_network_are_kept_in_order_once_each(page, db, watch):
    watch.forgive("ERR_INTERNET_DISCONNECTED")
    job = bench_job(speeds=SPEEDS)
    open_bench(page, job)
    page.context.set_offline(True)
    rising = [f"{n / 2:g}" for n in range(24)]
    type_in(page, *rising, *rising[::-1])
    page.get_by_role("button", name="Another speed").click()
    type_in(page, "2800", "12", "12.5")
    expect(sending(page)).to_contain_text("50 waiting.")
    assert saved(job) == []
    with pytest.raises(Error, match="ERR_INTERNET_DISCONNECTED"):
        page.reload()
    page.context.set_offline(False)
    open_bench(page, job)
    all_saved(page)
    assert saved(job) == [
        *((speed, float(value), False) for speed, value in zip(SPEEDS, rising, strict=True)),
        *((speed, float(value), True) for speed, value in zip(SPEEDS[::-1], rising[::-1], strict=True)),
        (2800, 12, False),
        (2800, 12.5, True),
    ]
    page.reload()
    all_saved(page)
    assert len(saved(job)) == 50


def test_a_closed_tab_loses_nothing_and_any_page_sends_on(page, job, watch):
    watch.forgive("ERR_INTERNET_DISCONNECTED")
    open_bench(page, job)
    context = page.context
    context.set_offline(True)
    type_in(page, "0", "0.5")
    page.close()
    context.set_offline(False)
    board = context.new_page()
    board.goto("/")
    all_sent(board)
    assert saved(job) == [(300, 0, False), (400, 0.5, False)]


def test_an_answer_that_is_lost_makes_no_second_reading(page, job, watch):
    """The server saved it, and the network went before it could say so."""
    watch.forgive("ERR_FAILED")
    open_bench(page, job)
    lost = []

    def lose(route):
        route.fetch()
        lost.append(route.request.url)
        route.abort()

    page.route("**/readings/*/", lose, times=2)
    type_in(page, "0", "0.5")
    all_saved(page)
    assert len(lost) == 2
    assert saved(job) == [(300, 0, False), (400, 0.5, False)]


def test_what_is_changed_and_taken_back_while_it_waits_goes_as_it_stands(page, job, watch):
    watch.forgive("ERR_INTERNET_DISCONNECTED")
    open_bench(page, job)
    type_in(page, "0")
    all_saved(page)
    page.context.set_offline(True)
    type_in(page, "0.5", "1.5", "3")
    cell(page, 300).click()
    type_in(page, "0.25")  # corrects what was saved
    cell(page, 500).click()
    type_in(page, "1")  # corrects what waits
    expect(cell(page, 500)).to_contain_text("Waiting")
    cell(page, 700).click()
    type_in(page, "4")
    page.get_by_role("button", name="Take back the last").click()
    page.context.set_offline(False)
    all_saved(page)
    assert saved(job) == [(300, 0.25, False), (400, 0.5, False), (500, 1, False), (600, 3, False)]


def test_saved_is_said_only_after_the_commit(page, job):
    open_bench(page, job)
    held = []
    page.route("**/readings/*/", lambda route: held.append(route))
    type_in(page, "0")
    expect(page.locator("#bench-state")).to_have_text("300 distributor rpm, rising: waiting")
    expect(cell(page, 300)).to_contain_text("Waiting")
    assert saved(job) == []
    held[0].continue_()
    expect(page.locator("#bench-state")).to_contain_text("300 distributor rpm, rising: saved ")
    assert saved(job) == [(300, 0, False)]


def test_two_tablets_on_one_run_both_have_it_all(open_page, job):
    first, second = open_page("tablet", who="technician"), open_page("tablet", who="owner")
    for page in (first, second):
        open_bench(page, job)
    cell(second, 2200, "Falling").click()
    type_in(first, "0", "0.5", "1.5")
    type_in(second, "11", "10.5")
    type_in(first, "3")
    for page in (first, second):
        all_saved(page)
        for row, column, value in ((300, "Rising", "0"), (600, "Rising", "3"), (1800, "Falling", "10.5")):
            expect(cell(page, row, column)).to_contain_text(value)
    assert sorted(saved(job)) == [
        (300, 0, False),
        (400, 0.5, False),
        (500, 1.5, False),
        (600, 3, False),
        (1800, 10.5, True),
        (2200, 11, True),
    ]


def test_the_same_speed_read_on_two_tablets_is_two_readings(open_page, job, watch):
    watch.forgive("ERR_INTERNET_DISCONNECTED")
    first, second = open_page("tablet", who="technician"), open_page("tablet", who="owner")
    for page in (first, second):
        open_bench(page, job)
    second.context.set_offline(True)
    type_in(second, "0.5")
    type_in(first, "0")
    all_saved(first)
    second.context.set_offline(False)
    all_saved(second)
    assert saved(job) == [(300, 0, False), (300, 0.5, False)]


@pytest.mark.parametrize(("choice", "value"), [("Keep 5", 5), ("Keep 4", 4)])
def test_two_corrections_of_one_reading_are_both_shown(open_page, job, watch, choice, value):
    for words in ("ERR_INTERNET_DISCONNECTED", "409"):
        watch.forgive(words)
    build.run(job.build, [(300, 1)])
    first, second = open_page("tablet", who="technician"), open_page("tablet", who="owner")
    for page in (first, second):
        open_bench(page, job)
        expect(cell(page, 300)).to_contain_text("1")
        cell(page, 300).click()
    second.context.set_offline(True)
    type_in(second, "5")
    type_in(first, "4")
    all_saved(first)
    second.context.set_offline(False)
    trouble = second.get_by_role("alert").filter(has_text="two values")
    expect(trouble).to_contain_text("Here you typed 5; meanwhile 4 was saved elsewhere.")
    expect(cell(second, 300)).to_contain_text("Not saved")
    expect(sending(second)).to_have_text("1 not saved.")
    assert_no_barrier(second)
    assert saved(job, 2) == [(300, 4, False)]
    second.reload()  # the choice waits as long as it takes
    trouble.get_by_role("button", name=choice).click()
    expect(trouble).to_have_count(0)
    all_saved(second)
    assert saved(job, 2) == [(300, value, False)]
    expect(cell(first, 300)).to_contain_text(str(value))


def test_a_correction_of_what_was_taken_back_elsewhere_asks(open_page, job, watch):
    for words in ("ERR_INTERNET_DISCONNECTED", "409"):
        watch.forgive(words)
    first, second = open_page("tablet", who="technician"), open_page("tablet", who="owner")
    open_bench(first, job)
    type_in(first, "1")
    all_saved(first)
    open_bench(second, job)
    cell(second, 300).click()
    second.context.set_offline(True)
    type_in(second, "5")
    first.get_by_role("button", name="Take back the last").click()
    expect(sending(first)).to_have_text("")
    assert saved(job) == []
    second.context.set_offline(False)
    second.get_by_role("button", name="Put back 5").click()
    all_saved(second)
    assert saved(job) == [(300, 5, False)]


def test_what_the_server_refuses_is_kept_with_its_cause(page, job, watch):
    watch.forgive("403")
    open_bench(page, job)
    job.build.locked = True
    job.build.save()
    type_in(page, "1")
    trouble = page.get_by_role("alert").filter(has_text="not saved")
    expect(trouble).to_contain_text("This unit was handed back")
    job.build.locked = False
    job.build.save()
    trouble.get_by_role("button", name="Send it again").click()
    all_saved(page)
    assert saved(job) == [(300, 1, False)]


def test_what_another_run_left_here_is_said_at_the_bench_too(page, job, watch):
    """Refused for one run, and out of sight as soon as the bench shows another."""
    watch.forgive("403")
    open_bench(page, job)
    job.build.locked = True
    job.build.save()
    type_in(page, "1")
    expect(page.get_by_role("alert").filter(has_text="not saved")).to_be_visible()
    expect(sending(page)).to_have_text("1 not saved.")
    expect(page.locator("[data-waiting]")).to_have_count(0)  # the bench says it itself
    job.build.locked = False
    job.build.save()
    build.run(job.build, [])
    open_bench(page, job)
    type_in(page, "2")
    expect(cell(page, 300)).to_contain_text("Saved")
    expect(sending(page)).to_have_text("1 not saved.")
    note = page.locator("[data-waiting]")
    expect(note).to_contain_text(
        "1 bench reading not saved, the first (300 distributor rpm rising, 1) from Job 1, Trial run 1"
    )
    assert_no_barrier(page)
    note.get_by_role("link").click()
    page.get_by_role("button", name="Send it again").click()
    all_saved(page)
    assert saved(job) == [(300, 1, False)]


def test_what_is_left_of_a_closed_card_can_be_let_go_from_any_page(page, job, watch):
    """Its bench is out of reach by then, and with it the ways out beside the reading."""
    watch.forgive("403")
    open_bench(page, job)
    job.build.locked = True
    job.build.save()
    type_in(page, "1", "2")
    expect(sending(page)).to_have_text("2 not saved.")
    page.goto("/")
    note = page.locator("[data-waiting]")
    expect(note).to_contain_text("2 bench readings not saved, the first (300 distributor rpm rising, 1)")
    assert_no_barrier(page)
    note.get_by_role("button", name="Let it go").dblclick()  # a double tap lets go of one
    expect(note).to_contain_text("1 bench reading not saved, the first (400 distributor rpm rising, 2)")
    note.get_by_role("button", name="Put it back").click()
    expect(note).to_contain_text("2 bench readings not saved")
    for left in ("1 bench reading not saved", "Let go"):
        note.get_by_role("button", name="Let it go").press("Enter")
        expect(note).to_contain_text(left)
        expect(note.get_by_role("button").first).to_be_focused()
    expect(note).not_to_contain_text("not saved")
    assert saved(job) == []


def test_a_reading_taken_back_before_its_answer_came_stays_away(page, job, watch):
    """The first send hangs at the server, is given up, and goes through after the reading was taken back."""
    watch.forgive("ERR_FAILED")
    watch.forgive("409")
    open_bench(page, job)
    held = []

    def hold(route):
        held.append(route.request)
        route.abort()

    page.route("**/readings/*/", hold, times=1)
    type_in(page, "1")
    expect(sending(page)).to_contain_text("1 waiting. The server can't be reached")
    page.get_by_role("button", name="Take back the last").click()
    expect(sending(page)).to_have_text("")
    [first] = held
    late = page.request.post(first.url, headers=first.headers, data=first.post_data)
    assert late.status == 409
    assert saved(job) == []


def test_a_session_that_ended_keeps_the_readings_until_the_person_is_back(page, job):
    open_bench(page, job)
    page.context.clear_cookies(name="sessionid")
    type_in(page, "0", "0.5")
    expect(sending(page)).to_contain_text("2 waiting. You are logged out")
    page.get_by_role("link", name="Log in again").click()
    page.get_by_label("Login name").fill("owner")
    page.get_by_label("Password").fill(build.PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(f"**/jobs/{job.number}/bench/?run=1")
    all_saved(page)
    assert saved(job) == [(300, 0, False), (400, 0.5, False)]


def test_readings_wait_for_who_typed_them(page, job):
    """A shared tablet: the next person sees that they wait, and does not send them under another name."""
    build.person("technician")
    open_bench(page, job)
    page.context.clear_cookies(name="sessionid")
    type_in(page, "0")
    expect(sending(page)).to_contain_text("1 waiting.")
    for name, expected in (("technician", []), ("owner", [(300, 0, False)])):
        page.goto("/login/")
        page.get_by_label("Login name").fill(name)
        page.get_by_label("Password").fill(build.PASSWORD)
        page.get_by_role("button", name="Log in").click()
        page.wait_for_url("**/")
        if name == "technician":
            note = page.locator("[data-waiting]")
            expect(note).to_contain_text(
                f"1 bench reading waits on this tablet for {Person.objects.get(username='owner')}"
            )
            page.get_by_role("button", name="Log out").click()
            page.wait_for_url("**/login/")
        else:
            all_sent(page)
        assert saved(job) == expected


def headline(page):
    """What is said of the run, as far as it can be seen."""
    return page.locator(".bench-proof").inner_text().strip()


def proved_job():
    job = bench_job(kind="final", stage="bench_curve")
    run = job.build.runs.get()
    for position, row in enumerate(build.SWEPT):
        run.readings.create(position=position, speed_rpm=row[0], advance_deg=row[1], falling=len(row) == 3)
    return job


def test_no_verdict_stands_while_a_reading_waits(page, db, watch):
    """What was proved without the reading that waits is not said to be proved, here or on any load."""
    watch.forgive("ERR_INTERNET_DISCONNECTED")
    job = proved_job()
    open_bench(page, job)
    assert headline(page) == "Final run 1 proved: sweeps in the band"
    page.get_by_text("Every check so far").click()
    checks, words = page.locator("#bench-checks"), page.locator("#run-chart [role=status]")
    expect(checks).to_contain_text("passes")
    page.context.set_offline(True)
    cell(page, 800).click()
    type_in(page, "30")
    expect(page.locator(".bench-proof")).to_contain_text("Not judged yet: 1 reading waits to be saved")
    assert headline(page) == "Not judged yet: 1 reading waits to be saved"
    for place in (checks, words):
        expect(place).to_be_hidden()
    assert_no_barrier(page)
    cell(page, 1000).click()
    type_in(page, "30")
    assert headline(page) == "Not judged yet: 2 readings wait to be saved"
    page.context.set_offline(False)
    all_saved(page)
    expect(page.locator(".bench-proof")).to_contain_text("sweep out of the band")
    expect(page.locator("[data-bench-unjudged]").first).to_be_hidden()
    assert headline(page).startswith("Final run 1: rising sweep out of the band")
    expect(checks).to_contain_text("fails")


def test_no_verdict_stands_over_a_refused_reading_nor_before_the_answer_to_a_saved_one(page, db, watch):
    for words in ("403", "ERR_FAILED"):
        watch.forgive(words)
    job = proved_job()
    open_bench(page, job)
    job.build.locked = True
    job.build.save()
    cell(page, 800).click()
    type_in(page, "30")
    trouble = page.get_by_role("alert").filter(has_text="not saved")
    expect(trouble).to_be_visible()
    assert headline(page) == "Not judged yet: 1 reading is not saved"
    page.reload()
    expect(trouble).to_be_visible()
    assert headline(page) == "Not judged yet: 1 reading is not saved"
    job.build.locked = False
    job.build.save()
    page.route("**/readings/?seen=*", lambda route: route.abort())  # saved, and the verdict does not come
    trouble.get_by_role("button", name="Send it again").click()
    all_saved(page)
    assert headline(page) == "Not judged yet: the last reading is being looked at"
    page.unroute("**/readings/?seen=*")
    expect(page.locator("[data-bench-unjudged]").first).to_be_hidden()
    assert headline(page).startswith("Final run 1: rising sweep out of the band")
