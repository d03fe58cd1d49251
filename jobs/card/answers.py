"""The customer's answers to an estimate: one is written, one that was entered wrongly is taken back."""

from django.core.exceptions import PermissionDenied, ValidationError
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from jobs.money import answers as actions
from jobs.money.forms import AnswerForm, TakeBackForm
from jobs.page.sections import stage_of
from jobs.page.showing import load, saved, show_section
from jobs.rules.guards import require_open
from shop.idempotency import take, taken
from shop.pages import go
from shop.rights import require
from shop.versions import Conflict

SECTION = "answer"


@require_http_methods(["GET", "POST"])
def answers(request, number):
    """The form for an answer in its section of the card; POST writes one."""
    require(request.user, "take_answer")
    if request.method == "POST" and (before := taken(request)) is not None:
        return go(request, before)
    shown = load(request, number)
    require_open(shown.job)
    if shown.job.is_stock:
        raise PermissionDenied("Nobody is asked about this unit: it has no customer.")
    if request.method != "POST":
        now = {"given_at": timezone.localtime().replace(second=0, microsecond=0)}
        return _show(request, shown, AnswerForm(job=shown.job, initial=now))
    form = AnswerForm(request.POST, job=shown.job)
    if form.is_valid():
        data, version = form.row_data(), form.cleaned_data["version"]

        def write():
            actions.take_answer(shown.job, data, by=request.user, version=version)
            return shown.address(stage_of(SECTION, shown.job), SECTION)

        try:
            place = take(request, write)
            return saved(request, number, SECTION) if request.htmx else redirect(place)
        except ValidationError as error:
            form.add_error(None, error)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
    return _show(request, shown, form)


def _show(request, shown, form):
    return show_section(request, shown, SECTION, editing="answering", form=form, status=form.status)


@require_POST
def take_back_answer(request, number, pk):
    require(request.user, "take_answer")
    shown = load(request, number)
    require_open(shown.job)
    answer = get_object_or_404(shown.job.answers.select_related("job"), pk=pk)
    form = TakeBackForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            actions.take_back_answer(answer, by=request.user, why=data["why"], version=data["version"])
            return saved(request, number, SECTION)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
    return show_section(request, shown, SECTION, back_form=form, taken_back=answer.pk, status=form.status)
