"""The steps of cleaning and assembly, and the sign-off after blasting."""

from typing import cast

from django.core.exceptions import ValidationError
from django.db.models import Field
from django.http import Http404
from django.views.decorators.http import require_POST

from jobs.card.lines import once
from jobs.models import Step
from jobs.page.showing import load, saved, show_section
from jobs.rules.guards import require_open
from jobs.teardown import steps
from jobs.teardown.forms import StepForm
from shop.rights import require

_TICKS = {"do": steps.do_step, "undo": steps.undo_step, "aside": steps.put_aside}
MAX_WHY = cast(Field, Step._meta.get_field("aside")).max_length
_ABRASIVE = {
    "blasted": lambda job, by: steps.say_blasted(job, blasted=True, by=by),
    "not-blasted": lambda job, by: steps.say_blasted(job, blasted=False, by=by),
    "signed": lambda job, by: steps.sign_abrasive_free(job, by=by),
    "again": lambda job, by: steps.blasted_again(job, by=by),
}


@require_POST
def add_step(request, number, list_name):
    """A step of the shop's own, on this card's list of cleaning or of assembly."""
    if list_name not in Step.List.values:
        raise Http404(f"There is no list {list_name}.")
    shown = load(request, number)
    require(request.user, "edit_work")
    require_open(shown.job)
    form = StepForm(request.POST)
    if not form.is_valid():
        form_of = {f"{list_name}_form": form}
        return show_section(request, shown, list_name, status=form.status, **form_of)
    data, by = form.step_data, request.user
    once(request, lambda: steps.add_step(shown.job, list_name=list_name, by=by, **data))
    return saved(request, number, list_name)


@require_POST
def tick_step(request, number, pk, tick):
    """Tick a step off, put it aside for a reason, or open it again."""
    shown = load(request, number)
    require_open(shown.job)
    step = Step.objects.select_related("job").filter(job=shown.job, pk=pk).first()
    if step is None or tick not in _TICKS:
        raise Http404("There is no such step on this card.")
    told = {"why": request.POST.get("why", "")[:MAX_WHY]} if tick == "aside" else {}
    try:
        _TICKS[tick](step, by=request.user, **told)
    except ValidationError as error:
        unsaid = {"pk": step.pk, "wrong": error.message}
        return show_section(request, shown, step.list, status=422, unsaid=unsaid)
    return saved(request, number, step.list)


@require_POST
def abrasive(request, number, said):
    """Whether the unit was blasted, and the sign-off that no abrasive is left."""
    if said not in _ABRASIVE:
        raise Http404
    shown = load(request, number)
    try:
        _ABRASIVE[said](shown.job, request.user)
    except ValidationError as error:
        wrong = error.message
        return show_section(request, shown, "cleaning", status=422, wrong=wrong)
    return saved(request, number, "cleaning")
