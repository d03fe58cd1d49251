"""The screen of the spring trials: what it says, who may fit a pair, and the run that is made of it."""

import re

import pytest
from django.utils.html import escape

from curves.models import Run, Spring, SpringCorrection
from curves.trials import loop
from jobs.models import AuditEntry
from tests import build
from tests.curves.trials.loop import simulated_bench
from tests.reading import markup

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    row = build.job(stage="spring_trials")
    row.bench = simulated_bench(into=row.build)
    row.bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    return row


def fit(job, primary="P2", secondary="S3", **fields):
    values = {
        "primary": Spring.objects.get(label=primary).pk,
        "secondary": Spring.objects.get(label=secondary).pk,
        "primary_bend_mm": "0.15",
        "secondary_bend_mm": "-0.1",
        "once": "key",
    }
    return f"/jobs/{job.number}/trials/fit/", values | fields


def test_the_screen_says_what_the_engine_says(client_as, job):
    page = client_as("technician").get(f"/jobs/{job.number}/trials/")
    state = loop.trial_state(job.bench.fresh())
    best = state.offers[0]
    words = page.content.decode()
    for said in (best.pair, best.chance, best.why, f"{best.worst_miss_deg.crank:.1f}", state.read_as):
        assert said in words
    # In the same words over all of them and beside each.
    assert words.count("chance that its run will be judged in the band") == 1 + len(state.offers)
    assert "Farthest from the middle of the band, expected" in words
    assert f'{best.worst_miss_deg.shaft:.1f} <span class="unit">distributor deg (' in words
    assert page.context["curve"]["figure"]["model"]["label"] == f"expected, {best.pair}"
    row = page.context["expected"][0]
    assert row.speed_rpm.crank == row.speed_rpm.shaft * 2  # a four-stroke: common practice, no source
    assert (row.band_low_deg.crank + row.band_high_deg.crank) / 2 == pytest.approx(
        job.build.target.points.first().crank_deg
    )


def test_why_the_offers_stand_in_their_order_is_said_of_all_of_them(client_as, job):
    words = markup(client_as("technician").get(f"/jobs/{job.number}/trials/"))
    state = loop.trial_state(job.bench.fresh())
    head, *listed = words.split('<span class="offer-place">')
    assert escape(state.order) in head
    assert len(listed) == len(state.offers) > 1
    for offer, part in zip(state.offers, listed, strict=True):
        assert (f"{offer.prospect} with its posts trimmed after its run" in part) == offer.trims


def test_another_proposal_is_drawn_and_htmx_gets_the_drawing_alone(client_as, job):
    client, address = client_as("counter"), f"/jobs/{job.number}/trials/?show=2"
    assert client.get(address).context["shown"].place == 2
    part = client.get(address, headers={"hx-request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="prediction">')
    assert client.get(f"/jobs/{job.number}/trials/?show=99").context["shown"].place == 1


@pytest.mark.parametrize(("query", "words"), [("bend=9", "too high"), ("bend=wide", "not a number")])
def test_a_bad_choice_is_refused_beside_its_field(client_as, job, query, words):
    page = client_as("technician").get(f"/jobs/{job.number}/trials/?{query}")
    assert page.status_code == 422
    assert words in page.content.decode()


def test_choices_reach_the_engine(client_as, job):
    page = client_as("technician").get(f"/jobs/{job.number}/trials/?bend=0,1&initial=on")
    assert page.context["state"].choices == loop.Choices(0.1, None, True)
    bends = [bend for one in page.context["state"].offers for bend in one.proposal.post_bend_mm]
    assert max(map(abs, bends)) <= 0.1


def test_what_to_buy_is_said_when_asked(client_as, job):
    page = client_as("technician").get(f"/jobs/{job.number}/trials/?buy=1")
    assert [one.position for one in page.context["wanted"]] == ["primary", "secondary"]
    found, words = page.context["wanted"][0].found, " ".join(page.content.decode().split())
    made = found.winding.spring
    assert f"{found.spring.rate_n_per_mm:.2f}" in words
    assert f"{made.wire_mm:.2f} mm wire on a mean coil of {made.coil_mm:.1f} mm" in words
    assert f"{found.winding.body_turns:.1f} turns between the hooks" in words
    assert f"{made.stress_n_per_mm2:.0f} N/mm² of the {made.limit_n_per_mm2:.0f}" in words
    assert "shear modulus of 81 370 N/mm²" in words


def test_without_target_and_runs_it_says_what_to_do(client_as):
    job = build.job(stage="spring_trials")
    words = client_as("technician").get(f"/jobs/{job.number}/trials/").content.decode()
    assert f"/jobs/{job.number}/target/" in words
    assert "runs/new/?kind=as_received" in words


def test_fitting_a_pair_makes_its_run_ready_to_read(client_as, job):
    client = client_as("technician")
    address, values = fit(job)
    for _ in range(2):  # a double click
        answer = client.post(address, values)
    run = Run.objects.get(build=job.build, number=2)
    assert answer.status_code == 302
    assert str(run.number) in answer.url
    assert (str(run.primary), str(run.secondary), run.kind) == ("P2", "S3", "trial")
    assert (run.primary_bend_mm, run.secondary_bend_mm, run.frame) == (0.15, -0.1, "shaft")
    assert not run.readings.exists()
    assert AuditEntry.objects.filter(job=job, verb="chose a pair to fit").count() == 1
    said = client.get(answer.url).content.decode()
    assert (
        "bend the primary post out by 0.15 mm, bend the secondary post in by 0.10 mm, hang in P2 and S3"
        in said
    )


def test_a_pair_that_waits_to_be_read_is_taken_again(client_as, job):
    client = client_as("technician")
    for key in ("first", "second"):
        client.post(*fit(job, once=key))
    assert Run.objects.filter(build=job.build).count() == 2


def test_fitting_keeps_what_the_run_before_taught(client_as, job):
    client_as("technician").post(*fit(job))
    assert {str(one.spring) for one in SpringCorrection.objects.filter(build=job.build)} == {"P1", "S1"}


def test_a_run_typed_changed_or_taken_off_teaches_once_it_is_saved(
    client_as, job, django_capture_on_commit_callbacks
):
    client = client_as("technician")
    springs = {
        place: Spring.objects.get(label=label).pk for place, label in (("primary", "P2"), ("secondary", "S2"))
    }
    lines = "\n".join(f"{r.speed_rpm:g};{r.advance_deg:g}" for r in job.build.runs.get().readings.all())
    typed = {"kind": "trial", "frame": "shaft", "json": "", "lines": lines, "once": "key", **springs}
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"/jobs/{job.number}/runs/new/", typed).status_code == 302
    learned = {str(one.spring) for one in SpringCorrection.objects.filter(build=job.build)}
    assert learned == {"P1", "S1", "P2", "S2"}
    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/jobs/{job.number}/runs/2/remove/")
    learned = {str(one.spring) for one in SpringCorrection.objects.filter(build=job.build)}
    assert learned == {"P1", "S1"}


@pytest.mark.parametrize("change", [{"primary": ""}, {"primary": "99999"}, {"primary_bend_mm": "5"}])
def test_a_pair_that_can_not_be_is_not_fitted(client_as, job, change):
    address, values = fit(job)
    assert client_as("technician").post(address, values | change).status_code == 302
    assert Run.objects.filter(build=job.build).count() == 1


def test_who_may_not_fit(client_as, job):
    address, values = fit(job)
    assert client_as("counter").post(address, values).status_code == 403
    assert client_as("technician").get(address).status_code == 405
    assert client_as("technician").post(f"/jobs/{job.number}/trials/").status_code == 405
    job.build.locked = True
    job.build.save()
    assert client_as("technician").post(address, values).status_code == 403
    page = client_as("technician").get(f"/jobs/{job.number}/trials/")
    assert page.status_code == 200
    assert "Fit this pair" not in markup(page)
    assert Run.objects.filter(build=job.build).count() == 1
    assert not SpringCorrection.objects.exists()


def test_the_page_costs_few_queries(client_as, job, django_assert_max_num_queries):
    client = client_as("technician")
    for number in range(2, 6):
        job.bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=number)
    client.get(f"/jobs/{job.number}/trials/")  # the shop's row is made once
    with django_assert_max_num_queries(12):
        client.get(f"/jobs/{job.number}/trials/")


def after_fitting(client, job, place=0):
    """Fit an offer as its button does; the page as it is then."""
    offer = loop.trial_state(job.bench.fresh()).offers[place]
    bends = [f"{bend:g}" for bend in offer.proposal.post_bend_mm]
    named = dict(zip(("primary_bend_mm", "secondary_bend_mm"), bends, strict=True))
    client.post(*fit(job, str(offer.primary), str(offer.secondary), seal=offer.seal, **named))
    return offer, client.get(f"/jobs/{job.number}/trials/")


def test_a_pair_that_was_fitted_is_read_next_and_not_offered_again(client_as, job):
    client = client_as("technician")
    before = markup(client.get(f"/jobs/{job.number}/trials/"))
    assert "Hangs in the unit now" not in before
    assert ">Fit next</h2>" in before
    offer, page = after_fitting(client, job)
    words, run = markup(page), job.build.runs.latest("number")
    hangs, below = words.split(">Other pairs</h2>")
    hangs = hangs.split("Hangs in the unit now</h2>")[1]
    assert f"{run.primary} (post" in hangs or f"{run.primary} + {run.secondary}" in hangs
    assert f'href="/jobs/{job.number}/bench/?run={run.number}">Read trial run 2</a>' in hangs
    assert "Fit next" not in words
    state = page.context["state"]
    assert offer.keys not in [one.keys for one in state.others]
    assert below.count(">Fit this pair<") == len(state.others) > 0
    assert words.count("btn btn-go") == 1  # one thing to do next, and it is to read
    # What is drawn is what hangs there, and posts are bent from where it has them.
    assert page.context["shown"].keys == offer.keys
    assert "Hangs in the unit now: " in words.split('id="prediction"')[1]
    for other in state.others:
        for bend, stands in zip(other.bends, (run.primary_bend_mm, run.secondary_bend_mm), strict=True):
            assert bend.by_mm == pytest.approx(bend.to_mm - stands)


def test_who_may_not_read_is_only_told_what_hangs_in_the_unit(client_as, job):
    after_fitting(client_as("technician"), job)
    words = markup(client_as("counter").get(f"/jobs/{job.number}/trials/"))
    assert "Hangs in the unit now" in words
    assert "Read trial run 2" not in words


def test_half_a_sweep_is_read_on_and_a_failed_run_leads_back_to_the_offers(client_as, job):
    client = client_as("technician")
    after_fitting(client, job)
    run = job.build.runs.latest("number")
    read = job.build.runs.earliest("number").readings.all()
    run.readings.create(position=0, speed_rpm=read[0].speed_rpm, advance_deg=0)
    page = client.get(f"/jobs/{job.number}/trials/")
    assert page.context["state"].is_begun
    assert "Not read over the whole band: read on" in markup(page)
    job.bench.read("P1", "S1", run=run)  # as the pair that failed before: out of the band
    words = markup(client.get(f"/jobs/{job.number}/trials/"))
    assert "Hangs in the unit now" not in words
    assert words.index(">Fit next</h2>") < words.index("Fit this pair")
    assert "Out of the band</span>" in words
    assert "Other pairs" not in words


def test_a_pair_that_was_taken_off_again_hangs_no_longer(client_as, job):
    client = client_as("technician")
    after_fitting(client, job)
    client.post(f"/jobs/{job.number}/runs/2/remove/")
    words = markup(client.get(f"/jobs/{job.number}/trials/"))
    assert ">Fit next</h2>" in words
    assert "Hangs in the unit now" not in words


def untouched(client, job, pair=("P2", "S3")):
    """Fit a pair, and give the address and fields of "Not fitted after all" as the page has them."""
    client.post(*fit(job, *pair))
    words = markup(client.get(f"/jobs/{job.number}/trials/"))
    found = re.search(
        r'<form method="post" action="([^"]+)">(?:(?!</form>).)*Not fitted after all', words, re.S
    )
    assert found
    assert 'name="unfit" value="1"' in found[0]
    return found[1], {"unfit": "1"}


def in_drawer(*labels):
    return [Spring.objects.get(label=label).quantity for label in labels]


def test_a_pair_that_was_not_fitted_after_all_is_off_in_one_tap_and_comes_back(client_as, job):
    client, before = client_as("technician"), in_drawer("P2", "S3")
    address, fields = untouched(client, job)
    assert in_drawer("P2", "S3") == [count - 1 for count in before]
    for _ in range(2):  # tapped twice
        page = client.post(address, fields, follow=True)
        words = markup(page)
        assert page.redirect_chain[0][0] == f"/jobs/{job.number}/trials/"
        assert "Trial run 2 is off the card: its pair counts as not fitted." in words
        assert "Hangs in the unit now</h2>" not in words
        assert in_drawer("P2", "S3") == before
    undo = re.search(rf'action="{address}">(?:(?!</form>).)*', words, re.S)[0]
    values = dict(re.findall(r'name="(restore|unfit)" value="(1)"', undo))
    words = markup(client.post(address, values, follow=True))
    assert "Trial run 2 is back on the card." in words
    assert "Hangs in the unit now</h2>" in words
    assert in_drawer("P2", "S3") == [count - 1 for count in before]


@pytest.mark.parametrize("kind", ["readings", "sparks"])
def test_a_pair_of_which_anything_was_read_is_not_put_aside_as_not_fitted(client_as, job, kind):
    client = client_as("technician")
    address, fields = untouched(client, job)
    run = job.build.runs.get(number=2)
    if kind == "readings":
        run.readings.create(position=0, speed_rpm=300, advance_deg=0)
    else:
        run.sparks.create(speed_rpm=300, cylinder=1, offset_deg=1)
    words = markup(client.post(address, fields, follow=True))  # from a page that is older
    assert "Trial run 2 stays on the card: something was read of it meanwhile." in words
    assert not job.build.runs.get(number=2).removed
    assert "Not fitted after all" not in words


def test_another_pair_is_bent_from_where_the_one_that_hangs_has_its_posts(client_as, job):
    client = client_as("technician")
    client.post(*fit(job))  # 0.15 mm out, 0.1 mm in
    answer = client.post(*fit(job, "P3", "S2", primary_bend_mm="0.05", secondary_bend_mm="-0.1", once="2"))
    said = client.get(answer.url).content.decode()
    assert "Trial run 3 is ready: bend the primary post in by 0.10 mm, hang in P3 and S2" in said


def test_a_miss_stands_apart_from_what_a_proposal_is_expected_to_miss(client_as, job):
    words = client_as("technician").get(f"/jobs/{job.number}/trials/").content.decode()
    miss = loop.trial_state(job.bench.fresh()).last.miss
    assert f"rpm ({miss.speed_rpm.crank:.0f} crank)</span>, {miss.where}" in words  # of the run that was read
    assert "Farthest from the middle of the band, expected" in words
    assert f"{miss.side} the band at" in words
    assert f", {miss.where}; " in words  # why this pair
    reads = [
        one["text"]
        for one in client_as("owner").get(f"/jobs/{job.number}/trials/").context["curve"]["figure"]["misses"]
    ]
    assert all(text.startswith("read ") and " distributor deg " in text for text in reads)
    assert reads


def test_the_chance_that_was_shown_is_kept_with_the_run_and_told_until_its_end(client_as, job):
    client = client_as("technician")
    page = client.get(f"/jobs/{job.number}/trials/").content.decode()
    offer, after = after_fitting(client, job)
    assert f'name="seal" value="{offer.seal}"' in page
    run = job.build.runs.latest("number")
    assert run.promised["chance"] == offer.proposal.chance
    shown = f"A chance of {offer.chance} was shown when it was chosen"
    assert f"{shown}." in after.content.decode().split("Hangs in the unit now")[1]
    entry = AuditEntry.objects.get(job=job, verb="chose a pair to fit")
    assert entry.detail["chance"] == offer.chance
    job.bench.read(run.primary, run.secondary, (3.0, 3.0), run=run)  # far out of the band
    words = client.get(f"/jobs/{job.number}/trials/").content.decode()
    assert f"{shown}, and it did not come true." in words.split("Runs so far")[1]


@pytest.mark.parametrize("seal", ["", "forged", "of another pair"])
def test_a_chance_that_was_not_shown_of_this_pair_is_not_kept(client_as, job, seal):
    client = client_as("technician")
    if seal == "of another pair":
        seal = loop.trial_state(job.bench.fresh()).offers[0].seal
    assert client.post(*fit(job, "P3", "S2", primary_bend_mm="0.35", seal=seal)).status_code == 302
    assert job.build.runs.latest("number").promised is None
    assert "chance" not in AuditEntry.objects.get(job=job, verb="chose a pair to fit").detail
    words = markup(client.get(f"/jobs/{job.number}/trials/"))
    assert "was shown when it was chosen" not in words


def test_a_waiting_pair_that_is_then_taken_from_the_proposals_keeps_what_was_shown(client_as, job):
    client = client_as("technician")
    offer = loop.trial_state(job.bench.fresh()).offers[0]
    first, second = (f"{bend:g}" for bend in offer.proposal.post_bend_mm)
    pair = str(offer.primary), str(offer.secondary)
    for key, seal in (("one", ""), ("two", offer.seal), ("three", "")):
        client.post(*fit(job, *pair, primary_bend_mm=first, secondary_bend_mm=second, seal=seal, once=key))
    run = job.build.runs.latest("number")
    assert (run.number, run.promised["chance"]) == (2, offer.proposal.chance)
