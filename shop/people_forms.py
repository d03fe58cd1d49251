"""The forms of the shop's own records: customers, people, the profile."""

from django import forms
from django.contrib.auth.forms import SetPasswordMixin

from shop.account_forms import PASSWORD_RULES
from shop.forms import ModelForm, VersionedForm
from shop.idempotency import OnceField
from shop.models import Customer, Person, Shop
from shop.speeds import read_speeds
from shop.words import claim_in

_CUSTOMER = ["name", "company", "phone", "email", "address", "note"]
_PERSON = ["full_name", "username", "role"]


class NewCustomerForm(ModelForm):
    once = OnceField()

    class Meta:
        model = Customer
        fields = _CUSTOMER


class CustomerForm(VersionedForm):
    class Meta:
        model = Customer
        fields = _CUSTOMER


class ShopForm(VersionedForm):
    class Meta:
        model = Shop
        fields = [
            "name",
            "address",
            "phone",
            "email",
            "paper",
            "currency",
            "warranty_months",
            "idle_margin_crank_rpm",
            "bench_speeds",
            "tester_unit",
            "paper_note",
        ]
        labels = {
            "warranty_months": "Warranty (months)",
            "idle_margin_crank_rpm": "Advance begins above idle by at least (crank rpm)",
            "bench_speeds": "Bench speeds, one tap each",
        }
        help_texts = {"idle_margin_crank_rpm": "Common practice, not a maker's figure."}

    def clean_bench_speeds(self):
        try:
            speeds = read_speeds(self.cleaned_data["bench_speeds"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
        return ", ".join(map(str, speeds))

    def clean_paper_note(self):
        note = self.cleaned_data["paper_note"]
        if said := claim_in(note):
            raise forms.ValidationError(
                f"This stands on every paper, of a unit that fails too: leave “{said}” out."
                " A sheet says itself what its final run came to."
            )
        return note

    def clean_currency(self):
        currency = self.cleaned_data["currency"].upper()
        if not (currency.isascii() and currency.isalpha() and len(currency) == 3):
            raise forms.ValidationError("Not a currency code: write its three letters, as EUR.")
        return currency


class _LoginName:
    """Login names differ by more than capitals: a tablet's keyboard likes to change those."""

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["username"].label = "Login name"
        self.fields["username"].help_text = "Letters, digits and . _ - + @"
        self.fields["username"].widget.attrs |= {"autocapitalize": "none", "autocomplete": "off"}

    def clean_username(self):
        username = self.cleaned_data["username"]
        if Person.objects.filter(username__iexact=username).exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError("Taken already: choose another.")
        return username


class NewPersonForm(_LoginName, SetPasswordMixin, ModelForm):
    """A new person, with the password the owner hands over."""

    once = OnceField()
    password1, password2 = SetPasswordMixin.create_password_fields("Password", "Password again")

    error_messages = {"password_mismatch": "The two differ: type the same password twice."}

    class Meta:
        model = Person
        fields = _PERSON

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["password1"].help_text = PASSWORD_RULES
        self.fields["password2"].help_text = ""

    def clean(self):
        self.validate_passwords()
        return super().clean()

    def _post_clean(self):
        super()._post_clean()
        self.validate_password_for_user(self.instance, "password2")


class PersonForm(_LoginName, VersionedForm):
    class Meta:
        model = Person
        fields = _PERSON
