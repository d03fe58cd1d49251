"""Spring trials, the drawer and head types in a browser; a pair is fitted by touch, and without scripts."""

import pytest
from playwright.sync_api import expect

from curves.models import HeadType, Run, Spring
from curves.springs import corrections
from tests import build
from tests.browser.looks import assert_holds
from tests.curves.trials.loop import simulated_bench


@pytest.fixture
def job(db):
    row = build.job(stage="spring_trials")
    bench = simulated_bench(into=row.build)
    bench.read(*(one.key for one in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    corrections.learn_springs(bench.fresh(), by=build.person())
    spring = Spring.objects.get(label="P1")
    for length, load in ((19.6, 0), (21, 1.9), (23, 4.3), (25, 6.8)):
        spring.load_tests.create(length_mm=length, load=load, by=build.person())
    row.spring, row.kind = spring, HeadType.objects.create(name="Larkfield, two weights", state="waiting")
    return row


def test_screens_hold_everywhere(page, job):
    pages = {
        f"/jobs/{job.number}/trials/": "[data-chart] .curve-plot .main-svg",
        f"/jobs/{job.number}/trials/?buy=1": "#sec-wanted",
        f"/jobs/{job.number}/head/": ".caliper",
        "/springs/": "table",
        f"/springs/{job.spring.pk}/": "#sec-loads svg.figure",
        "/head-types/": "table",
        f"/head-types/{job.kind.pk}/": "#sec-learned",
    }
    for address, landmark in pages.items():
        page.goto(address)
        page.wait_for_selector(landmark)
        assert_holds(page)


def test_another_curve_is_drawn_in_place_and_a_pair_is_fitted(open_page, job):
    page = open_page("tablet", who="technician")
    page.goto(f"/jobs/{job.number}/trials/")
    second = page.locator(".offers > li").nth(1)
    second.locator("summary").tap()
    second.get_by_role("link", name="Draw its curve").tap()
    expect(page.locator("#prediction h2")).to_contain_text("Proposal 2")
    pair = second.locator("h3").inner_text().split(maxsplit=1)[1]
    expect(page.locator("#prediction caption").first).to_contain_text(pair)
    second.get_by_role("button", name="Fit this pair").tap()
    expect(page.get_by_text("then read it")).to_be_visible()
    run = job.build.runs.latest("number")
    assert f"{run.primary} + {run.secondary}" == pair


def test_without_scripts_a_pair_is_chosen_drawn_and_fitted(open_page, job):
    page = open_page("phone", who="technician", javascript=False)
    page.goto(f"/jobs/{job.number}/trials/?show=2")
    assert page.locator("#prediction h2").inner_text().startswith("Proposal 2")
    assert page.locator(".figure-spread").count() == 1
    page.locator(".offers > li").nth(1).get_by_role("button", name="Fit this pair").click()
    assert job.build.runs.latest("number").number == 3


def test_the_worker_is_waited_for_and_what_it_learned_comes_by_itself(page, job):
    page.goto(f"/head-types/{job.kind.pk}/")
    expect(page.locator("#sec-learned")).to_contain_text("Waiting for the worker")
    HeadType.objects.filter(pk=job.kind.pk).update(state="failed", error="It takes two handed-back units.")
    expect(page.locator("#sec-learned")).to_contain_text("It takes two handed-back units.")
    assert page.locator("#sec-learned").get_attribute("hx-get") is None


def test_a_pair_and_its_chance_lie_side_by_side_however_long_its_words(page, job):
    agreed = {"initial_low_crank_deg": 8, "initial_high_crank_deg": 12}
    type(job.build.target).objects.filter(pk=job.build.target.pk).update(**agreed)
    page.goto(f"/jobs/{job.number}/trials/?initial=on")
    expect(page.locator(".offers [data-kind=only-at]").first).to_be_visible()
    for offer in page.locator(".offers > li summary").all():
        pair, chance = (offer.locator(part).bounding_box() for part in ("h3", ".offer-chance"))
        assert pair["x"] + pair["width"] <= chance["x"]
        assert offer.locator("h3").evaluate("(e) => e.scrollWidth <= e.clientWidth")
