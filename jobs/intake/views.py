"""Opening a card at the counter: one page, one send."""

from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from curves.models import Build
from jobs.intake.actions import change_unit
from jobs.intake.forms import EngineForm, NewAgreedForm, OwnerForm, StartForm, UnitForm, customers_like, named
from jobs.intake.opening import open_job, reopen
from jobs.intake.returned import NotNewest, is_same_mark
from jobs.intake.starts import Starts, filled, fills_in, under
from jobs.models import Engine, Job, Unit
from jobs.papers import building
from jobs.queries import values_used
from jobs.record.noting import changes
from jobs.teardown.photo_forms import IntakePhotosForm, choose_again, chosen
from jobs.teardown.photos import add_photo
from shop import notes
from shop.idempotency import take, taken
from shop.pages import page
from shop.rights import require
from shop.several_forms import Several


class NewCard(Several):
    """The forms of a new card, in the order of the talk at the counter; ``starts`` fills them unchecked."""

    def __init__(self, data=None, files=None, *, starts=None):
        def typed(prefix=""):
            return {} if starts is None else {"initial": under(prefix, starts.typed)}

        self.starts = starts or Starts(data.dict() if data else {})
        self.start = StartForm(data, **typed())
        self.before = self.start.before
        unit = Unit.objects.get(pk=self.before.unit_id) if self.before else None
        self.owner = OwnerForm(data, **typed())
        self.unit = UnitForm(data, prefix="unit", instance=unit, **typed("unit-"))
        self.agreed = NewAgreedForm(data, **typed())
        self.engine = EngineForm(data, prefix="engine", empty_permitted=True, **typed("engine-"))
        self.photos = IntakePhotosForm(data, files if data else None)
        self.lost = chosen(files) if starts else []  # a page that fills in anew has no files
        super().__init__(self.start, self.owner, self.unit, self.agreed, self.engine, self.photos)

    @property
    def holds_typing(self):
        """Whether the page already shows what was typed, so that the browser must not put its own there."""
        return self.owner.is_bound or bool(self.starts.typed)

    def is_valid(self):
        judged = [super().is_valid(), self._is_the_unit(), self._photos_are_good()]
        if not all(judged):
            self.photos.ask_again()
        return all(judged)

    def refuse_start(self, why):
        """The card to start from is the newest no longer; what was chosen with it is asked for again."""
        self.start.add_error("earlier", why)
        self.photos.ask_again()

    def take_focus(self):
        """The first refused field on the page is the one to go on from, or whose the unit is."""
        shown = (self.owner, self.unit, self.start, self.agreed, self.engine, self.photos)
        wrong = [field for form in shown if form.is_bound for field in form.visible_fields() if field.errors]
        if wrong:
            wrong[0].field.widget.attrs["autofocus"] = True
        elif not self.starts.typed:
            self.owner.fields["customer"].widget.attrs["autofocus"] = True

    @property
    def photos_hint(self):
        return " ".join([choose_again(self.lost), "JPEG, HEIC, PNG or WebP, up to 25 MB each"]).strip()

    def _is_the_unit(self):
        """Another maker or number is another unit: its card must not start from this one's."""
        for name in ("maker", "number") if self.before else ():
            stands, typed = getattr(self.before.unit, name), self.unit.cleaned_data.get(name)
            if stands and typed and not is_same_mark(stands, typed):
                said = f"Job {self.before.number} is of a unit with {stands} here"
                self.unit.add_error(name, f"{said}: write that, or don't start from it.")
        return not self.unit.errors

    def _photos_are_good(self):
        self.pictures = [] if self.photos.errors else self.photos.cleaned()
        return not self.photos.errors

    def open(self, person):
        """Open the card; returns its address."""
        job = self._back(person) if self.before else self._new(person)
        for picture in self.pictures:
            add_photo(job, picture, by=person)
        building.tray_tag(job, by=person)
        return reverse("card", args=[job.number])

    def _new(self, person):
        return open_job(
            by=person,
            unit=self.unit.instance,
            build=Build(travel_stamped_deg=self.unit.cleaned_data["travel_stamped_deg"]),
            **self._said(),
        )

    def _back(self, person):
        job = Job.objects.get(pk=reopen(self.before, by=person, **self._said()).pk)
        stamped = self.unit.cleaned_data["travel_stamped_deg"]
        change_unit(job, self.unit.row_data(), by=person, version=job.version, travel_stamped_deg=stamped)
        return job

    def _said(self):
        engine = self.engine.instance if self.engine.has_changed() else None
        stood = self.before.engine if self.before else None
        if engine and stood and not changes(stood, row := self.engine.row_data(), row):
            engine = stood
        return {"customer": self.owner.cleaned_data["owner"], "engine": engine} | self.agreed.row_data()


@require_http_methods(["GET", "POST"])
def new_job(request):
    require(request.user, "open_job")
    if request.method == "POST" and fills_in(request.POST):
        files = None if request.htmx else request.FILES
        answer = _shown(request, NewCard(files=files, starts=filled(request.POST.dict())))
        answer["HX-Reselect"] = f"#{request.htmx.target or 'main'}"  # the rest, files too, stays as it is
        return answer
    if request.method == "POST" and (before := taken(request)):
        return redirect(before)
    form = NewCard(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            place = take(request, lambda: form.open(request.user))
        except NotNewest as refusal:  # someone else opened a card for this unit meanwhile
            form.refuse_start(str(refusal))
        else:
            notes.leave(request, "The card is open. Print its tag, and put it on the tray.")
            return redirect(place)
    return _shown(request, form)


def _shown(request, form):
    form.take_focus()
    context = {"form": form, "starts": form.starts, "used": used(), "fill_at": reverse("new_job")}
    return page(request, "jobs/intake/new.html", context, status=form.status)


@require_GET
def starts(request, of):
    """What can be filled into the unit or the engine, as one types whose it is."""
    require(request.user, "open_job")
    context = {"starts": Starts(request.GET.dict()), "fill_at": reverse("new_job"), "ask_at": request.path}
    return render(request, f"jobs/intake/_{of}_starts.html", context)


@require_GET
def customer_names(request):
    """Customers whose name begins to be typed, as suggestions."""
    found = customers_like(request.GET.get("customer", "")[:250])
    return render(
        request, "jobs/intake/_customer_names.html", {"names": [named(customer) for customer in found]}
    )


def used():
    """What was written before in the fields that suggest it, by the name of the suggestion list."""
    fields = [
        (Unit, "unit", ("maker", "capsule")),
        (Engine, "engine", ("vehicle", "make", "model", "camshaft")),
    ]
    return {
        f"used-{prefix}-{name}": values_used(model, name) for model, prefix, names in fields for name in names
    }
