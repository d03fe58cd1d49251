"""A card's papers: drafts, signed revisions, their PDFs, and the page a sheet's QR leads to."""

from typing import Any, cast

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.forms import ChoiceField
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.models import Sheet
from jobs.page.showing import OK, answered
from jobs.papers import building, signing, verify
from jobs.papers.forms import LARGEST_UPLOAD, CompareForm, DraftForm, SignForm, VoidForm
from jobs.papers.seen import told
from jobs.queries import card_for
from jobs.rules.guards import verdicts_of
from jobs.rules.recorded import recorded_sha256
from jobs.rules.revisions import changed_since, revisions
from shop import idempotency
from shop.models import Shop
from shop.pages import page
from shop.rights import require

SECTION = "jobs/page/sections/_paper.html"
# Parts of it that ask for themselves, by the id that htmx names as its target.
PARTS = {
    "paper-list": "jobs/page/sections/_paper_list.html",
    "paper-says": "jobs/page/sections/_paper_says.html",
}


def paper_context(job, person, *, draft_form=None, sign_form=None, seen=None) -> dict[str, Any]:
    """What the paper section of a card shows: two queries, and no curve is computed.

    ``seen`` is the hash of the card as the page has it already, by default as it stands now.
    """
    kinds = building.drafts_of(job)  # ordered before the card closed, a paper may suit it no longer
    drafts = list(Sheet.objects.filter(job=job, revision=None, kind__in=kinds).select_related("job"))
    signed = revisions(job)
    said = recorded_sha256(job, job.build)
    for sheet in signed:
        sheet.outdated = sheet.standing == "current" and changed_since(sheet, said)
    size = {"paper": Shop.current().paper}
    signable = signing.awaited(job) if job.is_closed else list(Sheet.SIGNABLE)
    sign_form = sign_form or SignForm(initial=size | {"seen": seen or said})
    kinds_field = cast(ChoiceField, sign_form.fields["kind"])
    kinds_field.choices = [(kind, Sheet.Kind(kind).label) for kind in signable]
    return {
        "job": job,
        "drafts": drafts,
        "revisions": signed,
        "papers_pending": any(sheet.is_pending for sheet in drafts + signed),
        "draft_form": draft_form or DraftForm(initial=size, kinds=kinds),
        "sign_form": sign_form,
        "void_form": VoidForm(),
        "may_sign": person.may("sign_sheet"),
        "may_sign_next": person.may("sign_sheet") and bool(signable),
        "unproved": SimpleLazyObject(lambda: _unproved(job)),  # only the form to sign asks, and judges a run
    }


def _unproved(job):
    """What stands against "proved" on a sheet signed now, in the sheet's words; empty when nothing does."""
    final = verdicts_of(job).final
    if final is None:
        return "no final run was read."
    return "" if final.is_proved else f"{final.headline}."


@require_http_methods(["GET", "HEAD", "POST"])
def sheets_of_job(request, number):
    """The papers of a card; POST orders a draft."""
    job = card_for(request.user, number)
    if request.method != "POST":
        return _papers(request, job)
    form = DraftForm(request.POST, kinds=building.drafts_of(job))
    if not form.is_valid():
        return _papers(request, job, status=422, draft_form=form)
    said = form.cleaned_data

    def order():
        building.order_draft(job, said["kind"], paper_size=said["paper"], by=request.user)
        return _place(job)

    idempotency.take(request, order)
    return _done(request, job)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def tray_tag(request, number):
    """The tag of a card in one tap: POST asks for it; the page waits for the printer, then shows it."""
    job = card_for(request.user, number)
    if request.method == "POST":
        building.tray_tag(job, by=request.user)
        return redirect("tray_tag", number)
    tag = building.newest_tag(job)
    if tag is None or tag.state == Sheet.State.FAILED:
        return redirect(_place(job))
    if tag.state == Sheet.State.DONE:
        return redirect("sheet_pdf", number, tag.pk)
    answer = render(request, "jobs/papers/tray_tag.html", {"job": job, "tag": tag})
    answer["Refresh"] = "1"  # a header of HTTP that browsers have always known: no script is needed
    return answer


@require_POST
def sign_sheet(request, number):
    """Sign a sheet: the password again, then the next revision is frozen."""
    job = card_for(request.user, number)
    require(request.user, "sign_sheet")
    form = SignForm(request.POST)
    if not form.is_valid():
        return _papers(request, job, status=422, sign_form=form)
    said = form.cleaned_data
    if not signing.is_own_password(request, said["password"]):
        form.add_error("password", "Not your password: write it again. Nothing was signed.")
        return _papers(request, job, status=422, sign_form=form)

    def sign():
        signing.sign(job, said["kind"], paper_size=said["paper"], by=request.user, seen=said["seen"])
        return _place(job)

    try:
        idempotency.take(request, sign)
    except signing.CardChanged:
        form.look_again(recorded_sha256(job))
        return _papers(request, job, status=409, sign_form=form)
    except ValidationError as error:
        form.add_error(None, error)
        return _papers(request, job, status=422, sign_form=form)
    return _done(request, job)


@require_POST
def retry_sheet(request, number, pk):
    """Put a failed paper back in the queue."""
    job = card_for(request.user, number)
    building.retry(get_object_or_404(job.sheets, pk=pk), by=request.user)
    return _done(request, job)


@require_POST
def void_sheet(request, number, pk):
    """Call a signed sheet back."""
    job = card_for(request.user, number)
    require(request.user, "sign_sheet")
    signed = job.sheets.signed()  # pyrefly: ignore [missing-attribute]  # the manager has the queryset's methods
    sheet = get_object_or_404(signed, pk=pk)
    form = VoidForm(request.POST)
    if not form.is_valid():
        return _papers(request, job, status=422, void_form=form, void_sheet=sheet)
    signing.make_void(sheet, by=request.user, reason=form.cleaned_data["reason"])
    return _done(request, job)


@require_safe
@never_cache
def sheet_pdf(request, number, pk):
    """The PDF of a paper, if it is there and still the one that was built."""
    job = card_for(request.user, number)
    sheet = get_object_or_404(job.sheets, pk=pk)
    if sheet.state != Sheet.State.DONE:
        return _papers(request, job, status=409)
    if not verify.file_holds(sheet):
        return render(request, "jobs/papers/sheet_altered.html", {"job": job, "sheet": sheet}, status=409)
    # Inline, so that a phone shows it; the name is what a saved copy is called.
    return FileResponse(sheet.pdf.open("rb"), content_type="application/pdf", filename=sheet.file_name)


@login_not_required
@csrf_exempt  # it compares and changes nothing, and the size is looked at before the body is read
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def check(request, token):
    """What the QR of a sheet leads to, for anyone with the paper in hand; it names no customer."""
    sheet = verify.find(token)
    if sheet is None:
        return render(request, "jobs/papers/check.html", {"sheet": None}, status=404)
    context = {"sheet": sheet, "faults": verify.faults(sheet), "form": CompareForm()}
    if sheet.is_signed:
        context["standing"] = verify.standing(sheet)
        # Frozen when it was signed; a sheet from before there was a headline has none.
        said = {} if context["faults"] else sheet.content
        context["headline"] = ((said.get("curve") or {}).get("headline") or {}).get("text", "")
        context["earlier_engine"] = said.get("earlier_engine", "")
        context["unusual"] = [one["unusual"] for one in said.get("inspections") or [] if one.get("unusual")]
    status = 200
    if request.method == "POST":
        status = _compare(request, sheet, context)
    answer = render(request, "jobs/papers/check.html", context, status=status)
    answer["X-Robots-Tag"] = "noindex"
    return answer


def _compare(request, sheet, context):
    """Hold an uploaded file against the one we built; the verdict goes into the context."""
    if int(request.META.get("CONTENT_LENGTH") or 0) > LARGEST_UPLOAD:
        context["too_large"] = True
        return 413
    form = context["form"] = CompareForm(request.POST, request.FILES)
    if not form.is_valid():
        return 422
    context["file_holds"] = verify.upload_holds(sheet, form.cleaned_data["file"])
    return 200


def _papers(request, job, *, status=200, **forms):
    """The papers as the card's section, as the part of it that asks again, or as a page of their own."""
    part = PARTS.get(request.htmx.target) if request.htmx else None
    extra = {name: forms.pop(name) for name in ("void_sheet", "void_form") if name in forms}
    context = paper_context(job, request.user, seen=told(request), **forms) | extra
    if context["papers_pending"] and not part:
        building.want_now(context["drafts"] + context["revisions"])
    if request.htmx and not part and status != OK:
        return answered(request, job.number, SECTION, status=status, **context)
    return page(request, "jobs/papers/papers.html", context, fragment=part or SECTION, status=status)


def _done(request, job):
    """After a write: the section as it now stands with what else of the card changed, or the way to it."""
    if not request.htmx:
        return redirect(_place(job))
    context = paper_context(card_for(request.user, job.number), request.user, seen=told(request))
    return answered(request, job.number, SECTION, **context)


def _place(job):
    return reverse("sheets", args=[job.number])
