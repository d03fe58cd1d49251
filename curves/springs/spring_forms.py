"""Forms of the drawer: a spring, new or known, and what the spring tester said of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from curves.engine import to_newtons
from curves.models import Spring, SpringMove
from curves.models.springs import MAX_LOAD_N
from curves.readings import csvfile, grid_forms
from curves.readings.grid import Column, Grid, as_typed
from curves.readings.grid_forms import GridForm
from curves.rows import stock
from shop.forms import Form, ModelForm, NumberField, VersionedForm, WholeField
from shop.idempotency import OnceField
from shop.models import LoadUnit

FIGURES = ("rate_n_per_mm", "free_length_mm", "free_length_sd_mm", "initial_tension_n")
RIGHT = "Is the unit right?"
LENGTH = Column("length", "Length", "mm", (3, 200))


def pairs_in(unit: str) -> tuple[Column, Column]:
    """The columns of a load test whose loads are typed in a unit."""
    most = MAX_LOAD_N / to_newtons(1.0, unit)
    return (
        LENGTH,
        Column("load", "Load", unit, (0, float(f"{most:.3g}")), way_out=RIGHT, unit_chosen=True),
    )


class SpringFields(forms.Form):
    """What is asked of a spring, new or known; the error of its rate in percent."""

    rate_percent = NumberField(
        label="Rate known to (%)",
        required=False,
        min_value=0.1,
        max_value=100,
        help_text="Left empty: a loose label.",
    )

    class Meta:
        model = Spring
        fields = [
            "label",
            "position",
            "rate_n_per_mm",
            "free_length_mm",
            "free_length_sd_mm",
            "initial_tension_n",
            "source",
            "wire_mm",
            "coil_mm",
            "active_coils",
            "note",
        ]
        labels = {"source": "Where the figures come from", "position": "Fits as"}
        help_texts = {
            "free_length_sd_mm": "Left empty: a loose label.",
        }

    def __init__(
        self,
        *args: Any,
        instance: Spring | None = None,
        initial: dict[str, Any] | None = None,
        **options: Any,
    ) -> None:
        known = {"rate_percent": (instance or Spring()).rate_percent}
        options |= {"instance": instance, "initial": known | (initial or {})}
        super().__init__(*args, **options)
        self.fields["initial_tension_n"].required = False
        was_weighed = instance is not None and instance.source == Spring.Source.WEIGHED
        cast(forms.ChoiceField, self.fields["source"]).choices = [
            choice for choice in Spring.Source.choices if was_weighed or choice[0] != Spring.Source.WEIGHED
        ]
        self.order_fields([*self.Meta.fields[:2], "quantity", "rate_n_per_mm", "rate_percent"])

    @property
    def spring_values(self) -> dict[str, Any]:
        """The row's fields as typed; a figure shown rounded and sent back as shown is no change."""
        plain = {name: self.cleaned_data[name] for name in self.Meta.fields}
        for name in FIGURES:
            if not self._differs(name):
                plain[name] = self.initial.get(name, plain[name])
        if self._differs("rate_percent"):
            percent = self.cleaned_data["rate_percent"]
            plain["rate_sd"] = None if percent is None else percent / 100
        if self._differs("initial_tension_n"):
            plain["initial_tension_sd_n"] = None  # what was weighed is not what was typed
        return plain

    def _differs(self, name: str):
        before, now = self.initial.get(name), self.cleaned_data.get(name)
        return now != before and (before is None or now is None or f"{now:.10g}" != f"{before:.10g}")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        wire, coil = cleaned.get("wire_mm"), cleaned.get("coil_mm")
        if wire and coil and coil <= wire:
            self.add_error("coil_mm", "Not wider than the wire: write the outside diameter less one wire.")
        changed = any(self._differs(name) for name in ("rate_percent", *FIGURES) if name in cleaned)
        if cleaned.get("source") == Spring.Source.WEIGHED and changed:
            self.add_error("source", "These are not the figures that were weighed: say where they come from.")
        return cleaned

    def clean_initial_tension_n(self) -> float:
        return self.cleaned_data["initial_tension_n"] or 0


class NewSpringForm(SpringFields, ModelForm):
    quantity = WholeField(label="How many lie in the drawer", min_value=0, max_value=stock.MOST, initial=0)
    once = OnceField()

    class Meta(SpringFields.Meta):
        pass

    @property
    def spring_values(self) -> dict[str, Any]:
        return super().spring_values | {"quantity": self.cleaned_data["quantity"]}


class SpringForm(SpringFields, VersionedForm):
    class Meta(SpringFields.Meta):
        pass


class StockForm(Form):
    """What happened in the drawer: counted, received, or thrown away; a move of the ledger."""

    happened = forms.ChoiceField(
        label="What happened",
        widget=forms.RadioSelect,
        choices=[
            (SpringMove.Kind.COUNTED, "Counted: so many lie there"),
            (SpringMove.Kind.RECEIVED, "Received: so many came"),
            (SpringMove.Kind.SCRAPPED, "Scrapped: so many were thrown away"),
        ],
    )
    number = WholeField(label="How many", min_value=0, max_value=stock.MOST)
    note = forms.CharField(label="Note", required=False, max_length=200)
    seen = forms.IntegerField(widget=forms.HiddenInput)
    once = OnceField()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        counted = cleaned.get("happened") == SpringMove.Kind.COUNTED
        if not counted and "happened" in cleaned and cleaned.get("number") == 0:
            self.add_error("number", "None came or went: write 1 or more, or say that you counted.")
        return cleaned


class ChosenForm(Form):
    """Which figures of a spring count for the next job."""

    chosen = forms.ChoiceField(choices=[("", "what is newer"), *Spring.Chosen.choices], required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)

    @property
    def words(self) -> str:
        choices: Any = cast(forms.ChoiceField, self.fields["chosen"]).choices
        return dict(choices)[self.cleaned_data["chosen"]]


class LoadTestForm(GridForm, Form):
    """The pairs of the spring tester; what they say is worked out when they are saved."""

    nothing = "No pair yet: type a length and the load that held the spring there."
    replaced = 0  # how many pairs that stood make way for a new weighing
    added = 0  # how many are new beside those that stood

    REPLACE, ADD = "replace", "add"

    unit = forms.ChoiceField(label="The tester reads in", choices=LoadUnit)
    new_pairs = forms.ChoiceField(
        label="New pairs beside those that stand",
        widget=forms.RadioSelect,
        required=False,
        initial=REPLACE,
        help_text="The record keeps what is replaced. Pairs that are only changed are not new.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any = None,
        *,
        unit: str = LoadUnit.NEWTON,
        stood: tuple[str | None, Sequence[tuple[float, float]]] = (None, ()),
        as_stood: bool = False,
        **options: Any,
    ) -> None:
        """``unit`` is the one that a page begins with; what was sent says its own.

        ``stood`` are the unit and the pairs that stand by now, as ``load_tests.typed_of`` gives them. They
        are shown to be changed if the page begins in their unit, or with ``as_stood``; else it begins a new
        weighing.
        """
        sent = data.get("unit") if data is not None else None
        begins_in = stood[0] if as_stood or data is not None else unit
        self.read_as = sent if sent in LoadUnit.values else begins_in or unit
        self.columns = pairs_in(self.read_as)
        self.is_anew = data is None and bool(stood[1]) and self.read_as != stood[0]
        super().__init__(data, shown=() if self.is_anew else stood[1], **options)
        self.fields["unit"].initial = self.read_as
        self.stood_in, self.stood = stood[0], [_shown(pair) for pair in stood[1]]
        if not self.stood or self.is_anew:
            del self.fields["new_pairs"]
            return
        count = len(self.stood)
        those = "the pair that stands" if count == 1 else f"the {count} that stand"
        cast(forms.ChoiceField, self.fields["new_pairs"]).choices = [
            (self.REPLACE, f"A new weighing: they replace {those}"),
            (self.ADD, f"The same weighing: fit them together with {those}"),
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.rows and not self.errors:
            self.rows = self._one_weighing(cleaned.get("new_pairs") or self.REPLACE)
        return cleaned

    def _one_weighing(self, chosen: str):
        """The pairs to fit together: all; or the new ones alone, where all that stood stand beside them."""
        new = list(self.rows)
        shown = [_shown(pair) for pair in new]
        is_other = self.read_as != self.stood_in
        loaded = {pair for pair in shown if pair[1] != as_typed(0.0)}  # no load is none in any unit
        if not is_other or loaded & set(self.stood):
            for pair in self.stood:
                if pair not in shown:
                    return self.rows  # changed or cleared: what is left is what was meant
                new.pop(shown.index(pair))
                shown.remove(pair)
        if not new or not self.stood:
            return self.rows
        if chosen == self.ADD:
            if is_other:
                self.add_error(
                    "new_pairs", f"Those that stand were read in {self.stood_in}: these too, or replace them."
                )
            self.added = len(new)
            return self.rows
        if len(new) == 1:
            way_out = "type the others" if is_other else "add it to those that stand, or type the others"
            self.add_error("new_pairs", f"One pair is no weighing: {way_out}.")
        self.replaced = len(self.stood)
        return new

    @property
    def said(self) -> str:
        """What becomes of the pairs, for the note after saving."""
        count = len(self.rows)
        if self.replaced:
            return f"{count} new pairs, in place of the {self.replaced} that stood"
        if self.added:
            return f"{self.added} new with the {count - self.added} that stood, {count} pairs in all"
        return "1 pair" if count == 1 else f"{count} pairs"

    def pasted_rows(self, text: str) -> list[tuple[Any, ...]]:
        lines, _ = csvfile.split(text)
        keys = [column.key for column in self.columns]
        grid = Grid(self.columns, [dict(zip(keys, row, strict=False)) for _, row in lines])
        return grid_forms.values_or_refuse(grid)


def _shown(pair: Sequence[float]):
    """A pair as a page shows it, so that one sent back as shown is known again."""
    return tuple(as_typed(value) for value in pair)
