"""Customers: the list that answers as one types, one of them, a new one, and changing one in place."""

from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from shop import actions, idempotency
from shop.models import Customer
from shop.pages import go, page, sent
from shop.people_forms import CustomerForm, NewCustomerForm
from shop.queries import customers_matching
from shop.rights import require

PER_PAGE = 50
JOBS_SHOWN = 100


@require_GET
def customers(request):
    require(request.user, "read")
    text = request.GET.get("q", "").replace("\0", "").strip()[:200]
    found = Paginator(customers_matching(text), PER_PAGE).get_page(request.GET.get("page"))
    return page(
        request,
        "jobs/intake/customers.html",
        {"q": text, "found": found},
        fragment="jobs/intake/_customers_found.html",
    )


@require_GET
def customer(request, pk):
    require(request.user, "read")
    context = _with_jobs(get_object_or_404(Customer, pk=pk))
    return page(request, "jobs/intake/customer.html", context, fragment="jobs/intake/_customer.html")


@require_http_methods(["GET", "POST"])
def edit_customer(request, pk):
    require(request.user, "edit_customer")
    row = get_object_or_404(Customer, pk=pk)
    form = CustomerForm(sent(request), instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid() and actions.edit_customer(form, by=request.user):
        return _after_edit(request, row)
    context = _with_jobs(Customer.objects.get(pk=pk)) | {"form": form}
    return page(
        request,
        "jobs/intake/customer.html",
        context,
        fragment="jobs/intake/_customer_form.html",
        status=form.status,
    )


@require_http_methods(["GET", "POST"])
def new_customer(request):
    require(request.user, "edit_customer")
    form = NewCustomerForm(sent(request))
    if form.is_bound and form.is_valid():
        return go(request, idempotency.take(request, lambda: _made(form, request)))
    return page(request, "jobs/intake/new_customer.html", {"form": form}, status=form.status)


def _made(form, request):
    return reverse("customer", args=[actions.add_customer(form, by=request.user).pk])


def _after_edit(request, row):
    if not request.htmx:
        return redirect("customer", row.pk)
    return page(
        request, "jobs/intake/_customer.html", {"customer": Customer.objects.get(pk=row.pk), "saved": True}
    )


def _with_jobs(row):
    """A customer with the newest cards that name them."""
    jobs = row.jobs.select_related("unit", "engine")[: JOBS_SHOWN + 1]
    return {"customer": row, "jobs": jobs[:JOBS_SHOWN], "more_jobs": len(jobs) > JOBS_SHOWN}
