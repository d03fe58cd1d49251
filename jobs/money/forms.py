"""The forms of money: the estimate revised, what the customer says to it, closing without the repair."""

import re

from django import forms

from jobs.models import Ending, EstimateAnswer, Job
from jobs.moves.closing import PARTS_CHANGED, amount_of, lines_seen, parts_to_settle, wants_reason
from jobs.rules.agreement import agreement_of, asked_of, labour_so_far
from jobs.rules.guards import endings_for
from shop.amounts import FRAME, in_currency, money
from shop.forms import Form, ModelForm, MomentField
from shop.idempotency import OnceField
from shop.models import Shop

_SAID = EstimateAnswer.Said
_NOT_THERE = re.compile(r"(no\s|(nothing|none|no)?[-–\s]*$)", re.IGNORECASE)
_SPLIT = re.compile(r"[\n,;]+")


class EstimateForm(ModelForm):
    """What the teardown made of the estimate."""

    class Meta:
        model = Job
        fields = ["revised_estimate"]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        in_currency(self, "revised_estimate")

    def row_data(self):
        return {"revised_estimate": self.cleaned_data["revised_estimate"]}


class AnswerForm(Form):
    """What was asked of the customer and what they said: who, how, when."""

    adds = True
    once = OnceField()
    version = forms.IntegerField(widget=forms.HiddenInput)
    said = forms.ChoiceField(label="Answer", choices=_SAID.choices, widget=forms.RadioSelect)
    asked = money(label="Amount asked", required=False)
    amount = money(label="Amount agreed", required=False)
    said_by = forms.CharField(label="Who said it", max_length=120, required=False)
    how = forms.ChoiceField(choices=[("", "–"), *EstimateAnswer.How.choices], required=False)
    given_at = MomentField(label="When")
    note = forms.CharField(label="Note", max_length=500, required=False)

    def __init__(self, data=None, *, job, **options):
        stands = agreement_of(job)
        said_by = job.customer.name if job.customer else ""
        initial = {
            "version": job.version,
            "asked": stands.to_ask,
            "said_by": said_by,
            **options.pop("initial", {}),
        }
        super().__init__(data, initial=initial, **options)
        self._asked_now = asked_of(job)
        in_currency(self, "asked", "amount")
        self.fields["amount"].help_text = f"From then on the limit, {FRAME}. Left empty: all that was asked."

    def clean(self):
        data = super().clean()
        said = data.get("said")
        if data.get("asked") is None and "asked" in data:
            data["asked"] = self._asked_now
        if said in (_SAID.ACCEPTED, _SAID.IN_PART) and "amount" in data and "asked" in data:
            self._check_amount(said, data)
        elif data.get("amount") is not None and said:
            self.add_error(
                "amount", "No amount is agreed with this answer: clear it, or choose accepted in part."
            )
        if said and said != _SAID.NONE:
            self._need("said_by", "Write who said it.")
            self._need("how", "Choose how it was said.")
        return data

    def _check_amount(self, said, data):
        """All that was asked, unless another amount is named; in part always names less."""
        asked, amount = data["asked"], data["amount"]
        if said == _SAID.ACCEPTED and amount is None:
            data["amount"] = asked
        if data["amount"] is None:
            self.add_error("amount", "Write which amount was agreed.")
        elif asked is not None and said == _SAID.ACCEPTED and data["amount"] < asked:
            self.add_error("amount", f"Less than the {asked} asked: choose accepted in part, or clear this.")
        elif asked is not None and said == _SAID.IN_PART and data["amount"] >= asked:
            self.add_error("amount", f"All of the {asked} asked: choose accepted, or write the part agreed.")

    def _need(self, name, words):
        if name in self.cleaned_data and not self.cleaned_data[name]:
            self.add_error(name, words)

    def row_data(self):
        names = ("said", "asked", "amount", "said_by", "how", "given_at", "note")
        return {name: self.cleaned_data[name] for name in names}


class TakeBackForm(Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(label="Why it is taken back", max_length=200)


class CloseForm(Form):
    """How the card ends, what goes back, what is owed, and who took or gave up the unit."""

    once = OnceField()
    version = forms.IntegerField(widget=forms.HiddenInput)
    ending = forms.ChoiceField(label="The unit is", widget=forms.RadioSelect)
    things = forms.MultipleChoiceField(
        label="Goes back of what came with it", required=False, widget=forms.CheckboxSelectMultiple
    )
    stays = forms.MultipleChoiceField(
        label="Parts that stay in the unit or go along",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=f"What is ticked is owed, {FRAME}. Take the tick away from what is taken out or kept here.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    fee = money(label="Fee for the estimate")
    labour = money(label="Labour so far")
    collected_by = forms.CharField(
        max_length=120, required=False, help_text="Returned unrepaired: the name of who takes the unit back."
    )
    things_to = forms.CharField(
        label="What came with it was collected by",
        max_length=120,
        required=False,
        help_text="Kept for parts or scrapped: the name of who took what is ticked above, if anybody did.",
    )
    consent_by = forms.CharField(
        label="Consent given by",
        max_length=120,
        required=False,
        help_text="Kept for parts or scrapped: who said, for the owner, that it may go.",
    )
    reason = forms.CharField(label="Why it is not rebuilt", max_length=300, required=False)

    def __init__(self, data=None, *, job, person, **options):
        brought = _told_apart(things_of(job.came_with))
        lines = parts_to_settle(job)
        initial = {
            "version": job.version,
            "seen": lines_seen(job),
            "things": list(brought),
            "stays": [str(line.pk) for line in lines],
            "fee": "0.00",
            "labour": labour_so_far(job),
            "collected_by": job.customer.name if job.customer else "",
        }
        super().__init__(data, initial=initial, **options)
        self._job, self._brought = job, brought
        endings = endings_for(job, person)
        self.fields["ending"].choices = [(one.value, one.label) for one in endings]
        self._drop_unasked(endings)
        self._choose("things", [(said, said) for said in brought])
        self._choose("stays", [(str(line.pk), _priced(line)) for line in lines])
        if not wants_reason(job):
            self.fields["reason"].help_text = "The customer declined; add to it if there is more to say."
        in_currency(self, "fee", "labour")

    def _drop_unasked(self, endings):
        """Nobody is asked about an ending that can't be chosen here."""
        if Ending.RETURNED not in endings:
            del self.fields["collected_by"]
        if endings == [Ending.RETURNED]:
            del self.fields["things_to"], self.fields["consent_by"]

    def _choose(self, name, choices):
        self.fields[name].choices = choices
        self.fields[name].error_messages["invalid_choice"] = (
            "Not on the list any more: look at the ticks again."
        )
        if not choices:
            del self.fields[name]

    def clean(self):
        """Ticks made on another list than the one shown now are never carried over in silence."""
        now = lines_seen(self._job)
        if self.cleaned_data.get("seen") != now:
            stands = f"Labour so far is {labour_so_far(self._job)} now."
            self.add_error("stays" if "stays" in self.fields else "labour", f"{PARTS_CHANGED} {stands}")
            self.data = self.data.copy()
            self.data["seen"] = now
        self._settle_collector()
        return super().clean()

    def _settle_collector(self):
        """A unit that stays here was collected by nobody, whatever name its field came with."""
        data = self.cleaned_data
        if "ending" not in data or data["ending"] == Ending.RETURNED:
            if data.get("things_to") and "ending" in data:
                self.add_error(
                    "things_to", "The unit goes back with it: write one name, above, and clear this."
                )
            return
        typed, owner = data.get("collected_by", ""), self.initial["collected_by"]
        if typed and typed != owner and typed != data.get("things_to"):
            words = "The unit stays here: clear this, and write below who collected what came with it."
            self.add_error("collected_by", words)

    def refuse(self, error):
        """Show why the action refused, beside the field that was filled in for this ending."""
        errors = error.error_dict if hasattr(error, "error_dict") else {None: [error]}
        for name, words in errors.items():
            stays = name == "collected_by" and self.cleaned_data["ending"] != Ending.RETURNED
            self.add_error("things_to" if stays else name if name in self.fields else None, words)

    def closing_data(self):
        """The fields of a ``Closing`` that people write."""
        said = self.cleaned_data
        back = set(said.get("things", []))
        to = "collected_by" if said["ending"] == Ending.RETURNED else "things_to"
        return {
            "fee": said["fee"],
            "labour": said["labour"],
            "collected_by": said.get(to, ""),
            "consent_by": said.get("consent_by", ""),
            "reason": said["reason"],
            "things": [[thing, name in back] for name, thing in self._brought.items()],
        }

    @property
    def staying(self):
        """The keys of the parts that stay with the unit."""
        return {int(key) for key in self.cleaned_data.get("stays", [])}


def _told_apart(things):
    """Things by what is said of each, so that a tick goes with its thing and never with its place.

    >>> _told_apart(["Cap", "screw", "screw"])
    {'Cap': 'Cap', 'screw': 'screw', 'screw (2)': 'screw'}
    """
    told = {}
    for thing in things:
        said, count = thing, 1
        while said in told:
            count += 1
            said = f"{thing} ({count})"
        told[said] = thing
    return told


def _priced(line):
    """A line as one ticks it: what, how it stands, what it comes to."""
    amount = amount_of(line)
    worth = "without a price" if amount is None else f"{amount:.2f} {Shop.current().currency}"
    many = "" if line.quantity == 1 else f"{line.how_many} × "
    return f"{many}{line.text}, {line.get_state_display().lower()}: {worth}"


def things_of(came_with):
    """What came with a unit as a list to tick off; what is said not to have come is not on it.

    >>> things_of("Cap, rotor arm; clamp plate.\\nno leads")
    ['Cap', 'rotor arm', 'clamp plate']
    """
    things = (part.strip().rstrip(".").strip() for part in _SPLIT.split(came_with))
    return [thing for thing in things if not _NOT_THERE.match(thing)]
