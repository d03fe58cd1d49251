"""The forms of intake: whose unit it is, what it is, what it sits on, and what was agreed."""

from django import forms
from django.db.models import Q
from django.urls import reverse

from jobs.intake import returned
from jobs.models import Engine, Job, Unit
from shop.amounts import FRAME, in_currency
from shop.fields import between
from shop.forms import Form, ModelForm, NumberField, WholeField
from shop.idempotency import OnceField
from shop.models import Customer

_NAMED = ("name", "company", "phone", "email")


def named(customer):
    """A customer as the list of suggestions names them: enough to tell two of one name apart."""
    return f"{customer} ({customer.phone or customer.email or f'no. {customer.pk}'})"


def customers_like(text, limit=20):
    """Customers on whom every typed word stands, the newest first."""
    rows = Customer.objects.order_by("-pk")
    for word in text.replace("(", " ").replace(")", " ").replace(",", " ").split():
        rows = rows.filter(Q(*((f"{name}__icontains", word) for name in _NAMED), _connector=Q.OR))
    return rows[:limit]


def meant_by(typed):
    """The customers whose name was typed; the one picked from the list of suggestions alone."""
    name = typed.split(" (")[0].split(",")[0].strip()
    found = list(Customer.objects.filter(name__iexact=name)[:50])
    return [one for one in found if is_picked(one, typed)] or found


def is_picked(customer, typed):
    return named(customer).casefold() == typed.casefold()


def _suggested(field, name):
    """Let a text field suggest what was written in it before (a <datalist> of that name)."""
    field.widget.attrs |= {"list": f"used-{name}", "autocomplete": "off"}


class OwnerForm(Form):
    """A customer by name, a new one with a way to reach them, or the shop's stock."""

    stock = forms.BooleanField(label="Shop stock, no customer", required=False)
    customer = forms.CharField(
        max_length=250,
        required=False,
        help_text="Pick from the list, or type a new name with a phone number or an email.",
    )
    company = forms.CharField(max_length=120, required=False)
    phone = forms.CharField(
        max_length=40, required=False, widget=forms.TextInput(attrs={"inputmode": "tel", "type": "tel"})
    )
    email = forms.EmailField(required=False)

    def __init__(self, *args, customer=None, **options):
        if customer is not None:
            options.setdefault("initial", {"customer": named(customer)})
        super().__init__(*args, **options)
        self.fields["customer"].widget.attrs |= {
            "list": "customer-names",
            "autocomplete": "off",
            "hx-get": reverse("customer_names"),
            "hx-trigger": "input changed delay:200ms",
            "hx-target": "#customer-names",
            "hx-swap": "innerHTML",
            "hx-sync": "this:replace",
        }

    def clean(self):
        data = super().clean()
        data["owner"] = None
        typed = " ".join(data.get("customer", "").split())
        if data.get("stock"):
            if typed:
                self.add_error(
                    "stock", "Either a customer or shop stock: clear the name, or take the tick away."
                )
        elif not typed:
            way_out = "Type a name, or tick shop stock." if "stock" in self.fields else "Type a name."
            self.add_error("customer", f"Whose unit is it? {way_out}")
        elif "customer" in data:
            data["owner"] = self._known(typed) or self._new(typed, data)
        return data

    def _known(self, typed):
        """The one customer meant by the text, or None; two of one name are asked about."""
        found = meant_by(typed)
        picked = [customer for customer in found if is_picked(customer, typed)]
        if picked or self._says_new():
            return next(iter(picked or filter(self._is_reached_there, found)), None)
        if len(found) > 1:
            self.add_error("customer", "More than one customer has that name: pick one from the list.")
        return found[0] if found else None

    def _is_reached_there(self, customer):
        """Whether the telephone or the address typed beside a known name is that customer's."""
        typed = {self._typed("phone"), self._typed("email").casefold()} - {""}
        return bool(typed & {customer.phone, customer.email.casefold()})

    def _typed(self, name):
        return self.data.get(self.add_prefix(name), "").strip()

    def _says_new(self):
        return bool(self._typed("phone") or self._typed("email"))

    def _new(self, typed, data):
        if len(typed) > 120:
            self.add_error("customer", "The name is too long: 120 characters fit.")
        if not self._says_new():
            self.add_error(
                "customer",
                f"No customer “{typed}” yet: give a phone number or an email to add them,"
                " or pick one from the list.",
            )
        return Customer(name=typed, **{name: data.get(name, "") for name in ("company", "phone", "email")})


def _say_not_known(form):
    """An empty choice says what it means."""
    for field in form.fields.values():
        if isinstance(field, forms.TypedChoiceField):
            field.choices = [("", "not known"), *(choice for choice in field.choices if choice[0])]


class UnitForm(ModelForm):
    """What the unit says of itself."""

    travel_stamped_deg = NumberField(
        label="Travel stamped (distributor deg)", required=False, validators=between(1, 30)
    )

    class Meta:
        model = Unit
        fields = [
            "maker",
            "number",
            "date_code",
            "rotation",
            "cylinders",
            "trigger",
            "connector_pins",
            "capsule",
        ]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        _say_not_known(self)
        for name in ("maker", "capsule"):
            _suggested(self.fields[name], f"unit-{name}")

    def row_data(self):
        return {name: self.cleaned_data[name] for name in self._meta.fields}


class EngineForm(ModelForm):
    """The engine and the vehicle around it; left empty when nobody knows."""

    class Meta:
        model = Engine
        fields = [
            "vehicle",
            "make",
            "model",
            "year",
            "cylinders",
            "displacement_cc",
            "compression",
            "camshaft",
            "induction",
            "fuel_octane",
            "use",
            "idle_crank_rpm",
            "top_crank_rpm",
        ]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        _say_not_known(self)
        self.fields["make"].required = False  # asked for below, once anything else is known of the engine
        for name in ("vehicle", "make", "model", "camshaft"):
            _suggested(self.fields[name], f"engine-{name}")

    def clean(self):
        data = super().clean()
        if "make" in data and not data["make"]:
            self.add_error("make", "Whose engine is it? Write its maker, or “unknown”.")
        idle, top = data.get("idle_crank_rpm"), data.get("top_crank_rpm")
        if idle and top and idle >= top:
            self.add_error("top_crank_rpm", f"The top speed must lie above the idle of {idle}: check both.")
        return data

    def row_data(self):
        return {name: self.cleaned_data[name] for name in self._meta.fields}


class AgreedForm(ModelForm):
    """What is wrong, what came along, and the estimate; a limit agreed later is an answer."""

    class Meta:
        model = Job
        fields = ["complaint", "came_with", "tray", "promised_on", "estimate"]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        for name, rows in {"complaint": 3, "came_with": 2}.items():
            self.fields[name].widget.attrs["rows"] = rows
            self.fields[name].wide = True
        in_currency(self, "estimate")

    def row_data(self):
        return {name: self.cleaned_data[name] for name in self._meta.fields}


class NewAgreedForm(AgreedForm):
    """The same at the counter, with the limit up to which nobody need ask again."""

    class Meta(AgreedForm.Meta):
        fields = [*AgreedForm.Meta.fields, "agreed_limit"]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        in_currency(self, "agreed_limit")
        limit = self.fields["agreed_limit"]
        limit.help_text = f"{FRAME}; without one, the answer to the estimate is asked for."


class StartForm(Form):
    """The one-time key of the page that opens a card, and the earlier card that the new one starts from."""

    once = OnceField()
    earlier = WholeField(
        label="Earlier job number",
        required=False,
        validators=between(1, 9_999_999),
        help_text="Was it here before? Its unit number finds the card too.",
    )
    previous = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def clean(self):
        data = super().clean()
        earlier, previous = data.get("earlier"), data.get("previous")
        if previous:
            data["before"], refusal = returned.to_start_from(previous)
            if refusal:
                self.add_error("earlier", refusal)
        if earlier and earlier != previous:
            self.add_error(
                "earlier", f"The card does not start from job {earlier} yet: tap it, or clear this."
            )
        return data

    @property
    def before(self):
        """The card to start from, or None."""
        return self.cleaned_data.get("before") if self.is_bound and self.is_valid() else None
