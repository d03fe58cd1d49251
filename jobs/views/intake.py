"""Opening a card at the counter: one page, one send."""

from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from curves.models import Build
from jobs import building
from jobs.actions.opening import open_job
from jobs.actions.photos import add_photo
from jobs.forms.intake import EngineForm, NewAgreedForm, OnceForm, OwnerForm, UnitForm, customers_like, named
from jobs.forms.photos import IntakePhotosForm
from jobs.forms.several import Several
from jobs.models import Engine, Unit
from jobs.queries import values_used
from shop import notes
from shop.once import take, taken
from shop.pages import page
from shop.rights import require


class NewCard(Several):
    """The forms of a new card, in the order of the talk at the counter."""

    def __init__(self, data=None, files=None):
        self.owner = OwnerForm(data)
        self.owner.fields["customer"].widget.attrs["autofocus"] = True
        self.unit = UnitForm(data, prefix="unit")
        self.agreed = NewAgreedForm(data)
        self.engine = EngineForm(data, prefix="engine", empty_permitted=True)
        self.photos = IntakePhotosForm(data, files)
        self.once = OnceForm(data)
        super().__init__(self.owner, self.unit, self.agreed, self.engine, self.photos, self.once)

    def is_valid(self):
        return super().is_valid() and self._photos_are_good()

    def _photos_are_good(self):
        self.pictures = self.photos.cleaned()
        return not self.photos.errors

    def open(self, person):
        """Open the card; returns its address."""
        engine = self.engine.instance if self.engine.has_changed() else None
        job = open_job(
            by=person,
            customer=self.owner.cleaned_data["owner"],
            unit=self.unit.instance,
            engine=engine,
            build=Build(travel_stamped_deg=self.unit.cleaned_data["travel_stamped_deg"]),
            **self.agreed.row_data(),
        )
        for picture in self.pictures:
            add_photo(job, picture, by=person)
        building.tray_tag(job, by=person)
        return reverse("card", args=[job.number])


@require_http_methods(["GET", "POST"])
def new_job(request):
    require(request.user, "open_job")
    if request.method == "POST" and (before := taken(request)):
        return redirect(before)
    form = NewCard(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        place = take(request, lambda: form.open(request.user))
        notes.leave(request, "The card is open. Print its tag, and put it on the tray.")
        return redirect(place)
    return page(request, "jobs/new.html", {"form": form, "used": used()}, status=form.status)


@require_GET
def customer_names(request):
    """Customers whose name begins to be typed, as suggestions."""
    found = customers_like(request.GET.get("customer", "")[:250])
    return render(request, "jobs/_customer_names.html", {"names": [named(customer) for customer in found]})


def used():
    """What was written before in the fields that suggest it, by the name of the suggestion list."""
    fields = [
        (Unit, "unit", ("maker", "capsule")),
        (Engine, "engine", ("vehicle", "make", "model", "camshaft")),
    ]
    return {
        f"used-{prefix}-{name}": values_used(model, name) for model, prefix, names in fields for name in names
    }
