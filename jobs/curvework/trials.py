"""Spring trials of a card: the proposals and what they rest on, and the pair that is fitted next."""

from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from curves.rows import queries
from curves.rows.stock import NotInDrawer
from curves.springs.corrections import PLACES
from curves.trials import loop, offers
from curves.trials.trial_forms import ChoicesForm, FitForm
from jobs.curvework import trial_actions as actions
from jobs.curvework.curve import drawn
from jobs.curvework.spring_lines import where_words
from jobs.queries import card_for
from jobs.rules.guards import require_open
from shop import idempotency, notes
from shop.idempotency import new_key
from shop.pages import go, page
from shop.rights import require


@require_GET
def trials_of_job(request, number):
    """The proposals; ``show`` picks the one that is drawn, ``buy`` asks what to look for instead."""
    job = card_for(request.user, number)
    form = ChoicesForm.sent(request.GET, job.build)
    state = loop.trial_state(job.build, form.choices, cylinders=job.cylinders)
    shown = _shown(request, state)
    context = {
        "job": job,
        "state": state,
        "form": form,
        "shown": shown,
        "curve": drawn(job.build, model=offers.model_line(shown, state.drive) if shown else None),
        "expected": offers.at_band(shown, state.band, state.drive) if shown else (),
        "wanted": loop.to_buy(state) if "buy" in request.GET or _is_hopeless(state) else (),
        "may_fit": request.user.may("edit_curve") and not job.is_closed and not job.build.locked,
        "new_key": new_key,
    }
    fragment = "curves/trials/_prediction.html"
    return page(request, "curves/trials/trials.html", context, fragment=fragment, status=form.status)


def _is_hopeless(state):
    return bool(state.offers and state.little_hope and not state.waiting)


def _shown(request, state):
    """The offer asked for, else the one that hangs in the unit, else the best of the others."""
    asked = request.GET.get("show", "")
    place = int(asked) if asked.isdecimal() and len(asked) < 3 else None
    picked = [offer for offer in state.offers if offer.place == place]
    return next(iter(picked), state.hangs or next(iter(state.others), None))


@require_POST
def fit_pair(request, number):
    """Make the run of the pair that was chosen, and lead to where it is read."""
    job = card_for(request.user, number)
    require(request.user, "edit_curve")
    require_open(job)
    form = FitForm(request.POST, springs=queries.drawer(job.build))
    if not form.is_valid():
        notes.leave(request, "Nothing was fitted: the pair did not arrive whole. Choose it again.")
        return redirect("trials", number)
    try:
        return go(request, idempotency.take(request, lambda: _fitted(request, job, form)))
    except NotInDrawer as refusal:
        notes.leave(request, f"Nothing was fitted. {where_words(refusal)}")
        return redirect("trials", number)


def _fitted(request, job, form):
    promised = form.promised_on(job.build)
    run = actions.fit_pair(job, form.run_values, by=request.user, promised=promised)
    hung = {position: getattr(run, position) for position in PLACES if getattr(run, position)}
    wanted = {position: getattr(run, f"{position}_bend_mm") for position in hung}
    before = [one for one in queries.live_runs(job.build) if one != run]
    posts = offers.bends_to(wanted, job.build, before[-1] if before else None)
    bending = "".join(
        f"bend the {bend.position} post {bend.way} by {bend.distance_mm:.2f} mm, "
        for bend in posts
        if bend.distance_mm
    )
    pair = " and ".join(map(str, hung.values()))
    notes.leave(request, f"{run} is ready: {bending}hang in {pair}, then read it.")
    return f"{reverse('bench', args=[job.number])}?run={run.number}"
