"""Types of head: named, noted, and what the units of each have taught; learning runs in the worker."""

from django.db.models import Count, Q
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from curves.models import HeadType
from curves.springs import learning
from curves.springs.head_forms import HeadTypeForm, NewHeadTypeForm
from jobs.models import Job
from shop import idempotency, notes
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict

PENDING = (HeadType.State.WAITING, HeadType.State.WORKING)
# What the engine finds of a head, in a caliper's words, with its unit and decimals.
WORDS = {
    "travel_deg": ("Travel", "distributor deg", 2),
    "post_gap_primary_mm": ("Primary post gap", "mm", 2),
    "post_gap_secondary_mm": ("Secondary post gap", "mm", 2),
    "stretch_primary_mm_per_deg": ("Primary opens by", "mm per distributor deg", 3),
    "stretch_secondary_mm_per_deg": ("Secondary opens by", "mm per distributor deg", 3),
    "inertia_kg_mm2_per_deg": ("Pull of the weights at rest", "kg mm² per distributor deg", 3),
    "growth_per_deg": ("It grows by", "share per distributor deg", 3),
    "friction_n_mm_per_deg": ("Friction", "N mm per distributor deg", 3),
}


@require_http_methods(["GET", "POST"])
def head_types(request):
    """The list; a POST names a new type."""
    require(request.user, "read" if request.method == "GET" else "edit_drawer")
    before = idempotency.taken(request)
    if before:
        return go(request, before)
    form = NewHeadTypeForm(request.POST or None)
    if form.is_bound and form.is_valid():
        return go(request, idempotency.take(request, lambda: _made(request, form)))
    real = Q(builds__practice_seed=None)
    types = HeadType.objects.annotate(
        units=Count("builds", filter=real, distinct=True),
        handed_back=Count(
            "builds", filter=real & Q(builds__locked=True, builds__unrepaired=False), distinct=True
        ),
    )
    context = {"types": types, "form": form, "may_edit": request.user.may("edit_drawer")}
    return page(request, "curves/springs/head_types.html", context, status=form.status)


def _made(request, form):
    made = HeadType()
    learning.save_type(made, form.type_values, by=request.user)
    notes.leave(request, f"{made} is a type of head now: name it on the heads that are of it.")
    return reverse("head_type", args=[made.pk])


@require_http_methods(["GET", "POST"])
def head_type(request, pk):
    """What a type has learned and from which units; asked again while the worker is at it."""
    require(request.user, "read" if request.method == "GET" else "edit_drawer")
    row = get_object_or_404(HeadType, pk=pk)
    form = HeadTypeForm(request.POST or None, instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid():
        try:
            learning.save_type(row, form.type_values, by=request.user, version=form.cleaned_data["version"])
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, f"{row} is changed.")
            return go(request, reverse("head_type", args=[pk]))
    return _show(request, get_object_or_404(HeadType, pk=pk), form)


@require_POST
def learn(request, pk):
    """Order a type to learn from the units that were handed back."""
    require(request.user, "edit_curve")
    row = get_object_or_404(HeadType, pk=pk)
    learning.order(row, by=request.user)
    row.refresh_from_db()
    if request.htmx:
        return _show(request, row, HeadTypeForm(instance=row, initial={"version": row.version}))
    return go(request, reverse("head_type", args=[pk]))


def _show(request, row, form):
    jobs = {job.build_id: job for job in Job.objects.real().filter(build__head_type=row).order_by("number")}
    context = {
        "type": row,
        "form": form,
        "pending": row.state in PENDING,
        "values": _in_words(learning.values_of(row)),
        "heads": _heads(row, jobs),
        "jobs": list(jobs.values()),
        "ready": learning.teaching_builds(row).count(),
        "least": learning.MIN_BUILDS,
        "may_edit": request.user.may("edit_drawer"),
        "may_learn": request.user.may("edit_curve"),
    }
    fragment = "curves/springs/_head_type_learned.html"
    return page(request, "curves/springs/head_type.html", context, fragment=fragment, status=form.status)


def _in_words(values):
    return [(*WORDS[name], found.value, found.sd) for name, found in values.items()]


def _heads(row, jobs):
    """Each unit that was learned from: its job, its travel and gaps with their errors."""
    shown = ("travel_deg", "post_gap_primary_mm", "post_gap_secondary_mm")
    learned = (row.learned or {}).get("builds", [])
    return [(jobs.get(one["build"]), [one[name] for name in shown]) for one in learned]
