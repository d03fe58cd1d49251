"""What is written on a card line by line: findings, parts and hours."""

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.models import Finding, PartLine
from jobs.page.sections import versioned
from jobs.page.showing import load, saved, show_section, struck
from jobs.rules.guards import require_open
from jobs.teardown import actions
from jobs.teardown.forms import FindingForm, NewPartForm, PartForm
from shop.idempotency import take
from shop.models import new_key
from shop.rights import NotAllowed, require
from shop.versions import Conflict

STRUCK = "The line is struck out."


@require_POST
def add_finding(request, number):
    shown = load(request, number)
    require(request.user, "edit_work")
    require_open(shown.job)
    form = FindingForm(request.POST)
    if not form.is_valid():
        return show_section(request, shown, "findings", finding_form=form, status=form.status)
    text, by = form.cleaned_data["text"], request.user
    once(request, lambda: actions.add_finding(shown.job, text=text, by=by))
    return saved(request, number, "findings")


@require_POST
def remove_finding(request, number, pk):
    shown, line = _line(request, Finding, number, pk)
    if line is None:
        return saved(request, number, "findings")
    actions.remove_finding(line, by=request.user)
    undo = reverse("add_finding", args=[number])
    return struck(request, shown, "findings", STRUCK, undo=undo, values=again(line, ["text"]))


@require_POST
def add_part(request, number):
    shown = load(request, number)
    require(request.user, "edit_work")
    require_open(shown.job)
    form = NewPartForm(request.POST)
    if not form.is_valid():
        return show_section(request, shown, "parts", part_form=form, status=form.status)
    once(request, lambda: actions.add_part(shown.job, form.row_data(), by=request.user))
    return saved(request, number, "parts")


@require_http_methods(["GET", "POST"])
def edit_part(request, number, pk):
    shown = load(request, number)
    require_open(shown.job)
    if not shown.may["edit_work"]:
        raise NotAllowed("Your role doesn't write in this section.")
    line = get_object_or_404(PartLine, job=shown.job, pk=pk)
    form = versioned(PartForm(request.POST or None, instance=line), line)
    if request.method == "POST" and form.is_valid():
        try:
            version = form.cleaned_data["version"]
            actions.change_part(line, form.row_data(), by=request.user, version=version)
            return saved(request, number, "parts")
        except Conflict as conflict:
            form.show_conflict(conflict.current)
    return show_section(request, shown, "parts", editing="parts", line=line, form=form, status=form.status)


@require_POST
def remove_part(request, number, pk):
    shown, line = _line(request, PartLine, number, pk)
    if line is None:
        return saved(request, number, "parts")
    actions.remove_part(line, by=request.user)
    undo = reverse("add_part", args=[number])
    return struck(request, shown, "parts", STRUCK, undo=undo, values=again(line, PartForm.Meta.fields))


def once(request, work):
    """Do the work of a form that makes a line, unless this very form was sent before."""

    def make():
        work()
        return ""

    take(request, make)


def again(line, names):
    """What a form must send to write a struck line once more."""
    values = {name: getattr(line, name) for name in names}
    return {name: "" if value is None else str(value) for name, value in values.items()} | {"once": new_key()}


def _line(request, model, number, pk):
    """The card and its line, or None for a line that was struck out before: then nothing is left to do."""
    shown = load(request, number)
    require_open(shown.job)
    return shown, model.objects.select_related("job").filter(job=shown.job, pk=pk).first()
