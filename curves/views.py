"""The drawer: the shop's kinds of spring, listed, added and changed."""

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from curves import actions, queries
from curves.models import Spring
from curves.springforms import NewSpringForm, SpringForm
from shop import notes, once
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict


@require_GET
def drawer(request):
    require(request.user, "read")
    context = {"springs": queries.drawer(), "may_edit": request.user.may("edit_drawer")}
    return page(request, "curves/drawer.html", context)


@require_http_methods(["GET", "POST"])
def spring_new(request):
    require(request.user, "edit_drawer")
    before = once.taken(request.POST.get("once"))
    if before:  # a repeated send would find its own label taken
        return go(request, before)
    form = NewSpringForm(request.POST or None)
    if form.is_bound and form.is_valid():
        return go(request, once.take(form.cleaned_data["once"], request.user, lambda: _made(request, form)))
    return _show(request, form, reverse("spring_new"))


def _made(request, form):
    spring = Spring()
    actions.save_spring(spring, form.spring_values, by=request.user)
    notes.leave(request, f"{spring} is in the drawer.")
    return reverse("drawer")


@require_http_methods(["GET", "POST"])
def spring(request, pk):
    require(request.user, "edit_drawer")
    row = get_object_or_404(Spring, pk=pk)
    form = SpringForm(request.POST or None, instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid():
        try:
            actions.save_spring(
                row, form.spring_values, by=request.user, version=form.cleaned_data["version"]
            )
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, f"{row} is changed.")
            return go(request, reverse("drawer"))
    return _show(request, form, reverse("spring", args=[pk]), row)


def _show(request, form, action, row=None):
    context = {"form": form, "action": action, "spring": row}
    return page(
        request, "curves/spring.html", context, fragment="curves/_spring_form.html", status=form.status
    )
