"""Editing a card in place: who may, what two people on one section get, and what a closed card refuses."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.curvework.actions import save_head
from jobs.models import Job
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db

HTMX = {"HX-Request": "true"}
SENDS = {
    "owner": {"customer": "Ivo Brandt", "phone": "0555 0102"},
    "unit": {"unit-maker": "Gadwall", "unit-number": "G 7"},
    "engine": {"engine-make": "Ternhill", "engine-year": "1958"},
    "agreed": {"complaint": "hunts at idle", "tray": "T 9"},
    "answer": {"revised_estimate": "210.25"},
    "setting": {"setting_note": "12 degrees at 700, vacuum line off and plugged"},
}
SHOWN = {
    "owner": "Ivo Brandt",
    "unit": "Gadwall",
    "engine": "Ternhill",
    "agreed": "hunts at idle",
    "answer": "210.25",
    "setting": "12 degrees at 700",
}


def version_name(section):
    return f"{section}-version" if section in ("unit", "engine") else "version"


def edit(client, job, section, version=None, headers=HTMX, **changes):
    values = SENDS[section] | {version_name(section): version or job.version} | changes
    return client.post(reverse("edit_section", args=[job.number, section]), values, headers=headers)


@pytest.mark.parametrize("section", SENDS)
@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_section_is_edited_in_place(client_as, section, role):
    client, job = client_as(role), build.job()
    form = client.get(reverse("edit_section", args=[job.number, section]), headers=HTMX).content.decode()
    assert f'id="sec-{section}"' in form
    assert "<html" not in form
    answer = edit(client, job, section)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert SHOWN[section] in text
    assert Job.objects.get(pk=job.pk).version == job.version + 1
    assert job.history.get().by == client.person


@pytest.mark.parametrize("section", SENDS)
def test_section_is_edited_without_scripts(client_as, section):
    client, job = client_as("owner"), build.job(stage="cleaning")
    page = client.get(reverse("edit_section", args=[job.number, section])).content.decode()
    assert "<html" in page
    assert f'name="{version_name(section)}"' in page
    answer = edit(client, job, section, headers=None)
    assert answer.status_code == 302
    assert answer["Location"].endswith(f"#sec-{section}")
    assert SHOWN[section] in client.get(answer["Location"]).content.decode()


@pytest.mark.parametrize("section", SENDS)
def test_stranger_edits_nothing(client, section):
    job = build.job()
    assert edit(client, job, section).status_code == 302
    assert Job.objects.get(pk=job.pk).version == job.version
    assert not job.history.exists()


@pytest.mark.parametrize("section", SENDS)
def test_closed_card_takes_no_edit(client_as, section):
    client, job = client_as("owner"), build.job(stage="hand_back", closed_at=timezone.now())
    assert edit(client, job, section).status_code == 403
    assert client.get(reverse("edit_section", args=[job.number, section])).status_code == 403
    assert not job.history.exists()
    assert "hx-post" not in client.get(reverse("card", args=[job.number])).content.decode()


@pytest.mark.parametrize("section", SENDS)
def test_second_of_two_writers_keeps_the_text_and_sees_the_others(client_as, section):
    job = build.job()
    first, second = client_as("technician"), client_as("counter")
    assert edit(first, job, section).status_code == 200
    mine = {
        "owner": {"customer": "Sena Okafor", "phone": "0555 0103"},
        "unit": {"unit-maker": "Pochard"},
        "engine": {"engine-make": "Merganser"},
        "agreed": {"complaint": "pinks at 3000"},
        "answer": {"revised_estimate": "190.75"},
        "setting": {"setting_note": "10 degrees"},
    }[section]
    answer = edit(second, job, section, **mine)
    text = answer.content.decode()
    typed = next(iter(mine.values()))
    assert answer.status_code == 409
    assert "Someone else saved first" in text
    assert "with what stands now beside it" in text
    assert typed in text
    assert SHOWN[section] in text
    before = Job.objects.get(pk=job.pk)
    assert f'name="{version_name(section)}" value="{before.version}"' in text
    assert edit(second, job, section, version=before.version, **mine).status_code == 200
    assert (
        typed
        in second.get(
            reverse("card", args=[job.number]) + "?open=intake&open=hand_back&open=teardown"
        ).content.decode()
    )


def test_nothing_is_said_to_stand_beside_where_the_other_wrote_elsewhere(client_as):
    job = build.job()
    assert edit(client_as("technician"), job, "setting").status_code == 200
    text = edit(client_as("counter"), job, "agreed", complaint=job.complaint, tray=job.tray).content
    assert b"Someone else saved first" in text
    assert b"Look at what stands now, then save again." in text
    assert b"beside it" not in text


def test_bad_value_keeps_the_form_open_with_what_was_typed(client_as):
    client, job = client_as("counter"), build.job()
    answer = edit(client, job, "engine", **{"engine-compression": "a lot", "engine-model": "L 6"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="a lot"' in text
    assert 'value="L 6"' in text
    assert "is not a number" in text
    assert not job.history.exists()


def test_change_is_told_in_plain_words(client_as):
    client, job = client_as("counter"), build.job(complaint="pinks")
    edit(client, job, "agreed", complaint="hunts", tray="")
    told = client.get(reverse("history", args=[job.number])).content.decode()
    assert "Robin Counter changed the intake (complaint: pinks → hunts)" in told


@pytest.mark.parametrize(
    ("shown_at", "leads_on"), [("edit/owner/", True), ("", False), ("?open=intake", False)]
)
def test_a_page_opened_to_edit_has_the_cards_address_once_that_is_saved(client_as, shown_at, leads_on):
    job = build.job(stage="teardown")
    card = reverse("card", args=[job.number])
    at = HTMX | {"HX-Current-URL": f"http://testserver{card}{shown_at}"}
    answer = edit(client_as("counter"), job, "owner", headers=at)
    assert answer.status_code == 200
    assert answer.get("HX-Replace-Url", "") == (f"{card}?open=intake#sec-owner" if leads_on else "")


def test_edit_that_changes_nothing_leaves_no_entry(client_as):
    client, job = client_as("counter"), build.job(complaint="pinks", tray="T 1")
    edit(client, job, "agreed", complaint="pinks", tray="T 1")
    assert not job.history.exists()


def test_unknown_section_is_not_there(client_as):
    job = build.job()
    for section in ("nothing", "inspection"):
        assert client_as("owner").get(reverse("edit_section", args=[job.number, section])).status_code == 404
    assert client_as("owner").get(reverse("section", args=[job.number, "nothing"])).status_code == 404


def test_stage_unfolds_and_folds_again(client_as):
    client, job = client_as("owner"), build.job(stage="teardown", complaint="pinks at 3000")
    address = reverse("stage", args=[job.number, "intake"])
    assert "pinks at 3000" not in markup(client.get(reverse("card", args=[job.number])))
    assert "pinks at 3000" in markup(client.get(address, headers=HTMX))
    assert "pinks at 3000" not in markup(client.get(address + "?fold=1", headers=HTMX))
    assert "pinks at 3000" in markup(client.get(client.get(address)["Location"]))


def test_card_that_is_not_there(client_as):
    assert client_as("owner").get(reverse("card", args=[404])).status_code == 404


def test_card_says_late_with_a_word(client_as):
    job = build.job(promised_on=timezone.localdate() - timezone.timedelta(days=3))
    text = client_as("owner").get(reverse("card", args=[job.number])).content.decode()
    assert "late by 3 days" in text


def build_version(client, job):
    page = client.get(reverse("edit_section", args=[job.number, "unit"]), headers=HTMX).content.decode()
    return re.search(r'name="unit-build_version" value="(\d+)"', page)[1]


def stamped(job):
    return Job.objects.get(pk=job.pk).build.travel_stamped_deg


def test_the_stamped_travel_that_another_wrote_is_shown_beside_what_was_typed(client_as):
    job = build.job(build=build.build(travel_stamped_deg=None))
    first, second = client_as("technician"), client_as("counter")
    seen = {"unit-build_version": build_version(second, job)}
    assert edit(first, job, "unit", **{"unit-travel_stamped_deg": "10"}).status_code == 200
    text = edit(second, job, "unit", **seen).content.decode()
    assert "Now stands: <b>10</b>" in text
    assert stamped(job) == 10


@pytest.mark.parametrize("typed", ["", "12"])
def test_the_stamped_travel_written_on_the_heads_page_is_not_overwritten_unseen(client_as, typed):
    job = build.job(build=build.build(travel_stamped_deg=None))
    client = client_as("technician")
    sent = {"unit-build_version": build_version(client, job), "unit-travel_stamped_deg": typed}
    save_head(job, {"travel_stamped_deg": 10.0}, by=client.person, version=job.build.version)
    answer = edit(client, job, "unit", **sent)
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "Now stands: <b>10</b>" in text
    assert stamped(job) == 10
    again = re.search(r'name="unit-build_version" value="(\d+)"', text)[1]
    card = re.search(r'name="unit-version" value="(\d+)"', text)[1]
    assert (
        edit(client, job, "unit", version=card, **(sent | {"unit-build_version": again})).status_code == 200
    )
    assert stamped(job) == (float(typed) if typed else None)
