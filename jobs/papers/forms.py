"""The forms of papers: order a draft, sign a sheet, make one void, compare a file."""

from django import forms

from jobs.models import Sheet
from shop.forms import Form
from shop.idempotency import OnceField
from shop.models import Paper

LARGEST_UPLOAD = 10 * 1024 * 1024


class DraftForm(Form):
    kind = forms.ChoiceField(label="Paper")
    paper = forms.ChoiceField(label="Size", choices=Paper.choices)
    once = OnceField()

    def __init__(self, *args, kinds, **options):
        super().__init__(*args, prefix="draft", **options)
        self.fields["kind"].choices = [(kind, Sheet.Kind(kind).label) for kind in kinds]


class SignForm(Form):
    prefix = "sign"  # more forms share its page; its password is then masked by this name in the settings
    kind = forms.ChoiceField(label="Sheet", choices=[(kind.value, kind.label) for kind in Sheet.SIGNABLE])
    paper = forms.ChoiceField(label="Size", choices=Paper.choices)
    password = forms.CharField(
        label="Your password, again",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    seen = forms.CharField(widget=forms.HiddenInput, max_length=64)
    once = OnceField()

    def look_again(self, said):
        """The card changed while this form was open: say so, and let the next send sign what is there now."""
        self.add_error(None, "The card was changed after you opened this. Look at it again, then sign.")
        self.data = self.data.copy()
        self.data[self.add_prefix("seen")] = said


class VoidForm(Form):
    reason = forms.CharField(label="Why it is void", max_length=200)


class CompareForm(Form):
    file = forms.FileField(label="A PDF that claims to be this sheet", max_length=200)
