"""Closing a card without the repair: one page, one send."""

from django.core.exceptions import ValidationError
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.money.forms import CloseForm
from jobs.moves.closing import close_unrepaired
from jobs.queries import card_for
from jobs.rules.agreement import agreement_of
from jobs.rules.guards import refuse_practice, require_an_ending, require_open
from shop.idempotency import take, taken
from shop.pages import page, sent
from shop.rights import require
from shop.versions import Conflict


@require_http_methods(["GET", "POST"])
def close_card(request, number):
    """The unit goes back as it came, is kept for parts, or is scrapped."""
    require(request.user, "hand_back")
    if request.method == "POST" and (before := taken(request)) is not None:
        return redirect(before)
    job = card_for(request.user, number)
    require_open(job)
    refuse_practice(job)
    require_an_ending(job, request.user)
    form = CloseForm(sent(request), job=job, person=request.user)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data

        def close():
            seen = {"version": said["version"], "seen": said["seen"]}
            data = form.closing_data()
            close_unrepaired(job, said["ending"], data, by=request.user, stays=form.staying, **seen)
            return reverse("card", args=[number])

        try:
            return redirect(take(request, close))
        except ValidationError as error:
            form.refuse(error)
        except Conflict:
            job = card_for(request.user, number)
            form = _again(request, job)
    elif request.method == "POST" and form.data.get("version") != str(job.version):
        form.show_conflict(job)
    context = {
        "job": job,
        "form": form,
        "agreement": agreement_of(job),
    }
    return page(request, "jobs/moves/close.html", context, status=form.status)


def _again(request, job):
    """The form over the card as it stands now: what was typed is kept, ticks only of what is still there."""
    require_open(job)
    form = CloseForm(request.POST, job=job, person=request.user)
    form.is_valid()
    form.show_conflict(job)
    return form
