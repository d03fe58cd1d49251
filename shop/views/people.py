"""The owner's pages: the people who work here, and the shop's profile."""

from django.contrib.auth import update_session_auth_hash
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shop import actions, idempotency, notes
from shop.account_forms import GivenPasswordForm
from shop.models import Person, Shop
from shop.pages import go, page, sent
from shop.people_forms import NewPersonForm, PersonForm, ShopForm
from shop.rights import require
from shop.versions import Conflict


@require_GET
def people(request):
    require(request.user, "edit_people")
    everyone = Person.objects.order_by("-is_active", "full_name")
    return page(request, "shop/people.html", {"people": everyone})


@require_http_methods(["GET", "POST"])
def new_person(request):
    require(request.user, "edit_people")
    form = NewPersonForm(sent(request))
    if form.is_bound and form.is_valid():
        return go(request, idempotency.take(request, lambda: _made(form, request)))
    before = idempotency.taken(request)  # a second send finds its own login name taken
    if before is not None:
        return go(request, before)
    return page(request, "shop/new_person.html", {"form": form}, status=form.status)


@require_http_methods(["GET", "POST"])
def person(request, pk):
    require(request.user, "edit_people")
    row = get_object_or_404(Person, pk=pk)
    form = PersonForm(sent(request), instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid() and _edited(form, request.user):
        notes.leave(request, f"{row} saved.")
        return redirect("people")
    return _person_page(request, row.pk, form=form)


@require_POST
def person_active(request, pk):
    """Switch someone on or off; the answer carries the way back."""
    require(request.user, "edit_people")
    row = get_object_or_404(Person, pk=pk)
    active = request.POST.get("active") == "1"
    version = request.POST.get("version", "")
    try:
        actions.set_active(
            row, active=active, version=int(version) if version.isdecimal() else 0, by=request.user
        )
    except (Conflict, actions.LastOwner) as refusal:
        return _person_page(request, pk, refusal=_words(refusal))
    notes.leave(
        request,
        f"{row} may log in again." if active else f"{row} may no longer log in.",
        undo=reverse("person_active", args=[pk]),
        values={"active": 0 if active else 1, "version": row.version},
    )
    return redirect("people")


@require_http_methods(["GET", "POST"])
def person_password(request, pk):
    require(request.user, "edit_people")
    row = get_object_or_404(Person, pk=pk)
    form = GivenPasswordForm(row, sent(request))
    if form.is_bound and form.is_valid():
        actions.give_password(form, by=request.user)
        if row == request.user:
            update_session_auth_hash(request, row)
        notes.leave(request, f"{row} has a new password.")
        return redirect("people")
    return page(request, "shop/person_password.html", {"person": row, "form": form}, status=form.status)


@require_http_methods(["GET", "POST"])
def shop_profile(request):
    require(request.user, "edit_shop")
    row = Shop.current()
    form = ShopForm(sent(request), instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid() and actions.edit_shop(form, by=request.user):
        notes.leave(request, "Shop profile saved.")
        return redirect("people")
    return page(request, "shop/profile.html", {"form": form}, status=form.status)


def _made(form, request):
    actions.add_person(form, by=request.user)
    return reverse("people")


def _edited(form, by):
    try:
        return actions.edit_person(form, by=by)
    except actions.LastOwner as refusal:
        form.add_error("role", str(refusal))
        return False


def _words(refusal):
    if isinstance(refusal, Conflict):
        return "Someone else changed this person meanwhile: look at what stands here and choose again."
    return str(refusal)


def _person_page(request, pk, *, form=None, refusal=""):
    """One person as the row stands, with the form as it was typed."""
    row = Person.objects.get(pk=pk)
    form = form or PersonForm(instance=row, initial={"version": row.version})
    context = {"person": row, "form": form, "refusal": refusal}
    return page(request, "shop/person.html", context, status=409 if refusal else form.status)
