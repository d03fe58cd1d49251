"""The card's page, its stages and sections, and the edit in place of what intake and hand-back say."""

from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from jobs.page.sections import SECTIONS, fresh, look_again, versioned
from jobs.page.showing import context_of, known_section, known_stage, load, saved, show_card, show_section
from jobs.record.history import sentence
from jobs.rules.guards import require_open
from jobs.stages import Stage
from shop.pages import page
from shop.rights import NotAllowed
from shop.versions import Conflict


@require_GET
def card(request, number):
    unfolded = {stage for stage in request.GET.getlist("open") if stage in Stage.values}
    return show_card(request, load(request, number, unfolded))


@require_GET
def stage(request, number, stage):
    """One stage, unfolded or folded again."""
    wanted = known_stage(stage)
    unfolded = set() if "fold" in request.GET else {wanted}
    shown = load(request, number, unfolded)
    if not request.htmx:
        return redirect(shown.address(wanted))
    return render(
        request,
        "jobs/page/_stage.html",
        context_of(shown, part=shown.stage(wanted)),
    )


@require_GET
def section(request, number, section):
    """One section to read: where an edit leads that is left."""
    known_section(section)
    return saved(request, number, section)


@require_http_methods(["GET", "POST"])
def edit_section(request, number, section):
    known_section(section)
    editing = SECTIONS[section].editing
    if editing is None:
        raise Http404(f"The section {section} is written line by line.")
    shown = load(request, number)
    require_open(shown.job)
    if not shown.may[editing.right]:
        raise NotAllowed("Your role doesn't write in this section.")
    form = versioned(editing.form(shown.job, request.POST or None), shown.job)
    form.visible_fields()[0].field.widget.attrs["autofocus"] = True
    if request.method == "POST" and form.is_valid():
        try:
            editing.save(shown.job, form, request.user, form.cleaned_data["version"])
            return saved(request, number, section)
        except ValidationError as error:
            form.add_error(None, error)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
            form.current = editing.standing(fresh(conflict.current)) or conflict.current
            look_again(form)
    return show_section(request, shown, section, editing=section, form=form, status=form.status)


@require_GET
def history(request, number):
    """What was done to a card, in plain words, the latest on top."""
    shown = load(request, number)
    entries = list(shown.job.history.select_related("by").order_by("-pk"))
    for entry in entries:
        entry.said = sentence(entry)
    context = {"card": shown, "job": shown.job, "entries": entries}
    return page(request, "jobs/record/history.html", context, fragment="jobs/record/_history.html")
