"""The pages of papers: who may do what, what a bad form answers, and what a stranger with the QR is told."""

import hashlib
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime

from curves.judging import proof
from curves.rows import queries
from jobs.models import Sheet
from jobs.papers import building, signing
from jobs.papers.forms import LARGEST_UPLOAD
from jobs.rules.recorded import recorded_sha256
from jobs.rules.revisions import revisions
from tests import build
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet
from tests.reading import markup, words

pytestmark = pytest.mark.django_db

HTMX = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "sec-paper"}


@pytest.fixture
def job():
    return finished_job()


def post_draft(client, job, kind="job_sheet", once="one", **options):
    data = {"draft-kind": kind, "draft-paper": "A4", "draft-once": once}
    return client.post(reverse("sheets", args=[job.number]), data, **options)


def post_signature(client, job, password=build.PASSWORD, once="one", seen=None, **options):
    data = {
        "sign-kind": "curve_sheet",
        "sign-paper": "A4",
        "sign-password": password,
        "sign-seen": seen or recorded_sha256(job),
        "sign-once": once,
    }
    return client.post(reverse("sign_sheet", args=[job.number]), data, **options)


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_everyone_orders_a_draft(client_as, job, role):
    answer = post_draft(client_as(role), job)
    assert answer.status_code == 302
    assert answer["Location"] == reverse("sheets", args=[job.number])
    assert job.sheets.get().kind == Sheet.Kind.JOB_SHEET


def test_draft_ordered_twice_with_one_form_is_one(client_as, job):
    client = client_as("counter")
    post_draft(client, job)
    first = job.sheets.get()
    post_draft(client, job)
    assert job.sheets.get() == first


def test_unknown_paper_is_refused_beside_the_field(client_as, job):
    answer = post_draft(client_as("owner"), job, kind="banknote")
    assert answer.status_code == 422
    assert b"Not on the list" in answer.content
    assert not job.sheets.exists()


@pytest.mark.parametrize(("role", "status"), [("owner", 302), ("technician", 302), ("counter", 403)])
def test_signing_by_role(client_as, job, role, status):
    assert post_signature(client_as(role), job).status_code == status
    assert job.sheets.count() == (status == 302)


def test_counter_sees_no_form_to_sign(client_as, job):
    page = client_as("counter").get(reverse("sheets", args=[job.number])).content
    assert b"Sign the sheet" not in page
    assert b"Make the paper" in page


def test_signing_twice_with_one_form_is_one_revision(client_as, job):
    client = client_as("owner")
    assert post_signature(client, job).status_code == post_signature(client, job).status_code == 302
    assert job.sheets.get().revision == 1


def said_beside_the_button(client, job):
    page = markup(client.get(reverse("sheets", args=[job.number])))
    warning = r'<p class="warning" data-kind="unproved">(.*?)</p>'
    found = re.search(warning + r'\s*</div>\s*<p class="actions"><button[^>]*>Sign the sheet', page)
    return re.sub("<[^>]+>", "", found[1]) if found else ""


def test_who_signs_a_sheet_that_proves_nothing_is_told_beside_the_button(client_as, job):
    client = client_as("owner")
    final = proof.final_of(queries.build_for(job.build_id), cylinders=job.cylinders)
    said = said_beside_the_button(client, job)
    assert (said == "") == bool(final.is_proved)
    job.build.runs.filter(kind="final").first().readings.update(advance_deg=14)
    final = proof.final_of(queries.build_for(job.build_id), cylinders=job.cylinders)
    assert not final.is_proved
    said = said_beside_the_button(client, job)
    assert said == f"The sheet will not say proved: {final.headline}."
    headline = draft(job, "curve_sheet", built=False).content["curve"]["headline"]
    assert (headline["text"], headline["proved"]) == (final.headline, False)
    bare = build.job(stage="hand_back")
    assert "no final run was read" in said_beside_the_button(client, bare)


@pytest.mark.parametrize("options", [{}, HTMX])
def test_wrong_password_signs_nothing_and_says_so_beside_the_field(client_as, job, options):
    answer = post_signature(client_as("owner"), job, password="not-it", **options)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Not your password" in page
    field = re.search(r'<input[^>]*name="sign-password"[^>]*>', page)[0]
    assert 'aria-invalid="true"' in field
    assert re.search(r'aria-describedby="[^"]*id_sign-password_error', field)
    assert 'id="id_sign-password_error"' in page
    assert "not-it" not in page
    assert not job.sheets.exists()


def test_another_persons_password_does_not_sign(client_as, job):
    build.person("technician", password="another-way-9")
    answer = post_signature(client_as("owner"), job, password="another-way-9")
    assert answer.status_code == 422
    assert not job.sheets.exists()


def test_guessing_the_password_is_slowed_down(client_as, job):
    client = client_as("owner")
    answers = [post_signature(client, job, password=f"guess-{i}").status_code for i in range(9)]
    assert answers[0] == 422
    assert answers[-1] == 429
    assert post_signature(client, job).status_code == 429
    assert not job.sheets.exists()


def test_card_changed_under_the_form_answers_409_and_signs_on_the_second_look(client_as, job):
    client = client_as("owner")
    seen = recorded_sha256(job)
    job.findings.create(text="A loose clamp.", stage="teardown", by=client.person)
    answer = post_signature(client, job, seen=seen)
    assert answer.status_code == 409
    assert b"was changed after you opened this" in answer.content
    assert recorded_sha256(job).encode() in answer.content
    assert not job.sheets.exists()
    assert post_signature(client, job).status_code == 302


def test_htmx_gets_the_section_and_what_else_changed_once_signed(client_as, job):
    client = client_as("owner")
    build.worked(job)
    section = markup(post_draft(client, job, **HTMX))
    assert '<section class="sec" id="sec-paper">' in section
    assert "<html" not in section
    assert "every 2s" in section
    shown = {"HTTP_LIVE_PARTS": "rail-missing=before"}
    answer = markup(post_signature(client, job, **HTMX, **shown))
    assert '<section class="sec" id="sec-paper">' in answer
    assert '<p id="rail-missing" hx-swap-oob="true"' in answer
    assert "Nothing is missing: ready to hand back." in answer


def test_asking_again_stops_once_all_is_built(client_as, job):
    client = client_as("counter")
    sheet = draft(job, built=False)
    asking = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "paper-list"}
    address = reverse("sheets", args=[job.number])
    waiting = markup(client.get(address, **asking))
    assert "every 2s" in waiting
    assert "<form" not in waiting.split("paper-list")[0]
    assert "password" not in waiting
    building.build(sheet.pk)
    done = markup(client.get(address, **asking))
    assert "every 2s" not in done
    assert "Open the PDF" in done


def test_failed_paper_shows_why_and_takes_a_retry(client_as, job):
    sheet = draft(job, built=False)
    Sheet.objects.filter(pk=sheet.pk).update(state="failed", tries=3, error="No space left on device")
    client = client_as("counter")
    page = client.get(reverse("sheets", args=[job.number])).content.decode()
    assert "No space left on device" in page
    assert "Retry" in page
    assert client.post(reverse("retry_sheet", args=[job.number, sheet.pk])).status_code == 302
    sheet.refresh_from_db()
    assert sheet.state == Sheet.State.WAITING


def test_void_wants_a_reason_and_a_right(client_as, job):
    sheet = signed_sheet(job)
    address = reverse("void_sheet", args=[job.number, sheet.pk])
    assert client_as("counter").post(address, {"reason": "x"}).status_code == 403
    owner = client_as("owner")
    answer = owner.post(address, {"reason": ""})
    assert answer.status_code == 422
    assert b"Needed" in answer.content
    assert owner.post(address, {"reason": "wrong unit"}).status_code == 302
    assert revisions(job)[0].standing == "void"


@pytest.mark.parametrize("route", ["sign_sheet", "retry_sheet", "void_sheet"])
def test_writes_are_not_made_by_get(client_as, job, route):
    sheet = signed_sheet(job, built=False)
    arguments = [job.number] if route == "sign_sheet" else [job.number, sheet.pk]
    assert client_as("owner").get(reverse(route, args=arguments)).status_code == 405


@pytest.mark.parametrize("route", ["sheets", "sign_sheet", "sheet_pdf", "retry_sheet", "void_sheet"])
def test_stranger_is_sent_to_the_login(job, route):
    sheet = signed_sheet(job)
    arguments = [job.number] if route in ("sheets", "sign_sheet") else [job.number, sheet.pk]
    for method in ("get", "post"):
        answer = getattr(Client(), method)(reverse(route, args=arguments))
        assert answer.status_code == 302
        assert answer["Location"].startswith("/login/")


def test_sheet_of_another_card_is_not_found(client_as, job):
    sheet = signed_sheet(job)
    other = build.job()
    client = client_as("owner")
    assert client.get(reverse("sheet_pdf", args=[other.number, sheet.pk])).status_code == 404
    assert (
        client.post(reverse("void_sheet", args=[other.number, sheet.pk]), {"reason": "x"}).status_code == 404
    )
    assert client.post(reverse("retry_sheet", args=[other.number, sheet.pk])).status_code == 404


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_pdf_comes_under_its_name_as_what_it_is(client_as, job, role):
    sheet = signed_sheet(job)
    answer = client_as(role).get(reverse("sheet_pdf", args=[job.number, sheet.pk]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="job-{job.number}-curve-sheet-revision-1.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer["Cache-Control"]
    body = b"".join(answer.streaming_content)
    assert hashlib.sha256(body).hexdigest() == sheet.pdf_sha256


def test_pdf_that_is_not_built_yet_is_not_half_given(client_as, job):
    sheet = draft(job, built=False)
    answer = client_as("owner").get(reverse("sheet_pdf", args=[job.number, sheet.pk]))
    assert answer.status_code == 409
    assert b"Waiting" in answer.content


def test_altered_pdf_is_not_handed_out(client_as, job):
    sheet = signed_sheet(job)
    with open(sheet.pdf.path, "ab") as file:
        file.write(b" ")
    answer = client_as("owner").get(reverse("sheet_pdf", args=[job.number, sheet.pk]))
    assert answer.status_code == 409
    assert b"does not match" in answer.content


def check(sheet, **options):
    return Client().get(reverse("check", args=[sheet.token]), **options)


def standing(answer):
    return re.search(r'data-standing="(\w+)"', markup(answer))[1]


def test_stranger_with_the_paper_is_told_it_is_current_and_no_customer(job):
    sheet = signed_sheet(job, by=build.person("owner", full_name="Ingrid Halvard"))
    answer = check(sheet)
    page = answer.content.decode()
    assert (answer.status_code, standing(answer)) == (200, "current")
    for said in (str(job.number), str(job.unit), sheet.data_sha256, sheet.pdf_sha256, "IH"):
        assert str(said).replace("&", "&amp;") in page
    for hidden in ("Marta", "Quill", "Ingrid", "Idle hunts"):
        assert hidden not in page
    assert answer["X-Robots-Tag"] == "noindex"


def test_superseded_sheet_says_by_which_and_when(job):
    old = signed_sheet(job)
    job.findings.create(text="A loose clamp.", stage="teardown", by=build.person())
    assert standing(check(old)) == "changed"
    new = signed_sheet(job)
    answer = check(old)
    assert standing(answer) == "superseded"
    assert f"revision {new.revision}" in answer.content.decode()
    assert standing(check(new)) == "current"


def test_sheet_whose_card_changed_is_called_so_and_never_current(client_as, job):
    sheet = signed_sheet(job)
    job.findings.create(text="A loose clamp.", stage="teardown", by=build.person())
    said = "Signed, and the card has changed since"
    heading = re.search(r"<h1[^>]*>(.*?)</h1>", check(sheet).content.decode())[1]
    assert heading == said
    assert f"{said}." in client_as("owner").get(reverse("sheets", args=[job.number])).content.decode()


def test_void_sheet_says_so(job):
    sheet = signed_sheet(job)
    signing.make_void(sheet, by=build.person(), reason="Mrs Quill asked for it")
    answer = check(sheet)
    assert standing(answer) == "void"
    assert b"Quill" not in answer.content


def test_sheet_superseded_by_a_void_one_sends_nobody_after_it(client_as, job):
    old = signed_sheet(job)
    job.findings.create(text="A loose clamp.", stage="teardown", by=build.person())
    new = signed_sheet(job)
    assert "no signed curve sheet" not in words(check(old))
    signing.make_void(new, by=build.person(), reason="wrong unit")
    when = date_format(localtime(new.void.at), "j F Y")
    none_holds = f"Revision 2 was made void on {when}: at present no signed curve sheet of this card holds."
    for sheet, stands in ((old, "superseded"), (new, "void")):
        answer = check(sheet)
        assert standing(answer) == stands
        assert f"{none_holds} Ask the shop." in words(answer)
        assert not re.search("Ask the shop for|that holds", words(answer), re.IGNORECASE)
    assert "Superseded by revision 2, which is void" in words(check(old))
    listed = words(client_as("owner").get(reverse("sheets", args=[job.number])))
    assert listed.count(none_holds) == 2
    assert "Superseded by revision 2, which is void" in listed


def test_void_sheet_sends_to_the_one_signed_after_it_and_to_none_once_that_is_void_too(job):
    old = signed_sheet(job)
    signing.make_void(old, by=build.person(), reason="wrong unit")
    new = signed_sheet(job)
    assert "Revision 2 was signed on" in words(check(old))
    assert "no signed curve sheet" not in words(check(old))
    signing.make_void(new, by=build.person(), reason="wrong unit again")
    assert "no signed curve sheet of this card holds. Ask the shop." in words(check(old))
    assert "was signed on" not in words(check(old))
    third = signed_sheet(job)
    assert standing(check(third)) == "current"
    assert "Revision 3 was signed on" in words(check(new))
    assert standing(check(old)) == "void"


def test_draft_proves_nothing(job):
    answer = check(draft(job))
    assert standing(answer) == "draft"
    assert b"SHA-256" not in answer.content


def test_altered_sheet_does_not_match(job):
    sheet = signed_sheet(job)
    with open(sheet.pdf.path, "r+b") as file:
        file.seek(2000)
        byte = file.read(1)
        file.seek(2000)
        file.write(bytes([byte[0] ^ 1]))
    answer = check(sheet)
    assert standing(answer) == "altered"
    assert b"does not match" in answer.content


def test_address_that_nobody_gave_out_is_not_found():
    answer = Client().get(reverse("check", args=["no-such-token"]))
    assert answer.status_code == 404
    assert b"No sheet has this address" in answer.content


def compare(sheet, body, **options):
    upload = SimpleUploadedFile("theirs.pdf", body, content_type="application/pdf")
    client = Client(enforce_csrf_checks=True)
    return client.post(reverse("check", args=[sheet.token]), {"file": upload}, **options)


def test_stranger_compares_a_file_with_ours(job):
    sheet = signed_sheet(job)
    with sheet.pdf.open("rb") as file:
        ours = file.read()
    assert b'data-file="match"' in compare(sheet, ours).content
    flipped = ours[:500] + bytes([ours[500] ^ 1]) + ours[501:]
    assert b'data-file="differs"' in compare(sheet, flipped).content


def test_file_too_large_for_a_sheet_is_not_read(job):
    sheet = signed_sheet(job)
    answer = compare(sheet, b"x" * (LARGEST_UPLOAD + 1))
    assert answer.status_code == 413
    assert b"larger than any sheet" in answer.content


def test_no_file_is_refused_beside_the_field(job):
    sheet = signed_sheet(job)
    answer = Client().post(reverse("check", args=[sheet.token]), {})
    assert answer.status_code == 422
    assert b"Needed" in answer.content


def test_page_of_papers_costs_few_queries(client_as, job, django_assert_max_num_queries):
    client = client_as("owner")
    for i in range(3):
        job.findings.create(text=f"Finding {i}", stage="teardown", by=client.person)
        signed_sheet(job, built=False)
    with django_assert_max_num_queries(18):
        client.get(reverse("sheets", args=[job.number]))
