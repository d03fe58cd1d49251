"""Closing a card without the repair: from any stage, once, with its own hand-back, and never as rebuilt."""

import re
from datetime import date
from decimal import Decimal
from html import unescape

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from curves.models import HeadType, Run
from curves.rows import stock
from curves.rows.locks import Locked, require_unlocked
from curves.springs.learning import teaching_builds
from jobs.intake import actions as intake
from jobs.intake import opening
from jobs.models import Closing, Job, PartLine, Sheet
from jobs.money.forms import things_of
from jobs.moves import actions as moving
from jobs.moves import closing
from jobs.papers import sheets
from jobs.record import audit
from jobs.rules import guards
from jobs.rules.agreement import agreement_of
from jobs.stages import ORDER
from jobs.teardown import actions as teardown
from shop.models import Shop, new_key
from shop.versions import Conflict
from tests import build
from tests.forms import Page
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet, text_of
from tests.reading import markup

pytestmark = pytest.mark.django_db
DATA = {"things": [], "fee": 25, "labour": 0, "collected_by": "Marta Quill", "consent_by": "", "reason": ""}


def declined(stage="teardown", **fields):
    """A card whose customer said no."""
    values = {"came_with": "Cap, rotor arm; clamp.", "estimate": 200, "agreed_limit": 250} | fields
    job = build.job(stage=stage, revised_estimate=380, **values)
    build.answer(job, "declined", asked=380)
    return job


def fresh(job):
    return Job.objects.get(pk=job.pk)


def post(client, job, **changes):
    values = {
        "version": fresh(job).version,
        "once": new_key(),
        "ending": "returned",
        "seen": closing.lines_seen(job),
        "things": ["Cap", "clamp"],
        "fee": "25",
        "labour": "48,50",
        "collected_by": "Marta Quill",
    }
    return client.post(reverse("close_card", args=[job.number]), values | changes)


def _form(answer, job):
    return Page(answer.text).form(reverse("close_card", args=[job.number]))


def close(job, ending="returned", by=None, seen=None, **data):
    return closing.close_unrepaired(
        job,
        ending,
        DATA | data,
        by=by or build.person("owner"),
        version=fresh(job).version,
        seen=seen,
    )


@pytest.mark.parametrize("stage", ORDER)
def test_declined_unit_goes_back_from_any_stage_in_one_step(client_as, stage):
    client, job = client_as("counter"), declined(stage)
    assert post(client, job)["Location"] == reverse("card", args=[job.number])
    now = fresh(job)
    assert (now.is_closed, now.ended_as, now.stage) == (True, "Returned unrepaired", stage)
    assert (now.handed_to, now.warranty_until) == ("Marta Quill", None)
    said = now.closing
    assert (said.owed, said.currency, said.by) == (Decimal("73.50"), "EUR", client.person)
    assert (said.went_back, said.stayed) == (["Cap", "clamp"], ["rotor arm"])
    assert guards.missing(now) == []
    entry = job.history.get()
    assert (entry.verb, entry.by) == ("returned the unit unrepaired", client.person)
    assert entry.detail["owed"] == "73.50 EUR"
    assert entry.detail["went_back"] == ["Cap", "clamp"]
    assert audit.broken_links() == []


def test_everything_says_how_it_ended_and_nothing_that_it_was_rebuilt(client_as):
    client, job = client_as("counter"), declined(customer=build.customer("Ada Venn"))
    post(client, job)
    card = markup(client.get(reverse("card", args=[job.number]) + "?open=hand_back"))
    pages = {
        "card": card,
        "history": markup(client.get(reverse("history", args=[job.number]))),
        "search": markup(client.get(reverse("search"), {"words": "unrepaired"})),
        "customer": markup(client.get(reverse("customer", args=[job.customer.pk]))),
    }
    for name, text in pages.items():
        assert "unrepaired" in text.lower(), name
        for lie in ("handed back", "rebuilt", "warranty until", "proved"):
            assert lie not in text.lower(), (name, lie)
    for shown in ("73.50", "25.00", "48.50", "Cap, clamp", "rotor arm", "tax included", "Not reached."):
        assert shown in card
    assert 'data-state="skipped"' in card
    assert markup(card).count('<li data-state="ended">') == 1  # no tick at what was left open
    assert "closed here" in card
    assert "Setting instructions" not in card
    papers = markup(client.get(reverse("sheets", args=[job.number])))
    assert "the card was closed without one" in papers
    assert "first signed sheet" not in papers
    assert "curve sheet" not in card.split('id="rail"')[1].split("card-curve")[0].lower()
    board = markup(client.get(reverse("board")))
    assert 'class="ticket"' not in board


def test_papers_say_how_it_ended(client_as):
    job = declined()
    close(job, things=[["Cap", True], ["clamp", False]], labour=Decimal("48.5"))
    for kind in (Sheet.Kind.JOB_SHEET, Sheet.Kind.TRAY_TAG):
        text = text_of(draft(fresh(job), kind))
        assert "Returned unrepaired" in text
        assert "rebuilt" not in text.lower()
    said = text_of(draft(fresh(job), Sheet.Kind.JOB_SHEET))
    for shown in ("no warranty", "73.50 EUR", "collected by Marta Quill", "went back Cap", "stayed clamp"):
        assert shown in said
    open_job = build.job()
    told = {"paper_size": "A4", "token": "t", "made_at": timezone.now()}
    assert "ended" not in sheets.gather(open_job, Sheet.Kind.JOB_SHEET, **told)


def test_no_curve_sheet_is_drafted_of_what_was_not_rebuilt(client_as):
    job, client = finished_job(revised_estimate=380), client_as("counter")
    stale, papers = fresh(job), reverse("sheets", args=[job.number])
    offer = '<option value="curve_sheet"'
    assert offer in client.get(papers).content.decode()
    close(job, reason="cracked")
    page = client.get(papers).content.decode()
    assert offer not in page
    assert '<option value="job_sheet"' in page
    sent = {"draft-kind": "curve_sheet", "draft-paper": "A4", "draft-once": new_key()}
    refused = client.post(papers, sent)
    assert refused.status_code == 422
    assert "Not on the list" in refused.content.decode()
    for known in (stale, fresh(job)):
        with pytest.raises(PermissionDenied, match="not rebuilt: returned unrepaired"):
            draft(known, built=False)
    assert not Sheet.objects.exists()


def test_a_curve_sheet_drafted_before_is_not_offered_for_what_was_not_rebuilt(client_as):
    job = finished_job(revised_estimate=380)
    build.answer(job, "declined")
    client, papers = client_as("owner"), reverse("sheets", args=[job.number])
    for kind in (Sheet.Kind.CURVE_SHEET, Sheet.Kind.JOB_SHEET):
        draft(job, kind, by=client.person, built=False)
    assert len(client.get(papers).context["drafts"]) == 2
    close(job)
    assert [one.kind for one in client.get(papers).context["drafts"]] == [Sheet.Kind.JOB_SHEET]


def test_a_sheet_signed_before_says_on_its_public_page_how_it_ended(client):
    job = finished_job(revised_estimate=380)
    build.answer(job, "declined")
    sheet = signed_sheet(job)
    close(job)
    text = client.get(reverse("check", args=[sheet.token])).content.decode()
    assert '<h1 data-standing="ended">Returned unrepaired</h1>' in text
    assert 'data-standing="current"' not in text
    sheet.refresh_from_db()
    assert "ended" not in sheet.content


@pytest.mark.parametrize("kind", [Run.Kind.TRIAL, Run.Kind.FINAL])
def test_springs_that_hung_in_it_are_back_in_the_drawer(owner, kind):
    job, spring = declined("spring_trials"), build.spring(quantity=1)
    build.run(job.build, kind=kind, primary=spring)
    stock.settle(job.build, by=owner)
    spring.refresh_from_db()
    assert spring.quantity == 0
    close(job, by=owner)
    spring.refresh_from_db()
    assert (spring.quantity, PartLine.objects.filter(job=job).count()) == (1, 0)


@pytest.mark.parametrize(("ending", "words"), [("kept", "Kept for parts"), ("scrapped", "Scrapped")])
def test_unit_is_written_off_only_with_its_owners_word(client_as, ending, words):
    client, job = client_as("counter"), declined()
    refused = post(client, job, ending=ending, things=[], collected_by="", consent_by=" ")
    assert refused.status_code == 422
    assert "write who said that it may go" in unescape(refused.content.decode())
    assert not fresh(job).is_closed
    assert post(client, job, ending=ending, things=[], collected_by="", consent_by="Marta").status_code == 302
    assert (fresh(job).ended_as, fresh(job).closing.consent_by) == (words, "Marta")
    text = client.get(reverse("card", args=[job.number]) + "?open=hand_back").content.decode()
    assert words in text
    assert "Marta" in text


@pytest.mark.parametrize("ending", ["kept", "scrapped"])
def test_nobody_collected_a_unit_that_stays_though_its_owner_stood_there(client_as, ending):
    client, job = client_as("counter"), declined()
    shown = _form(client.get(reverse("close_card", args=[job.number])), job).sends
    assert (shown["collected_by"], shown.get("things_to", "")) == (job.customer.name, "")
    sent = {"ending": ending, "consent_by": "Marta", "collected_by": job.customer.name, "things_to": ""}
    refused = post(client, job, **sent)  # things are ticked to go back, and nobody took them
    assert refused.status_code == 422
    assert "or take the ticks away" in refused.text
    assert post(client, job, **sent, things=[]).status_code == 302
    assert (fresh(job).closing.collected_by, fresh(job).handed_to) == ("", "")
    card = markup(client.get(reverse("card", args=[job.number]) + "?open=hand_back"))
    assert "ollected by" not in card
    assert "ollected by" not in text_of(draft(fresh(job), "job_sheet"))


def test_what_came_with_a_unit_that_stays_is_collected_by_name(client_as):
    client, job = client_as("counter"), declined()
    sent = {"ending": "kept", "consent_by": "Marta", "collected_by": job.customer.name}
    assert post(client, job, **sent, things_to="Ola Brandt").status_code == 302
    said = "what came with it was collected by"
    assert fresh(job).closing.collected_by == "Ola Brandt"
    assert f"{said} Ola Brandt" in client.get(reverse("card", args=[job.number])).text
    paper = text_of(draft(fresh(job), "job_sheet"))
    assert f"{said} Ola Brandt" in " ".join(paper.split())


def test_a_name_beside_the_wrong_ending_is_asked_about(client_as):
    client, job = client_as("counter"), declined()
    kept = post(client, job, ending="kept", consent_by="Marta", collected_by="Ola Brandt")
    assert "The unit stays here: clear this" in kept.text
    back = post(client, job, things_to="Ola Brandt")
    assert "write one name, above" in back.text
    assert not fresh(job).is_closed


@pytest.mark.parametrize("ending", ["kept", "scrapped"])
def test_bench_writes_no_unit_off(client_as, ending):
    client, job = client_as("technician"), declined()
    page = client.get(reverse("close_card", args=[job.number])).content.decode()
    assert f'value="{ending}"' not in page
    assert post(client, job, ending=ending, consent_by="Marta").status_code == 422
    with pytest.raises(PermissionDenied):
        close(job, ending, by=client.person, consent_by="Marta")
    assert not fresh(job).is_closed
    assert post(client, job).status_code == 302


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"collected_by": " "}, "Write who takes it back"),
        ({"fee": ""}, "Needed"),
        ({"fee": "-1"}, "too low"),
        ({"labour": "NaN"}, "not a number"),
        ({"ending": ""}, "Needed"),
        ({"ending": "rebuilt"}, "Not on the list"),
        ({"things": ["9"]}, "Not on the list"),
    ],
)
def test_half_a_closing_is_refused_and_kept(client_as, changes, words):
    job = declined()
    answer = post(client_as("counter"), job, **({"reason": "too dear, she says"} | changes))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "too dear, she says" in answer.content.decode()
    assert not fresh(job).is_closed
    assert not Closing.objects.exists()
    assert not job.history.exists()


def test_nobody_who_did_not_decline_is_sent_off_without_a_reason(client_as):
    client, job = client_as("counter"), build.job(stage="teardown", estimate=200)
    refused = post(client, job, things=[])
    assert refused.status_code == 422
    assert "No customer has declined" in refused.content.decode()
    post(client, job, things=[], reason="the shaft is broken; nothing to rebuild")
    assert fresh(job).closing.reason == "the shaft is broken; nothing to rebuild"


def test_no_that_was_answered_anew_counts_no_longer(client_as):
    job = declined()
    build.answer(job, "accepted")
    assert post(client_as("counter"), job).status_code == 422
    assert not fresh(job).is_closed


def test_card_is_closed_once(client_as):
    client, job = client_as("counter"), declined()
    key, version = new_key(), fresh(job).version
    for _ in range(2):  # the same send
        assert post(client, job, once=key, version=version).status_code == 302
    assert post(client, job).status_code == 403
    assert client.get(reverse("close_card", args=[job.number])).status_code == 403
    with pytest.raises(guards.Closed, match="returned unrepaired"):
        close(job)
    assert job.history.count() == 1
    values = {"stage": job.stage, "handed_to": "Marta", "reason": "again"}
    assert client.post(reverse("hand_back", args=[job.number]), values).status_code == 403


def test_second_of_two_is_told_what_changed(client_as):
    client, job = client_as("counter"), declined()
    version = job.version
    Job.objects.filter(pk=job.pk).update(version=version + 1, came_with="Cap")
    answer = post(client, job, version=version, things=["Cap"])
    assert answer.status_code == 409
    assert "Someone else saved first" in answer.content.decode()
    assert not fresh(job).is_closed
    with pytest.raises(Conflict):
        closing.close_unrepaired(job, "returned", DATA, by=client.person, version=version)


def test_asking_with_get_closes_nothing_and_strangers_neither(client_as, client):
    job = declined()
    asked = {"ending": "returned", "collected_by": "x", "fee": 0, "labour": 0}
    assert client_as("owner").get(reverse("close_card", args=[job.number]), asked).status_code == 200
    assert reverse("login") in post(client, job)["Location"]
    assert not fresh(job).is_closed


def test_labour_so_far_is_proposed_as_owed(client_as, person):
    job = declined()
    PartLine.objects.create(job=job, text="Strip", state="labour", quantity="1.5", price=48, by=person)
    PartLine.objects.create(job=job, text="Bush", state="wanted", price=20, by=person)
    page = client_as("counter").get(reverse("close_card", args=[job.number])).content.decode()
    assert 'name="labour" value="72.00"' in page
    assert "Bush" not in page
    assert "Cap" in page
    assert "rotor arm" in page


@pytest.mark.parametrize("after", ["Leads, cap", "Leads, Cap"])
def test_a_tick_goes_with_its_thing_and_never_with_its_place(client_as, after):
    job, client = declined(came_with="Cap, leads"), client_as("counter")
    form = _form(client.get(reverse("close_card", args=[job.number])), job)
    sent = form.sends | {"ending": "returned", "things": ["Cap"], "fee": "25", "labour": "0"}
    intake.change_card(job, {"came_with": after}, by=build.person("owner"), version=job.version)
    answer = client.post(form.action, sent)
    assert answer.status_code == 409
    ticked = re.findall(r'name="things" value="(\w+)"[^>]*checked', answer.text)
    assert ticked == (["Cap"] if "Cap" in after else [])
    assert ("look at the ticks again" in answer.text) is ("Cap" not in after)
    assert not fresh(job).is_closed
    again = _form(answer, job).sends
    assert client.post(form.action, again | {"things": ["Leads"]}).status_code == 302
    assert fresh(job).closing.went_back == ["Leads"]


def test_two_things_of_one_name_are_told_apart(client_as):
    job, client = declined(came_with="screw, screw, screw"), client_as("counter")
    post(client, job, things=["screw", "screw (3)"])
    assert fresh(job).closing.things == [["screw", True], ["screw", False], ["screw", True]]


@pytest.fixture
def with_parts(person):
    """A declined card with a fitted part at 80, two loose at 15 each, one wanted and one left off."""
    job = declined()
    for text, state, price, quantity in (
        ("Bush", "fitted", 80, 1),
        ("Rotor", "loose", 15, 2),
        ("Capsule", "wanted", 70, 1),
        ("Module", "left_off", 90, 1),
        ("Circlip", "fitted", None, 1),
    ):
        PartLine.objects.create(job=job, text=text, state=state, price=price, quantity=quantity, by=person)
    return job


def keys(job, *texts):
    return [str(job.parts.get(text=text).pk) for text in texts]


def test_parts_that_stay_are_owed_and_said_everywhere(client_as, with_parts):
    job, client = with_parts, client_as("counter")
    page = client.get(reverse("close_card", args=[job.number])).text
    for shown in ("Bush, fitted: 80.00 EUR", "2 × Rotor, supplied loose: 30.00 EUR", "without a price"):
        assert shown in page
    for left in ("Capsule", "Module"):
        assert left not in page
    stay = re.findall(r'name="stays" value="(\d+)"[^>]*checked', page)
    assert stay == keys(job, "Bush", "Rotor", "Circlip")
    assert post(client, job, stays=stay).status_code == 302
    said = fresh(job).closing
    assert (said.parts, said.owed) == (110, Decimal("183.50"))
    assert said.parts_left == ["Bush 80.00", "2 Rotor 30.00", "Circlip"]
    card = client.get(reverse("card", args=[job.number]) + "?open=hand_back").text
    paper = text_of(draft(fresh(job), Sheet.Kind.JOB_SHEET))
    for place in (card, paper):
        for shown in ("183.50", "110.00", "Bush 80.00, 2 Rotor 30.00, Circlip"):
            assert shown in place
    assert job.history.get(verb="returned the unit unrepaired").detail["owed"] == "183.50 EUR"


def test_part_taken_out_again_owes_nothing_and_is_no_longer_fitted(client_as, with_parts):
    job, client = with_parts, client_as("counter")
    assert post(client, job, stays=keys(job, "Circlip")).status_code == 302
    said = fresh(job).closing
    assert (said.parts, said.owed) == (0, Decimal("73.50"))
    assert (said.parts_left, said.parts_taken_out) == (["Circlip"], ["Bush", "2 Rotor"])
    left = job.parts.filter(state="left_off").exclude(text="Module").order_by("pk")
    assert [(line.text, line.why) for line in left] == [("Bush", "taken out again"), ("Rotor", "kept here")]
    paper = text_of(draft(fresh(job), Sheet.Kind.JOB_SHEET))
    assert "parts not left with it Bush, 2 Rotor" in paper


def test_part_or_hour_written_meanwhile_is_looked_at_before_it_is_owed(client_as, with_parts):
    job, client, by = with_parts, client_as("counter"), build.person("owner")
    seen, stay = closing.lines_seen(job), keys(job, "Bush", "Rotor", "Circlip")
    teardown.add_part(job, {"text": "Shaft", "price": 60, "state": "fitted"}, by=by)
    teardown.add_part(job, {"text": "Turning", "price": 40, "state": "labour"}, by=by)
    for _ in range(2):
        answer = post(client, job, seen=seen, stays=stay)
        assert answer.status_code == 422
    assert "Labour so far is 40.00 now" in answer.text
    assert "Shaft, fitted: 60.00 EUR" in answer.text
    assert not fresh(job).is_closed
    sent = _form(answer, job).sends
    assert post(client, job, seen=sent["seen"], stays=stay + keys(job, "Shaft")).status_code == 302
    assert fresh(job).closing.parts == 170
    with pytest.raises(guards.Closed):
        close(job, seen=seen)


def test_part_written_between_the_look_and_the_lock_is_not_owed_unseen(with_parts):
    seen = closing.lines_seen(with_parts)
    teardown.add_part(with_parts, {"text": "Shaft", "price": 60, "state": "fitted"}, by=build.person("owner"))
    with pytest.raises(ValidationError, match="written on the card meanwhile"):
        close(with_parts, seen=seen)
    assert not fresh(with_parts).is_closed


def test_closing_of_before_there_were_parts_in_it_still_renders(client_as):
    job = declined()
    close(job)
    ended = sheets.gather(
        fresh(job), Sheet.Kind.JOB_SHEET, paper_size="A4", token="t", made_at=timezone.now()
    )
    old = {name: value for name, value in ended["ended"].items() if not name.startswith("parts")}
    text = render_to_string("sheets/_ended.html", {"ended": old})
    assert "labour 0.00</td>" in markup(text)
    assert "parts" not in text


def test_owed_is_in_the_shops_currency_of_that_day(client_as):
    job = declined()
    Shop.objects.update_or_create(pk=1, defaults={"currency": "CHF"})
    close(job)
    Shop.objects.update(currency="USD")
    card = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    assert "25.00 CHF owed" in card


def test_shop_stock_goes_back_to_nobody_but_may_be_scrapped(client_as):
    client, job = client_as("owner"), build.job(stage="teardown", customer=None)
    page = markup(client.get(reverse("close_card", args=[job.number])))
    assert 'value="returned"' not in page
    with pytest.raises(ValidationError, match="nobody to go back to"):
        close(job, reason="cracked")
    close(job, "scrapped", reason="cracked", consent_by="Robin Owner", collected_by="")
    with pytest.raises(PermissionDenied, match="not rebuilt"):
        moving.allocate(fresh(job), customer=build.customer(), by=client.person)
    card = markup(client.get(reverse("card", args=[job.number])))
    assert "Give the unit to a customer" not in card
    assert client.get(reverse("allocate", args=[job.number])).status_code == 403


def test_whoever_may_end_a_card_in_no_way_is_not_led_there_and_told_why(client_as):
    stock, sold = build.job(stage="teardown", customer=None), build.job(stage="teardown")

    def is_led(client, job):
        card = client.get(reverse("card", args=[job.number]) + "?open=hand_back").content.decode()
        return [reverse("close_card", args=[job.number]) in part for part in card.split('id="sec-hand_back"')]

    bench, desk = client_as("technician"), client_as("counter")
    assert is_led(bench, sold) == is_led(desk, sold) == is_led(desk, stock) == [True, True]
    assert is_led(bench, stock) == [False, False]
    for answer in (
        bench.get(reverse("close_card", args=[stock.number])),
        post(bench, stock, ending="scrapped"),
    ):
        assert answer.status_code == 403
        said = answer.content.decode()
        assert f"Job {stock.number} is shop stock: it goes back to nobody" in said
        assert "a technician keeps no unit for parts and scraps none" in said
    assert not fresh(stock).is_closed


@pytest.mark.parametrize(
    ("asked", "answered", "state", "words"),
    [
        (380, "declined", "declined", "Declined"),
        (None, "declined", "declined", "Declined"),
        (380, "accepted", "done", "Accepted"),
        (380, "none", "na", "Not answered"),
        (380, None, "na", "Not answered"),
        (None, None, "na", "Nothing was asked"),
    ],
)
def test_closed_card_says_what_was_answered_and_ticks_no_refusal(client_as, asked, answered, state, words):
    job, client = build.job(stage="teardown", revised_estimate=asked), client_as("counter")
    if answered:
        build.answer(job, answered, asked=asked)

    def said():
        card = client.get(reverse("card", args=[job.number]) + "?open=teardown").content.decode()
        line = card.split('id="sec-answer"')[1].split("</dl>")[1].split("</p>")[0]
        return re.search(r'data-state="(\w+)">([^<]+)<', line).groups(), " ".join(line.split())

    assert said()[0][0] == {"na": "open"}.get(state, state)
    close(job, reason="she wants it so")
    assert said()[0] == (state, words)
    assert ("380.00 EUR" in said()[1]) is (words == "Not answered")


def test_a_no_without_an_estimate_stays_one_once_the_estimate_is_taken_out():
    job = declined(estimate=None)
    Job.objects.filter(pk=job.pk).update(revised_estimate=None)
    assert agreement_of(fresh(job)).stand.words == "Declined"


def test_practice_unit_is_never_closed_so(client_as):
    job = build.job(stage="spring_trials", customer=None, build=build.build(practice_seed=7))
    client = client_as("owner")
    assert client.get(reverse("close_card", args=[job.number])).status_code == 403
    with pytest.raises(PermissionDenied, match="practice"):
        close(job, "scrapped", reason="x", consent_by="x")
    card = client.get(reverse("card", args=[job.number]) + "?open=teardown&open=hand_back").content.decode()
    assert reverse("close_card", args=[job.number]) not in card


def test_unit_that_comes_back_gets_a_card_of_its_own(person):
    job = declined()
    close(job)
    new = opening.reopen(fresh(job), by=person, road_report="she wants it done after all")
    assert (new.previous, new.is_closed, new.ending) == (job, False, "")
    assert not new.build.locked
    assert not new.build.unrepaired
    assert fresh(job).ended_as == "Returned unrepaired"


def test_unit_that_was_not_rebuilt_takes_no_readings_and_teaches_nothing(client_as):
    head_type = HeadType.objects.create(name="Ember 22")
    kept, rebuilt = (build.job(build=build.build(head_type=head_type), stage="hand_back") for _ in range(2))
    for job in (kept, rebuilt):
        build.run(job.build)
    close(kept, reason="cracked")
    moving.hand_back(rebuilt, by=build.person("owner"), handed_to="Marta", reason="sheet by post")
    assert list(teaching_builds(head_type)) == [rebuilt.build]
    with pytest.raises(Locked, match="without the repair"):
        require_unlocked(kept.build)
    rows = markup(client_as("owner").get(reverse("head_types"))).split("Ember 22")[1]
    assert '<td class="num">2</td><td class="num">1</td>' in rows


def test_rows_refuse_a_warranty_on_what_was_not_rebuilt():
    job = declined()
    close(job)
    for lie in ({"warranty_until": date(2028, 1, 1)}, {"closed_at": None}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Job.objects.filter(pk=job.pk).update(**lie)


@pytest.mark.parametrize(
    ("text", "things"),
    [
        ("", []),
        ("Cap, no leads", ["Cap"]),
        ("Cap; rotor.\nclamp plate\n", ["Cap", "rotor", "clamp plate"]),
        ("Nothing", []),
        ("none; –", []),
        ("No. 3 rotor", ["No. 3 rotor"]),
    ],
)
def test_what_came_with_it_is_a_list_to_tick(text, things):
    assert things_of(text) == things
