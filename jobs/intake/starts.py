"""What a form may start from: an engine that its customer had here, an earlier card of its unit."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from django.forms import BaseForm
from django.forms.boundfield import BoundField

from jobs.intake import returned
from jobs.intake.forms import EngineForm, UnitForm, meant_by, named
from jobs.models import Job
from jobs.queries import engines_of
from shop.models import Customer

FILL = {"look", "take", "take_over", "start", "start_over", "part"}  # buttons that fill in, and save nothing


@dataclass(frozen=True)
class Kept:
    """A field that stayed as it was typed, and what would have been filled in."""

    label: str
    known: str


class Starts:
    """The fields of an intake as typed so far, {name: text}, and what could be filled into them.

    Only empty fields are filled; what was typed and says something else stays and is ``kept``, by the form.
    """

    def __init__(self, typed: Mapping[str, str]) -> None:
        self.typed = dict(typed)
        self.kept = {"unit": [], "engine": []}
        self.refusal = ""
        self.taken = None  # the key of the engine that was just filled in

    @cached_property
    def before(self) -> Job | None:
        """The card that the new one is to start from, or None."""
        return returned.to_start_from(_whole(self.typed.get("previous")))[0]

    @cached_property
    def units(self) -> list[returned.Before]:
        """The units that were here and may be this one."""
        asked = {name: self.typed.get(f"unit-{name}", "")[:60] for name in ("number", "maker", "date_code")}
        return returned.found_again(**asked, earlier=_whole(self.typed.get("earlier")))

    @cached_property
    def engines(self) -> list[Job]:
        """The cards whose engine may be this one: the customer's newest, and the earlier one of the unit."""
        cards = engines_of(self.customer) if self.customer else []
        if self.before and self.before.engine and self.before.number not in [card.number for card in cards]:
            cards.append(self.before)
        return cards

    @cached_property
    def customer(self) -> Customer | None:
        """The one customer whose name is typed, or None."""
        typed = " ".join(self.typed.get("customer", "")[:250].split())
        meant = meant_by(typed) if typed and not self.typed.get("stock") else []
        return meant[0] if len(meant) == 1 else None

    def take(self, key: str, *, over: bool = False) -> None:
        """Fill in the engine that was offered under this key; ``over`` what was typed too."""
        engine = next((card.engine for card in self.engines if str(card.engine_id) == key), None)
        if engine is not None:
            self._fill("engine", EngineForm(instance=engine, prefix="engine"), over)
            self.taken = engine.pk

    def start(self, number: str, *, over: bool = False) -> None:
        """Start from the card of this number: its unit, and its owner and engine unless there is another."""
        job, self.refusal = returned.to_start_from(_whole(number))
        if job is None:
            return
        self.typed |= {"previous": str(job.number), "earlier": str(job.number)}
        stamped = {"travel_stamped_deg": job.build.travel_stamped_deg}
        self._fill("unit", UnitForm(instance=job.unit, initial=stamped, prefix="unit"), over)
        if not self.typed.get("customer", "").strip() and not self.typed.get("stock"):
            self.typed |= {"customer": named(job.customer)} if job.customer else {"stock": "on"}
        is_theirs = self.typed.get("stock") if job.is_stock else self.customer == job.customer
        if job.engine and is_theirs:
            self._fill("engine", EngineForm(instance=job.engine, prefix="engine"), over=False)
            self.taken = job.engine_id

    def part(self) -> None:
        """Start from no card after all; what was filled in stays."""
        self.typed |= {"previous": "", "earlier": ""}

    def _fill(self, name: str, source: BaseForm, over: bool) -> None:
        for field in source.visible_fields():
            known = field.value()
            known = "" if known is None else str(known)
            typed = self.typed.get(field.html_name, "").strip()
            if not known or (typed and not field.field.has_changed(field.initial, typed)):
                continue
            if typed and not over:
                self.kept[name].append(Kept(str(field.label), _in_words(field, known)))
            else:
                self.typed[field.html_name] = known


def fills_in(sent: Mapping[str, str]) -> bool:
    """Whether one of the buttons was pressed that only fill in."""
    return bool(FILL & sent.keys())


def filled(sent: dict[str, str]) -> Starts:
    """What was typed with what a button asked to fill in; nothing is checked, and nothing saved."""
    asked = {name: sent.pop(name) for name in FILL if name in sent}
    starts = Starts(sent)
    for name in ("take", "take_over"):
        if name in asked:
            starts.take(asked[name], over=name == "take_over")
    for name in ("start", "start_over"):
        if name in asked:
            starts.start(asked[name], over=name == "start_over")
    if "part" in asked:
        starts.part()
    return starts


def under(prefix: str, typed: Mapping[str, str]) -> dict[str, str]:
    """The fields typed under a form's prefix, as its initial values."""
    return {name.removeprefix(prefix): text for name, text in typed.items() if name.startswith(prefix)}


def _in_words(field: BoundField, known: str) -> str:
    return str(dict(getattr(field.field, "choices", ())).get(known, known))


def _whole(text: str | None) -> int | None:
    text = (text or "").strip()
    return int(text) if text.isdecimal() and len(text) < 8 else None
