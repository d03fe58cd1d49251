"""A unit from the shelf goes to its owner, with their engine, a day, and a sheet that names them."""

import html
import json
from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, Sheet
from jobs.moves import actions
from jobs.page.results import result_of
from jobs.papers import building, signing, verify
from jobs.queries import card_for
from jobs.rules.agreed_for import earlier_engine_words
from jobs.rules.revisions import names_another_owner
from jobs.stages import Stage
from shop.models import Customer
from tests import build
from tests.jobs.papers.paperwork import finished_job, signed_sheet, text_of
from tests.reading import markup

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def shelf():
    """A finished exchange unit with a signed sheet that names the shelf."""
    job = finished_job(customer=None)
    signed_sheet(job)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now() - timedelta(days=9))
    return Job.objects.get(pk=job.pk)


def give(client, job, **changes):
    values = {"customer": "Ivo Brandt", "phone": "0555 0102", "on": str(TODAY()), "handed_to": "Ivo"}
    return client.post(reverse("allocate", args=[job.number]), values | changes)


def newest(job):
    return Sheet.objects.signed().filter(job=job).order_by("-revision").first()


def page_of(client, sheet):
    return markup(client.get(reverse("check", args=[sheet.token])))


def test_new_sheet_names_the_owner_and_the_old_is_superseded_as_it_was(client_as, shelf):
    old = newest(shelf)
    before = (old.data, old.data_sha256, old.pdf_sha256)
    client = client_as("technician")
    engine = {"engine-make": "Pellgrove", "engine-vehicle": "Pellgrove cruiser", "engine-cylinders": "4"}
    until = TODAY() + timedelta(days=365)
    assert (
        give(client, shelf, password=build.PASSWORD, warranty_until=str(until), **engine).status_code == 302
    )
    job, new = Job.objects.get(pk=shelf.pk), newest(shelf)
    assert (job.customer.name, job.engine.vehicle) == ("Ivo Brandt", "Pellgrove cruiser")
    assert (job.allocated_on, job.warranty_until) == (TODAY(), until)
    assert (new.revision, new.signed_by, new.content["owner"]) == (2, client.person, "Ivo Brandt")
    assert new.content["recorded"]["vehicle"] == "Pellgrove cruiser"
    assert not verify.faults(new)
    old.refresh_from_db()
    assert (old.data, old.data_sha256, old.pdf_sha256) == before
    assert "Superseded by revision 2" in page_of(client, old)
    assert 'data-standing="current"' in page_of(client, new)
    assert "waits to be signed" not in markup(client.get(reverse("card", args=[job.number])))
    assert shelf.engine.vehicle != "Pellgrove cruiser"


def test_who_may_not_sign_leaves_a_sheet_that_waits_and_nothing_says_current(client_as, shelf):
    old, client = newest(shelf), client_as("counter")
    assert 'name="password"' not in markup(client.get(reverse("allocate", args=[shelf.number])))
    assert give(client, shelf, password=build.PASSWORD).status_code == 302
    assert newest(shelf) == old
    card = markup(client.get(reverse("card", args=[shelf.number])))
    assert "The new curve sheet waits to be signed." in card
    assert 'data-standing="former"' in page_of(client, old)
    assert "Current" not in page_of(client, old)
    papers = markup(client.get(reverse("sheets", args=[shelf.number])))
    assert "Names another owner" in papers
    assert "Sign the sheet" not in papers


def test_sheet_that_waits_is_signed_later_on_the_closed_card_and_once(client_as, shelf):
    give(client_as("counter"), shelf)
    client, address = client_as("technician"), reverse("sign_sheet", args=[shelf.number])
    job = Job.objects.get(pk=shelf.pk)
    values = {"sign-kind": "curve_sheet", "sign-paper": "A4", "sign-seen": signing.recorded_sha256(job)}
    assert client.post(address, values | {"sign-password": "wrong"}).status_code == 422
    assert client.post(address, values | {"sign-password": build.PASSWORD}).status_code == 302
    assert newest(job).content["owner"] == "Ivo Brandt"
    assert client.post(address, values | {"sign-password": build.PASSWORD}).status_code == 403
    assert newest(job).revision == 2
    assert 'data-standing="current"' in page_of(client, newest(job))


def test_wrong_password_gives_nothing_away(client_as, shelf):
    answer = give(client_as("technician"), shelf, password="wrong")
    assert answer.status_code == 422
    assert "Not your password" in answer.content.decode()
    assert Job.objects.get(pk=shelf.pk).is_stock
    assert not Customer.objects.exists()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"on": ""}, "Needed"),
        ({"on": str(TODAY() - timedelta(days=30))}, "It was finished on"),
        ({"on": str(TODAY() + timedelta(days=2))}, "yet to come"),
        ({"warranty_until": str(TODAY() - timedelta(days=1))}, "before the unit is theirs"),
        ({"engine-vehicle": "Larkfield"}, "Whose engine is it?"),
        ({"engine-year": "1870"}, "too low"),
    ],
)
def test_impossible_day_or_engine_is_refused_and_nothing_is_lost(client_as, shelf, changes, said):
    answer = give(client_as("technician"), shelf, password=build.PASSWORD, **changes)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="Ivo Brandt"' in answer.content.decode()
    assert Job.objects.get(pk=shelf.pk).is_stock
    assert newest(shelf).revision == 1


def test_given_twice_is_refused_and_the_first_owner_stays(client_as, shelf):
    client = client_as("technician")
    give(client, shelf, password=build.PASSWORD)
    answer = give(client, shelf, customer="Marta Quill", password=build.PASSWORD)
    assert answer.status_code == 422
    assert "already belongs to Ivo Brandt" in answer.content.decode()
    assert newest(shelf).content["owner"] == "Ivo Brandt"
    assert newest(shelf).revision == 2
    assert not Customer.objects.filter(name="Marta Quill").exists()


def test_practice_unit_is_given_to_nobody(technician):
    job = build.job(
        customer=None, stage="hand_back", closed_at=timezone.now(), build=build.build(practice_seed=3)
    )
    with pytest.raises(PermissionDenied):
        actions.allocate(job, customer=build.customer(), by=technician)
    assert Job.objects.get(pk=job.pk).is_stock


def test_closed_card_of_its_first_owner_takes_no_new_signature(technician):
    job = finished_job()
    signed_sheet(job)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    with pytest.raises(PermissionDenied):
        signed_sheet(Job.objects.get(pk=job.pk))


def test_sheet_frozen_before_owners_had_a_key_still_says_whose_it_is(client_as, shelf, monkeypatch):
    keyless = property(lambda sheet: {k: v for k, v in json.loads(sheet.data).items() if k != "owner_key"})
    monkeypatch.setattr(Sheet, "content", keyless)
    assert not names_another_owner(newest(shelf))
    give(client_as("counter"), shelf)
    assert names_another_owner(newest(shelf))
    assert 'data-standing="former"' in page_of(client_as("counter"), newest(shelf))


def test_paper_names_the_new_owner(client_as, shelf):
    give(client_as("technician"), shelf, password=build.PASSWORD)
    sheet = newest(shelf)
    assert building.build(sheet.pk)
    sheet.refresh_from_db()
    assert "Ivo Brandt" in text_of(sheet)
    assert "Shop stock" not in text_of(sheet)


@pytest.fixture
def engine_before():
    """An engine that a customer had here before the unit from the shelf."""
    engine = build.engine(make="Pellgrove", vehicle="Pellgrove cruiser", displacement_cc=3310)
    job = build.job(customer=build.customer("Marta Quill"), engine=engine, stage="hand_back")
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    return job


def test_engine_that_the_customer_had_here_is_offered_as_their_name_is_typed(client_as, shelf, engine_before):
    client, address = client_as("counter"), reverse("allocate", args=[shelf.number])
    live = {"HX-Request": "true", "HX-Target": "engine-starts"}
    answer = client.get(address, {"customer": "Marta Quill"}, headers=live)
    assert answer["HX-Reselect"] == "#engine-starts"
    assert f'value="{engine_before.engine_id}"' in markup(answer)
    assert "Pellgrove cruiser" in markup(answer)
    other = client.get(address, {"customer": "Ivo Brandt"}, headers=live)
    assert "Was here before" not in markup(other)


def test_engine_is_taken_over_beside_what_is_typed_and_nothing_is_given(client_as, shelf, engine_before):
    client = client_as("technician")
    values = {"customer": "Marta Quill", "handed_to": "her brother", "take": engine_before.engine_id}
    answer = give(
        client, shelf, **values, **{"engine-idle_crank_rpm": "650", "engine-displacement_cc": "3400"}
    )
    page = markup(answer)
    assert answer.status_code == 200
    for kept in ("Marta Quill", "her brother", "Pellgrove cruiser", "650", "3400"):
        assert f'value="{kept}"' in page
    assert "displacement (there: 3310)" in page
    assert Job.objects.get(pk=shelf.pk).is_stock
    over = give(client, shelf, customer="Marta Quill", take_over=engine_before.engine_id)
    assert 'value="3310"' in markup(over)
    form = over.context["form"].engine
    sent = {field.html_name: field.value() or "" for field in form.visible_fields()}
    assert give(client, shelf, customer="Marta Quill", **sent).status_code == 302
    job = Job.objects.get(pk=shelf.pk)
    assert (job.customer.name, job.engine.vehicle) == ("Marta Quill", "Pellgrove cruiser")
    assert job.engine_id != engine_before.engine_id


CRUISER = {"engine-make": "Pellgrove", "engine-vehicle": "Pellgrove cruiser", "engine-cylinders": "4"}


def test_target_and_timing_of_the_earlier_engine_are_said_to_be_its(client_as, shelf):
    client, earlier = client_as("technician"), shelf.engine.in_full
    form = markup(client.get(reverse("allocate", args=[shelf.number])))
    assert f"stay as they were agreed for {earlier}" in " ".join(form.split())
    given = client.post(
        reverse("allocate", args=[shelf.number]),
        {"customer": "Ivo Brandt", "phone": "0555 0102", "on": str(TODAY()), "password": build.PASSWORD}
        | CRUISER,
        follow=True,
    )
    job = Job.objects.get(pk=shelf.pk)
    said = earlier_engine_words(job)
    assert earlier in said
    assert "Pellgrove cruiser: Pellgrove" in said
    page = html.unescape(markup(given))
    assert 'class="note' in page
    assert page.count(said) == 3  # the note, over what the light must read, beside the instructions
    sheet = newest(job)
    assert said in sheet.content["curve"]["warnings"]
    building.build(sheet.pk)
    sheet.refresh_from_db()
    assert said in " ".join(text_of(sheet).split())
    assert said in html.unescape(page_of(client, sheet))
    assert "another engine" not in page_of(client, Sheet.objects.get(job=job, revision=1))
    assert job.history.get(verb="allocated the unit").detail["agreed_for"] == earlier


def test_a_sheet_that_is_signed_later_says_it_too(client_as, shelf):
    give(client_as("counter"), shelf, **CRUISER)
    job = Job.objects.get(pk=shelf.pk)
    sheet = signed_sheet(job, built=False)
    assert earlier_engine_words(job) in sheet.content["curve"]["warnings"]


@pytest.mark.parametrize("figures", [{}, "the same"])
def test_nothing_is_said_of_the_engine_it_was_rebuilt_for(client_as, shelf, figures):
    if figures:
        values = {
            name: getattr(shelf.engine, name) for name in ("vehicle", "make", "model", "year", "cylinders")
        }
        figures = {f"engine-{name}": value for name, value in values.items() if value}
        others = [field.name for field in shelf.engine._meta.fields if field.name not in (*values, "id")]
        figures |= {f"engine-{name}": getattr(shelf.engine, name) or "" for name in others}
    assert give(client_as("technician"), shelf, password=build.PASSWORD, **figures).status_code == 302
    job = Job.objects.get(pk=shelf.pk)
    assert job.agreed_for == ""
    assert "earlier_engine" not in newest(job).content


def test_with_nothing_agreed_nothing_is_said_to_be_another_engines(client_as):
    job = finished_job(customer=None)
    job.build.target.delete()
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now(), setting_note="")
    give(client_as("counter"), job, **CRUISER)
    assert Job.objects.get(pk=job.pk).agreed_for == ""


def test_an_engine_that_nobody_wrote_down_is_said_to_be_that(client_as, shelf):
    Job.objects.filter(pk=shelf.pk).update(engine=None)
    give(client_as("counter"), Job.objects.get(pk=shelf.pk), **CRUISER)
    assert "agreed for an engine that nobody wrote down" in earlier_engine_words(Job.objects.get(pk=shelf.pk))


def test_units_given_away_before_are_told_by_the_last_sheet_of_the_earlier_engine(client_as, shelf):
    earlier = f"{shelf.engine.vehicle}: {shelf.engine}" if shelf.engine.vehicle else str(shelf.engine)
    give(client_as("technician"), shelf, password=build.PASSWORD, **CRUISER)
    same = finished_job(customer=None)
    Job.objects.filter(pk=same.pk).update(closed_at=timezone.now())
    give(client_as("counter"), same)
    Job.objects.update(agreed_for="")
    import_module("jobs.migrations.0016_engine_that_was_agreed_for").fill(apps, None)
    assert Job.objects.get(pk=shelf.pk).agreed_for == earlier
    assert Job.objects.get(pk=same.pk).agreed_for == ""


def test_an_allocated_unit_was_handed_over_on_the_day_its_owner_got_it(client_as, shelf):
    client, finished = client_as("counter"), timezone.localdate(shelf.closed_at)
    give(client, shelf)
    over = f"anded over {TODAY():%-d %b %Y}"
    back = f"anded back {finished:%-d %b %Y}"
    job = Job.objects.get(pk=shelf.pk)
    assert (job.ended_as, job.ended_on) == ("Handed over", TODAY())
    card = markup(client.get(reverse("card", args=[job.number]) + "?open=hand_back"))
    found = markup(client.get(reverse("search"), {"words": "Brandt"}))
    customer = markup(client.get(reverse("customer", args=[job.customer_id])))
    assert f"handed over <time>{TODAY():%-d %b %Y}" in customer
    for page in (card, found):
        assert over in page
        assert back not in page
    assert f"Handed over to Ivo on {TODAY():%-d %b %Y}" in result_of(
        card_for(client.person, job.number), Stage.HAND_BACK
    )
    assert ">Handed over</dt>" in card


def test_without_a_name_no_box_is_asked_for_that_is_not_there(client_as, shelf):
    page = markup(give(client_as("counter"), shelf, customer=""))
    assert "Whose unit is it? Type a name." in page
    assert "tick shop stock" not in page
    assert "tick shop stock" in markup(client_as("counter").post(reverse("new_job"), {"customer": ""}))


def test_a_closed_card_prints_its_tray_tag_quietly(client_as, shelf):
    client = client_as("counter")
    button = 'class="btn btn-quiet">Print the tray tag'
    assert button in client.get(reverse("card", args=[shelf.number])).content.decode()
    assert button not in client.get(reverse("card", args=[build.job().number])).content.decode()
