"""The customer's answer is data, and money over what they agreed to is missing: made to lie where possible.

What is asked for here is this project's own design; that a limit may be met exactly is plain arithmetic.
"""

from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.intake import actions as intake
from jobs.models import EstimateAnswer, Job
from jobs.money import answers
from jobs.rules import guards
from jobs.rules.agreement import ANSWER, CONSENT, LIMIT, agreement_of
from jobs.teardown import actions as teardown
from shop.models import new_key
from shop.versions import Conflict
from tests import build
from tests.reading import markup, words

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}
AGREED = {"estimate": 200, "agreed_limit": 250}


def fresh(job):
    return Job.objects.get(pk=job.pk)


def opened(days_ago=5, **fields):
    """A card opened some days ago, ready to go on but for its customer."""
    job = build.job(**({"stage": "intake"} | AGREED | fields))
    Job.objects.filter(pk=job.pk).update(opened_at=timezone.now() - timedelta(days=days_ago))
    return fresh(job)


def said(said="accepted", asked=200, amount=None, **fields):
    if said == "accepted" and amount is None:
        amount = asked
    values = {"said_by": "Marta Quill", "how": "telephone", "given_at": timezone.now(), "note": ""}
    return {"said": said, "asked": asked, "amount": amount, **values, **fields}


def take(job, *args, **fields):
    now = fresh(job)
    return answers.take_answer(now, said(*args, **fields), by=build.person("counter"), version=now.version)


def revise(job, amount):
    now = fresh(job)
    intake.change_card(now, {"revised_estimate": amount}, by=build.person(), version=now.version)


def part(job, price, **fields):
    data = {"text": "Bush", "price": price} | fields
    return teardown.add_part(fresh(job), data, by=build.person("owner"))


def of_customer(job):
    return guards.missing(fresh(job))


def local(moment):
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


def post(client, job, headers=HTMX, **changes):
    values = {
        "version": fresh(job).version,
        "once": new_key(),
        "said": "accepted",
        "asked": "380",
        "said_by": "Marta Quill",
        "how": "telephone",
        "given_at": local(timezone.now()),
    }
    return client.post(reverse("answers", args=[job.number]), values | changes, headers=headers)


# What is said, by whom, how and when


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_answer_is_kept_with_who_how_and_when(client_as, role):
    client, job = client_as(role), opened(revised_estimate=380)
    when = timezone.now() - timedelta(days=2)
    text = post(client, job, given_at=local(when), note="wants it by Friday")
    answer = job.answers.get()
    assert (answer.said, answer.asked, answer.amount) == ("accepted", 380, 380)
    assert (answer.said_by, answer.how, answer.by) == ("Marta Quill", "telephone", client.person)
    assert abs(answer.given_at - when) < timedelta(minutes=1)
    assert answer.at - answer.given_at > timedelta(days=1)
    for shown in (
        "Accepted",
        "380.00",
        "Marta Quill, by telephone",
        "wants it by Friday",
        str(client.person),
    ):
        assert shown in words(text)
    told = unescape(client.get(reverse("history", args=[job.number])).content.decode())
    assert "wrote the customer's answer (" in told
    for shown in ("answer: Accepted", "asked: 380", "agreed: 380", "said by: Marta Quill"):
        assert shown in told
    assert of_customer(job) == []


def test_answers_are_kept_and_the_latest_given_stands(client_as):
    job = opened(revised_estimate=380)
    take(job, "declined", 380)
    assert of_customer(job) == [CONSENT]
    take(job, "in_part", 380, 300)
    assert agreement_of(fresh(job)).limit == 300
    assert of_customer(job) == []
    # Entered last, but said before: the later word stands.
    take(job, "declined", 380, given_at=timezone.now() - timedelta(days=1))
    assert of_customer(job) == []
    assert [answer.said for answer in job.answers.all()] == ["declined", "declined", "in_part"]
    text = client_as("counter").get(reverse("section", args=[job.number, "answer"]), headers=HTMX)
    assert text.content.decode().count("entered by") == 3


def test_hesitation_after_a_yes_waits_again():
    job = opened(revised_estimate=380)
    take(job, "accepted", 380)
    assert of_customer(job) == []
    take(job, "none", 380, said_by="", how="", note="wants to think it over")
    assert of_customer(job) == [ANSWER]


def test_answer_taken_back_no_longer_counts_but_stays(client_as):
    client, job = client_as("counter"), opened(revised_estimate=380)
    answer = take(job, "accepted", 380)
    address = reverse("take_back_answer", args=[job.number, answer.pk])
    assert client.post(address, {"version": fresh(job).version, "why": " "}, headers=HTMX).status_code == 422
    assert client.get(address).status_code == 405
    assert client.post(address, {"version": job.version, "why": "x"}, headers=HTMX).status_code == 409
    assert of_customer(job) == []
    sent = {"version": fresh(job).version, "why": "meant for job 12"}
    text = client.post(address, sent, headers=HTMX).content.decode()
    assert "meant for job 12" in text
    assert of_customer(job) == [ANSWER]
    assert agreement_of(fresh(job)).limit == 250
    answer.refresh_from_db()
    assert (answer.said, answer.amount, answer.taken_back_by) == ("accepted", 380, client.person)
    again = sent | {"version": fresh(job).version, "why": "twice"}
    client.post(address, again, headers=HTMX)
    answer.refresh_from_db()
    assert answer.taken_back_why == "meant for job 12"


# When


@pytest.mark.parametrize(
    ("ago", "words"),
    [
        (timedelta(minutes=-5), "in the future"),
        (timedelta(days=6), "The card was opened on"),
        (timedelta(days=2), "answers another"),
    ],
)
def test_answer_before_its_time_is_refused_beside_the_field(client_as, ago, words):
    client, job = client_as("counter"), opened()
    revise(job, 380)
    sent = {"given_at": local(timezone.now() - ago), "note": "half an hour"}
    answer = post(client, job, **sent)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert words in text
    assert 'id="id_given_at_error"' in text
    assert f'value="{sent["given_at"]}"' in text
    assert "half an hour" in text
    assert not job.answers.exists()
    assert of_customer(job) == [ANSWER]


def test_yes_to_the_first_estimate_is_none_to_the_revised_one():
    job = opened()
    take(job, "accepted", 200, given_at=timezone.now() - timedelta(days=2))
    assert of_customer(job) == []
    revise(job, 380)
    assert of_customer(job) == [ANSWER]
    with pytest.raises(ValidationError, match="answers another"):
        take(job, "accepted", 380, given_at=timezone.now() - timedelta(days=1))
    assert of_customer(job) == [ANSWER]


def test_amount_told_on_the_telephone_and_written_with_the_answer_revises_the_estimate():
    job, yesterday = opened(), timezone.now() - timedelta(days=1)
    take(job, "accepted", 380, given_at=yesterday)
    now = fresh(job)
    assert (now.revised_estimate, now.estimate_since) == (380, yesterday)
    assert of_customer(job) == []


# Amounts


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"said": "accepted", "amount": "300"}, "choose accepted in part"),
        ({"said": "in_part"}, "Write which amount was agreed"),
        ({"said": "in_part", "amount": "380"}, "choose accepted, or"),
        ({"said": "declined", "amount": "10"}, "No amount is agreed with this answer"),
        ({"said": "none", "amount": "0"}, "No amount is agreed with this answer"),
        ({"said_by": " "}, "Write who said it"),
        ({"how": ""}, "Choose how it was said"),
        ({"how": "by pigeon"}, "Not on the list"),
        ({"said": "perhaps"}, "Not on the list"),
        ({"said": ""}, "Needed"),
        ({"asked": "NaN"}, "not a number"),
        ({"asked": "-1"}, "too low"),
        ({"given_at": "soon"}, "Not a day and time"),
        ({"given_at": ""}, "Needed"),
    ],
)
def test_half_an_answer_is_refused_and_kept(client_as, changes, words):
    job = opened(revised_estimate=380)
    answer = post(client_as("counter"), job, note="half an hour", **changes)
    assert answer.status_code == 422
    assert words in unescape(answer.content.decode())
    assert "half an hour" in answer.content.decode()
    assert not job.answers.exists()
    assert job.history.count() == 0


def test_limit_of_nothing_is_a_limit_and_none_is_not():
    free, unlimited = opened(estimate=None, agreed_limit=0), opened(estimate=None, agreed_limit=None)
    for job in (free, unlimited):
        assert of_customer(job) == []
        part(job, Decimal("0.01"))
    assert of_customer(free) == [LIMIT]
    assert of_customer(unlimited) == []


def test_exactly_at_the_limit_is_fine_and_a_cent_above_is_not():
    job = opened()
    # In binary fractions ten times 24.99 and 0.10 make a little more than 250.
    for _ in range(10):
        part(job, Decimal("24.99"))
    part(job, Decimal("0.10"))
    assert agreement_of(fresh(job)).spent == Decimal("250.00")
    assert of_customer(job) == []
    part(job, Decimal("0.01"))
    assert of_customer(job) == [LIMIT]
    assert agreement_of(fresh(job)).over_by == Decimal("0.01")


def test_left_off_and_free_lines_do_not_count():
    job = opened()
    part(job, 250)
    part(job, 90, state="left_off", why="fits the car")
    part(job, 0, state="loose", text="Rotor")
    part(job, None, state="loose", text="Screw")
    assert of_customer(job) == []
    line = part(job, 90, state="fitted")
    assert of_customer(job) == [LIMIT]
    teardown.change_part(line, {"state": "left_off", "why": "dear"}, by=build.person(), version=line.version)
    assert of_customer(job) == []


def test_part_added_after_a_yes_asks_anew_until_it_is_agreed():
    job = opened(revised_estimate=380)
    take(job, "accepted", 380)
    part(job, 380)
    assert of_customer(job) == []
    part(job, 20, state="labour")
    assert of_customer(job) == [LIMIT]
    assert agreement_of(fresh(job)).to_ask == 400
    take(job, "accepted", 400)
    assert of_customer(job) == []


def test_in_part_the_limit_is_the_amount_agreed():
    job = opened(revised_estimate=380)
    part(job, 310)
    take(job, "in_part", 380, 300)
    assert of_customer(job) == [LIMIT]
    take(job, "in_part", 380, 310)
    assert of_customer(job) == []


def test_raised_amount_asks_anew_and_a_lowered_one_does_not():
    job = opened(revised_estimate=380)
    take(job, "accepted", 380)
    revise(job, 390)
    assert of_customer(job) == [ANSWER]
    revise(job, 370)
    assert of_customer(job) == []


def test_a_no_is_not_forgotten_by_writing_another_estimate_or_none():
    job = opened(revised_estimate=380)
    take(job, "declined", 380)
    assert of_customer(job) == [CONSENT]
    revise(job, 240)  # below the limit, yet nobody said yes to it
    assert of_customer(job) == [ANSWER]
    revise(job, 380)
    assert of_customer(job) == [CONSENT]
    now = fresh(job)
    both = {"revised_estimate": None, "estimate": None}
    intake.change_card(now, both, by=build.person(), version=now.version)
    assert of_customer(job) == [CONSENT]


def test_limit_is_not_raised_by_editing_the_intake(client_as):
    client, job = client_as("owner"), opened()
    part(job, 300)
    sent = {"version": job.version, "estimate": "200", "agreed_limit": "900"}
    client.post(reverse("edit_section", args=[job.number, "agreed"]), sent, headers=HTMX)
    assert fresh(job).agreed_limit == 250
    assert of_customer(job) == [LIMIT]


# Who, and twice


def test_counter_may_not_move_but_the_bench_moves_on_only_with_a_reason(client_as):
    job, client = opened(), client_as("technician")
    part(job, 300)
    move = {"stage": "intake", "to": "teardown"}
    assert client.post(reverse("move", args=[job.number]), move).status_code == 422
    move |= {"reason": "agreed on the way, to be written", "lacked": guards.digest_of([LIMIT])}
    client.post(reverse("move", args=[job.number]), move)
    assert job.moves.get().missing == [LIMIT]


def test_declined_card_goes_on_only_with_a_reason(client_as):
    job, client = opened(revised_estimate=380), client_as("technician")
    take(job, "declined", 380)
    move = {"stage": "intake", "to": "teardown"}
    answer = client.post(reverse("move", args=[job.number]), move)
    assert answer.status_code == 422
    assert "they declined" in answer.content.decode()
    assert fresh(job).stage == "intake"
    card = client.get(reverse("card", args=[job.number])).content.decode()
    assert reverse("close_card", args=[job.number]) in card


def test_same_answer_sent_twice_counts_once(client_as):
    client, job = client_as("counter"), opened(revised_estimate=380)
    key, version = new_key(), fresh(job).version
    for _ in range(2):
        assert post(client, job, headers=None, once=key, version=version).status_code == 302
    assert job.answers.count() == 1


def test_second_of_two_writers_is_shown_the_first_answer(client_as):
    first, second, job = client_as("owner"), client_as("counter"), opened(revised_estimate=380)
    version = fresh(job).version
    assert post(first, job, said="declined", asked="380", version=version).status_code == 200
    answer = post(second, job, version=version, note="said yes")
    text = markup(answer)
    assert answer.status_code == 409
    assert "Someone else saved first" in text
    assert "yours is added to it" in text
    assert "replaces theirs" not in text
    assert "Declined" in text
    assert "said yes" in text
    assert job.answers.get().said == "declined"
    assert f'name="version" value="{fresh(job).version}"' in text


def test_answer_to_an_estimate_revised_meanwhile_is_held_back(person):
    job = opened(revised_estimate=380)
    version = job.version
    revise(job, 500)
    with pytest.raises(Conflict):
        answers.take_answer(job, said("accepted", 380), by=person, version=version)
    assert of_customer(job) == [ANSWER]


def test_asking_with_get_writes_nothing_and_strangers_neither(client_as, client):
    job = opened(revised_estimate=380)
    form = client_as("counter").get(reverse("answers", args=[job.number]), {"said": "accepted"})
    assert form.status_code == 200
    assert not job.answers.exists()
    assert reverse("login") in post(client, job)["Location"]
    assert not job.answers.exists()


def test_person_switched_off_answers_for_nobody(counter):
    job = opened(revised_estimate=380)
    counter.is_active = False
    with pytest.raises(PermissionDenied):
        answers.take_answer(job, said("accepted", 380), by=counter, version=job.version)


def test_answer_on_another_card_is_not_taken_back(client_as):
    mine, other = opened(), opened(revised_estimate=380)
    answer = take(other, "accepted", 380)
    address = reverse("take_back_answer", args=[mine.number, answer.pk])
    assert client_as("owner").post(address, {"version": 1, "why": "x"}).status_code == 404
    assert of_customer(other) == []


# Who has nobody to ask


def test_shop_stock_and_practice_are_asked_nothing(client_as):
    stock = opened(customer=None, revised_estimate=380)
    practice = opened(build=build.build(practice_seed=7), revised_estimate=380)
    for job in (stock, practice):
        part(job, 900)
        assert of_customer(job) == []
        with pytest.raises(ValidationError, match="no customer"):
            take(job, "accepted", 380)
    client = client_as("owner")
    assert client.get(reverse("answers", args=[stock.number])).status_code == 403
    card = markup(client.get(reverse("card", args=[stock.number]) + "?open=teardown"))
    assert "over the limit" not in card.lower()


# Where money is shown


def test_over_the_limit_is_said_wherever_money_is_shown(client_as):
    client, job = client_as("owner"), opened(stage="teardown")
    part(job, 300)
    card = client.get(reverse("card", args=[job.number])).content.decode()
    assert card.count('data-kind="parts-over-limit"') == 2
    rail, parts, answer = (
        card.split(f'id="{start}"')[1].split("</section>")[0] for start in ("rail", "sec-parts", "sec-answer")
    )
    for place in (rail, parts, answer):
        assert "300.00" in place
        assert "250.00" in place
        assert "tax included" in place
    board = client.get(reverse("board")).content.decode()
    assert "over the limit agreed" in board
    job.stage = "hand_back"
    job.save(update_fields=["stage"])
    assert "parts-over-limit" in client.get(reverse("card", args=[job.number])).content.decode()


def test_total_leaves_out_what_was_left_off_and_counts_lines_without_a_price(client_as):
    job = opened(stage="teardown")
    part(job, 40)
    part(job, 90, state="left_off", why="dear")
    part(job, None, text="Screw")
    part(job, 0, text="Rotor")
    card = markup(client_as("owner").get(reverse("card", args=[job.number])))
    parts = card.split('id="sec-parts"')[1].split("</section>")[0]
    assert "40.00 EUR</span> so far" in parts
    assert "1 line without a price" in parts
    assert "free of charge" in parts


def test_estimate_over_the_limit_waits_from_the_counter_on():
    job = opened(estimate=900)
    assert of_customer(job) == [ANSWER]
    take(job, "accepted", 900)
    assert of_customer(job) == []


def test_rows_refuse_an_amount_that_does_not_fit_its_answer():
    job = opened()
    for kind, amount in (("declined", 5), ("accepted", None)):
        with pytest.raises(IntegrityError), transaction.atomic():
            build.answer(job, kind, amount=amount)
    assert not EstimateAnswer.objects.exists()


# Whose answer it is


def change_owner(job, customer):
    now = fresh(job)
    intake.change_owner(now, customer, by=build.person("owner"), version=now.version)


def test_a_no_is_not_walked_past_by_calling_the_unit_the_shops_own(client_as):
    job, client = opened(revised_estimate=380), client_as("owner")
    take(job, "declined", 380)
    sent = {"version": fresh(job).version, "stock": "on", "customer": ""}
    answer = client.post(reverse("edit_section", args=[job.number, "owner"]), sent, headers=HTMX)
    assert answer.status_code == 422
    assert "kept for parts" in unescape(answer.text)
    assert 'id="id_stock_error"' in answer.text
    assert not fresh(job).is_stock
    assert of_customer(job) == [CONSENT]
    revise(job, 240)  # asked anew and not answered: the no is still the last word
    with pytest.raises(ValidationError, match="still theirs"):
        change_owner(job, None)
    take(job, "accepted", 240)
    change_owner(job, None)
    assert of_customer(job) == []


@pytest.mark.parametrize("estimate", [200, None])
def test_a_no_is_not_walked_past_by_an_owner_between(estimate):
    job, between = opened(estimate=estimate), build.customer("Bert Lind")
    dora = job.customer
    take(job, "declined", estimate)
    change_owner(job, between)
    assert of_customer(job) == [ANSWER]
    with pytest.raises(ValidationError, match="still theirs"):
        change_owner(job, None)
    take(job, "accepted", estimate, 240)
    assert of_customer(job) == []
    change_owner(job, dora)
    assert of_customer(job) == [CONSENT]


def test_stock_that_was_declined_before_there_was_a_guard_still_lacks_consent(client_as):
    job = opened(revised_estimate=380, stage="teardown")
    take(job, "declined", 380)
    Job.objects.filter(pk=job.pk).update(customer=None)
    assert CONSENT in of_customer(job)
    card = client_as("owner").get(reverse("card", args=[job.number]) + "?open=teardown")
    assert "Its owner declined before it became shop stock" in words(card)
    assert "Declined: 380.00 EUR asked" in words(card)
    page = markup(client_as("owner").get(reverse("close_card", args=[job.number])))
    assert "Its owner declined before it became shop stock." in words(page)


def test_what_one_owner_agreed_to_binds_no_other(client_as):
    client, job = client_as("owner"), opened(stage="teardown")
    dora, bert = job.customer, build.customer("Bert Lind")
    part(job, 800)
    take(job, "accepted", 900)
    assert agreement_of(fresh(job)).limit == 900
    assert ANSWER not in of_customer(job)
    change_owner(job, bert)
    stands = agreement_of(fresh(job))
    assert (stands.limit, stands.answer, stands.is_answered) == (None, None, False)
    assert ANSWER in of_customer(job)
    card = markup(client.get(reverse("card", args=[job.number]) + "?open=teardown&open=intake"))
    answer, agreed = (
        card.split(f'id="{start}"')[1].split("</section>")[0] for start in ("sec-answer", "sec-agreed")
    )
    assert "No answer yet" in answer
    assert "no limit" in answer
    assert f"Of {dora}, who owned the unit then" in answer
    assert f"with {dora}" in agreed
    assert "of the <span" not in card.split('id="sec-parts"')[1].split("</section>")[0]
    take(job, "in_part", 900, 850, said_by="Bert Lind")
    assert agreement_of(fresh(job)).limit == 850
    change_owner(job, dora)
    assert agreement_of(fresh(job)).limit == 900


def test_a_limit_is_of_whom_the_card_was_opened_for(client_as):
    new = {"unit-maker": "Ember & Stroud", "unit-number": "ES 91", "unit-rotation": "", "unit-trigger": ""}
    sent = new | {"customer": "Dora Quill", "phone": "0555 0101", "agreed_limit": "250", "once": new_key()}
    answer = client_as("counter").post(reverse("new_job"), sent)
    assert answer.status_code == 302, answer.text
    job = Job.objects.get()
    assert (job.limit_agreed_with, agreement_of(job).limit) == (job.customer, 250)
    change_owner(job, build.customer("Bert Lind"))
    assert agreement_of(fresh(job)).limit is None


# What an answer revised


def back(job, answer):
    answer.refresh_from_db()
    version = fresh(job).version
    answers.take_back_answer(answer, by=build.person("counter"), why="another card", version=version)


def test_answer_taken_back_takes_its_amount_along(client_as):
    job = opened(estimate=300, agreed_limit=None)
    assert of_customer(job) == [ANSWER]
    wrong = take(job, "accepted", 900)
    assert of_customer(job) == []
    back(job, wrong)
    now = fresh(job)
    assert (now.revised_estimate, now.estimate_since) == (None, None)
    assert (agreement_of(now).asked, agreement_of(now).limit) == (300, None)
    assert of_customer(job) == [ANSWER]
    told = unescape(client_as("counter").get(reverse("history", args=[job.number])).text)
    assert "estimate: 900.00 → 300.00" in told


def test_answers_taken_back_in_any_order_lead_to_the_estimate_before_them():
    for order in ((0, 1), (1, 0)):
        job = opened(estimate=300, agreed_limit=None)
        revise(job, 320)
        since = fresh(job).estimate_since
        both = [take(job, "accepted", amount) for amount in (900, 950)]
        for place in order:
            back(job, both[place])
        now = fresh(job)
        assert (now.revised_estimate, now.estimate_since) == (320, since)


def test_estimate_revised_by_hand_since_outlives_an_answer_taken_back():
    job = opened(estimate=300, agreed_limit=None)
    wrong = take(job, "accepted", 900)
    revise(job, 410)
    back(job, wrong)
    assert fresh(job).revised_estimate == 410
    assert of_customer(job) == [ANSWER]


def test_answer_that_revised_nothing_leaves_the_estimate_alone():
    job = opened(revised_estimate=380)
    back(job, take(job, "declined", 380))
    assert (fresh(job).revised_estimate, of_customer(job)) == (380, [ANSWER])


def test_estimate_that_no_limit_covers_waits_for_an_answer_whatever_it_came_to(client_as):
    job = opened(estimate=300, agreed_limit=None, stage="teardown")
    part(job, 5000)
    assert ANSWER in of_customer(job)
    assert agreement_of(fresh(job)).to_ask == 5000
    form = client_as("counter").get(reverse("answers", args=[job.number])).text
    assert 'name="asked" value="5000.00"' in form
    take(job, "accepted", 5000)
    assert ANSWER not in of_customer(job)
    assert agreement_of(fresh(job)).limit == 5000


def test_small_job_without_an_estimate_is_asked_nothing():
    job = opened(estimate=None, agreed_limit=None)
    part(job, 40)
    assert of_customer(job) == []
